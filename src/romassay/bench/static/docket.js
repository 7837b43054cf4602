// One docket: the map on the left, details on the right. What is shown always comes from the last overview.

import { Adding } from "./adding.js";
import * as api from "./api.js";
import { codeTab } from "./code.js";
import { captureForm, follow } from "./capturing.js";
import { bytesTab } from "./bytes.js";
import { decodeTab } from "./decode.js";
import { byId, fill, h, hex, notice, plural } from "./dom.js";
import { doubtsTab } from "./doubts.js";
import { findingsTab } from "./findings.js";
import { logsTab } from "./logs.js";
import { AddressMap, swatch } from "./map.js";

const name = decodeURIComponent(location.pathname.split("/").pop());

const bench = {
  name,
  data: null,
  tab: "Decode",
  range: null,
  map: null,
  digits: 4,
  at(address) {
    return hex(address, bench.digits);
  },
  take(data) {
    bench.data = data;
    bench.digits = Math.max(4, Math.ceil(data.address_bits / 4));
    show();
  },
  // Runs a change; while it lasts the page says so, and a refusal is shown in one line.
  async change(work) {
    notice("");
    document.body.classList.add("busy");
    try {
      const data = await work();
      if (data) bench.take(data);
      return true;
    } catch (error) {
      notice(error.message);
      return false;
    } finally {
      document.body.classList.remove("busy");
    }
  },
  bytes(source, first, count, heading) {
    bench.range = { source, first, count: Math.max(1, Math.min(count, 4096)), heading };
    openTab("Bytes");
  },
  tabs: null,
};

const TABS = { Decode: decodeTab, Bytes: bytesTab, Doubts: doubtsTab, Code: codeTab, Logs: logsTab, Findings: findingsTab };

function openTab(tab, focus = true) {
  bench.tab = tab;
  showTabs();
  if (focus) byId("panel").focus({ preventScroll: true });
}

function showTabs() {
  const names = Object.keys(TABS);
  const counts = { Doubts: doubtCount(), Findings: bench.data.findings.length };
  const buttons = names.map((tab, index) =>
    h("button", {
      role: "tab", id: `tab-${tab}`, "aria-selected": String(tab === bench.tab), "aria-controls": "panel",
      tabindex: tab === bench.tab ? 0 : -1,
      onclick: () => openTab(tab, false),
      onkeydown: (event) => {
        const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
        if (!by) return;
        event.preventDefault();
        openTab(names[(index + by + names.length) % names.length], false);
        byId(`tab-${bench.tab}`).focus();
      },
    }, counts[tab] ? `${tab} (${counts[tab]})` : tab));
  fill(byId("tabs"), buttons);
  const panel = byId("panel");
  panel.setAttribute("aria-labelledby", `tab-${bench.tab}`);
  TABS[bench.tab](panel, bench);
}

function doubtCount() {
  return bench.data.record.functions.reduce((sum, f) => sum + (f.image ? f.image.doubtful.length : 0), 0);
}

function show() {
  const { data } = bench;
  document.title = `${data.name}: ${data.record.verdict}`;
  byId("name").textContent = data.name;
  const [word, ...rest] = data.headline.split(":");
  fill(byId("verdict"), h("span", { class: `word ${data.record.verdict}` }, word), h("strong", {}, rest.join(":").trim()), " ",
    h("span", { class: "soft" }, [data.because, data.besides].filter(Boolean).join(" ")));
  const files = data.record.functions.filter((f) => f.image).flatMap((f) => [f.image.file, f.image.file.replace(/bin$/, "hex")]);
  fill(byId("exports"), adders(),
    [...files.slice(0, 4), "report.html", "assay.json"].map((file) =>
      h("a", { href: api.fileAddress(name, file), download: "" }, `Save ${file}`)));
  const kinds = new Map(data.regions.map(([, , kind, letter, what]) => [`${kind} ${letter}`, [kind, letter, what]]));
  fill(byId("legend"), [...kinds.values()].map(([kind, letter, what]) => h("li", {}, swatch(kind), `${letter} ${/\d$/.test(letter) ? what : what.replace(/ \d+$/, "")}`.trim())));
  const { cursor } = bench.map;
  bench.map.load(data.regions, data.address_bits);
  const rom = data.record.functions.find((f) => f.image && f.copies.length);
  bench.range ??= rom ? { source: `image:${rom.number}`, first: 0, count: Math.min(rom.size, 1024) } : { source: "all", first: data.regions[0]?.[0] ?? 0, count: 256 };
  bench.map.go(bench.shown ? cursor : rom ? rom.image.first : (data.regions[0]?.[0] ?? 0));
  bench.shown = true;
  showTabs();
}

// What adds readings: there before anything was found, too.
function adders() {
  return [
    h("button", { onclick: () => byId("add").showModal() }, "Add readings"),
    h("button", { onclick: () => byId("host").showModal() }, "Read a host"),
  ];
}

