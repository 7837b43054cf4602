// The address map on a canvas: rows of a power of two of addresses, so that a bus line is a step to the side or down.
// Only what is in sight is drawn; a row costs no more than its pixels, however many regions it holds.

import { hex } from "./dom.js";

const MARGIN = 78;
const FINEST = 16;
const READABLE = 16; // units across a cell in which two digits can be read
const BLOCK = 4096;
const DARK = matchMedia("(prefers-color-scheme: dark)");
// Of each kind: back, shape, letters, ink of the shape.
const ON_LIGHT = {
  rom: ["#12395e", null, "#fff"],
  mirror: ["#3f6f9e", null, "#fff"],
  ram: ["#fbe3b0", "M0 8L8 0", "#000", "#6a4a00"],
  registers: ["#f4d3e6", "dots", "#000", "#6b2250"],
  "open-bus": ["#f1f1f1", "M0 7.5L8 7.5", "#000", "#cfcfcf"],
  host: ["#dcdcdc", "cross", "#000", "#8a8a8a"],
  contended: ["#ffd9d6", "grid", "#000", "#8c1a1a"],
  unknown: ["#ffffff", "M0 0L8 8", "#000", "#777777"],
  unread: ["#ffffff", null, "#000"],
  once: ["#cfe0f0", "M0 0L8 8", "#000", "#5b86b0"],
  heard: ["#2f6da3", null, "#fff"],
  differing: ["#ffd9d6", "grid", "#000", "#8c1a1a"],
};
const ON_DARK = {
  rom: ["#9cc6f5", null, "#000"],
  mirror: ["#5e93c6", null, "#000"],
  ram: ["#3d3010", "M0 8L8 0", "#fff", "#d9b04e"],
  registers: ["#43203a", "dots", "#fff", "#e39ac4"],
  "open-bus": ["#1d2228", "M0 7.5L8 7.5", "#fff", "#39424b"],
  host: ["#2b3138", "cross", "#fff", "#6b7681"],
  contended: ["#521d1b", "grid", "#fff", "#ff9a94"],
  unknown: ["#15181c", "M0 0L8 8", "#fff", "#8a949e"],
  unread: ["#15181c", null, "#fff"],
  once: ["#22384d", "M0 0L8 8", "#fff", "#7fb0de"],
  heard: ["#9cc6f5", null, "#000"],
  differing: ["#521d1b", "grid", "#fff", "#ff9a94"],
};
const kinds = () => (DARK.matches ? ON_DARK : ON_LIGHT);
const plate = () => (DARK.matches ? "#15181c" : "#fff");

export function swatch(kind) {
  const canvas = document.createElement("canvas");
  canvas.width = 24;
  canvas.height = 14;
  const pen = canvas.getContext("2d");
  pen.fillStyle = fillOf(pen, kind);
  pen.fillRect(0, 0, 24, 14);
  pen.strokeStyle = DARK.matches ? "#a8b2bd" : "#000";
  pen.strokeRect(0.5, 0.5, 23, 13);
  canvas.setAttribute("aria-hidden", "true");
  return canvas;
}

function fillOf(pen, kind) {
  const [back, shape, , ink] = kinds()[kind];
  if (!shape) return back;
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const t = tile.getContext("2d");
  t.fillStyle = back;
  t.fillRect(0, 0, 8, 8);
  t.strokeStyle = t.fillStyle = ink;
  t.lineWidth = 1.2;
  if (shape === "dots") {
    t.fillRect(2, 2, 2, 2);
    t.fillRect(6, 6, 2, 2);
  } else {
    const paths = { cross: "M0 0L8 8M0 8L8 0", grid: "M0 4L8 4M4 0L4 8" };
    t.stroke(new Path2D(paths[shape] ?? shape));
  }
  return pen.createPattern(tile, "repeat");
}

