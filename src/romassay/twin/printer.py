"""The twin's own printer: passes over the bus to the text that a host would have sent down the line."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from romassay.twin.layout import Layout, Sum, Terminal, fitted

Pass = Sequence[tuple[int, bytes]]
"""What one pass saw: (first address, bytes) in the order of time."""

_FORMATS = {16: "x", 10: "d", 8: "o"}


def number(value: int, base: int, digits: int, upper: bool) -> str:
    """Return a number, zero-padded to so many digits."""
    text = format(value, f"0{digits}{_FORMATS[base]}") if digits else format(value, _FORMATS[base])
    return text.upper() if upper else text


def _width(base: int, word: int) -> int:
    return {(16, 1): 2, (16, 2): 4, (8, 1): 3, (8, 2): 6, (10, 1): 3, (10, 2): 5}[base, word]


def line_sum(kind: Sum, data: Iterable[int]) -> tuple[int, int]:
    """Return a line's sum and the bytes it takes."""
    items = list(data)
    total = sum(items)
    if kind == "xor":
        result = 0
        for item in items:
            result ^= item
        return result, 1
    return {
        "sum-8": (total & 0xFF, 1),
        "sum-16": (total & 0xFFFF, 2),
        "twos-complement": (-total & 0xFF, 1),
        "ones-complement": (~total & 0xFF, 1),
    }[kind]


def _cells(layout: Layout) -> Callable[[bytes], list[str]]:
    """Return the function that turns a line's bytes to columns."""
    digits = _width(layout.cell_base, 1) if layout.padded else 0
    table = [layout.cell_before + number(v, layout.cell_base, digits, layout.upper) for v in range(256)]
    if layout.word == 1:
        return lambda data: [table[value] for value in data]
    order: Literal["little", "big"] = "little" if layout.low_first else "big"
    digits = _width(layout.cell_base, 2) if layout.padded else 0

    def words(data: bytes) -> list[str]:
        pairs = [data[i : i + 2] for i in range(0, len(data), 2)]
        return [
            layout.cell_before + number(int.from_bytes(pair, order), layout.cell_base, digits, layout.upper)
            if len(pair) == 2
            else table[pair[0]]
            for pair in pairs
        ]

    return words


