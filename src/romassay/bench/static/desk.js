// The first page: dockets that lie here, and a new one from logs.

import { Adding } from "./adding.js";
import * as api from "./api.js";
import { captureForm } from "./capturing.js";
import { byId, fill, h, notice } from "./dom.js";

const adding = new Adding(document.body);
const form = byId("new");

async function show() {
  const found = await api.dockets();
  byId("folder").textContent = `Folder ${found.folder}`;
  for (const type of found.parts) form.elements.part.append(h("option", { value: type }, type));
  const host = byId("host-form");
  captureForm(host, found, async (wanted) => {
    notice("");
    try {
      await api.capture(host.elements.name.value, wanted);
      location.href = `/docket/${encodeURIComponent(host.elements.name.value)}`;
    } catch (error) {
      notice(error.message);
    }
  });
  const items = found.dockets.map(({ name, did }) => h("li", {}, h("a", { href: `/docket/${encodeURIComponent(name)}` }, name), h("span", { class: "soft" }, ` ${did}`)));
  fill(byId("dockets"), items.length ? items : h("li", { class: "soft" }, "None yet."));
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  notice("");
  if (!adding.files.length) return notice("Drop at least one log first.");
  const button = form.querySelector("button.main");
  button.disabled = true;
  document.body.classList.add("busy");
  try {
    const files = await adding.sent();
    if (!files) return;
    const order = { files };
    if (form.elements.part.value) order.part = form.elements.part.value;
    await api.assay(form.elements.name.value, order);
    location.href = `/docket/${encodeURIComponent(form.elements.name.value)}`;
  } catch (error) {
    notice(error.message);
  } finally {
    button.disabled = false;
    document.body.classList.remove("busy");
  }
});

show().catch((error) => notice(error.message));
