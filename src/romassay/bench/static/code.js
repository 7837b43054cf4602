// What the bytes say: CPU, origin and own checks, a strip of what is code, text and table, and the listing.

import * as api from "./api.js";
import { fill, h, notice } from "./dom.js";

let chosen = 0;

export function codeTab(panel, bench) {
  const roms = bench.data.record.functions.filter((f) => f.image);
  if (!roms.length) return fill(panel, h("p", {}, "There is no image to be read."));
  if (!roms.some((f) => f.number === chosen)) chosen = roms[0].number;
  const place = h("div", { "aria-live": "polite" }, h("p", { class: "soft" }, "Reading …"));
  fill(panel, roms.length > 1 ? h("label", {}, "Image ", h("select", { onchange: (e) => { chosen = Number(e.target.value); codeTab(panel, bench); } },
    roms.map((f) => h("option", { value: f.number, selected: f.number === chosen }, f.image.file)))) : null, place);
  show(place, bench).catch((error) => notice(error.message));
}

async function show(place, bench) {
  const found = await api.code(bench.name, chosen);
  const save = found.listing ? h("p", {}, h("a", { href: URL.createObjectURL(new Blob([found.listing], { type: "text/plain" })), download: `${bench.name}-${chosen}.s` }, "Save the listing")) : null;
  fill(place, found.sentences.length ? found.sentences.map((text) => h("p", {}, text)) : h("p", {}, "Nothing is said of these bytes."),
    found.notes.map((text) => h("p", { class: "soft" }, text)),
    found.strip ? h("img", { src: found.strip, class: "strip", alt: "A strip over the image: what is code, text, table and padding; the listing says the same line by line" }) : null,
    save, found.listing ? h("div", { class: "hex mono", tabindex: 0, role: "region", "aria-label": "Listing" }, found.listing) : null);
}
