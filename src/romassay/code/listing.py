"""A listing: instructions where the flow goes and where code is likely, everything else as data.

Where nothing is seen to lead, but the bytes read as code, they are listed as code with a word on it: computed jumps
and calls from other ROMs leave no trace. `romassay.code.source` writes the listing out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from romassay.code.charsets import charset
from romassay.code.flow import Behind, Followed, follow
from romassay.code.inline import always_calls, inline_data
from romassay.code.names import halves_of, labels_of, sources_of
from romassay.code.pieces import Guess, Piece, divide, pointer_tables
from romassay.code.texts import TRAILING, WORDLIKE, clear_texts
from romassay.cpus.columns import JUMP, RETURN, STOP
from romassay.cpus.decode import Decoder
from romassay.cpus.likeness import plain_score, segment
from romassay.cpus.model import Cpu

_LIKELY = 15.0
"""Nats for a piece of code from which on it is listed as code though nothing is seen to lead there."""

_WORD, _MARKS = 4, 3
"""Signs that a text has before a place and behind it, for what stands there to be no code; marks that may end it."""

_PLAINER = 1.2
"""Nats a byte that a piece of code may score more as mere data than as code."""


@dataclass(frozen=True, slots=True)
class Place:
    """A register of a part on the bus: the name that the listing gives it, and what it is in words."""

    name: str
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Listing:
    """What is known of an image, as far as a listing shows it.

    Attributes:
        cpu: the instruction set.
        data: the bytes.
        origin: address of the first.
        entries: (name, address), where the flow was followed from.
        followed: the instructions that it reached.
        pieces: everything else: 'pointers', 'text', 'padding' or 'bytes'.
        labels: names by address.
        registers: by address, for what lies outside of the image.
        sources: by address, the addresses of the instructions that refer to it.
        halves: by the address of an instruction, the address whose second half it loads.
    """

    cpu: Cpu
    data: bytes
    origin: int
    entries: tuple[tuple[str, int], ...]
    followed: Followed
    pieces: tuple[Piece, ...]
    labels: Mapping[int, str]
    registers: Mapping[int, Place] = field(default_factory=dict)
    sources: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    halves: Mapping[int, int] = field(default_factory=dict)

    @property
    def code_bytes(self) -> int:
        """Bytes of the image that are instructions."""
        return sum(instruction.size for instruction in self.followed.instructions.values())


@dataclass(frozen=True, slots=True)
class Region:
    """A stretch of one kind: 'code' or the kind of a piece; its offsets."""

    first: int
    end: int
    kind: str


def regions(shown: Listing) -> list[Region]:
    """Return the stretches of an image, in order; every byte is in one."""
    found = [Region(at, at + each.size, "code") for at, each in shown.followed.instructions.items()]
    found += [Region(piece.first, piece.end, piece.kind) for piece in shown.pieces]
    merged: list[Region] = []
    for region in sorted(found, key=lambda item: item.first):
        if merged and merged[-1].kind == region.kind and merged[-1].end == region.first:
            merged[-1] = Region(merged[-1].first, region.end, region.kind)
        else:
            merged.append(region)
    return merged


def listing(
    cpu: Cpu,
    data: bytes,
    origin: int,
    entries: Sequence[tuple[str, int]],
    *,
    characters: str = "ascii",
    registers: Mapping[int, Place] | None = None,
    names: Mapping[int, str] | None = None,
    likely: bool = True,
) -> Listing:
    """Follow the flow and divide what it leaves.

    Args:
        cpu: the instruction set.
        data: the bytes.
        origin: address of the first.
        entries: (name, address) at which the program may begin.
        characters: the character set of its texts, as in `romassay.code.charsets`.
        registers: by address, of parts on the bus.
        names: by address, of places in the image; they go before those that are made up.
        likely: whether bytes to which nothing leads are listed as code where they read as code.
    """
    character = charset(characters)
    places = [address for _, address in entries]
    guess = _likely(cpu, data, origin, character) if likely else Guess()
    decoder = Decoder(cpu, data, origin)
    followed, tables, behind = _followed(decoder, places, guess, (), Behind())
    if guess.starts:
        held = {at for table in tables for at in range(table.first, table.end)}
        free = [at for at in guess.starts if at not in held]
        followed, tables, _ = _followed(decoder, places, guess, free, behind)
    pieces = tuple(divide(data, followed, tables, character))
    halves = dict(halves_of(cpu, data, origin, followed, pieces))
    return Listing(
        cpu=cpu,
        data=data,
        origin=origin,
        entries=tuple(entries),
        followed=followed,
        pieces=pieces,
        labels=labels_of(origin, entries, followed, pieces, len(data), halves) | _said(names, origin, followed, pieces),
        registers=dict(registers or {}),
        sources=sources_of(origin, followed, pieces, len(data), halves),
        halves=halves,
    )


def _said(names: Mapping[int, str] | None, origin: int, followed: Followed, pieces: Sequence[Piece]) -> dict[int, str]:
    """Return the given names of places at which a line can begin."""
    lines = {piece.first for piece in pieces} | set(followed.instructions)
    lines |= {at for piece in pieces if piece.kind != "pointers" for at in range(piece.first, piece.end)}
    return {address: name for address, name in (names or {}).items() if address - origin in lines}


def _followed(
    decoder: Decoder, places: Sequence[int], guess: Guess, likely: Sequence[int], behind: Behind
) -> tuple[Followed, list[Piece], Behind]:
    """Follow the flow from the entries, and from what the tables that it uses point at, until no more comes of it."""
    origin = decoder.origin
    followed, behind = _with_inline(decoder, places, guess, likely, behind)
    tables = pointer_tables(decoder, followed, guess)
    while tables:
        wider = [origin + target for table in tables for target in table.targets if target not in table.texts]
        again, behind = _with_inline(decoder, [*places, *wider], guess, likely, behind)
        more = pointer_tables(decoder, again, guess)
        if _reached(again) <= _reached(followed) or len(more) < len(tables):
            break
        followed, tables = again, more
    return followed, tables, behind


_ROUNDS = 4


def _with_inline(
    decoder: Decoder, places: Sequence[int], guess: Guess, likely: Sequence[int], behind: Behind
) -> tuple[Followed, Behind]:
    """Follow the flow, and again past what stands behind calls, until no more of that is found."""
    cpu, data, origin = decoder.cpu, decoder.data, decoder.origin
    followed = follow(cpu, data, origin, places, likely, decoder, behind, guess.texts)
    for _ in range(_ROUNDS):
        begins = guess.heads | set(followed.targets)
        routines = inline_data(decoder, _calls(followed, origin), begins.__contains__)
        if behind.routines.keys() >= routines.keys():
            break
        behind = Behind({**routines, **behind.routines}, begins.__contains__)
        followed = follow(cpu, data, origin, places, likely, decoder, behind, guess.texts)
    return followed, behind


def _calls(followed: Followed, origin: int) -> dict[int, list[int]]:
    """Return the offsets behind the calls of each address."""
    calls: dict[int, list[int]] = {}
    for at, each in followed.instructions.items():
        if each.target is not None and always_calls(each):
            calls.setdefault(each.target, []).append(at + each.size)
    for at, goal in followed.inline.items():
        calls.setdefault(origin + goal, []).append(at + 2)
    return calls


def _reached(followed: Followed) -> int:
    return len(followed.instructions) - len(followed.likely)


def _likely(cpu: Cpu, data: bytes, origin: int, character: Callable[[int], str]) -> Guess:
    """Return the instructions in the pieces that read as code beyond doubt, and not as text."""
    raw = np.frombuffer(data, np.uint8)
    division = segment(cpu, raw, origin)
    starts = division.starts.tolist()
    ends = (division.starts + division.columns.size[division.starts]).tolist()
    ended = np.isin(division.columns.flow[division.starts], (JUMP, RETURN, STOP)).tolist()
    words = dict(_amid_words(data, character))
    found: list[int] = []
    heads: set[int] = set()
    begun = 0
    for number, end in enumerate(ends):
        if number + 1 < len(starts) and starts[number + 1] == end:
            continue
        text = words.get(starts[begun], 0)
        while begun < number and starts[begun] < text:
            begun += 1
        first, worth = starts[begun], float(division.ahead[starts[begun]] - division.ahead[end])
        size = end - first
        excess = max(0.0, plain_score(raw[first:end]) - worth / size - _PLAINER) * size
        letters = sum(bool(character(byte)) for byte in data[first:end])
        if worth - excess >= _LIKELY and letters < WORDLIKE * size:
            found += starts[begun : number + 1]
            heads |= {starts[at] for at in range(begun, number + 1) if at == begun or ended[at - 1]}
        begun = number + 1
    texts = tuple(clear_texts(data, character))
    lettered = np.zeros(len(data) + 1, bool)
    for first, end in texts:
        lettered[first:end] = True
    sizes = division.columns.size
    kept = tuple(at for at in found if not lettered[at : at + int(sizes[at])].any())
    return Guess(kept, frozenset(heads.intersection(kept)), texts)


def _amid_words(data: bytes, character: Callable[[int], str]) -> Iterator[tuple[int, int]]:
    """Yield the offsets at which a text goes on that began before, with letters alone, and where its end stops."""
    size = len(data)
    shown = [character(byte) for byte in data]
    at = 0
    while at < size:
        begun = at
        while at < size and shown[at]:
            at += 1
        letters = at
        while letters > begun and (shown[letters - 1].isalpha() or shown[letters - 1] == " "):
            letters -= 1
        end = at
        while end < size and end > begun and data[end] in TRAILING and end - at < _MARKS:
            end += 1
        for place in range(max(letters, begun + _WORD), at - _WORD + 1):
            yield place, end
        at = max(end, at + 1)
