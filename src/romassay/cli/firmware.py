"""`romassay firmware`: a reader of one's own, where the machine has no command that dumps."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from romassay.address import parse_address, parse_range
from romassay.cli import screen
from romassay.cli.options import FILE, of_no_use, parts_option, read_option, say_decimals
from romassay.errors import BadValue


@click.command(name="firmware", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("rig", metavar="[RIG.toml]", required=False, type=FILE)
@click.option("--mcu", metavar="NAME", default="atmega2560", help="atmega2560, or atmega328p with shift registers.")
@click.option("--host-routine", "cpu", metavar="CPU", help="A dump routine for a host's CPU: 6502, 6800, 8080 or z80.")
@click.option("--load", metavar="ADDR", help="Where in the host's RAM the routine goes; it is started there.")
@click.option("--output", metavar="ADDR", help="The host's own routine that prints the character in A.")
@click.option("--window", metavar="RANGE", help="Addresses that the routine dumps.")
@click.option(
    "-o",
    "out",
    metavar="DIR",
    type=FILE,
    help="Write the reader's files into this folder; with --host-routine, the routine as Intel HEX to this file.",
)
@parts_option
def command(rig: Path | None, cpu: str | None, **said: Any) -> int:
    """Make a reader of your own: firmware for a microcontroller, or a dump routine to key into a host.

    With RIG.toml, C for avr-gcc with a Makefile and a table of the wires are written. Data pins are never driven. Read
    it with --host reader-5v.

    With --host-routine, a routine is printed for a host that has no dump command. It sends its window as Intel HEX with
    checksums, through the host's own routine for one character: the character is in A, for the 8080 and Z80 in C as
    well. Each line to key in ends with the sum of its bytes, modulo 256.

    For example: romassay firmware rig.toml -o reader
    """
    if (cpu is None) == (rig is None):
        raise BadValue("give a rig file or --host-routine, one of them", advice="see 'romassay firmware --help'")
    if rig is not None:
        of_no_use(("--load", "--output", "--window"), "without --host-routine", "leave it out, or the rig file")
        return _reader(rig, said)
    of_no_use(("--mcu", "--parts"), "with --host-routine", "leave it out")
    from romassay.firmware.routine import as_intel_hex, routine_for, to_key_in

    assert cpu is not None  # noqa: S101 - for the type checker
    for name in ("load", "output", "window"):
        if said[name] is None:
            raise BadValue(f"--{name} is missing", advice="see 'romassay firmware --help'")
    routine = routine_for(
        cpu,
        load=read_option("--load", parse_address, said["load"]),
        output=read_option("--output", parse_address, said["output"]),
        window=read_option("--window", parse_range, said["window"]),
    )
    say_decimals({"--load": [said["load"]], "--output": [said["output"]], "--window": [said["window"]]})
    if said["out"]:
        from romassay.session.files import write_atomically

        write_atomically(said["out"], as_intel_hex(routine))
        screen.note(f"{said['out']}: written, {len(routine.code)} bytes as Intel HEX")
    sys.stdout.write("\n".join(to_key_in(routine)) + "\n")
    screen.note(f"start it at {routine.load:04X}; record the line with 'romassay capture PORT --listen -o DIR'")
    return 0


def _reader(rig: Path, said: dict[str, Any]) -> int:
    from romassay.catalogue import load_rig
    from romassay.firmware.reader import firmware_for
    from romassay.session.rehearse import put

    if said["out"] is None:
        raise BadValue("-o is missing", advice="name the folder for the reader's files")
    found = load_rig(rig, said["part_folders"])
    made = firmware_for(found.rig, said["mcu"])
    put(said["out"], {name: text.encode() for name, text in made.items()})
    for name in made:
        sys.stdout.write(f"{said['out'] / name}\n")
    screen.note(f"build it with 'make -C {said['out']}'; wires.txt says which pin goes where")
    return 0
