// Bytes in doubt, one by one: everything that was seen of each, and a person's decision with its reason.

import * as api from "./api.js";
import { fill, h, hex, notice, plural } from "./dom.js";

let chosen = { image: 0, offset: null };

export function doubtsTab(panel, bench) {
  const roms = bench.data.record.functions.map((f, index) => ({ ...f, index })).filter((f) => f.image);
  if (!roms.length) return fill(panel, h("p", {}, "There is no image, so no byte of one is in doubt."));
  if (!roms.some((f) => f.number === chosen.image)) chosen = { image: roms[0].number, offset: null };
  const rom = roms.find((f) => f.number === chosen.image);
  const detail = h("div", {});
  const again = () => doubtsTab(panel, bench);
  fill(panel,
    roms.length > 1 ? h("label", {}, "Image ", h("select", { onchange: (e) => { chosen = { image: Number(e.target.value), offset: null }; again(); } },
      roms.map((f) => h("option", { value: f.number, selected: f.number === chosen.image }, f.image.file)))) : null,
    group("In doubt", rom.image.doubtful.map((d) => d.offset), "No byte is in doubt.", again),
    group("Cells that did not read the same each time", rom.flipped, null, again),
    group("Put right by repetition", rom.righted, null, again),
    decided(bench, rom),
    h("form", { class: "fields", onsubmit: (e) => { e.preventDefault(); const value = parseInt(e.target.offset.value, 16); if (Number.isFinite(value)) { chosen.offset = value; again(); } } },
      h("label", {}, "Any offset", h("input", { name: "offset", size: 6, class: "mono" })), h("button", {}, "Show")),
    detail);
  if (chosen.offset !== null) showOne(detail, bench, rom).catch((error) => notice(error.message));
}

function group(title, offsets, none, again) {
  if (!offsets.length) return none ? h("p", {}, none) : null;
  const button = (offset) => h("li", {}, h("button", { class: offset === chosen.offset ? "mono now" : "mono", "aria-pressed": String(offset === chosen.offset),
    onclick: () => { chosen.offset = offset; again(); } }, hex(offset, 4)));
  return h("section", {}, h("h3", {}, `${title} (${offsets.length})`), h("ul", { class: "list" }, offsets.slice(0, 400).map(button)));
}

function decided(bench, rom) {
  const mine = bench.data.decisions.filter((d) => d.function === rom.index);
  if (!mine.length) return null;
  const back = (d) => bench.change(() => api.decide(bench.name, { function: d.function, offset: d.offset }));
  return h("section", {}, h("h3", {}, "Decided by hand"), h("table", {}, h("tbody", {}, mine.map((d) =>
    h("tr", {}, h("td", { class: "mono" }, hex(d.offset, 4)), h("td", { class: "mono" }, hex(d.value, 2)), h("td", {}, d.reason),
      h("td", {}, h("button", { onclick: () => back(d) }, "Take back", h("span", { class: "hidden" }, ` offset ${hex(d.offset, 4)}`))))))));
}

async function showOne(detail, bench, rom) {
  const found = await api.observations(bench.name, chosen.image, chosen.offset);
  const values = new Map();
  for (const seen of found.observations) values.set(seen.value, [...(values.get(seen.value) ?? []), seen]);
  const sorted = [...values].sort((a, b) => b[1].length - a[1].length);
  const where = (list) => list.slice(0, 12).map((o) => `${o.reading}${o.pass > 1 ? ` pass ${o.pass}` : ""} ${bench.at(o.address)}`).join(", ") + (list.length > 12 ? ` and ${list.length - 12} more` : "");
  const value = h("input", { name: "value", size: 3, maxlength: 2, required: true, pattern: "[0-9A-Fa-f]{1,2}", class: "mono", value: hex(found.value, 2) });
  const reason = h("input", { name: "reason", required: true, size: 34 });
  const keep = async (event) => {
    event.preventDefault();
    await bench.change(() => api.decide(bench.name, { function: rom.index, offset: chosen.offset, value: parseInt(value.value, 16), reason: reason.value }));
  };
  fill(detail, h("h3", {}, `Offset ${hex(found.offset, 4)}: ${hex(found.value, 2)}`),
    h("p", {}, `Probability ${found.probability.toFixed(4)}; ${plural(found.observations.length, "observation")}. `,
      h("button", { type: "button", onclick: () => bench.map.go(rom.image.first + found.offset) }, "Show on the map")),
    h("table", {}, h("thead", {}, h("tr", {}, ["Value", "Bits", "Seen", "Where"].map((t) => h("th", { scope: "col" }, t)))),
      h("tbody", {}, sorted.map(([v, list]) => h("tr", {}, h("td", { class: "mono" }, hex(v, 2)), h("td", { class: "mono" }, v.toString(2).padStart(8, "0")), h("td", { class: "n" }, String(list.length)), h("td", { class: "small" }, where(list)))))),
    h("form", { class: "fields", onsubmit: keep }, h("label", {}, "Decide: value", value), h("label", {}, "because", reason), h("button", { class: "main" }, "Keep this decision")),
    h("p", { class: "soft small" }, "A decision is kept with its reason, and can be taken back. The readings stay as they are, and a decided byte never counts towards 'confirmed'."));
}
