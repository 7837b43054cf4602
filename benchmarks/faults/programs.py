"""ROM images that are code: pieces of invented controllers and library functions, compiled here.

`pool(folder)` builds them once with the compilers that are here (cc65 for 6502, sdcc for Z80 and 8051) and keeps them
in a folder; a compiler that is missing is left out. Every program is another choice of pieces in another order, so that
no two images share their layout.
"""

import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

PIECES = Path(__file__).with_name("pieces.c")
COUNT = 14
LIBRARY = {
    "itoa(rnd_, (char *)line_, 10);": ("stdlib.h", ("6502",)),
    "rnd_ = atoi((char *)line_);": ("stdlib.h", ("6502", "Z80", "8051")),
    'strcpy((char *)line_, "LOCK OPEN");': ("string.h", ("6502", "Z80", "8051")),
    'strncat((char *)line_, "AND SHUT", 4);': ("string.h", ("6502", "Z80", "8051")),
    'rnd_ = strcmp((char *)line_, "HIGH WATER");': ("string.h", ("6502", "Z80", "8051")),
    'rnd_ = (int)(strstr((char *)line_, "BELL") != 0);': ("string.h", ("6502", "Z80", "8051")),
    "memmove(line_, queue_, 8);": ("string.h", ("6502", "Z80", "8051")),
    'rnd_ = (int)strspn((char *)line_, "01234567");': ("string.h", ("6502", "Z80", "8051")),
    "long_ = long_ * 17 + rnd_;": ("string.h", ("6502", "Z80", "8051")),
    "long_ = long_ / (rnd_ + 3);": ("string.h", ("6502", "Z80", "8051")),
    "qsort(line_, 8, 1, (int (*)(const void *, const void *))strcmp);": ("stdlib.h", ("6502",)),
    'sprintf((char *)line_, "LEVEL %u AT %x", state_, rnd_);': ("stdio.h", ("6502", "Z80")),
    "float_ = float_ * 1.5f + rnd_;": ("string.h", ("Z80", "8051")),
    "long_ = strtol((char *)line_, 0, 16);": ("stdlib.h", ("6502",)),
    "line_[0] = toupper(line_[1]);": ("ctype.h", ("6502", "Z80", "8051")),
}
LINKER = """MEMORY {{ ZP: start=$20,size=$60,type=rw; RAM: start=$200,size=$600,type=rw;
 ROM: start=${origin:04X},size=$2800,type=ro,fill=no,file=%O; }}
SEGMENTS {{ ZEROPAGE: load=ZP,type=zp; STARTUP: load=ROM,type=ro,optional=yes; LOWCODE: load=ROM,type=ro,optional=yes;
 ONCE: load=ROM,type=ro,optional=yes; CODE: load=ROM,type=ro; RODATA: load=ROM,type=ro,optional=yes;
 DATA: load=ROM,run=RAM,type=rw,define=yes,optional=yes; BSS: load=RAM,type=bss,define=yes; }}
SYMBOLS {{ __STACKSTART__: type=weak,value=$800; __STACKSIZE__: type=weak,value=$100; }}
FEATURES {{
 CONDES: type=constructor,label=__CONSTRUCTOR_TABLE__,count=__CONSTRUCTOR_COUNT__,segment=ONCE;
 CONDES: type=destructor,label=__DESTRUCTOR_TABLE__,count=__DESTRUCTOR_COUNT__,segment=RODATA;
 CONDES: type=interruptor,label=__INTERRUPTOR_TABLE__,count=__INTERRUPTOR_COUNT__,segment=RODATA,import=__CALLIRQ__; }}
"""


@dataclass(frozen=True)
class Program:
    """A linked program: CPU, address of its first byte, bytes."""

    cpu: str
    origin: int
    data: bytes


