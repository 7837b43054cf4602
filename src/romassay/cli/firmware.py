"""`romassay firmware`: a reader of one's own, where the machine has no command that dumps."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from romassay.address import parse_address, parse_range
from romassay.cli import screen
from romassay.cli.assay import read_option
from romassay.errors import BadValue


@click.command(name="firmware", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option("--host-routine", "cpu", metavar="CPU", help="A dump routine for a host's CPU: 6502, 6800, 8080 or z80.")
@click.option("--load", metavar="ADDR", help="Where in the host's RAM the routine goes; it is started there.")
@click.option("--output", metavar="ADDR", help="The host's own routine that prints the character in A.")
@click.option("--window", metavar="RANGE", help="Addresses that the routine dumps.")
@click.option(
    "-o", "--file", "file", metavar="FILE", type=click.Path(path_type=Path), help="Write the routine as Intel HEX too."
)
def command(cpu: str | None, **said: Any) -> int:
    """Print a dump routine to key into a host that has no dump command.

    It sends its window as Intel HEX with checksums, through the host's own routine for one character: the character is
    in A, for the 8080 and Z80 in C as well. Each line to key in ends with the sum of its bytes, modulo 256.
    """
    from romassay.firmware.routine import as_intel_hex, routine_for, to_key_in

    if cpu is None:
        raise BadValue("nothing is asked for", advice="give --host-routine CPU; see 'romassay firmware --help'")
    for name in ("load", "output", "window"):
        if said[name] is None:
            raise BadValue(f"--{name} is missing", advice="see 'romassay firmware --help'")
    routine = routine_for(
        cpu,
        load=read_option("--load", parse_address, said["load"]),
        output=read_option("--output", parse_address, said["output"]),
        window=read_option("--window", parse_range, said["window"]),
    )
    if said["file"]:
        from romassay.session.files import write_atomically

        write_atomically(said["file"], as_intel_hex(routine))
        screen.note(f"{said['file']}: written, {len(routine.code)} bytes as Intel HEX")
    sys.stdout.write("\n".join(to_key_in(routine)) + "\n")
    screen.note(f"start it at {routine.load:04X}; record the line with 'romassay capture PORT --listen -o DIR'")
    return 0
