// A host on a serial line: what to ask it, and how the reading goes while the map grows.

import { ROLES } from "./adding.js";
import * as api from "./api.js";
import { byId, fill, h, notice } from "./dom.js";
import { swatch } from "./map.js";

const EVERY_MS = 400;
const KINDS = ["unread", "once", "heard", "differing"];
const WORDS = ["not heard yet", "heard once", "heard alike", "heard differently"];

// Fills the lists of a form for a capture, and calls `begin` with what is wanted when it is sent.
export function captureForm(form, found, begin) {
  for (const host of found.hosts) form.elements.host.append(h("option", { value: host }, host));
  if (form.elements.part) for (const part of found.parts) form.elements.part.append(h("option", { value: part }, part));
  if (form.elements.role) for (const [value, words] of ROLES) form.elements.role.append(h("option", { value }, words));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    begin({
      port: form.elements.port.value.trim(), host: form.elements.host.value, window: form.elements.window.value.split(/[\s,;]+/).filter(Boolean),
      passes: Number(form.elements.passes.value), part: form.elements.part?.value || null, session: form.elements.session?.value || null,
      role: form.elements.role?.value || "specimen",
    });
  });
}

// Shows a capture while it runs, and how it ended; `goOn` is called where the person wants to go on with it.
export async function follow(name, map, bits, goOn) {
  let said = await api.captured(name);
  byId("live").hidden = !said.running && !said.unfinished;
  let shape = "";
  while (said.running) {
    button("Stop reading", () => api.stop(name));
    byId("live-line").textContent = said.line || "Waiting for the host.";
    byId("verdict").textContent = "A reading is under way.";
    fill(byId("legend"), KINDS.map((kind, index) => h("li", {}, swatch(kind), WORDS[index])));
    const regions = said.runs.map(([first, last, state]) => [first, last, KINDS[state], "", WORDS[state], false]);
    if (regions.length) {
      const now = `${regions[0][0]} ${regions.at(-1)[1]}`;
      if (now === shape) map.renew(regions);
      else map.load(regions, Math.max(bits, Math.ceil(Math.log2(regions.at(-1)[1] + 1))));
      shape = now;
    }
    await new Promise((resolve) => setTimeout(resolve, EVERY_MS));
    said = await api.captured(name);
  }
  byId("live").hidden = !said.unfinished;
  byId("live-line").textContent = said.error ? `It broke off: ${said.error}. What came in is kept.` : said.line;
  if (said.unfinished) button("Go on reading", goOn);
  return !said.unfinished;
}

function button(words, clicked) {
  byId("live-button").textContent = words;
  byId("live-button").onclick = () => clicked().catch((error) => notice(error.message));
}