def image(program: Program, size: int, rng: np.random.Generator) -> np.ndarray:
    """A ROM of `size` bytes that holds the program: filled up, with vectors at the end where the CPU has them there.

    A longer program is split over several ROMs; one of those is taken, where it is full.
    """
    data = np.frombuffer(program.data, np.uint8)
    if len(data) >= size:
        start = int(rng.integers(0, len(data) // size)) * size
        return data[start : start + size].copy()
    out = np.full(size, int(rng.choice([0xFF, 0xFF, 0x00])), np.uint8)
    out[: len(data)] = data
    if program.cpu == "6502" and len(data) <= size - 6:
        entry = [program.origin + int(rng.integers(0, len(data))) for _ in range(2)]
        for place, address in zip((-6, -4, -2), (entry[0], program.origin, entry[1]), strict=True):
            out[place], out[place + 1 or None] = address & 0xFF, address >> 8
    return out


def pool(folder: Path, seed: int, each: int) -> list[Program]:
    """Return `each` programs for every CPU that has a compiler here, built once into the folder."""
    makers = {"6502": ("cl65", _cc65), "Z80": ("sdcc", _sdcc), "8051": ("sdcc", _sdcc)}
    found: list[Program] = []
    for cpu, (tool, make) in makers.items():
        if not shutil.which(tool):
            continue
        place = folder / f"{cpu}-{seed}"
        place.mkdir(parents=True, exist_ok=True)
        for number in range(each):
            kept = sorted(place.glob(f"{number}-*.bin"))
            if not kept:
                rng = np.random.default_rng([seed, sum(cpu.encode()), number])
                kept = list(make(cpu, place, number, rng))
            found += [Program(cpu, int(path.stem.split("-")[1], 16), path.read_bytes()) for path in kept]
    return found


def _source(cpu: str, rng: np.random.Generator) -> str:
    picks = rng.choice(COUNT, int(rng.integers(3, 11)), replace=False)
    calls = [call for call, (_, cpus) in LIBRARY.items() if cpu in cpus]
    chosen = [str(c) for c in rng.choice(calls, int(rng.integers(0, min(6, len(calls)))), replace=False)]
    heads = sorted({LIBRARY[call][0] for call in chosen})
    above, below = PIECES.read_text().split("\nvoid main(void) {")
    head, *pieces = above.split("#ifdef PICK_")
    begin, *uses = below.split("#ifdef PICK_")
    uses[-1], end = uses[-1].split("        CALLS")
    kept = [pieces[i] for i in rng.permutation(len(pieces)) if i in picks]
    used = [uses[i] for i in rng.permutation(len(uses)) if i in picks]
    texts = ["#ifdef PICK_" + text for text in (*kept, *used)]
    return "".join(
        [
            *(f"#include <{name}>\n" for name in sorted({*heads, "string.h"})),
            *(f"#define PICK_{pick}\n" for pick in picks),
            f"#define PORTS {int(rng.choice([0x4000, 0xA000, 0x9800, 0x1000])):#x}\n",
            head,
            "int rnd_;\nlong long_;\n",
            "float float_;\n" if any("float_" in call for call in chosen) else "",
            *texts[: len(kept)],
            "\nvoid main(void) {",
            begin,
            *texts[len(kept) :],
            " ".join(chosen),
            end,
        ]
    )


def _run(command: list[str], folder: Path) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)}: {done.stderr[-2000:]}{done.stdout[-500:]}")


def _cc65(cpu: str, place: Path, number: int, rng: np.random.Generator) -> Iterator[Path]:
    origin = int(rng.integers(1, 15)) << 12
    (place / "p.c").write_text(_source(cpu, rng))
    (place / "p.cfg").write_text(LINKER.format(origin=origin))
    flags = [["-O"], ["-Oirs"], ["-Oi", "-Cl"], ["-Or", "-Cl"]][int(rng.integers(0, 4))]
    _run(["cl65", "-t", "none", "-C", "p.cfg", *flags, "-o", "p.bin", "p.c"], place)
    path = place / f"{number}-{origin:04X}.bin"
    (place / "p.bin").rename(path)
    yield path


def _sdcc(cpu: str, place: Path, number: int, rng: np.random.Generator) -> Iterator[Path]:
    (place / "p.c").write_text(_source(cpu, rng))
    origin = 0 if cpu == "8051" else int(rng.choice([0x0000, 0x0000, 0x1000, 0x4000]))
    flags = [["--opt-code-size"], ["--opt-code-speed"], []][int(rng.integers(0, 3))]
    if cpu == "Z80":
        flags += ["-mz80", "--data-loc", "0x8000", "--code-loc", f"{origin + 0x100:#x}"]
    else:
        flags += ["-mmcs51", "--model-large", "--xram-loc", "0x8000"]
    _run(["sdcc", *flags, "p.c", "-o", "p.ihx"], place)
    _run(["objcopy", "-I", "ihex", "-O", "binary", "--gap-fill", "0xff", "p.ihx", "p.bin"], place)
    data = (place / "p.bin").read_bytes()
    start = origin + 0x100 if origin else 0
    data = data[start:]
    path = place / f"{number}-{start:04X}.bin"
    path.write_bytes(data)
    yield path
