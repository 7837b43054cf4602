// Bytes of a range: as hex and characters, as text, or as dots; and against any other source, with what differs marked.

import * as api from "./api.js";
import { fill, h, hex, notice, plural } from "./dom.js";

const VIEWS = ["Hex", "Text", "Dots"];
let view = "Hex";
let other = { source: "", first: null };
let strip = 64;

export function bytesTab(panel, bench) {
  const { range } = bench;
  const change = (values) => { Object.assign(range, values); bytesTab(panel, bench); };
  const number = (text, otherwise) => { const value = parseInt(text, 16); return Number.isFinite(value) && value >= 0 ? value : otherwise; };
  const sources = sourcesOf(bench);
  const from = h("input", { size: 8, value: bench.at(range.first), class: "mono", onchange: (e) => change({ first: number(e.target.value, range.first) }) });
  const fields = h("div", { class: "fields" },
    h("label", {}, "Source", picker(sources, range.source, (source) => change({ source }))),
    h("label", {}, range.source.startsWith("image") ? "Offset" : "Address", from),
    h("label", {}, "Bytes", picker([16, 64, 256, 512, 1024, 2048, 4096, range.count].sort((a, b) => a - b).map((n) => [String(n), String(n)]), String(range.count), (n) => change({ count: Number(n) }))),
    h("label", {}, "As", picker(VIEWS.map((v) => [v, v]), view, (v) => { view = v; bytesTab(panel, bench); })),
    h("label", {}, "Against", picker([["", "nothing"], ...sources], other.source, (source) => { other = { source, first: other.first ?? range.first }; bytesTab(panel, bench); })),
    other.source ? h("label", {}, "its address or offset", h("input", { size: 8, class: "mono", value: bench.at(other.first),
      onchange: (e) => { other.first = number(e.target.value, other.first); bytesTab(panel, bench); } })) : null);
  const place = h("div", { "aria-live": "polite" }, h("p", { class: "soft" }, "Reading …"));
  fill(panel, fields, place);
  load(bench, range, place).catch((error) => notice(error.message));
}

function picker(options, chosen, changed) {
  const seen = new Map(options.map(([value, words]) => [value, words]));
  return h("select", { onchange: (e) => changed(e.target.value) },
    [...seen].map(([value, words]) => h("option", { value, selected: value === chosen }, words)));
}

function sourcesOf(bench) {
  const images = bench.data.record.functions.filter((f) => f.image).map((f) => [`image:${f.number}`, f.image.file]);
  const readings = bench.data.readings.map((r, i) => [`reading:${i}`, r.pass > 1 ? `${r.name}, pass ${r.pass}` : r.name]);
  return [["all", "all readings together"], ...images, ...readings];
}

async function load(bench, range, place) {
  const a = await api.bytes(bench.name, range.source, range.first, range.count);
  const b = other.source ? await api.bytes(bench.name, other.source, other.first, range.count) : null;
  const shown = { Hex: hexView, Text: textView, Dots: dotsView }[view](bench, range, a, b);
  fill(place, b ? h("p", {}, h("strong", {}, difference(a, b, range.count))) : null, shown,
    h("p", { class: "soft small" }, "·· was never seen; outlined bytes differ between readings or are in doubt; wavy ones differ from the other source."));
}

function difference(a, b, count) {
  let differing = 0;
  let compared = 0;
  for (let i = 0; i < count; i += 1) {
    if (!a.state[i] || !b.state[i]) continue;
    compared += 1;
    differing += a.value[i] !== b.value[i];
  }
  return `${differing ? `${differing} of ${plural(compared, "byte")} differ.` : `All of ${plural(compared, "byte")} are the same.`}`;
}

function hexView(bench, range, a, b) {
  const lines = [];
  for (let start = 0; start < range.count; start += 16) {
    lines.push(`${bench.at(range.first + start)}  `);
    let text = " ";
    for (let i = start; i < start + 16; i += 1) {
      if (i >= range.count) lines.push("   ");
      else {
        const kind = [a.state[i] === 3 ? "differs" : "", b && a.state[i] && b.state[i] && a.value[i] !== b.value[i] ? "other" : ""].join(" ").trim();
        const digits = a.state[i] ? hex(a.value[i], 2) : "··";
        lines.push(kind ? h("span", { class: kind, title: b ? `other source: ${hex(b.value[i], 2)}` : null }, digits) : digits, " ");
        text += a.state[i] ? printable(a.value[i]) : " ";
      }
    }
    lines.push(`${text}\n`);
  }
  return h("div", { class: "hex mono", tabindex: 0, role: "region", "aria-label": "Bytes in hex" }, merged(lines));
}

// Joins neighbouring strings: a few long texts draw faster than many short ones.
function merged(parts) {
  const result = [];
  for (const part of parts) {
    if (typeof part === "string" && typeof result.at(-1) === "string") result[result.length - 1] += part;
    else result.push(part);
  }
  return result;
}

const printable = (value) => (value >= 0x20 && value < 0x7f ? String.fromCharCode(value) : ".");

function textView(bench, range, a) {
  let text = "";
  for (let i = 0; i < range.count; i += 1) {
    if (i % 64 === 0) text += `${i ? "\n" : ""}${bench.at(range.first + i)}  `;
    text += a.state[i] ? printable(a.value[i] & 0x7f) : "·";
  }
  return h("div", {}, h("p", { class: "soft small" }, "Bit 7 left off."), h("div", { class: "hex mono", tabindex: 0, role: "region", "aria-label": "Bytes as text" }, text));
}

function dotsView(bench, range, a) {
  const strips = Math.ceil(range.count / strip);
  const scale = Math.max(1, Math.min(6, Math.floor(400 / Math.max(strips * 9, strip))));
  const canvas = h("canvas", { width: strips * 9 * scale, height: strip * scale, role: "img", "aria-label": `The bits of ${plural(range.count, "byte")} as dots` });
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.fillStyle = "#12395e";
  for (let i = 0; i < range.count; i += 1) {
    for (let bit = 0; bit < 8; bit += 1) {
      if (a.value[i] & (0x80 >> bit)) pen.fillRect((Math.floor(i / strip) * 9 + bit) * scale, (i % strip) * scale, scale, scale);
    }
  }
  const height = h("input", { type: "number", min: 1, max: 512, value: strip });
  height.addEventListener("change", () => { strip = Math.max(1, Math.min(512, Number(height.value) || 64)); canvas.replaceWith(dotsView(bench, range, a).lastChild); });
  return h("div", {}, h("label", {}, "Bytes down a strip ", height), canvas);
}
