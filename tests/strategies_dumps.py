"""Logs of dumps in layouts drawn at random, with the truth about every character: for the layout learner's tests.

The vocabulary is meant to be far wider than any one family of programs. Nothing here is shared with the code under
test.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from hypothesis import strategies as st

T = TypeVar("T")
Pick = Callable[[Sequence[Any]], Any]


@dataclass(frozen=True)
class Style:
    """How a host prints. `every`: address on each n-th line; 0 on a line of its own, -1 once, at the top."""

    lead: str = ""
    counter: str = ""
    base: int = 16
    digits: int = 4
    blank_padded: bool = False
    before: str = ""
    after: str = ": "
    every: int = 1
    indent: bool = True
    count: int = 16
    size: int = 1
    little: bool = False
    cell_base: int = 16
    cell_pad: str = "zeros"
    cell_before: str = ""
    cell_after: str = ""
    between: str = " "
    group: int = 0
    group_gap: str = "  "
    sum: str = ""
    sum_address: bool = False
    sum_base: int = 16
    sum_before: str = " "
    sum_after: str = ""
    sum_last: bool = False
    gutter: str | None = None
    gutter_after: str = ""
    dot: str = "."
    gutter_mask: bool = False
    upper: bool = True
    trailing: str = ""
    aligned: bool = False
    blanks_in_front: bool = False
    banner: tuple[str, ...] = ()
    prompt: str = ""
    echo: bool = False
    first_on_prompt: bool = False
    closing: str = ""
    page: int = 0
    heading: str = ""
    columns: bool = False
    blank: int = 0
    between_passes: str = "prompt"
    newline: str = "\n"
    final_newline: bool = True
    words_addressed: bool = False

    @property
    def order_shows(self) -> bool:
        """Whether anything in the log tells the order of bytes in a word."""
        return self.size == 1 or self.gutter is not None


@dataclass
class Log:
    """A log and the truth about it: for each character the address it belongs to and the pass, or None."""

    text: str = ""
    owner: list[tuple[int, int] | None] = field(default_factory=list)
    passes: list[dict[int, int]] = field(default_factory=list)

    def add(self, text: str, owner: tuple[int, int] | None = None) -> None:
        self.text += text
        self.owner += [owner] * len(text)


def _number(value: int, base: int, digits: int, pad: str, upper: bool) -> str:
    text = format(value, {16: "x", 10: "d", 8: "o"}[base])
    text = text.upper() if upper else text
    if pad == "zeros":
        return text.zfill(digits)
    if pad == "right":
        return text.rjust(digits)
    if pad == "left":
        return text.ljust(digits)
    return text


def _cell_digits(base: int, size: int) -> int:
    return len(format((1 << 8 * size) - 1, {16: "x", 10: "d", 8: "o"}[base]))


def line_sum(kind: str, items: Sequence[int]) -> int:
    """A line's sum, by the kinds of the trade."""
    total = sum(items)
    folded = 0
    for item in items:
        folded ^= item
    return {
        "sum8": total & 0xFF,
        "sum16": total & 0xFFFF,
        "twos": -total & 0xFF,
        "ones": ~total & 0xFF,
        "xor": folded,
        "twos16": -total & 0xFFFF,
    }[kind]


def _rows(style: Style, first: int, size: int) -> list[tuple[int, int, int]]:
    """(printed address, first address, count) of each line."""
    line = style.count * style.size
    rows = []
    at = first
    while at < first + size:
        room = line - at % line if style.aligned else line
        count = min(room, first + size - at)
        printed = at - at % line if style.aligned and style.blanks_in_front else at
        rows.append((printed, at, count))
        at += count
    return rows


def _stamp(style: Style, row: int) -> str:
    if style.counter == "number":
        return f"{row + 1:4d} "
    if style.counter == "plain-number":
        return f"{row + 1} "
    if style.counter == "time":
        return f"{12 + row // 3600:02d}:{row // 60 % 60:02d}:{row % 60:02d}.{row * 37 % 1000:03d} "
    if style.counter == "seconds":
        return f"[{row * 0.125 + 3.5:9.3f}] "
    return ""


