// What stands against the result, what was left open, what to do next, and what was done.

import { fill, h } from "./dom.js";

export function findingsTab(panel, bench) {
  const { data } = bench;
  fill(panel,
    h("h3", {}, "Findings"),
    data.findings.length ? data.findings.map((f) => h("div", { class: f.blocks ? "finding blocks" : "finding" },
      h("strong", {}, f.title), f.blocks ? " (stands against 'confirmed')" : "", h("p", {}, f.evidence), f.advice ? h("p", {}, `To do: ${f.advice}`) : null)) : h("p", {}, "None."),
    data.limits.length ? [h("h3", {}, "Left open"), h("ul", {}, data.limits.map((text) => h("li", {}, text)))] : null,
    data.steps.length ? [h("h3", {}, "Next"), h("ol", {}, data.steps.map((s) => h("li", {}, s.text)))] : null,
    h("h3", {}, "History"), h("table", {}, h("tbody", {}, data.history.map((e) => h("tr", {}, h("td", { class: "mono when" }, e.when.replace("T", " ").replace("Z", " UTC")), h("td", {}, e.did))))),
    h("h3", {}, "Cautions"), h("p", { class: "soft" }, "Switch off before you plug or pull the specimen, and discharge yourself. Mains, picture tubes and charged capacitors in a host can kill: local codes and licensed practice come first."));
}
