"""Firmware in hand-written style: routines of our own, put together at random into whole programs.

`firmware/CPU.asm` holds the routines. A block begins with ';;'. Names that end in '_' stand for what each program picks
anew: `f_` a routine, `t_` a table, `q_` a table of pointers, `v_` a variable, `a_` an address outside page zero, `b_` a
bit, `p_` a port, `k_` a constant, `w_` a word; `v1_` is the same variable all through a routine. The block 'glue' holds
single lines, of which further routines are made up.
"""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from pathlib import Path

from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of
from romassay.errors import BadValue

FIRMWARE = Path(__file__).parent / "firmware"
CONTAINS = {"65C02": "6502", "6801": "6800", "8085": "8080"}
TOP = {"6502": 6, "65C02": 6, "6800": 8, "6801": 16, "6809": 14}
PAGED = ("8048", "1802")
WORDS = [
    "READY",
    "ERROR",
    "OPEN",
    "CLOSED",
    "LOW",
    "HIGH",
    "PUMP",
    "LEVEL",
    "TIDE",
    "LAMP",
    "FOG",
    "START",
    "STOP",
    "TEST",
    "PASS",
    "FAIL",
    "VER",
    "1.2",
    "COPYRIGHT",
    "BAD",
    "KEY",
    "SET",
    "TIME",
    "DATE",
    "TEMP",
    "ALARM",
    "OFF",
    "ON",
    "MEMORY",
    "ADDRESS",
    "LOAD",
    "SAVE",
    "RANGE",
    "HELLO",
    "WAIT",
    "PRESS",
    "ENTER",
    "VALUE",
    "Please",
    "wait",
    "no",
    "signal",
    "sector",
    "full",
    "empty",
]


@dataclass(frozen=True)
class Program:
    """A program as built: its bytes, where they belong, and which of them are code."""

    cpu: str
    origin: int
    data: bytes
    entries: tuple[int, ...]
    source: str
    absolute: bool = True
    instructions: tuple[int, ...] = ()


WIDER = {"65C02": "6502", "6801": "6800", "8085": "8080", "Z80": "8080"}
"""The plainer CPU whose style a program may keep to but for a few instructions; those of a Z80 are written as bytes."""


def blocks(cpu: str, half: int | None = None) -> tuple[list[list[str]], list[str]]:
    """Return the routines and the glue lines of a CPU, those of the set it contains first.

    With `half`, every second of them only: what one half teaches can be tried on the other.
    """
    routines: list[list[str]] = []
    glue: list[str] = []
    for name in (CONTAINS.get(cpu), cpu):
        if name is None:
            continue
        for block in (FIRMWARE / f"{name}.asm").read_text().split(";;")[1:]:
            title, *lines = [line for line in block.splitlines() if line.strip()]
            if title.strip() == "glue":
                glue += lines
            else:
                routines.append(lines)
    if half is not None:
        return routines[half::2], glue[half::2]
    return routines, glue


def wide_blocks(cpu: str) -> list[list[str]]:
    """Return the routines with instructions that the plainer CPU has not, in its own notation."""
    name = "Z80-in-8080" if cpu == "Z80" else cpu
    found = [block.splitlines() for block in (FIRMWARE / f"{name}.asm").read_text().split(";;")[1:]]
    return [[line for line in lines[1:] if line.strip()] for lines in found if lines[0].strip() != "glue"]


