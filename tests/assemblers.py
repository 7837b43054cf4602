"""Real assemblers: source in, bytes out, for the dialects that the listings are written in."""

from __future__ import annotations

import subprocess
from pathlib import Path

from romassay.code.dialects import DIALECTS
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.model import Name
from tools import need


def assembled(name: Name, source: str, folder: Path) -> bytes:
    """Return what the dialect's assembler makes of a source; our own where there is no other."""
    dialect = DIALECTS[name]
    if dialect.assembler == "romassay":
        return assemble(cpu_of(name), source).data
    need(dialect.assembler)
    (folder / "in.asm").write_text(source, encoding="ascii")
    places = (folder / "out", folder / "out.ihx")
    for place in places:
        place.unlink(missing_ok=True)
    for command in dialect.command.format(**{"in": "in.asm", "out": "out"}).split(" && "):
        program, *arguments = command.split()
        done = subprocess.run([need(program), *arguments], cwd=folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    made = [place for place in places if place.exists()]
    assert made, done.stdout[-2000:] + done.stderr[-2000:]
    data = made[0].read_bytes()
    return records(data.decode()) if data[:1] in (b":", b"S") and data[:9].isascii() and b"\n" in data else data


def records(text: str) -> bytes:
    """Return the bytes of an Intel HEX or S-record file, from the first to the last address."""
    memory: dict[int, int] = {}
    for line in text.split():
        raw = bytes.fromhex(line[1:] if line.startswith(":") else line[2:])
        if line.startswith(":") and raw[3] == 0:
            memory |= {(raw[1] << 8 | raw[2]) + i: byte for i, byte in enumerate(raw[4:-1])}
        elif line.startswith("S1"):
            memory |= {(raw[1] << 8 | raw[2]) + i: byte for i, byte in enumerate(raw[3:-1])}
    return bytes(memory.get(at, 0) for at in range(min(memory), max(memory) + 1))
