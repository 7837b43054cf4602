// Files to add: dropped or chosen, each with what was in the socket and the power-up in which it was taken.

import { byId, h, notice } from "./dom.js";

export const ROLES = [
  ["specimen", "the specimen"],
  ["empty-socket", "the empty socket"],
  ["pulled-up", "the specimen, lines pulled up"],
  ["pulled-down", "the specimen, lines pulled down"],
];
const LARGEST = 90 << 20;

export class Adding {
  constructor(zone) {
    this.files = [];
    this.table = byId("chosen");
    byId("pick").addEventListener("change", (event) => {
      this.take(event.target.files);
      event.target.value = "";
    });
    for (const kind of ["dragover", "dragenter"]) {
      zone.addEventListener(kind, (event) => {
        event.preventDefault();
        byId("drop").classList.add("over");
      });
    }
    zone.addEventListener("dragleave", () => byId("drop").classList.remove("over"));
    zone.addEventListener("drop", (event) => {
      event.preventDefault();
      byId("drop").classList.remove("over");
      this.take(event.dataTransfer.files);
    });
  }

  take(list) {
    for (const file of list) {
      const role = /empty|socket|leer/i.test(file.name) ? "empty-socket" : "specimen";
      this.files.push({ file, role, session: "" });
    }
    this.show();
    this.changed?.();
  }

  show() {
    this.table.hidden = !this.files.length;
    this.table.tBodies[0].replaceChildren(...this.files.map((item) => this.row(item)));
  }

  row(item) {
    const role = h("select", { "aria-label": `${item.file.name} was taken of`, onchange: (e) => (item.role = e.target.value) });
    for (const [value, words] of ROLES) role.append(h("option", { value, selected: value === item.role }, words));
    const session = h("input", { "aria-label": `power-up of ${item.file.name}`, size: 8, placeholder: "first", value: item.session,
      oninput: (e) => (item.session = e.target.value) });
    const remove = () => { this.files = this.files.filter((other) => other !== item); this.show(); };
    return h("tr", {}, h("td", {}, item.file.name), h("td", {}, role), h("td", {}, session),
      h("td", {}, h("button", { type: "button", onclick: remove }, "Remove", h("span", { class: "hidden" }, ` ${item.file.name}`))));
  }

  async sent() {
    const total = this.files.reduce((sum, item) => sum + item.file.size, 0);
    if (total > LARGEST) {
      notice(`These files have ${total >> 20} MiB together; add fewer at a time.`);
      return null;
    }
    return Promise.all(this.files.map(async ({ file, role, session }) => ({
      name: file.name, role, session: session || null, content: await base64(file) })));
  }

  clear() {
    this.files = [];
    this.show();
  }
}

function base64(file) {
  return new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result.slice(reader.result.indexOf(",") + 1));
    reader.onerror = () => reject(new Error(`${file.name}: the file can't be read`));
    reader.readAsDataURL(file);
  });
}