def _chunks(layout: Layout, first: int, data: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at < len(data):
        room = layout.per_line - (first + at) % layout.per_line if layout.aligned else layout.per_line
        yield first + at, data[at : at + room]
        at += room


def _columns(layout: Layout, columns: list[str]) -> str:
    if not layout.gap:
        return layout.between.join(columns)
    half = max(1, layout.per_line // layout.word // 2)
    left, right = columns[:half], columns[half:]
    return layout.gap.join(layout.between.join(side) for side in (left, right) if side)


def _sum_text(layout: Layout, kind: Sum, address: int, data: bytes) -> str:
    counted = [address >> 8 & 0xFF, address & 0xFF, *data] if layout.sum_with_address else list(data)
    value, size = line_sum(kind, counted)
    return layout.sum_before + number(value, layout.cell_base, _width(layout.cell_base, size), layout.upper)


def _dump_lines(layout: Layout, passed: Pass) -> Iterator[str]:
    cells = _cells(layout)
    shown = 0
    page = 1
    full = len(_columns(layout, cells(bytes(layout.per_line)))) if layout.padded else 0
    for first, data in passed:
        if layout.prompt:
            yield layout.prompt + _command(layout, first, first + len(data) - 1)
        for row, (address, line) in enumerate(_chunks(layout, first, data)):
            if layout.page and shown % layout.page == 0:
                yield layout.heading.format(page=page)
                page += 1
            if layout.blank and shown and shown % layout.blank == 0:
                yield ""
            text = layout.before + number(address, layout.base, layout.digits, layout.upper) + layout.after
            if row % layout.every:
                text = " " * len(text)
            text += _columns(layout, cells(line))
            if layout.gutter is not None:
                seen = "".join(chr(value) if 0x20 <= value < 0x7F else layout.dot for value in line)
                head = len(layout.before) + len(layout.after) + max(layout.digits, 1)
                text = text.ljust(head + full) + layout.gutter + seen + layout.gutter_after
            if layout.sum is not None:
                text += _sum_text(layout, layout.sum, address, line)
            yield text + layout.trailing
            shown += 1


def _command(layout: Layout, first: int, last: int) -> str:
    ends = {
        name: number(value, layout.base, layout.digits, layout.upper)
        for name, value in (("first", first), ("last", last))
    }
    return layout.command.format(**ends)


def _intel_record(kind: int, offset: int, data: bytes) -> str:
    body = bytes([len(data), offset >> 8, offset & 0xFF, kind]) + data
    return ":" + (body + bytes([-sum(body) & 0xFF])).hex().upper()


def _intel_lines(layout: Layout, passed: Pass) -> Iterator[str]:
    upper = 0
    for first, data in passed:
        for address, line in _chunks(layout, first, data):
            if address >> 16 != upper:
                upper = address >> 16
                yield _intel_record(4, 0, upper.to_bytes(2, "big"))
            yield _intel_record(0, address & 0xFFFF, line)
    yield _intel_record(1, 0, b"")


def _tape_lines(layout: Layout, passed: Pass) -> Iterator[str]:
    """Records of the 6502 family: count, address, data and the 16-bit sum of all; the last one counts the records."""
    count = 0
    for first, data in passed:
        for address, line in _chunks(layout, first, data):
            body = bytes([len(line), address >> 8, address & 0xFF]) + line
            yield ";" + (body + sum(body).to_bytes(2, "big")).hex().upper()
            count += 1
    closing = bytes([0, count >> 8 & 0xFF, count & 0xFF])
    yield ";" + (closing + (sum(closing) & 0xFFFF).to_bytes(2, "big")).hex().upper()


def log_lines(passes: Iterable[Pass], layout: Layout) -> Iterator[str]:
    """Yield the lines of a log, without line ends."""
    yield from layout.banner
    lines = {"dump": _dump_lines, "intel-hex": _intel_lines, "paper-tape": _tape_lines}[layout.style]
    for passed in passes:
        yield from lines(layout, passed)
    yield from layout.closing


@dataclass(frozen=True, slots=True)
class _Dress:
    layout: Layout
    terminal: Terminal

    def line(self, text: str) -> str:
        prompt = self.layout.prompt
        if prompt and text.startswith(prompt):
            rest = text[len(prompt) :]
            if self.terminal.typos and len(rest) > 2:
                rest = rest[:-1] + "?\b \b" + rest[-1]
            text = f"\x1b[1;32m{prompt}\x1b[0m{rest}" if self.terminal.colour else prompt + rest
        return text + self.terminal.newline + "\0" * self.terminal.nuls


def with_parity(data: bytes, parity: str) -> bytes:
    """Return 7-bit characters with bit 7 as a parity line leaves it."""
    if parity == "none":
        return data
    if parity == "mark":
        return bytes(c | 0x80 for c in data)
    odd = 1 if parity == "odd" else 0
    return bytes(c | 0x80 if (c & 0x7F).bit_count() & 1 != odd else c & 0x7F for c in data)


def print_log(
    passes: Iterable[Pass], layout: Layout, *, address_bits: int = 16, terminal: Terminal | None = None
) -> bytes:
    """Return the log of one or more passes as the bytes of a file.

    Args:
        passes: what each pass saw.
        layout: how the host prints.
        address_bits: lines of the bus: addresses get the digits they need.
        terminal: what lies between the host and the file.
    """
    terminal = terminal or Terminal()
    dress = _Dress(fitted(layout, address_bits), terminal)
    text = "".join(dress.line(line) for line in log_lines(passes, dress.layout))
    if terminal.colour:
        text = "\x1b[2J\x1b[H" + text
    text = text[terminal.cut_head : len(text) - terminal.cut_tail]
    return with_parity(text.encode(terminal.encoding), terminal.parity)