def _address_text(style: Style, address: int) -> str:
    value = address // style.size if style.words_addressed else address
    pad = "right" if style.blank_padded else "zeros" if style.digits else ""
    return style.before + _number(value, style.base, style.digits, pad, style.upper)


def _cells(style: Style, log: Log, number: int, at: int, data: bytes, skip: int) -> None:
    digits = _cell_digits(style.cell_base, style.size)
    for i in range(0, len(data), style.size):
        place = i // style.size + skip
        if i:
            log.add(style.group_gap if style.group and place % style.group == 0 else style.between)
        part = data[i : i + style.size]
        value = int.from_bytes(part, "little" if style.little else "big")
        text = _number(value, style.cell_base, digits, style.cell_pad, style.upper)
        log.add(style.cell_before)
        if style.cell_base == 16 and style.cell_pad == "zeros":
            for k in range(style.size):
                which = style.size - 1 - k if style.little else k
                log.add(text[2 * k : 2 * k + 2], (number, at + i + which))
        else:
            log.add(text, (number, at + i))
        log.add(style.cell_after)


def _cells_width(style: Style, count: int) -> int:
    digits = _cell_digits(style.cell_base, style.size)
    width = 0
    for place in range(count):
        if place:
            width += len(style.group_gap if style.group and place % style.group == 0 else style.between)
        width += len(style.cell_before) + digits + len(style.cell_after)
    return width


