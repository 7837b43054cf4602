"""The layout of a text dump's line, as a value and in a notation of its own.

A line is made of fields in a fixed order:

    lead  address  after  cell gap cell gap … cell  tail

where the tail may hold a sum over the line and a gutter with the bytes as text. What is not a field is literal text, or
a pattern where it changes from line to line. The notation writes a layout as `key=value` words; see
docs/reference-layout.md.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Literal

from romassay.errors import BadValue

Base = Literal[2, 8, 10, 16]
Pad = Literal["zeros", "left", "right", "none"]
Order = Literal["big", "little"]
AddressUnit = Literal["bytes", "words"]
Where = Literal["line", "some", "alone", "none"]
SumPlace = Literal["cells", "end", "front"]

_BASES: dict[str, Base] = {"bin": 2, "oct": 8, "dec": 10, "hex": 16}
_BASE_NAMES = {base: name for name, base in _BASES.items()}
_PADS: dict[str, Pad] = {"": "zeros", ">": "right", "<": "left"}
_PAD_MARKS = {pad: mark for mark, pad in _PADS.items()}
_NUMBER = re.compile(r"(bin|oct|dec|hex)(?:(\d{1,2})([<>]?))?")
HEX: Base = 16
MAX_CELLS = 256
MAX_DIGITS = 64
MAX_RUN = 32
"""Characters that a `*` in a pattern stands for at the most."""


@dataclass(frozen=True, slots=True)
class Number:
    """How a number is printed.

    Attributes:
        base: 2, 8, 10 or 16.
        width: columns it takes; 0 where it takes as many as it has digits.
        pad: zeros, or blanks with the digits to the right or the left; 'none' where the width is 0.
    """

    base: Base
    width: int = 0
    pad: Pad = "none"

    def __str__(self) -> str:
        return _BASE_NAMES[self.base] + (f"{self.width}{_PAD_MARKS[self.pad]}" if self.width else "")


@dataclass(frozen=True, slots=True)
class Sum:
    """A sum printed on each line.

    Attributes:
        kind: a name from `sums.KINDS`.
        number: how it is printed.
        before: the literal text before it.
        place: 'cells' right after the cells, 'end' at the end of the line behind the gutter, 'front' before the cells.
    """

    kind: str
    number: Number
    before: str = " "
    place: SumPlace = "cells"


@dataclass(frozen=True, slots=True)
class Layout:
    """What a line of a dump looks like.

    Attributes:
        cells: numbers of data on a full line.
        cell: how each is printed.
        size: bytes in a cell: 1, 2, 4 or 8.
        order: which byte of a cell belongs to the lowest address: that of the first digits ('big') or of the last.
        gaps: literal text between the cells, cells - 1 of them; None for any blanks, commas or semicolons.
        address: how the address is printed; None where lines have none.
        unit: what the addresses count.
        where: 'line' on every data line; 'some' on some of them; 'alone' on a line of its own; 'none' nowhere.
        lead: what stands before the address; `?` is any one character, `#` a decimal number, `*` any run of
            characters, and a backslash makes any of them literal.
        after: what stands between the address and the first cell, a pattern like `lead`.
        rest: what stands before the first cell where a line has no address, a pattern like `lead`.
        sum: the sum on each line, or None.
        gutter: literal text before the bytes as characters, or None where there is no gutter.
        end: literal text at the very end of the line.
        tail: True where anything may follow.
    """

    cells: int
    cell: Number = Number(16, 2, "zeros")
    size: int = 1
    order: Order = "big"
    gaps: tuple[str, ...] | None = None
    address: Number | None = Number(16, 4, "zeros")
    unit: AddressUnit = "bytes"
    where: Where = "line"
    lead: str = ""
    after: str = " "
    rest: str = ""
    sum: Sum | None = None
    gutter: str | None = None
    end: str = ""
    tail: bool = False

    def __post_init__(self) -> None:
        if self.gaps is not None and len(self.gaps) != self.cells - 1:
            raise ValueError(f"{self.cells} cells have {self.cells - 1} gaps, not {len(self.gaps)}")

    @property
    def line_bytes(self) -> int:
        """Bytes on a full line."""
        return self.cells * self.size

    @property
    def scale(self) -> int:
        """Bytes that one step of the printed address stands for."""
        return 1 if self.unit == "bytes" else self.size

    def __str__(self) -> str:
        return " ".join(_words(self))


def literal(text: str) -> str:
    """Return the pattern that only this text matches."""
    return re.sub(r"([\\?#*])", r"\\\1", text)


ANY, NUMBER, RUN = "any", "number", "run"
_WILD = {"?": ANY, "#": NUMBER, "*": RUN}
_PATTERN = re.compile(r"\\(.)|(.)", re.DOTALL)


def pattern_parts(pattern: str) -> list[tuple[str, str]]:
    """Split a pattern into ('', character), ('any', ''), ('number', '') and ('run', '')."""
    parts = []
    for match in _PATTERN.finditer(pattern):
        wild = _WILD.get(match[2] or "")
        parts.append((wild, "") if wild else ("", match[1] or match[2]))
    return parts


def pattern_regex(pattern: str) -> bytes:
    """Return a regular expression, over Latin-1 bytes, for a pattern."""
    wild = {ANY: b".", NUMBER: rb"\d+", RUN: b".{0,%d}?" % MAX_RUN}
    return b"".join(
        wild[kind] if kind else re.escape(character.encode("latin-1")) for kind, character in pattern_parts(pattern)
    )


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t")
    return '"' + "".join(c if 0x20 <= ord(c) < 0x7F else f"\\x{ord(c):02x}" for c in escaped) + '"'


_ESCAPE = re.compile(r"\\(?:x([0-9a-fA-F]{2})|(.))", re.DOTALL)


def _unquoted(text: str) -> str:
    return _ESCAPE.sub(lambda m: chr(int(m[1], 16)) if m[1] else "\t" if m[2] == "t" else m[2], text)


def _words(layout: Layout) -> Iterator[str]:
    """Yield the layout as words, those that say nothing new left out."""
    yield f"where={layout.where}"
    if layout.lead:
        yield f"lead={_quoted(layout.lead)}"
    yield f"address={layout.address or 'none'}"
    if layout.unit != "bytes":
        yield f"unit={layout.unit}"
    yield f"after={_quoted(layout.after)}"
    if layout.rest:
        yield f"rest={_quoted(layout.rest)}"
    yield f"cells={layout.cells}"
    yield f"cell={layout.cell}"
    if layout.size != 1:
        yield f"size={layout.size}"
        yield f"order={layout.order}"
    yield from _gap_words(layout.gaps)
    if layout.sum is not None:
        yield f"sum={layout.sum.kind}:{layout.sum.number}"
        yield f"sum-before={_quoted(layout.sum.before)}"
        yield f"sum-place={layout.sum.place}"
    if layout.gutter is not None:
        yield f"gutter={_quoted(layout.gutter)}"
    if layout.end:
        yield f"end={_quoted(layout.end)}"
    if layout.tail:
        yield "tail=any"


def _gap_words(gaps: tuple[str, ...] | None) -> Iterator[str]:
    """Yield the usual gap, that at every n-th cell, and the odd ones."""
    if gaps is None:
        yield "gap=any"
        return
    if not gaps:
        return
    usual = max(sorted(set(gaps)), key=gaps.count)
    yield f"gap={_quoted(usual)}"
    best: dict[int, str] = {i: gap for i, gap in enumerate(gaps, 1) if gap != usual}
    rule: tuple[int, str] | None = None
    for every in range(2, len(gaps) + 1):
        at = gaps[every - 1]
        odd = {i: gap for i, gap in enumerate(gaps, 1) if gap != (at if i % every == 0 else usual)}
        if at != usual and len(odd) + 1 < len(best) + bool(rule):
            best, rule = odd, (every, at)
    if rule:
        yield f"gap/{rule[0]}={_quoted(rule[1])}"
    for i, gap in best.items():
        yield f"gap@{i}={_quoted(gap)}"


_WORD = re.compile(r'\s*([a-z][a-z-]*(?:[/@]\d+)?)=("(?:[^"\\]|\\.)*"|[^\s"]+)(?=\s|$)', re.DOTALL)
_ADVICE = "`romassay assay FILE --layout show` prints what was learnt; correct that, or give only the words to change"


def _bad(problem: str) -> BadValue:
    return BadValue(f"layout: {problem}", advice=_ADVICE)


def parse_words(text: str) -> dict[str, str]:
    """Split the notation into its words; literal texts without their quotes."""
    words: dict[str, str] = {}
    at = 0
    while text[at:].strip():
        match = _WORD.match(text, at)
        if not match:
            raise _bad(f"'{text[at:].strip()[:30]}' is no key=value")
        key, value = match[1], match[2]
        if key in words:
            raise _bad(f"'{key}' stands there twice")
        if key.split("/")[0].split("@")[0] not in _KEYS:
            raise _bad(f"there is no '{key}'; the keys are {', '.join(sorted(_KEYS))}")
        words[key] = _unquoted(value[1:-1]) if value[0] == '"' else value
        at = match.end()
    return words


_KEYS = {item.name for item in fields(Layout)} - {"gaps"} | {"gap", "sum-before", "sum-place"}


def is_whole(words: dict[str, str]) -> bool:
    """Tell whether the words give a layout on their own; otherwise they correct a learnt one."""
    return "cells" in words and "cell" in words and ("address" in words or words.get("where") == "none")


def corrected(layout: Layout, words: dict[str, str]) -> Layout:
    """Return the layout with the words' fields in place of its own.

    Raises:
        BadValue: a word can't be meant.
    """
    changes: dict[str, object] = {}
    for key, value in words.items():
        if key in ("lead", "after", "rest", "gutter", "end"):
            changes[key] = None if (key, value) == ("gutter", "none") else value
        elif key in _CHOICES:
            if value not in _CHOICES[key]:
                raise _bad(f"{key} is one of {', '.join(_CHOICES[key])}, not '{value}'")
            changes[key] = value
        elif key in ("cells", "size"):
            changes[key] = _whole(key, value)
        elif key == "cell":
            changes["cell"] = parse_number(value)
        elif key == "address":
            changes["address"] = None if value == "none" else parse_number(value)
        elif key == "tail":
            changes["tail"] = value == "any"
    cells = changes.get("cells", layout.cells)
    assert isinstance(cells, int)  # noqa: S101 - for the type checker; _whole returns nothing else
    changes["gaps"] = _parse_gaps(layout.gaps, cells, words)
    changes["sum"] = _parse_sum(layout.sum, words)
    changed = replace(layout, **changes)  # type: ignore[arg-type]
    if not changed.cell.width and changed.gaps is not None and "" in changed.gaps:
        raise _bad("numbers of any width can't stand together without a gap; give them a width, such as hex2")
    return changed


_CHOICES = {
    "order": ("big", "little"),
    "unit": ("bytes", "words"),
    "where": ("line", "some", "alone", "none"),
}


def parse_layout(text: str) -> Layout:
    """Return the layout that the notation gives.

    Raises:
        BadValue: the notation is broken, or is a correction rather than a layout.
    """
    words = parse_words(text)
    if not is_whole(words):
        raise _bad("a layout needs at least address, cells and cell")
    return corrected(Layout(cells=1, gaps=(), after=""), words)


def _whole(key: str, value: str) -> int:
    if key == "size" and value not in ("1", "2", "4", "8"):
        raise _bad(f"size is 1, 2, 4 or 8, not '{value}'")
    if not value.isdecimal() or not 1 <= int(value) <= MAX_CELLS:
        raise _bad(f"{key} is a number from 1 to {MAX_CELLS}, not '{value}'")
    return int(value)


def parse_number(text: str) -> Number:
    """Return how a number is printed, from its notation: hex4, dec5> or oct."""
    match = _NUMBER.fullmatch(text)
    if not match or (match[2] and not 1 <= int(match[2]) <= MAX_DIGITS):
        raise _bad(f"'{text}' is no number's form; write hex4, oct6, dec3> (blanks before it), dec3< or dec")
    width = int(match[2] or 0)
    return Number(_BASES[match[1]], width, _PADS[match[3] or ""] if width else "none")


def _parse_gaps(learnt: tuple[str, ...] | None, cells: int, words: dict[str, str]) -> tuple[str, ...] | None:
    mentioned = [key for key in words if key.startswith("gap")]
    if not mentioned and (learnt is None or len(learnt) == cells - 1):
        return learnt
    if words.get("gap") == "any":
        return None
    usual = words.get("gap", max(learnt, key=learnt.count) if learnt else " ")
    gaps = [usual] * (cells - 1)
    for key in sorted(mentioned, key=lambda key: "@" in key):
        if "/" in key:
            every = int(key.split("/")[1])
            if every < 1:
                raise _bad(f"'{key}' counts from 1")
            gaps[every - 1 :: every] = [words[key]] * len(gaps[every - 1 :: every])
        elif "@" in key:
            place = int(key.split("@")[1])
            if not 1 <= place <= len(gaps):
                raise _bad(f"'{key}' lies outside the {len(gaps)} gaps")
            gaps[place - 1] = words[key]
    return tuple(gaps)


def _parse_sum(learnt: Sum | None, words: dict[str, str]) -> Sum | None:
    from romassay.formats.sums import KINDS

    if words.get("sum") == "none":
        return None
    if "sum" in words:
        kind, colon, number = words["sum"].partition(":")
        if kind not in KINDS or not colon:
            raise _bad(f"'{words['sum']}' is no sum; write KIND:NUMBER with a kind of {', '.join(KINDS)}")
        learnt = replace(learnt or Sum(kind, Number(16)), kind=kind, number=parse_number(number))
    if learnt is None:
        return None
    place = words.get("sum-place", learnt.place)
    if place not in ("cells", "end", "front"):
        raise _bad(f"sum-place is cells, end or front, not '{place}'")
    return replace(learnt, before=words.get("sum-before", learnt.before), place=place)  # type: ignore[arg-type]
