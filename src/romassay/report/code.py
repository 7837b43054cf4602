"""What the bytes of an image say about themselves, in sentences."""

from __future__ import annotations

from romassay.chain import Assay
from romassay.code.model import Check, Code
from romassay.report.words import listed

_SHOWN = 3
_WORTH = 0.05
_BLIND = ("sum-", "xor-")
"""Checks that don't feel the order of the bytes."""


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
    if code.origin is None:
        return ["Nothing in it tells at which address it belongs."]
    places = [f"{address:04X} ({chance:.0%})" for address, chance in code.origins[1:_SHOWN] if chance >= _WORTH]
    rest = f", or at {' or '.join(places)}" if places else ""
    text = f"It belongs at {code.origin:04X}{rest}: {code.references} absolute references were weighed."
    entries = [f"{name} at {address:04X}" for name, address in code.entries[:_SHOWN]]
    return [text, *([f"It begins with {listed(entries)}."] if entries else [])]


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
