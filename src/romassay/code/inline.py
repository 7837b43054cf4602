"""What stands behind a call and is no instruction: a message to print, parameters, a table of places to go on at.

A routine that takes its return address from the stack reads there what is meant for it, and goes on behind. Whether a
routine does so shows in its first instructions; what it reads shows behind its calls. A message that stands behind
each of several calls, or behind one and is text beyond doubt, is seen even where the routine lies outside of the image.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from romassay.code.texts import is_clear
from romassay.cpus.decode import Decoder
from romassay.cpus.model import ENDS, Cpu, Instruction

_PRINTABLE = range(0x20, 0x7F)
_CONTROLS = range(0x07, 0x0E)
_HIGH = 0x80
_LONGEST = 160
"""Bytes of a message."""

_TERMINATORS = (0x00, _HIGH, 0x04, 0x03, 0xFF, 0x24, 0x0D)
"""What may end a message, the most usual first; `_HIGH` stands for a last sign with its high bit set."""

_WORDLIKE = 0.75
_LEAST_SIGNS, _LEAST_SIGNS_ALONE = 3, 6
"""Signs of a message on average: where the routine takes its return address, and where that is not seen."""

_SIGNS = frozenset(bytes([byte]) for byte in (*_PRINTABLE, *_CONTROLS))
_MARKS = bytes((*_CONTROLS, *_TERMINATORS))
_SHARE = 0.75
"""Share of the calls behind which a message must stand; data that were taken for code may seem to call as well."""

_MOST_BYTES = 8
_LEAST_WORDS, _MOST_WORDS = 2, 64
_SOON = 14
"""Instructions within which a routine takes its return address."""

_ROUTINE = 40
_ON = 3
"""Instructions that must follow each other where code goes on."""

_CALLS = frozenset(("jsr {}", "bsr {}", "lbsr {}", "call {}", "lcall {}", "acall {}"))


@dataclass(frozen=True, slots=True)
class Inline:
    """What a routine takes from behind its calls: a text with its terminator, so many bytes, or addresses."""

    kind: Literal["text", "bytes", "words"]
    number: int = 0

    def end(self, data: bytes, at: int) -> int | None:
        """Return the offset behind what stands at an offset; None where there is no such thing. Not of addresses."""
        if self.kind == "text":
            return _text_end(data, at, self.number)
        return at + self.number if at + self.number <= len(data) else None


def always_calls(instruction: Instruction) -> bool:
    """Tell whether an instruction is a call without a condition."""
    return instruction.flow == "call" and (instruction.form.text in _CALLS or instruction.form.target is not None)


def inline_data(
    decoder: Decoder, calls: Mapping[int, Sequence[int]], begins: Callable[[int], bool]
) -> dict[int, Inline]:
    """Return what routines take from behind their calls, by the address of the routine.

    Args:
        decoder: of the bytes.
        calls: by the address that is called, the offsets behind the calls.
        begins: tells of an offset whether something is known to begin there.
    """
    found: dict[int, Inline] = {}
    for target, places in calls.items():
        at = target - decoder.origin
        body = list(_body(decoder, at)) if 0 <= at < len(decoder.data) else []
        takes = _takes_return(decoder.cpu, body[:_SOON])
        inline = _text(decoder.data, places, takes=takes)
        if inline is None and takes:
            inline = _words(decoder, body, places, begins) or _bytes(decoder, body, places)
        if inline is not None:
            found[target] = inline
    return found


def words_behind(decoder: Decoder, at: int, begins: Callable[[int], bool]) -> list[int]:
    """Return the offsets to which the addresses lead that stand behind a call."""
    goals: list[int] = []
    order: Literal["big", "little"] = "big" if decoder.cpu.big_endian else "little"
    while at + 2 <= len(decoder.data) and len(goals) < _MOST_WORDS:
        goal = int.from_bytes(decoder.data[at : at + 2], order) - decoder.origin
        if not (begins(goal) or _goes_on(decoder, goal)) or at in goals or goal == at:
            break
        goals.append(goal)
        at += 2
    return goals


def _body(decoder: Decoder, at: int) -> Iterator[Instruction]:
    """Yield the instructions of a routine in their order, up to the first end of the flow with nothing branching on."""
    furthest = at
    for _ in range(_ROUTINE):
        instruction = decoder.at(at) if at < len(decoder.data) else None
        if instruction is None:
            return
        yield instruction
        if instruction.target is not None and instruction.flow == "branch":
            furthest = max(furthest, instruction.target - decoder.origin)
        at += instruction.size
        if instruction.flow in ENDS and furthest < at:
            return


_PUSHES = frozenset(("pha", "php", "phx", "phy", "push", "psha", "pshb", "pshx", "pshs"))
_POPS: dict[str, frozenset[str]] = {
    "6502": frozenset(("pla", "plx", "ply")),
    "8080": frozenset(("pop b", "pop d", "pop h", "xthl")),
    "Z80": frozenset(("pop bc", "pop de", "pop hl", "pop ix", "pop iy", "ex (sp),hl", "ex (sp),ix", "ex (sp),iy")),
    "6800": frozenset(("pula", "pulb", "pulx")),
    "6809": frozenset(("puls {}",)),
    "8051": frozenset(("pop {}",)),
    "1802": frozenset(("lda r6",)),
}
_POPS |= {"65C02": _POPS["6502"], "8085": _POPS["8080"], "6801": _POPS["6800"]}
_POINTER = frozenset((0x82, 0x83))
"""DPL and DPH of the 8051."""

_BY_STACK = {("ldx {},x", 0)} | {(f"{load} {{}},x", at) for load in ("lda", "ldy") for at in range(0x101, 0x109)}
"""Loads by the stack pointer in X, each with its offset (6800) or address (6502)."""

_LOADS = frozenset(("ldx {}", "ldy {}", "ldu {}", "ldd {}"))
_PC = 0x80


def _takes_return(cpu: Cpu, body: Sequence[Instruction]) -> bool:
    """Tell whether a routine reads its return address before it has put anything on the stack itself."""
    pops = _POPS.get(cpu.name, frozenset())
    by_stack = False
    depth = 0
    for instruction in body:
        text, values = instruction.form.text, instruction.values
        if instruction.form.mnemonic in _PUSHES:
            depth += 1
        elif text == "tsx":
            by_stack = depth == 0
        elif (by_stack and (text, values[0].number if values else 0) in _BY_STACK) or (
            text in _LOADS and values[0].text == ",s" and not depth
        ):
            return True
        elif text in pops:
            if depth:
                depth -= 1
            elif cpu.name == "8051":
                if values[0].number in _POINTER:
                    return True
            elif not (cpu.name == "6809" and values[0].number & _PC):
                return True
    return False


def _text_end(data: bytes, at: int, terminator: int) -> int | None:
    """Return the offset behind a message, or None where none with this end stands here."""
    for here in range(at, min(at + _LONGEST, len(data))):
        byte = data[here]
        if terminator == _HIGH and byte & _HIGH:
            return here + 1 if byte & 0x7F in _PRINTABLE else None
        if byte == terminator and terminator != _HIGH:
            return here + 1
        if byte not in _PRINTABLE and byte not in _CONTROLS:
            return None
    return None


def _text(data: bytes, places: Sequence[int], *, takes: bool) -> Inline | None:
    """Return the message that stands behind the calls of a routine."""
    if sum(data[at : at + 1] in _SIGNS for at in places) < _SHARE * len(places):
        return None
    for terminator in _TERMINATORS:
        ends = [_text_end(data, at, terminator) for at in places]
        texts = [bytes(byte & 0x7F for byte in data[at:end]) for at, end in zip(places, ends, strict=True) if end]
        signs = [byte for text in texts for byte in text if byte in _PRINTABLE]
        if len(texts) < _SHARE * len(places) or not signs:
            continue
        if not takes and len(places) == 1 and not is_clear(texts[0].strip(_MARKS).decode("ascii", "replace")):
            continue
        wordlike = sum(chr(sign).isalnum() or chr(sign) == " " for sign in signs)
        least = _LEAST_SIGNS if takes else _LEAST_SIGNS_ALONE
        if len(signs) >= least * len(texts) and wordlike >= _WORDLIKE * len(signs):
            return Inline("text", terminator)
    return None


def _words(
    decoder: Decoder, body: Sequence[Instruction], places: Sequence[int], begins: Callable[[int], bool]
) -> Inline | None:
    """Return addresses, where a routine goes on at one of those that stand behind its calls."""
    if not body or body[-1].flow != "return" or not body[-1].form.mnemonic.startswith(("j", "pchl")):
        return None
    tables = [words_behind(decoder, at, begins) for at in places]
    tables = [goals for goals in tables if len(goals) >= _LEAST_WORDS]
    known = sum(begins(goal) for goals in tables for goal in goals[:_LEAST_WORDS])
    return Inline("words") if tables and len(tables) >= _SHARE * len(places) and known >= len(tables) else None


_STEPS = frozenset(
    ("inx h", "inx d", "inx b", "inc hl", "inc de", "inc bc", "inc ix", "inx", "inc dptr", "lda r6", "inc r6")
)


def _bytes(decoder: Decoder, body: Sequence[Instruction], places: Sequence[int]) -> Inline | None:
    """Return how far a routine steps its return address on, where it does so without a loop."""
    if any(each.flow == "branch" and each.target is not None and each.target <= each.address for each in body):
        return None
    steps = 0
    for each in body:
        text = each.form.text
        steps += text in _STEPS
        if text == "adc #{}" and decoder.cpu.name in ("6502", "65C02"):
            steps += each.values[0].number
        if decoder.cpu.name == "6809":
            steps += sum(value.text.count("+") for value in each.values if value.kind == "indexed")
    going_on = sum(_goes_on(decoder, at + steps) for at in places)
    return Inline("bytes", steps) if 0 < steps <= _MOST_BYTES and going_on >= _SHARE * len(places) else None


def _goes_on(decoder: Decoder, at: int) -> bool:
    """Tell whether some instructions follow each other from an offset on."""
    for _ in range(_ON):
        instruction = decoder.at(at) if 0 <= at < len(decoder.data) else None
        if instruction is None:
            return False
        if instruction.flow in ENDS:
            return True
        at += instruction.size
    return True
