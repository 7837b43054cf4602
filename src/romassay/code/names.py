"""The names of a listing: what refers to what, and how the places are called."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from romassay.code.flow import Followed
from romassay.code.pieces import Piece, data_references, data_targets
from romassay.code.texts import LEADING, TRAILING
from romassay.cpus.model import Cpu

_HALVES = {"6502": ("lda", "ldx", "ldy"), "65C02": ("lda", "ldx", "ldy"), "1802": ("ldi",)}
"""Instructions that load a constant, of CPUs that load an address in two halves."""

_NEAR = 4
"""Instructions within which the second half follows the first."""


def halves_of(
    cpu: Cpu, data: bytes, origin: int, followed: Followed, pieces: Sequence[Piece]
) -> Iterable[tuple[int, int]]:
    """Yield (address of the second load, address) for pairs of constants that point at a text, a table or a routine."""
    loads = _HALVES.get(cpu.name, ())
    pointed = {origin + at for at in _beginnings(data, followed, pieces)} if loads else set()
    recent: list[tuple[int, int]] = []
    for number, instruction in enumerate(followed.instructions.values()):
        value = instruction.values[0] if instruction.values else None
        if instruction.form.mnemonic not in loads or value is None or value.kind != "byte":
            continue
        recent = [(place, byte) for place, byte in recent if number - place <= _NEAR]
        met = {byte << 8 | value.number for _, byte in recent} | {value.number << 8 | byte for _, byte in recent}
        if len(met & pointed) == 1:
            yield instruction.address, (met & pointed).pop()
            recent = []
        else:
            recent.append((number, value.number & 0xFF))


def _beginnings(data: bytes, followed: Followed, pieces: Sequence[Piece]) -> Iterable[int]:
    """Yield the offsets at which something begins: routines, tables, and the messages of texts."""
    yield from (at for at in followed.targets if at in followed.instructions)
    for piece in pieces:
        if piece.kind == "padding":
            continue
        yield piece.first
        if piece.kind == "text":
            places = range(piece.first + 1, piece.end)
            yield from (at for at in places if _message_begins(data[at - 1], data[at]))


def _message_begins(before: int, here: int) -> bool:
    if here in LEADING:
        return before not in LEADING
    return before in TRAILING and here not in TRAILING


def labels_of(
    origin: int,
    entries: Sequence[tuple[str, int]],
    followed: Followed,
    pieces: Sequence[Piece],
    size: int,
    halves: Mapping[int, int],
) -> dict[int, str]:
    """Name every place that something refers to and a line can begin at."""
    called = {
        instruction.target
        for instruction in followed.instructions.values()
        if instruction.flow == "call" and instruction.target is not None
    }
    called |= {origin + target for at, target in followed.inline.items() if _is_called(followed, at)}
    names: dict[int, str] = {}
    for offset in followed.targets:
        if offset in followed.instructions:
            names[origin + offset] = f"{'S' if origin + offset in called else 'L'}{origin + offset:04X}"
    for piece in pieces:
        for target in piece.targets:
            if target in followed.instructions:
                names.setdefault(origin + target, f"L{origin + target:04X}")
    pointed = {target for piece in pieces for target in piece.texts}
    free = {at for piece in pieces if piece.kind != "pointers" for at in range(piece.first, piece.end)}
    free |= {piece.first for piece in pieces if piece.kind == "pointers"}
    for offset in sorted(data_targets(origin, followed, size) | pointed):
        if offset in free:
            names.setdefault(origin + offset, f"T{origin + offset:04X}")
        elif offset in followed.instructions:
            names.setdefault(origin + offset, f"L{origin + offset:04X}")
    for address in halves.values():
        names.setdefault(address, f"{'L' if address - origin in followed.instructions else 'T'}{address:04X}")
    for name, address in reversed(entries):
        if address - origin in followed.instructions and name:
            names[address] = f"on_{name}"
    return names


def _is_called(followed: Followed, at: int) -> bool:
    """Tell whether an address behind a call is what is called, as with the 1802."""
    call = followed.instructions.get(at - 1)
    return call is not None and call.flow != "call"


def sources_of(
    origin: int, followed: Followed, pieces: Sequence[Piece], size: int, halves: Mapping[int, int]
) -> dict[int, tuple[int, ...]]:
    """Return for each address of the image the places that refer to it: instructions, and words of tables."""
    found: dict[int, set[int]] = {}
    for goal, by in followed.targets.items():
        found.setdefault(origin + goal, set()).update(origin + at for at in by)
    for at, target in data_references(origin, followed, size):
        found.setdefault(origin + target, set()).add(origin + at)
    for at, address in halves.items():
        found.setdefault(address, set()).add(at)
    for piece in (piece for piece in pieces if piece.first not in followed.inline):
        for number, target in enumerate(piece.targets):
            found.setdefault(origin + target, set()).add(origin + piece.first + 2 * number)
    return {address: tuple(sorted(by)) for address, by in sorted(found.items())}
