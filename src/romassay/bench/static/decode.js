// Who answers where: each function's lines, what is not known, and what to read next.

import { fill, h, plural, size } from "./dom.js";

const SIGNS = { 1: "1", 0: "0", any: "x", unknown: "?" };

export function decodeTab(panel, bench) {
  const { functions } = bench.data.record;
  fill(panel, functions.length ? functions.map((f) => one(f, bench)) : h("p", {}, "Nothing that answers was found."));
}

function one(f, bench) {
  const lines = Object.entries(f.decode).reverse();
  const copies = f.copies.map((copy) =>
    h("li", {}, h("button", { class: "mono", title: `agreement ${(100 * copy.agreement).toFixed(1)} %`,
      onclick: () => bench.map.select(copy.first, copy.first + f.size - 1) }, bench.at(copy.first))));
  return h("section", {},
    h("h3", {}, `${f.title}: ${size(f.size)}, ${plural(f.copies.length, "place")}`),
    h("p", { class: "mono" }, f.equation),
    h("p", {}, f.words),
    h("table", {}, h("caption", { class: "hidden" }, `Lines of ${f.title}`),
      h("tbody", {}, h("tr", {}, lines.map(([line]) => h("th", { scope: "col" }, line))),
        h("tr", {}, lines.map(([, level]) => h("td", { class: "mono" }, SIGNS[level]))))),
    f.pins ? h("p", {}, `In the specimen's pins: ${Object.entries(f.pins).map(([pin, level]) => `${pin} ${SIGNS[level]}`).join(", ")}`) : null,
    f.seen ? h("p", {}, `${f.seen} ${f.bound}`) : null,
    f.read_next.length ? h("p", {}, h("strong", {}, "Read next: "), f.read_next.map((r) => `${bench.at(r.first)}-${bench.at(r.last)} (${r.resolves.join(", ")})`).join("; ")) : null,
    f.image ? h("p", { class: "mono small" }, `CRC-32 ${f.image.crc32}`, h("br"), `SHA-256 ${f.image.sha256}`) : null,
    f.image ? h("p", {}, h("button", { onclick: () => bench.bytes(`image:${f.number}`, 0, f.size, f.title) }, "Show the image")) : null,
    h("p", { class: "soft small" }, "Places (select on the map):"), h("ul", { class: "list" }, copies.slice(0, 256)));
}
