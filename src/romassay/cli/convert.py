"""`romassay convert`: from one file to another, whatever their formats."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from romassay.address import parse_address, parse_range, parse_size
from romassay.cli.options import no_docket, read_option, say_decimals
from romassay.errors import BadValue

if TYPE_CHECKING:
    from romassay.formats.model import Hints, Loaded
    from romassay.session.convert import Converted


@click.command(name="convert", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("source", metavar="IN")
@click.argument("target", metavar="OUT")
@click.option("--to", metavar="FORMAT", help="Format of OUT; its ending says it otherwise.")
@click.option("--from", "--format", "from_", metavar="FORMAT", help="Format of IN; its content says it otherwise.")
@click.option("--layout", metavar="LAYOUT", help="Layout of a text dump, where it is not to be learnt.")
@click.option("--base", metavar="ADDR", help="Address of IN's first byte, for formats without addresses.")
@click.option("--pass", "pass_", type=int, metavar="N", help="Take pass N of a log that has several.")
@click.option("--range", "ranges", multiple=True, metavar="RANGE", help="Take these addresses only. May be repeated.")
@click.option("--at", metavar="ADDR", help="Give the first byte this address in OUT.")
@click.option("--fill", metavar="BYTE", help="Write this byte where nothing is known; else that is refused.")
@click.option("--size", metavar="N", help="Pad to N bytes, with the fill byte or FF.")
@click.option(
    "--repeat",
    metavar="[N]",
    is_flag=False,
    flag_value="size",
    help="Write N copies one behind the other; without N, as many as fill --size.",
)
@click.option(
    "--split", metavar="LANES", help="A file for each byte lane: even,odd or 0,1,2,3; see above for their names."
)
@click.option("--word", metavar="N", help="Bytes in a word, for a Verilog memory file.")
@click.option("--record", metavar="N", help="Data bytes in a record or line.")
@click.option("--start", metavar="ADDR", help="Start address, for formats that carry one.")
@click.option("--header", default="", metavar="TEXT", help="Header text, for formats that carry one.")
def command(
    source: str,
    target: str,
    to: str | None,
    from_: str | None,
    layout: str | None,
    base: str | None,
    pass_: int | None,
    ranges: tuple[str, ...],
    at: str | None,
    fill: str | None,
    size: str | None,
    repeat: str | None,
    split: str | None,
    word: str | None,
    record: str | None,
    start: str | None,
    header: str,
) -> None:
    """Turn IN into OUT, '-' being standard input and output.

    IN may be a dump of any layout, or an image in any format that is known; its content tells. Addresses are written
    0xD000, $D000, D000h or decimal; ranges 0x4000-0x5FFF or 0x4000+0x2000.

    Steps, in this order: the ranges are cut out, moved to --at, filled, repeated, padded, split, written. Nothing is
    guessed: where damage took bytes, or passes disagree, nothing is written without your word. With --split, OUT's name
    gets the lane before its ending: image.bin gives image.even.bin and image.odd.bin.

    For example: romassay convert docket/image.bin burner.hex --base 0xF800
    """
    from romassay.formats.model import Hints, WriteOptions
    from romassay.session.convert import ConvertOptions, convert, format_of_name

    if target == "-" and not to:
        raise BadValue("standard output has no ending that tells a format", advice="give --to FORMAT")
    if target == "-" and split:
        raise BadValue("--split writes several files", advice="name a file instead of '-'")
    options = ConvertOptions(
        to=to or format_of_name(target),
        ranges=tuple(read_option("--range", parse_range, text) for text in ranges),
        at=_number("--at", at),
        fill=_byte(fill),
        size=None if size is None else read_option("--size", parse_size, size),
        repeat=_copies(repeat),
        split=split,
        pass_number=pass_,
        writing=WriteOptions(
            record=_positive("--record", record),
            start=_number("--start", start),
            header=header,
            word=_positive("--word", word) or 1,
        ),
    )
    loaded = _loaded(source, Hints(format=from_, layout=layout, base=_number("--base", base)))
    if base is not None:
        _see_that_a_base_counts(loaded)
    _put(target, convert(loaded, options))
    say_decimals({"--base": [base], "--range": ranges, "--at": [at], "--start": [start]})


def _number(option: str, text: str | None) -> int | None:
    return None if text is None else read_option(option, parse_address, text)


def _positive(option: str, text: str | None) -> int | None:
    number = _number(option, text)
    if number == 0:
        raise BadValue(f"{option} 0 cannot be meant", advice="give 1 or more")
    return number


def _byte(text: str | None) -> int | None:
    """Read a fill byte; two bare hex digits are taken as such, for that is how the trade writes FF."""
    if text is None:
        return None
    try:
        value = parse_address(text)
    except BadValue:
        value = int(text, 16) if len(text) == 2 and text.isalnum() and text.isascii() and _is_hex(text) else 256
    if value > 255:
        raise BadValue(f"'{text}' is no byte", place="--fill", advice="write it as 0xFF, $FF, FFh or 255")
    return value


def _is_hex(text: str) -> bool:
    return all(c in "0123456789abcdefABCDEF" for c in text)


def _copies(text: str | None) -> int | Literal["size"] | None:
    if text is None:
        return None
    if text == "size":
        return "size"
    if not text.isdecimal():
        raise BadValue(f"'{text}' is no number of copies", advice="give --repeat N, or put --repeat behind IN and OUT")
    return int(text)


def _loaded(source: str, hints: Hints) -> Loaded:
    from romassay.formats import load, read
    from romassay.formats.contents import read_bounded

    name = "standard input"
    no_docket(source, f"name an image in it: {source.rstrip('/')}/image.bin")
    return read(read_bounded(sys.stdin.buffer, name), name, hints) if source == "-" else load(source, hints)


def _see_that_a_base_counts(loaded: Loaded) -> None:
    from romassay.session.loading import takes_a_base

    if not takes_a_base(loaded):
        raise BadValue(
            f"is of no use for {loaded.name}, whose addresses stand in it",
            place="--base",
            advice="leave it out; --at gives the bytes other addresses in OUT",
        )


def _put(target: str, converted: Converted) -> None:
    """Write the files, then say on stderr what they hold."""
    from romassay.report.words import plural
    from romassay.session.convert import name_of_lane
    from romassay.session.files import write_atomically

    if target == "-":
        sys.stdout.buffer.write(converted.outputs[0].content)
        sys.stdout.buffer.flush()
    else:
        for output in converted.outputs:
            write_atomically(Path(name_of_lane(target, output.lane)), output.content)
    for output in converted.outputs:
        name = "standard output" if target == "-" else name_of_lane(target, output.lane)
        click.echo(
            f"{name}: {converted.format}, {plural(output.size, 'byte')} at {output.first:04X}-{output.last:04X}\n"
            f"  sum of bytes {output.sum16:04X}, CRC-32 {output.crc32:08X}\n"
            f"  SHA-256 {output.sha256}",
            err=True,
        )
    for note in converted.notes:
        click.echo(f"  {note}", err=True)