function functionAt(address) {
  const at = bench.map.regionAt(address);
  const region = at < 0 ? null : bench.data.record.regions[at];
  return { region, owner: region && region.function !== null ? bench.data.record.functions[region.function] : null };
}

let asked = 0;

async function moved(cursor, selection) {
  if (!bench.data || bench.map.regions !== bench.data.regions) {
    byId("cursor").textContent = bench.at(cursor);
    return;
  }
  byId("scale").textContent = `${plural(bench.map.perRow, "address").replace("addresss", "addresses")} a row`;
  const { region, owner } = functionAt(cursor);
  const words = [bench.at(cursor)];
  if (!region) words.push("not read");
  else words.push(bench.data.regions[bench.map.regionAt(cursor)][4]);
  if (owner && region.copy !== null && owner.copies[region.copy]) {
    const { first } = owner.copies[region.copy];
    words.push(`${first === owner.image?.first || owner.copies.length === 1 ? "its first place" : "mirror"} at ${bench.at(first)}`, `offset ${bench.at(cursor - first)}`);
  }
  if (selection) words.push(`${plural(selection[1] - selection[0] + 1, "byte")} selected, ${bench.at(selection[0])}-${bench.at(selection[1])}`);
  byId("cursor").textContent = `${words[0]}: ${words.slice(1).join(", ")}`;
  lineButtons(cursor, owner);
  const turn = (asked += 1);
  await new Promise((resolve) => setTimeout(resolve, 90));
  if (turn !== asked || !region) return;
  const { value, state } = await api.bytes(name, "all", cursor, 1);
  if (turn !== asked) return;
  const said = ["never seen", "seen once", "readings agree", "readings differ"][state[0]];
  byId("cursor").textContent += state[0] ? `, ${hex(value[0], 2)} (${said})` : ` (${said})`;
}

function lineButtons(cursor, owner) {
  const place = byId("lines");
  const signs = { 1: "1", 0: "0", any: "x", unknown: "?" };
  const names = { 1: "must be 1", 0: "must be 0", any: "don't care", unknown: "not exercised" };
  const focus = document.activeElement?.dataset?.line;
  const buttons = [];
  for (let line = bench.data.address_bits - 1; line >= 0; line -= 1) {
    const level = owner?.decode[`A${line}`];
    const set = Math.floor(cursor / 2 ** line) % 2 === 1;
    const says = owner ? (level === undefined ? "its own line" : names[level]) : "";
    buttons.push(h("button", {
      "data-line": line, "aria-pressed": String(set), "aria-label": `A${line} is ${set ? 1 : 0}${says ? `; for ${owner.title} it is ${says}` : ""}`,
      title: says, onclick: () => bench.map.go(cursor + (set ? -1 : 1) * 2 ** line),
    }, h("span", {}, `A${line}`), h("span", {}, owner ? (signs[level] ?? "·") : "\u00a0")));
  }
  fill(place, buttons);
  if (focus !== undefined) place.querySelector(`[data-line="${focus}"]`)?.focus();
}

bench.map = new AddressMap(byId("map"), {
  moved: (cursor, selection) => moved(cursor, selection).catch((error) => notice(error.message)),
  opened: ([first, last]) => bench.bytes("all", first, last - first + 1),
  wanted: (first, count) => api.bytes(name, "all", first, count),
});
window.romassayMap = bench.map;
byId("in").addEventListener("click", () => bench.map.zoom(true));
byId("out").addEventListener("click", () => bench.map.zoom(false));
byId("fit").addEventListener("click", () => bench.map.fit());

const adding = new Adding(document.body);
adding.changed = () => byId("add").open || byId("add").showModal();
byId("add-cancel").addEventListener("click", () => byId("add").close());
byId("add-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!adding.files.length) return;
  byId("add").close();
  if (await bench.change(async () => { const files = await adding.sent(); return files && api.assay(name, { files }); })) adding.clear();
});

// While a capture runs, the map shows what was heard; then the docket is shown as it is.
async function live() {
  const over = await follow(name, bench.map, bench.data?.address_bits ?? 16, async () => {
    await api.resume(name);
    await live();
  });
  if (over || bench.data) await bench.change(() => api.overview(name));
  if (over && !bench.data) byId("verdict").textContent = "Nothing is found yet. Add readings of the specimen, or read a host.";
}

api.dockets().then((found) => captureForm(byId("host-form"), found, async (wanted) => {
  byId("host").close();
  notice("");
  try {
    await api.capture(name, wanted);
    await live();
  } catch (error) {
    notice(error.message);
  }
})).catch((error) => notice(error.message));
byId("host-cancel").addEventListener("click", () => byId("host").close());

byId("name").textContent = name;
fill(byId("exports"), adders());
live().catch((error) => notice(error.message));
