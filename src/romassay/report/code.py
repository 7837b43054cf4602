"""What the bytes of an image say about themselves, in sentences."""

from __future__ import annotations

from romassay.chain import Assay
from romassay.code.model import NO_VECTOR, Check, Code
from romassay.report.words import listed

_SHOWN = 3
_WORTH = 0.05
_BLIND = ("sum-", "xor-")
"""Checks that don't feel the order of the bytes."""
_SURE = 0.95
"""Probability from which on an address is given without it."""


def code_sentences(assay: Assay, number: int) -> list[str]:
    """Return what is said of one image's code; nothing where it was not looked at or is all one byte."""
    if number >= len(assay.codes) or len(set(bytes(assay.images[number]))) <= 1:
        return []
    code = assay.codes[number]
    return [_cpu(code), *_origin(code), *_checks(code)]


def _cpu(code: Code) -> str:
    others = [f"{name or 'no code'} {chance:.0%}" for name, chance in code.candidates[1:_SHOWN] if chance >= _WORTH]
    rest = f"; otherwise {' or '.join(others)}" if others else ""
    chance = code.candidates[0][1]
    if code.cpu is None:
        return f"Like no code of a CPU that is known here ({_share(chance)}){rest}."
    return f"{code.cpu} code ({_share(chance)}){rest}."


def _share(chance: float) -> str:
    return "over 99%" if chance > 0.99 else f"{chance:.0%}"


def _origin(code: Code) -> list[str]:
    if code.cpu is None:
        return []
    places = [f"{address:04X} ({_share(chance)})" for address, chance in code.origins[:_SHOWN] if chance >= _WORTH]
    if code.origin is None and places:
        return [f"Where it belongs is open: perhaps at {' or '.join(places)}."]
    if code.origin is None:
        return ["Nothing in it tells at which address it belongs."]
    rest = f", or at {' or '.join(places[1:])}" if places[1:] else ""
    sure = "" if code.origins[0][1] >= _SURE else f" ({_share(code.origins[0][1])})"
    text = f"It belongs at {code.origin:04X}{sure}{rest}: {code.references} absolute references were weighed."
    return [text, *_entries(code)]


def _entries(code: Code) -> list[str]:
    if not code.entries:
        return []
    if code.entries[0][0] == NO_VECTOR:
        return [f"Nothing in it tells where the CPU enters; its first instruction is at {code.entries[0][1]:04X}."]
    return [f"It begins with {listed([f'{name} at {address:04X}' for name, address in code.entries[:_SHOWN]])}."]


def _checks(code: Code) -> list[str]:
    blocks = [check for check in code.checks if check.kind == code.checks[0].kind]
    if len(blocks) > 1 and len({check.first for check in blocks}) == len(blocks):
        first = blocks[0]
        value = f"{first.value:02X}" if first.stored_at is None else f"what is stored, at {first.stored_at:04X} first,"
        return [
            f"Its own check comes out right: {first.kind} is {value} in each of {len(blocks)} blocks of "
            f"{first.last - first.first + 1} bytes, where chance would give {first.chance_hits:.2g} such hits."
            f"{_not_felt(first)}"
        ]
    return [_check(check) for check in code.checks[:_SHOWN]]


def _check(check: Check) -> str:
    stored = f"{check.value:X}" if check.stored_at is None else f"what is stored at {check.stored_at:04X}"
    return (
        f"Its own check comes out right: {check.kind} over {check.first:04X}-{check.last:04X} is {stored}, "
        f"where chance would give {check.chance_hits:.2g} such hits.{_not_felt(check)}"
    )


def _not_felt(check: Check) -> str:
    """Return what a check at a constant does not notice: it is the same in any order of its bytes."""
    if check.stored_at is not None or not check.kind.startswith(_BLIND):
        return ""
    lines = (check.last - check.first + 1).bit_length() - 1
    data = " or the data lines" if check.kind.startswith("xor") else ""
    return f" It comes out so with A0 to A{lines - 1}{data} in any other order as well."