def _line(style: Style, log: Log, number: int, row: int, printed: int, at: int, data: bytes, shown: bool) -> None:
    log.add(style.lead + _stamp(style, row))
    head = _address_text(style, printed) + style.after
    if shown:
        log.add(head)
    elif style.indent:
        log.add(" " * len(head))
    skip = 0
    if style.blanks_in_front and at != printed:
        skip = (at - printed) // style.size
        log.add(" " * (_cells_width(style, skip + 1) - _cells_width(style, 1)))
    _cells(style, log, number, at, data, skip)
    shown_at = at // style.size if style.words_addressed else at
    items = [shown_at >> 8 & 0xFF, shown_at & 0xFF, *data] if style.sum_address and style.every == 1 else list(data)
    total = ""
    if style.sum:
        value = line_sum(style.sum, items)
        digits = _cell_digits(style.sum_base, 2 if style.sum.endswith("16") else 1)
        total = style.sum_before + _number(value, style.sum_base, digits, "zeros", style.upper) + style.sum_after
    if total and not style.sum_last:
        log.add(total)
    if style.gutter is not None:
        missing = style.count - (len(data) // style.size + skip)
        if missing > 0 and not style.sum and style.cell_pad == "zeros":
            log.add(" " * (_cells_width(style, style.count) - _cells_width(style, style.count - missing)))
        shown_text = "".join(
            chr(v & 0x7F if style.gutter_mask else v)
            if 0x20 <= (v & 0x7F if style.gutter_mask else v) < 0x7F
            else style.dot
            for v in data
        )
        log.add(style.gutter + " " * (skip * style.size) + shown_text + style.gutter_after)
    if total and style.sum_last:
        log.add(total)
    log.add(style.trailing + style.newline)


def print_log(style: Style, passes: Sequence[tuple[int, bytes]], resent: Sequence[int] = ()) -> Log:
    """Print passes, each (first address, bytes); `resent`: rows of the first pass that are sent twice."""
    log = Log()
    for text in style.banner:
        log.add(text + style.newline)
    row_number = 0
    for number, (first, data) in enumerate(passes):
        truth: dict[int, int] = {}
        last = first + len(data) - 1
        pad = "zeros" if style.digits else ""
        ends = [_number(v, style.base, style.digits, pad, style.upper) for v in (first, last)]
        if style.echo and (number == 0 or style.between_passes == "prompt"):
            log.add(f"{style.prompt}D {ends[0]} {ends[1]}{style.newline}")
        if style.every == -1:
            log.add(_address_text(style, first) + style.newline)
        if style.heading and not style.page:
            _heading(style, log, 1)
        for row, (printed, at, count) in enumerate(_rows(style, first, len(data))):
            if style.page and row % style.page == 0:
                _heading(style, log, row // style.page + 1)
            if style.blank and row and row % style.blank == 0:
                log.add(style.newline)
            if row == 0 and style.first_on_prompt:
                log.add(style.prompt)
            shown = style.every == 1 or (style.every > 1 and row % style.every == 0)
            if style.every == 0 and row % 4 == 0:
                log.add(_address_text(style, printed) + style.after.rstrip() + style.newline)
            part = data[at - first : at - first + count]
            truth.update(zip(range(at, at + count), part, strict=True))
            for _ in range(2 if number == 0 and row in resent else 1):
                _line(style, log, number, row_number, printed, at, part, shown)
                row_number += 1
        if style.blank:
            log.add(style.newline)
        log.passes.append(truth)
    if style.closing:
        log.add(style.closing)
        if style.final_newline:
            log.add(style.newline)
    elif not style.final_newline:
        cut = len(style.newline)
        log.text, log.owner = log.text[:-cut], log.owner[:-cut]
    return log


def _heading(style: Style, log: Log, page: int) -> None:
    if style.heading:
        log.add(style.heading.format(page=page) + style.newline)
    if style.columns:
        digits = _cell_digits(style.cell_base, style.size)
        indent = len(style.lead + _stamp(style, 0) + _address_text(style, 0) + style.after)
        width = digits + len(style.cell_before) + len(style.cell_after)
        cells = [format(i * style.size, "X").rjust(width) for i in range(style.count)]
        log.add(" " * indent + " ".join(cells) + style.newline)


def draw_style(pick: Pick) -> Style:
    """Draw a way to print; `pick` chooses one of a sequence."""
    base = pick([16] * 7 + [10, 10, 8])
    kind = pick(["hex"] * 8 + ["words", "words", "dwords", "octal", "octal-words", "decimal", "decimal", "hex-free"])
    if base == 10 and kind not in ("decimal", "hex"):
        kind = pick(["decimal", "hex"])
    if base == 8:
        kind = pick(["octal", "octal-words", "hex", "words"])
    size = {"words": 2, "dwords": 4, "octal-words": 2}.get(kind, 1)
    cell_base = {"octal": 8, "octal-words": 8, "decimal": 10}.get(kind, 16)
    cell_pad = {"decimal": pick(["right", "zeros", "free", "left"]), "hex-free": "right"}.get(kind, "zeros")
    count = max(1, pick([1, 2, 4, 5, 7, 8, 8, 10, 12, 16, 16, 16, 20, 24, 32, 32, 48, 64]) // size)
    between = pick([" "] * 6 + ["  ", ",", ", ", "-", ":", ".", "/", "|", "\t", "; "])
    if kind in ("hex", "words") and count > 1 and pick([0, 0, 0, 0, 0, 1]):
        between = ""
    if cell_pad in ("free", "left", "right") and between in ("", "-"):
        between = "  "
    group, group_gap = 0, "  "
    if count >= 4 and pick([0, 0, 1]):
        group = pick([g for g in (2, 4, 8, count // 2) if 1 < g < count] or [0])
        group_gap = pick([between + " ", "  ", "-", " - ", " | "]) if between else pick([" ", "  ", "-"])
    style = Style(
        lead=pick([""] * 8 + ["  ", "> ", "*", "; ", "| ", "#", "."]),
        counter=pick([""] * 10 + ["number", "plain-number", "time", "seconds"]),
        base=base,
        count=count,
        size=size,
        little=pick([False, True]) if size > 1 else False,
        cell_base=cell_base,
        cell_pad=cell_pad,
        cell_before=pick([""] * 9 + ["$", "0x"]) if between and cell_base == 16 and cell_pad == "zeros" else "",
        cell_after=pick([""] * 12 + ["h", "H"]) if between and cell_base == 16 and cell_pad == "zeros" else "",
        between=between,
        group=group,
        group_gap=group_gap,
        upper=pick([True, False]),
    )
    style = _with_address(style, pick)
    style = _with_tail(style, pick)
    return _with_surroundings(style, pick)


_AFTER = [" ", "  ", "   ", ": ", ":", ":  ", "- ", "-", "/ ", " | ", " = ", ") ", "] ", "\t", " : ", "> ", "' ", ". "]
_DIGITS = {16: [3, 4, 4, 4, 4, 4, 5, 6, 7, 8, 8, 0], 8: [6, 6, 7, 0, 8], 10: [0, 0, 5, 5, 6]}


def _with_address(style: Style, pick: Pick) -> Style:
    before = pick([""] * 8 + ["$", "0x", "&", "@", "[", "(", "A=", "&H", "loc ", "X'"])
    after = pick(_AFTER)
    if before == "[":
        after = pick(["] ", "]: ", "]="])
    if before == "(":
        after = pick([") ", ")=", "): "])
    if before == "X'":
        after = "' "
    if style.base == 16 and not before and pick([0, 0, 0, 0, 1]):
        after = pick(["H ", "h: ", "H  ", "h - "])
    digits = pick(_DIGITS[style.base])
    blank_padded = digits > 0 and pick([0, 0, 0, 0, 0, 0, 1]) == 1
    every = pick([1] * 12 + [2, 4, 8, 0, -1])
    words = style.size == 2 and every == 1 and pick([0, 0, 0, 1]) == 1
    if every != 1 and style.count * style.size < 4:
        every = 1
    if every != 1 and (style.cell_base != 16 or style.cell_pad != "zeros"):
        every = 1
    if every != 1 and style.base != 16:
        every = 1
    return replace(
        style,
        before=before,
        after=after,
        digits=digits,
        blank_padded=blank_padded,
        every=every,
        indent=pick([True, True, False]),
        words_addressed=words,
    )


def _with_tail(style: Style, pick: Pick) -> Style:
    gutter = None
    if style.cell_pad in ("zeros", "right") and pick([0, 0, 1]):
        gutter = pick(["  ", "   ", "  |", " |", '  "', " ; ", "  >", " *", "  '"])
    close = {"  |": "|", " |": "|", '  "': '"', "  >": "<", " *": "*", "  '": "'"}
    gutter_after = close.get(gutter or "", "") if pick([1, 1, 1, 0]) else ""
    kind = pick([""] * 5 + ["sum8", "twos", "ones", "xor", "sum16", "twos16"])
    sum_before = pick([" ", "  ", " =", " *", ":", " :", " (", " [", "   ", "  CS=", " ;"])
    sum_last = gutter is not None and pick([0, 0, 0, 1]) == 1
    if sum_last and sum_before == " ":
        sum_before = "  "
    return replace(
        style,
        gutter=gutter,
        gutter_after=gutter_after,
        gutter_mask=pick([False, False, False, True]),
        dot=pick([".", ".", ".", " ", "_", "?", "~"]),
        sum=kind,
        sum_address=pick([False, True]),
        sum_base=pick([16, style.cell_base]),
        sum_before=sum_before,
        sum_after={" (": ")", " [": "]"}.get(sum_before, ""),
        sum_last=sum_last,
        trailing=pick(["", "", "", "", " ", "  "]) if not sum_last else "",
    )


def _with_surroundings(style: Style, pick: Pick) -> Style:
    page = pick([0, 0, 0, 0, 16, 24])
    aligned = pick([False, False, True])
    return replace(
        style,
        aligned=aligned and style.every == 1 and not style.words_addressed,
        blanks_in_front=aligned and style.cell_pad == "zeros" and pick([0, 1]) == 1 and style.every == 1,
        banner=pick([(), (), ("MONITOR 2.3", "READY"), ("", "Fog signal controller, bench 2", ""), ("*** DUMP ***",)]),
        prompt=pick(["", "*", "> ", ">", "]", "# ", "MON> ", ".", "@"]),
        echo=pick([False, True, True]),
        first_on_prompt=pick([0, 0, 0, 0, 0, 1]) == 1 and style.counter == "" and style.lead == "",
        closing=pick(["", "", "*", "> ", "OK", "READY.", "END OF DUMP"]),
        page=page,
        heading=pick(["PAGE {page}", "MEMORY LISTING     PAGE {page}", "Dump of memory, page {page}", "ADDR  DATA"])
        if page
        else pick(["", "", "", "ADDRESS  CONTENTS"]),
        columns=page > 0 and pick([False, True]) and style.cell_pad == "zeros",
        blank=pick([0, 0, 0, 4, 8, 16]),
        between_passes=pick(["prompt", "prompt", "nothing"]),
        newline=pick(["\n", "\r\n", "\r\n", "\r", "\n\r"]),
        final_newline=pick([True, True, False]),
    )


_OPCODES = b"\xa9\x8d\x20\x4c\x60\xd0\xf0\x85\xa5\x00\x01\x02\xc3\xcd\x3e\x21"


def draw_image(rng: random.Random, size: int) -> bytes:
    """Contents such as ROMs have: code-like bytes, text, tables, fill."""
    out = bytearray()
    while len(out) < size:
        length = rng.choice([8, 16, 40, 100])
        kind = rng.choice(["code", "code", "text", "fill", "table", "random"])
        if kind == "code":
            out += bytes(rng.choices(_OPCODES, k=length))
        elif kind == "text":
            out += bytes(rng.choice(b"THE FOG SIGNAL IS ON ade 0123456789 dead beef ") for _ in range(length))
        elif kind == "fill":
            out += bytes([rng.choice([0, 0xFF, 0xEA])]) * length
        elif kind == "table":
            first = rng.randrange(256)
            out += bytes((first + i) & 0xFF for i in range(length))
        else:
            out += rng.randbytes(length)
    return bytes(out[:size])


def draw_log(rng: random.Random) -> tuple[Style, Log]:
    """Draw a style, contents and passes, and print them."""
    style = draw_style(rng.choice)
    line = style.count * style.size
    lines = rng.choice([6, 12, 20, 40, 64] if style.base == 16 else [20, 30, 40, 64])
    size = line * lines
    limit = {3: 0x1000}.get(style.digits, 0x10000) if style.base == 16 else 0x10000
    if style.base == 16 and style.digits >= 6:
        limit = 0x1000000
    first = rng.randrange(0, max(1, limit - size)) // 256 * 256
    if style.aligned:
        first += rng.choice([0, 0, 3 * style.size]) if style.count > 4 else 0
    else:
        first -= first % max(1, rng.choice([1, line]))
    if rng.random() < 0.3:
        size -= (size // 3 // style.size % max(1, style.count)) * style.size
    first = max(0, min(first, limit - size)) // style.size * style.size
    data = draw_image(rng, size)
    passes = [(first, data)] * rng.choice([1, 1, 2, 3])
    if style.every == -1 or (style.every != 1 and style.between_passes == "nothing"):
        passes = passes[:1]
    return style, print_log(style, passes)


@dataclass
class Noisy:
    """A log after the line: its text, and for each pass the addresses whose own characters suffered."""

    text: str
    struck: set[tuple[int, int]]
    hits: int


def disturb(log: Log, rng: random.Random, rate: float) -> Noisy:
    """Let characters be replaced, flipped in a bit, lost, doubled, singly and in bursts: `rate` of them in all."""
    out: list[str] = []
    struck: set[tuple[int, int]] = set()
    hits = 0
    burst = 0
    for character, owner in zip(log.text, log.owner, strict=True):
        hit = burst > 0 or rng.random() < rate * 0.8
        burst = max(0, burst - 1)
        if not hit and rng.random() < rate * 0.2 / 8:
            burst, hit = 7, True
        if not hit:
            out.append(character)
            continue
        hits += 1
        if owner:
            struck.add(owner)
        kind = rng.choice(["any", "any", "flip", "flip", "drop", "double"]) if not burst else "any"
        if kind == "any":
            out.append(chr(rng.randrange(0x20, 0x7F)))
        elif kind == "flip":
            out.append(chr(ord(character) ^ 1 << rng.randrange(7)))
        elif kind == "double":
            out += [character, character]
    return Noisy("".join(out), struck, hits)


def logs() -> st.SearchStrategy[tuple[Style, Log]]:
    """Clean logs in random styles."""
    return st.integers(0, 1 << 40).map(lambda seed: draw_log(random.Random(seed)))
