"""How a host prints what it reads: a vocabulary wide enough for monitors, interpreters' loops and record dumps.

Values only; the layouts named in `LAYOUTS` are of our own making, after common practice in monitors of the 1970s and
80s (common practice, no source), and not those of any one program.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from romassay.errors import BadValue

Sum = Literal["sum-8", "sum-16", "twos-complement", "ones-complement", "xor"]
Parity = Literal["none", "even", "odd", "mark"]
Style = Literal["dump", "intel-hex", "paper-tape"]


@dataclass(frozen=True, slots=True)
class Layout:
    """One way to print a pass.

    Attributes:
        name: for options.
        style: a dump with address and columns, or one of two record forms (which use `per_line` and `newline` only).
        base: 16, 8 or 10, of the address.
        digits: of the address, zero-padded; 0 for no padding.
        before: text before the address.
        after: text after it.
        every: the address stands on each n-th line only; the others are indented.
        per_line: bytes a line.
        aligned: True where a line starts at a multiple of `per_line`, however the range starts.
        word: bytes in a column: 1, or 2.
        low_first: order of the bytes in a word.
        cell_base: 16, 8 or 10, of the columns.
        padded: columns zero-padded to full width; False for an interpreter's plain numbers.
        cell_before: text before each column's digits.
        between: text between columns.
        gap: text in the middle of the line in place of `between`; empty for no gap.
        sum: a sum over the bytes of the line at its end, or None.
        sum_with_address: True where the two low bytes of the address count in it.
        sum_before: text before the sum.
        gutter: text before the line's characters, or None for no gutter.
        gutter_after: text after them.
        dot: what stands for a character that does not print.
        upper: digits above 9 in upper case.
        trailing: text at the end of each line.
        banner: lines before everything.
        prompt: text before an echoed command; empty for no echo.
        command: the command, with {first} and {last}.
        page: lines between page headings, or 0.
        heading: text of a page heading, with {page}.
        blank: lines between blank lines, or 0.
        closing: lines after everything.
    """

    name: str
    style: Style = "dump"
    base: int = 16
    digits: int = 4
    before: str = ""
    after: str = " "
    every: int = 1
    per_line: int = 16
    aligned: bool = False
    word: int = 1
    low_first: bool = True
    cell_base: int = 16
    padded: bool = True
    cell_before: str = ""
    between: str = " "
    gap: str = ""
    sum: Sum | None = None
    sum_with_address: bool = False
    sum_before: str = " "
    gutter: str | None = None
    gutter_after: str = ""
    dot: str = "."
    upper: bool = True
    trailing: str = ""
    banner: tuple[str, ...] = ()
    prompt: str = ""
    command: str = "{first} {last}"
    page: int = 0
    heading: str = "PAGE {page}"
    blank: int = 0
    closing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Terminal:
    """What lies between the host's printing and the file.

    Attributes:
        newline: end of a line.
        nuls: NUL characters after each newline.
        parity: what bit 7 of each character is.
        encoding: a Python codec's name; parity goes with ASCII only.
        colour: the prompt is wrapped in ANSI escapes, and the screen cleared first.
        typos: echoed commands hold a slip and backspaces.
        cut_head: characters missing at the start.
        cut_tail: characters missing at the end.
    """

    newline: str = "\r\n"
    nuls: int = 0
    parity: Parity = "none"
    encoding: str = "ascii"
    colour: bool = False
    typos: bool = False
    cut_head: int = 0
    cut_tail: int = 0


_MONITOR = ("MONITOR 2.3", "READY")

LAYOUTS: dict[str, Layout] = {
    item.name: item
    for item in (
        Layout("plain", after=" "),
        Layout("colon-gutter", after=": ", gap="  ", gutter="  ", per_line=16),
        Layout("bar-gutter", digits=8, after="  ", gap="  ", gutter="  |", gutter_after="|", upper=False),
        Layout("dollar", before="$", after="  ", per_line=8, cell_before="$"),
        Layout("summed", after=" ", per_line=16, sum="sum-8", sum_before=" ="),
        Layout("negative-sum", after="-", per_line=8, sum="twos-complement", sum_with_address=True, sum_before=" *"),
        Layout("octal", base=8, digits=6, after=" ", per_line=8, cell_base=8),
        Layout("octal-words", base=8, digits=6, after="/ ", per_line=16, word=2, cell_base=8),
        Layout(
            "decimal", base=10, digits=0, before=" ", after=" ", per_line=8, cell_base=10, padded=False, between="  "
        ),
        Layout("words", after="  ", per_line=16, word=2, low_first=False),
        Layout("words-low-first", before="0x", after=": ", per_line=16, word=2, low_first=True, upper=False),
        Layout("trailing-h", after="H  ", per_line=16, between=","),
        Layout("dense", after=" ", per_line=32, between=""),
        Layout("seldom", after=": ", every=8, per_line=16),
        Layout(
            "monitor",
            after=" ",
            per_line=8,
            prompt="*",
            command="D {first},{last}",
            banner=_MONITOR,
            closing=("*",),
        ),
        Layout(
            "paged",
            after="  ",
            per_line=16,
            page=24,
            heading="MEMORY LISTING            PAGE {page}",
            blank=8,
            gutter="  ",
        ),
        Layout("intel-hex", style="intel-hex", per_line=16),
        Layout("paper-tape", style="paper-tape", per_line=24),
    )
}


def layout_named(name: str) -> Layout:
    """Return one of `LAYOUTS`; BadValue names them all where there is none of that name."""
    if name not in LAYOUTS:
        raise BadValue(f"'{name}' is no layout of the twin", advice=f"choose from {', '.join(LAYOUTS)}")
    return LAYOUTS[name]


def fitted(layout: Layout, address_bits: int) -> Layout:
    """Return the layout with room for the addresses of a bus, where it pads them."""
    if layout.style == "paper-tape" and address_bits > 16:
        raise BadValue(f"paper-tape records cannot show {address_bits} address bits", advice="choose another layout")
    digits = len(_digits(((1 << address_bits) - 1), layout.base))
    return replace(layout, digits=max(layout.digits, digits)) if layout.digits else layout


def _digits(value: int, base: int) -> str:
    return format(value, {16: "x", 10: "d", 8: "o"}[base])
