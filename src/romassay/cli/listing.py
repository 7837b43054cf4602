"""`romassay listing`: an image as source for an assembler, and as pictures."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from romassay.address import parse_address
from romassay.cli import screen
from romassay.cli.options import FILE, of_no_use, read_option, say_decimals
from romassay.errors import BadValue

if TYPE_CHECKING:
    from romassay.report.bitmap import Side
    from romassay.session.listing import Listed

_MOST_STRIDE = 256
_MOST_WIDE = 256


@click.command(name="listing", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("source", metavar="DOCKET|IMAGE", type=FILE)
@click.option("--cpu", metavar="TYPE", help="The CPU's type number, where the code does not tell it right.")
@click.option("--origin", metavar="ADDR", help="Address of the first byte, where the code does not tell it right.")
@click.option(
    "--entry", "entries", metavar="ADDR", multiple=True, help="An address at which code begins. May be repeated."
)
@click.option(
    "--characters",
    metavar="SET",
    default="ascii",
    show_default=True,
    help="Of its texts: ascii, ascii-high, ascii-even, ascii-odd, six-bit, ebcdic or ita2.",
)
@click.option(
    "--registers",
    metavar="TYPE=ADDR",
    multiple=True,
    help="A part on the bus and the address of its first register; its registers are named. May be repeated.",
)
@click.option(
    "--name",
    "names",
    metavar="NAME=ADDR",
    multiple=True,
    help="What an address is called in the listing. May be repeated.",
)
@click.option("--reached", is_flag=True, help="List as code only what the flow reaches.")
@click.option("--image", metavar="N", type=int, default=1, show_default=True, help="Which of a docket's images.")
@click.option("--from", "--format", "format_", metavar="FORMAT", help="Format of IMAGE; its content says it otherwise.")
@click.option("--picture", metavar="FILE", type=FILE, help="Draw what is code, text, table and padding: .svg or .png.")
@click.option(
    "--bitmap", metavar="FILE", type=FILE, help="Draw the bits themselves, a byte after the other: .svg or .png."
)
@click.option(
    "--stride",
    metavar="N",
    type=int,
    help="Bytes of one cell of the bitmap, as the lines of a character; else as the bytes repeat, or 8.",
)
@click.option(
    "--wide",
    metavar="N",
    type=int,
    help="Bytes side by side in a line of the bitmap, as 2 in characters of 16 dots; else as the bytes go on, or 1.",
)
@click.option(
    "--high-bit",
    metavar="SIDE",
    type=click.Choice(("left", "right", "top", "bottom")),
    default="left",
    show_default=True,
    help="Where a byte's highest bit stands in its cell: left, right, top or bottom, where a byte is a column.",
)
@click.option("-o", "--output", metavar="FILE", type=FILE, help="Write the listing here, not to the screen.")
def command(
    source: Path,
    cpu: str | None,
    origin: str | None,
    entries: tuple[str, ...],
    characters: str,
    registers: tuple[str, ...],
    names: tuple[str, ...],
    reached: bool,
    image: int,
    format_: str | None,
    picture: Path | None,
    bitmap: Path | None,
    stride: int | None,
    wide: int | None,
    high_bit: Side,
    output: Path | None,
) -> int:
    """List an image as source that an assembler takes back.

    The flow is followed from the vectors and entries; what it does not reach is data, unless it reads as code: that is
    said where it stands. Labels, texts, tables of pointers and the registers of parts are named. At the top stand a map
    of the image and the assembler that takes the listing back.

    For example: romassay listing docket -o program.asm --picture strip.svg
    """
    from romassay.session.listing import Wanted, bytes_of, list_image, write_text

    if bitmap is None:
        of_no_use(("--stride", "--wide", "--high-bit"), "without --bitmap", "give --bitmap FILE")
    if not source.is_dir():
        of_no_use(("--image",), "with a file, which is one image", "leave it out")
    if wide is not None and not 1 <= wide <= _MOST_WIDE:
        raise BadValue(f"{wide} bytes side by side cannot be drawn", place="--wide", advice="give 1 to 256")
    most = _MOST_STRIDE * (wide or 1)
    if stride is not None and not 1 <= stride <= most:
        raise BadValue(f"a stride of {stride} bytes cannot be drawn", place="--stride", advice=f"give 1 to {most}")
    if stride is not None and stride % (wide or 1):
        raise BadValue(
            f"a cell of {stride} bytes has no lines of {wide}", place="--stride", advice=f"give a multiple of {wide}"
        )
    wanted = Wanted(
        cpu=cpu,
        origin=None if origin is None else read_option("--origin", parse_address, origin),
        entries=tuple(read_option("--entry", parse_address, text) for text in entries),
        characters=characters,
        registers=tuple(_pair(text, "--registers", "part", "6530=0x1700") for text in registers),
        names=tuple(_pair(text, "--name", "place", "putchar=0xF854") for text in names),
        reached=reached,
        image=image,
        format=format_,
    )
    if bitmap is not None:
        _draw_bitmap(bytes_of(source, wanted.image, format_), bitmap, stride, wide, high_bit)
        if picture is None and output is None:
            return 0
    listed = list_image(source, wanted)
    say_decimals({"--origin": [origin], "--entry": entries, "--registers": (t.rpartition("=")[2] for t in registers)})
    for note in listed.notes:
        screen.note(note)
    if picture is not None:
        _draw_strip(listed, picture)
    if output is not None:
        write_text(output, listed.text)
    elif picture is None:
        sys.stdout.write(listed.text)
    return 0


def _pair(text: str, option: str, what: str, example: str) -> tuple[str, int]:
    name, sign, address = text.partition("=")
    if not sign or not name:
        raise BadValue(f"'{text}' names no {what} and address", place=option, advice=f"write it as {example}")
    return name, parse_address(address)


def _draw_bitmap(data: bytes, target: Path, stride: int | None, wide: int | None, high: Side) -> None:
    from romassay.docket.files import write_atomically
    from romassay.report.bitmap import bitmap
    from romassay.session.listing import cell_of

    kind = _kind(target)
    if stride is None:
        stride, wide, why = cell_of(data, wide)
        beside = "" if wide == 1 else f", {wide} side by side"
        screen.note(f"drawn in cells of {stride} bytes{beside}, {why}; --stride and --wide say it otherwise")
    write_atomically(target, bitmap(data, stride, kind, high, wide or 1))


def _draw_strip(listed: Listed, target: Path) -> None:
    from romassay.docket.files import write_atomically
    from romassay.report.strip import strip

    write_atomically(target, strip(listed.listing, _kind(target)))


def _kind(path: Path) -> str:
    kind = path.suffix.lower().lstrip(".")
    if kind not in ("svg", "png"):
        raise BadValue(f"'{path}' is no kind of picture that is written here", advice="end its name in .svg or .png")
    return kind