class Maker:
    """Makes one program."""

    def __init__(self, cpu: str, rng: random.Random, half: int | None = None, rare: int = 0) -> None:
        self.rare = rare
        self.wide = wide_blocks(cpu) if rare else []
        cpu = WIDER[cpu] if rare else cpu
        self.cpu, self.rng = cpu, rng
        self.routines, self.glue = blocks(cpu, half)
        self.ram = rng.choice((0x0000, 0x0200, 0x0400, 0x2000, 0x8000, 0xC000, 0x1000, 0x3800, 0xD000))
        self.io = rng.choice((0x8000, 0x9000, 0xD000, 0xA000, 0xE000, 0x1700, 0x4000, 0x5000, 0xC800, 0x6000))
        self.direct = rng.choice((0.95, 0.8, 0.5, 0.2)) if cpu in ("6502", "65C02", "6800", "6801", "6809") else 0.0
        self.ports = [rng.randrange(256) for _ in range(rng.randint(3, 8))]
        self.count = 0
        self.labels: list[str] = []

    def variable(self) -> str:
        rng = self.rng
        if self.cpu == "8051":
            return f"0{rng.randint(0x20, 0x7F):x}h"
        if rng.random() < self.direct:
            return f"${rng.randint(0, 0xFE):02x}"
        return f"0{self.ram + rng.randint(0x10, 0xF0):x}h"

    def address(self) -> str:
        rng = self.rng
        base = self.io if rng.random() < 0.6 else self.ram + 0x100
        return f"0{(base + rng.choice((0, 1, 2, 3, 4, 8, 16, rng.randint(0, 255)))) & 0xFFFF or 0x8000:x}h"

    def constant(self) -> str:
        rng = self.rng
        kind = rng.random()
        if kind < 0.35:
            return str(rng.randint(0, 16))
        if kind < 0.6:
            return str(1 << rng.randint(0, 7))
        if kind < 0.75:
            return str(rng.choice((0xFF, 0x7F, 0x0F, 0xF0, 0x80, 0x3F, 0xFE, 0x0D, 0x20, 0x30, 0x39, 0x41, 10, 100)))
        return str(rng.randint(1, 255))

    def word(self) -> str:
        rng = self.rng
        kind = rng.random()
        if kind < 0.4:
            return f"0{self.ram + 0x100 + rng.randint(0, 0x2FF) & 0xFFFF:x}h"
        if kind < 0.7:
            return str(rng.choice((100, 200, 500, 1000, 2000, 5000, 10000, 256, 512, 1024, 50000, 60)))
        return f"0{rng.randint(0x100, 0xFFFF):x}h"

    def pick(self, name: str) -> str:
        rng = self.rng
        letter = name[0]
        if letter == "f":
            return rng.choice(self.labels)
        if letter == "t":
            return f"tab{rng.randrange(self.tables)}"
        if letter == "q":
            return f"ptr{rng.randrange(self.pointers)}"
        if letter == "v":
            return self.variable()
        if letter == "a":
            return self.address()
        if letter == "b":
            return f"0{rng.choice((0x20, 0x28, 0x90, 0xA0, 0xB0, 0x80)) + rng.randint(0, 7):x}h"
        if letter == "p":
            return f"0{rng.choice(self.ports):x}h"
        return self.constant() if letter == "k" else self.word()

    def filled(self, lines: list[str], label: str) -> list[str]:
        """Return a routine with every name given."""
        fixed: dict[str, str] = {}
        self.count += 1

        def name(match: re.Match[str]) -> str:
            word = match[0]
            if len(word) > 2:
                return fixed.setdefault(word, self.pick(word))
            return self.pick(word)

        out = []
        for line in lines:
            line = re.sub(r"(?<![\w.$'])\.([a-z]\d?)\b", rf"L{self.count}\1", line)
            line = re.sub(r"(?<![\w.'])f(?=:|\s*$)", label, line)
            line = re.sub(r"\b([ftqvabpkw]\d?_)", name, line)
            out.append(line)
        return out

    def glued(self, label: str) -> list[str]:
        """Return a routine made of glue lines; its branches stay within it."""
        rng = self.rng
        near = [
            "bra",
            "beq",
            "bne",
            "bcc",
            "bcs",
            "bmi",
            "bpl",
            "jr",
            "jnz",
            "jz",
            "jc",
            "jb",
            "jnb",
            "cjne",
            "sjmp",
            "bz",
            "bnz",
            "bsr",
            "acall",
        ]
        size = rng.randint(5, 22 if self.cpu not in PAGED else 14)
        lines = rng.choices(self.glue, k=size)
        out = [f"{label}:"]
        for number, line in enumerate(lines):
            mnemonic = line.split()[0]
            if "f_" in line and (mnemonic in near and not (self.cpu in ("8080", "8085") and mnemonic[0] == "j")):
                if mnemonic in ("bsr", "acall"):
                    out.append(f"G{self.count}x{number}:")
                    continue
                line = line.replace("f_", f"G{self.count}x{rng.randint(0, number)}")
            out += [f"G{self.count}x{number}:", *self.filled([line], label)[:1]]
            self.count -= 1
        self.count += 1
        end = {"6502": "rts", "65C02": "rts", "6800": "rts", "6801": "rts", "6809": "rts", "1802": "sep r5"}
        return [*out, " " + end.get(self.cpu, "ret")]

    def table(self, number: int) -> list[str]:
        rng = self.rng
        kind = rng.random()
        label = f"tab{number}:"
        if kind < 0.5:
            text = " ".join(rng.choices(WORDS, k=rng.randint(1, 5)))
            return [f'{label} db "{text}",{rng.choice((0, 0, 4, 13, 36, 255))}']
        if kind < 0.7:
            return [label, " db " + ",".join(map(str, (0x3F, 6, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 7, 0x7F, 0x6F)))]
        return [label, " db " + ",".join(str(rng.randrange(256)) for _ in range(rng.randint(4, 24)))]

    def source(self, size: int, origin: int) -> list[str]:
        rng = self.rng
        self.tables = max(2, size // rng.choice((150, 250, 400, 800)))
        self.pointers = max(1, size // 800)
        average = 26
        count = max(3, int(size / average * rng.choice((0.5, 0.7, 0.8))))
        self.labels = [f"sub{i}" for i in range(count)]
        chosen: list[list[str]] = []
        mix = rng.choice((0.2, 0.4, 0.6))
        for label in self.labels:
            if rng.random() < mix and self.glue:
                chosen.append(self.glued(label))
            else:
                chosen.append(self.filled(rng.choice(self.routines), label))
        for place in rng.sample(range(len(chosen)), min(self.rare, len(chosen))):
            chosen[place] = self.filled(rng.choice(self.wide), self.labels[place])
        rng.shuffle(chosen)
        data = [self.table(i) for i in range(self.tables)]
        data += [
            [f"ptr{i}:", " dw " + ",".join(rng.choices(self.labels, k=rng.randint(3, 12)))]
            for i in range(self.pointers)
        ]
        if rng.random() < 0.5:
            for piece in data:
                chosen.insert(rng.randint(1, len(chosen)), piece)
        else:
            chosen += data
        lines = [f" org {origin}", *self.head(origin)]
        for piece in chosen:
            lines += piece if self.cpu not in PAGED else self.aligned(piece)
        return lines

    def head(self, origin: int) -> list[str]:
        rng = self.rng
        main = rng.choice(self.labels)
        if origin == 0 and self.cpu in ("8080", "8085", "Z80"):
            jump = "jmp" if self.cpu != "Z80" else "jp"
            lines = [f" {jump} {main}"]
            for place in rng.sample((8, 16, 24, 32, 40, 48, 56), rng.randint(0, 4)):
                lines += [f" org {place}", f" {jump} {rng.choice(self.labels)}"]
            return [lines[0], *sorted_pairs(lines[1:]), f" org {rng.choice((64, 64, 105, 128))}"]
        if self.cpu == "8051" and origin == 0:
            lines = [f" ljmp {main}"]
            for place in (3, 11, 27, 35):
                if rng.random() < 0.5:
                    lines += [f" org {place}", f" ljmp {rng.choice(self.labels)}"]
            return [*lines, f" org {rng.choice((38, 48, 64))}"]
        if self.cpu == "8048":
            return [
                f" jmp {main}",
                " nop",
                f" jmp {rng.choice(self.labels)}",
                " nop",
                " nop",
                f" jmp {rng.choice(self.labels)}",
            ]
        if self.cpu == "1802":
            return [f" lbr {main}"]
        return []

    def aligned(self, piece: list[str]) -> list[str]:
        return ["@page", *piece]


def sorted_pairs(lines: list[str]) -> list[str]:
    """Return (org, jump) pairs in the order of their addresses."""
    pairs = sorted(zip(lines[::2], lines[1::2], strict=True), key=lambda pair: int(pair[0].split()[1]))
    return [line for pair in pairs for line in pair]


def settle(cpu: str, lines: list[str]) -> list[str]:
    """Return the lines with a step to the next page before each routine that would straddle one."""
    machine = cpu_of(cpu)
    pieces: list[list[str]] = [[]]
    for line in lines:
        if line == "@page":
            pieces.append([])
        else:
            pieces[-1].append(line)
    out = list(pieces[0])
    here = 9 if cpu == "8048" else 3
    for piece in pieces[1:]:
        flat = [re.sub(r"\b(sub\d+|tab\d+|ptr\d+)\b", "0", line) if ":" not in line else line for line in piece]
        flat = [re.sub(r"(?<!^)\b(sub\d+|tab\d+|ptr\d+)\b(?!:)", "0", line) for line in flat]
        size = len(assemble(machine, flat, origin=0).data)
        if (here & 0xFF) + size > 0x100:
            out.append(f" ds {0x100 - (here & 0xFF)}")
            here = (here | 0xFF) + 1
        out += piece
        here += size
    return out


def program(cpu: str, rng: random.Random, size: int, half: int | None = None, rare: int = 0) -> Program:
    """Return a program of about so many bytes; with `rare`, one of the plainer CPU but for so many routines."""
    for _ in range(20):
        maker = Maker(cpu, rng, half, rare)
        origin = _origin(cpu, rng, size)
        lines = maker.source(min(size, 1900 if cpu == "8048" else size), origin)
        try:
            return _built("8080" if rare and cpu == "Z80" else cpu, rng, maker, lines, origin, size)
        except BadValue:
            continue
    raise RuntimeError(cpu)


def _built(cpu: str, rng: random.Random, maker: Maker, lines: list[str], origin: int, size: int) -> Program:
    if cpu in PAGED:
        lines = settle(cpu, lines)
    built = _assembled(cpu, lines)
    data = built.data
    if origin + len(data) > 0x10000:
        raise BadValue("too long")
    entries = [origin]
    if cpu in TOP and origin + size == 0x10000:
        top = TOP[cpu]
        data = data[: size - top]
        fill = rng.choice((0xFF, 0x00, 0xFF))
        vectors = [built.symbols[rng.choice(maker.labels)] for _ in range(top // 2)]
        entries = [v for v in vectors if v - origin < size - top]
        order = "big" if cpu_of(cpu).big_endian else "little"
        data += bytes([fill]) * (size - top - len(data)) + b"".join(v.to_bytes(2, order) for v in vectors)
    elif len(data) < size and rng.random() < 0.6:
        data += bytes([rng.choice((0xFF, 0xFF, 0x00))]) * (size - len(data))
    instructions = tuple(at for at in built.instructions if at < origin + size)
    return Program(cpu, origin, data[:size], tuple(entries), f"hand-{cpu}", instructions=instructions)


def _assembled(cpu: str, lines: list[str]):
    for _ in range(60):
        try:
            return assemble(cpu_of(cpu), lines)
        except BadValue as e:
            number = int(e.place.split()[1]) - 1 if e.place else -1
            if number < 0 or ":" in lines[number]:
                raise
            lines[number] = ""
    raise BadValue("0: nothing helps")


def _origin(cpu: str, rng: random.Random, size: int) -> int:
    if cpu in TOP and rng.random() < 0.6:
        return 0x10000 - size
    if cpu in ("8048",) or (cpu == "8051" and rng.random() < 0.95):
        return 0
    if cpu in ("8080", "8085", "Z80", "1802") and rng.random() < 0.65:
        return 0
    return rng.randrange(1, 0x10000 // size - 1) * size
