// The logs as they are: what was taken, what was left, what is damaged, marked in the text; and the layout, to correct.

import * as api from "./api.js";
import { fill, h, notice, plural } from "./dom.js";

const PAGE = 200;
let chosen = { file: null, first: 1, damagedOnly: false };

export function logsTab(panel, bench) {
  const { files } = bench.data;
  if (!files.some((f) => f.file === chosen.file)) chosen = { file: files[0].file, first: 1, damagedOnly: false };
  const file = files.find((f) => f.file === chosen.file);
  const again = (values) => { Object.assign(chosen, values); logsTab(panel, bench); };
  const layout = h("input", { class: "mono", value: file.said ?? file.layout });
  const correct = (value) => bench.change(() => api.assay(bench.name, { corrections: [{ file: file.file, layout: value }] }));
  const place = h("div", { "aria-live": "polite" }, h("p", { class: "soft" }, "Reading …"));
  fill(panel,
    h("div", { class: "fields" }, h("label", {}, "Log", h("select", { onchange: (e) => again({ file: e.target.value, first: 1 }) },
      files.map((f) => h("option", { value: f.file, selected: f.file === file.file }, `${f.file} (${f.role.replace("-", " ")})`))))),
    h("p", {}, `${file.format}, ${plural(file.passes, "pass").replace("passs", "passes")}; ${plural(file.left, "line")} left, ${file.damaged} damaged, ${plural(file.holes, "hole")}${file.session ? `; power-up ${file.session}` : ""}.`),
    file.notes.map((note) => h("p", { class: "soft" }, note)),
    file.layout ? h("form", { class: "fields", onsubmit: (e) => { e.preventDefault(); correct(layout.value); } },
      h("label", { class: "all" }, file.said ? "Layout, as you gave it" : "Layout, as it was learnt", layout), h("button", {}, "Read with this layout")) : null,
    h("div", { class: "bar" }, h("button", { disabled: chosen.first <= 1, onclick: () => again({ first: Math.max(1, chosen.first - PAGE) }) }, "Earlier"),
      h("button", { id: "later", onclick: () => again({ first: chosen.first + PAGE }) }, "Later"),
      h("label", {}, h("input", { type: "checkbox", checked: chosen.damagedOnly, onchange: (e) => again({ damagedOnly: e.target.checked }) }), " only what was not taken")),
    place);
  show(place, bench, file, panel).catch((error) => notice(error.message));
}

function looks(mark) {
  return mark === "left" ? "left-out" : mark;
}

async function show(place, bench, file, panel) {
  const found = await api.lines(bench.name, file.file, chosen.first, chosen.damagedOnly ? 2000 : PAGE);
  const last = found.lines.at(-1)?.[0] ?? 0;
  panel.querySelector("#later").disabled = last >= found.total;
  if (!found.total) return fill(place, h("p", {}, "This file has no lines to show."));
  const lines = found.lines.filter(([, , mark]) => !chosen.damagedOnly || mark !== "taken");
  const marks = { taken: ["✓", "taken"], left: ["–", "left"], damaged: ["!", "damaged"] };
  const cells = lines.flatMap(([number, text, mark, reason]) => [
    h("span", { class: "no" }, String(number)),
    h("span", { title: marks[mark][1], class: looks(mark) }, marks[mark][0], h("span", { class: "hidden" }, marks[mark][1])),
    h("span", { class: `text ${looks(mark)}` }, text || "\u00a0", reason && mark !== "left" ? h("span", { class: "why" }, reason) : null)]);
  fill(place, h("p", { class: "soft small" }, `Lines ${chosen.first} to ${last} of ${found.total}. ✓ taken, – left, ! damaged.`),
    h("div", { class: "log" }, cells));
}