export class AddressMap {
  // hooks: moved(cursor, selection), opened(selection), wanted(first, count) -> Promise of {value, state}
  constructor(canvas, hooks) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d");
    this.hooks = hooks;
    this.regions = [];
    this.cursor = 0;
    this.anchor = null;
    this.top = 0;
    this.frames = 0;
    this.whole = false; // all of the window is meant to be in sight
    this.blocks = new Map();
    new ResizeObserver(() => this.resized()).observe(canvas);
    canvas.addEventListener("keydown", (event) => this.key(event));
    canvas.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    canvas.addEventListener("pointerdown", (event) => this.press(event));
    canvas.addEventListener("pointermove", (event) => this.drag(event));
    canvas.addEventListener("pointerup", () => (this.dragging = false));
    DARK.addEventListener("change", () => {
      this.fills = null;
      this.later();
    });
  }

  load(regions, bits) {
    this.regions = regions;
    this.bits = bits;
    this.digits = Math.max(4, Math.ceil(bits / 4));
    this.fills = null;
    this.blocks.clear();
    this.fit();
  }

  // Regions of the same extent with other kinds: the view stays as it is.
  renew(regions) {
    this.regions = regions;
    this.blocks.clear();
    this.later();
  }

  fit() {
    if (!this.regions.length) return this.later();
    this.whole = true;
    this.perRow = 256;
    for (;;) {
      this.arrange();
      if (this.count * 10 <= this.height || this.perRow >= 1 << 22) break;
      this.perRow *= 2;
    }
    this.top = 0;
    this.later();
  }

  // Runs of rows in which anything was read: [first row, last row, index of the first one].
  arrange() {
    const runs = [];
    let count = 0;
    for (const [first, last] of this.regions) {
      let a = Math.floor(first / this.perRow);
      const b = Math.floor(last / this.perRow);
      const end = runs.at(-1);
      if (end && a <= end[1] + 1) {
        count += Math.max(0, b - end[1]);
        end[1] = Math.max(end[1], b);
      } else {
        runs.push([a, b, count]);
        count += b - a + 1;
      }
    }
    this.runs = runs;
    this.count = count;
    this.rowHeight = this.perRow <= 32 ? 20 : Math.max(10, Math.min(24, this.height / Math.max(1, count)));
  }

  rowAt(index) {
    let low = 0;
    let high = this.runs.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (this.runs[middle][2] <= index) low = middle;
      else high = middle - 1;
    }
    const run = this.runs[low];
    return run[0] + index - run[2];
  }

  indexOf(row) {
    for (const [first, last, index] of this.runs) {
      if (row < first) return index;
      if (row <= last) return index + row - first;
    }
    return this.count - 1;
  }

  regionAt(address) {
    let low = 0;
    let high = this.regions.length - 1;
    while (low <= high) {
      const middle = (low + high) >> 1;
      if (this.regions[middle][1] < address) low = middle + 1;
      else if (this.regions[middle][0] > address) high = middle - 1;
      else return middle;
    }
    return -1;
  }

  get height() {
    return this.canvas.clientHeight - 22;
  }

  get width() {
    return this.canvas.clientWidth - MARGIN - 6;
  }

  resized() {
    const scale = devicePixelRatio || 1;
    this.canvas.width = Math.round(this.canvas.clientWidth * scale);
    this.canvas.height = Math.round(this.canvas.clientHeight * scale);
    this.pen.setTransform(scale, 0, 0, scale, 0, 0);
    this.fills = null;
    if (this.regions.length && this.whole) this.refit();
    else if (this.regions.length) this.arrange();
    this.later();
  }

  // The whole window again in another room; what is said of the scale follows.
  refit() {
    const before = this.perRow;
    this.fit();
    if (this.perRow !== before) this.hooks.moved(this.cursor, this.selection());
  }

  later() {
    if (this.pending) return;
    this.pending = requestAnimationFrame(() => {
      this.pending = 0;
      this.draw();
    });
  }

  draw() {
    const { pen } = this;
    const style = getComputedStyle(this.canvas);
    this.ink = style.getPropertyValue("--ink");
    this.soft = style.getPropertyValue("--soft");
    this.accent = style.getPropertyValue("--accent");
    pen.clearRect(0, 0, this.canvas.clientWidth, this.canvas.clientHeight);
    if (!this.regions.length || this.width <= 0) return;
    this.frames += 1;
    this.fills ??= Object.fromEntries(Object.keys(kinds()).map((kind) => [kind, fillOf(pen, kind)]));
    this.top = Math.max(0, Math.min(this.top, this.count - this.height / this.rowHeight));
    this.ruler();
    const first = Math.floor(this.top);
    const last = Math.min(this.count - 1, Math.ceil(this.top + this.height / this.rowHeight));
    pen.save();
    pen.beginPath();
    pen.rect(0, 20, this.canvas.clientWidth, this.height);
    pen.clip();
    for (let index = first; index <= last; index += 1) this.row(index, 20 + (index - this.top) * this.rowHeight);
    this.marks();
    pen.restore();
  }

  ruler() {
    const { pen } = this;
    pen.fillStyle = this.soft;
    pen.font = "11px monospace";
    pen.textAlign = "left";
    for (let eighth = 0; eighth < 8; eighth += 1) {
      const x = MARGIN + (eighth * this.width) / 8;
      pen.fillText(`+${hex((eighth * this.perRow) / 8, 3)}`, x + 2, 13);
      pen.fillRect(x, 3, 1, 15);
    }
  }

  row(index, y) {
    const { pen, perRow, width } = this;
    const row = this.rowAt(index);
    const start = row * perRow;
    const height = this.rowHeight - (this.rowHeight > 6 ? 2 : 0);
    pen.font = "11px monospace";
    pen.fillStyle = this.soft;
    pen.textAlign = "right";
    if (this.rowHeight >= 10) pen.fillText(hex(start, this.digits), MARGIN - 6, y + height / 2 + 4);
    let at = this.lowest(start);
    const cell = width / perRow;
    while (at < this.regions.length && this.regions[at][0] < start + perRow) {
      const [first, last, kind, letter, , mirror] = this.regions[at];
      const x = MARGIN + Math.max(0, first - start) * cell;
      const end = MARGIN + Math.min(perRow, last + 1 - start) * cell;
      pen.fillStyle = this.fills[mirror ? "mirror" : kind];
      pen.fillRect(x, y, Math.max(1, end - x), height);
      if (kind !== "open-bus" && end - x > 3) {
        pen.strokeStyle = this.soft;
        pen.lineWidth = 1;
        pen.strokeRect(x + 0.5, y + 0.5, end - x - 1, height - 1);
      }
      if (letter && first >= start && end - x > 14 && height >= 9 && cell < READABLE) this.letter(kind, letter, (x + end) / 2, y + height / 2);
      at = end - x < 1 ? this.lowest(Math.max(last + 1, start + Math.ceil((x + 1 - MARGIN) / cell))) : at + 1;
    }
    if (cell >= READABLE) this.bytes(start, y, height, cell);
  }

  // The first region that ends at an address or behind it.
  lowest(address) {
    let low = 0;
    let high = this.regions.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.regions[middle][1] < address) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  letter(kind, letter, x, y) {
    const { pen } = this;
    pen.font = "bold 11px monospace";
    pen.textAlign = "center";
    if (kind !== "rom") {
      pen.fillStyle = plate();
      pen.fillRect(x - 5 * letter.length, y - 6, 10 * letter.length, 12);
    }
    pen.fillStyle = kinds()[kind][2];
    pen.fillText(letter, x, y + 4);
  }

  bytes(start, y, height, cell) {
    const { pen } = this;
    const block = this.block(Math.floor(start / BLOCK) * BLOCK);
    if (!block) return;
    pen.textAlign = "center";
    for (let i = 0; i < this.perRow; i += 1) {
      const at = (start + i) % BLOCK;
      const state = block.state[at];
      if (!state) continue;
      const region = this.regionAt(start + i);
      pen.font = `${state === 3 ? "bold " : ""}${cell < 20 ? 11 : 12}px monospace`;
      const x = MARGIN + (i + 0.5) * cell;
      if (region >= 0 && this.regions[region][2] !== "rom") {
        pen.fillStyle = plate();
        pen.fillRect(x - 8, y + height / 2 - 7, 16, 14);
      }
      pen.fillStyle = region >= 0 ? kinds()[this.regions[region][2]][2] : this.ink;
      pen.fillText(hex(block.value[at], 2), x, y + height / 2 + 4);
      if (state === 3) {
        pen.strokeStyle = "#d7191c";
        pen.lineWidth = 2;
        pen.strokeRect(x - cell / 2 + 1, y + 1, cell - 2, height - 2);
      }
    }
  }

  block(first) {
    const known = this.blocks.get(first);
    if (known !== undefined) return known;
    this.blocks.set(first, null);
    this.hooks.wanted(first, BLOCK).then(
      (content) => {
        this.blocks.set(first, content);
        this.later();
      },
      () => this.blocks.delete(first),
    );
    return null;
  }

  marks() {
    const { pen } = this;
    if (this.anchor !== null) {
      const [a, b] = this.selection();
      pen.strokeStyle = this.accent;
      pen.lineWidth = 3;
      for (const [x, y, wide] of this.boxes(a, b)) pen.strokeRect(x, y, wide, this.rowHeight - 2);
    }
    const cell = this.width / this.perRow;
    const [x, y] = this.place(this.cursor);
    const wide = Math.max(7, cell);
    pen.lineWidth = 5;
    pen.strokeStyle = "#fff";
    pen.strokeRect(x - (wide - cell) / 2, y - 1, wide, this.rowHeight);
    pen.lineWidth = 2;
    pen.strokeStyle = "#000";
    pen.strokeRect(x - (wide - cell) / 2, y - 1, wide, this.rowHeight);
  }

  *boxes(a, b) {
    const firstRow = Math.max(Math.floor(a / this.perRow), this.rowAt(Math.floor(this.top)));
    const lastShown = this.rowAt(Math.min(this.count - 1, Math.ceil(this.top + this.height / this.rowHeight)));
    const lastRow = Math.min(Math.floor(b / this.perRow), lastShown);
    for (let row = firstRow; row <= lastRow; row += 1) {
      const from = Math.max(a, row * this.perRow);
      const to = Math.min(b, (row + 1) * this.perRow - 1);
      const [x, y] = this.place(from);
      yield [x, y, ((to - from + 1) * this.width) / this.perRow];
    }
  }

  place(address) {
    const index = this.indexOf(Math.floor(address / this.perRow));
    return [MARGIN + ((address % this.perRow) * this.width) / this.perRow, 20 + (index - this.top) * this.rowHeight];
  }

  addressAt(x, y) {
    const index = Math.max(0, Math.min(this.count - 1, Math.floor((y - 20) / this.rowHeight + this.top)));
    const inside = Math.floor(((x - MARGIN) * this.perRow) / this.width);
    return this.rowAt(index) * this.perRow + Math.max(0, Math.min(this.perRow - 1, inside));
  }

  selection() {
    return this.anchor === null ? null : [Math.min(this.anchor, this.cursor), Math.max(this.anchor, this.cursor)];
  }

  select(first, last) {
    this.anchor = first;
    this.go(last, true);
    this.show(first);
  }

  go(address, keep = false) {
    const most = 2 ** this.bits - 1;
    if (!keep) this.anchor = null;
    this.cursor = Math.max(0, Math.min(most, address));
    this.show(this.cursor);
    this.hooks.moved(this.cursor, this.selection());
    this.later();
  }

  show(address) {
    if (!this.regions.length) return;
    const index = this.indexOf(Math.floor(address / this.perRow));
    const rows = Math.floor(this.height / this.rowHeight);
    if (index < this.top) this.top = index;
    if (index > this.top + rows - 1) this.top = index - rows + 1;
    this.later();
  }

  zoom(finer) {
    const wanted = finer ? this.perRow / 2 : this.perRow * 2;
    if (wanted < FINEST || wanted > 1 << 22) return;
    const before = this.indexOf(Math.floor(this.cursor / this.perRow)) - this.top;
    this.perRow = wanted;
    this.whole = false;
    this.arrange();
    const rows = this.height / this.rowHeight;
    this.top = this.indexOf(Math.floor(this.cursor / this.perRow)) - Math.max(0, Math.min(rows - 1, before));
    this.hooks.moved(this.cursor, this.selection());
    this.later();
  }

  key(event) {
    const rows = Math.max(1, Math.floor(this.height / this.rowHeight) - 1);
    const aside = this.perRow >= 128 ? this.perRow / 64 : 1;
    const steps = { ArrowLeft: -aside, ArrowRight: aside, ArrowUp: -this.perRow, ArrowDown: this.perRow,
      PageUp: -this.perRow * rows, PageDown: this.perRow * rows };
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key in steps) this.step(steps[event.key], event.shiftKey);
    else if (event.key === "+" || event.key === "=") this.zoom(true);
    else if (event.key === "-") this.zoom(false);
    else if (event.key === "Home") this.go(this.regions[0][0], event.shiftKey);
    else if (event.key === "End") this.go(this.regions.at(-1)[1], event.shiftKey);
    else if (event.key === "n" || event.key === "p") this.next(event.key === "n" ? 1 : -1);
    else if (event.key === "Enter") this.hooks.opened(this.selection() ?? this.regionRange());
    else return;
    event.preventDefault();
  }

  step(by, keep) {
    if (keep && this.anchor === null) this.anchor = this.cursor;
    let wanted = this.cursor + by;
    if (Math.abs(by) >= this.perRow && this.regionAt(wanted) < 0) {
      const index = this.indexOf(Math.floor(this.cursor / this.perRow)) + Math.round(by / this.perRow);
      wanted = this.rowAt(Math.max(0, Math.min(this.count - 1, index))) * this.perRow + (this.cursor % this.perRow);
    }
    this.go(wanted, keep);
  }

  next(by) {
    const at = this.regionAt(this.cursor);
    const region = this.regions[Math.max(0, Math.min(this.regions.length - 1, (at < 0 ? this.lowest(this.cursor) : at) + by))];
    if (region) this.go(region[0]);
  }

  regionRange() {
    const at = this.regionAt(this.cursor);
    return at < 0 ? [this.cursor, this.cursor] : [this.regions[at][0], this.regions[at][1]];
  }

  wheel(event) {
    event.preventDefault();
    if (event.ctrlKey) return this.zoom(event.deltaY < 0);
    this.top += event.deltaY / this.rowHeight / (event.deltaMode === 1 ? 0.06 : 1);
    this.later();
  }

  press(event) {
    if (!this.regions.length) return;
    this.canvas.setPointerCapture(event.pointerId);
    this.dragging = true;
    const address = this.addressAt(event.offsetX, event.offsetY);
    if (event.shiftKey) {
      this.anchor ??= this.cursor;
      this.go(address, true);
    } else this.go(address);
  }

  drag(event) {
    if (!this.dragging) return;
    const address = this.addressAt(event.offsetX, event.offsetY);
    if (address === this.cursor) return;
    this.anchor ??= this.cursor;
    this.go(address, true);
  }
}
