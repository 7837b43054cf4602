"""`romassay parts`: the catalogue, a part of it, its pin-out as a drawing, what a chip with a house mark may be."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from romassay.cli.options import FILE, of_no_use, parts_option, to_end_in
from romassay.errors import BadValue

if TYPE_CHECKING:
    from romassay.catalogue.fits import Clues, Known
    from romassay.part import Part

_NOTHING = 4
_BAD = 2


@click.command(name="parts", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("name", metavar="[TYPE]", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.option("--svg", metavar="FILE", type=FILE, help="Draw the pin-out of TYPE into this file.")
@click.option(
    "--check",
    metavar="FILE",
    multiple=True,
    type=FILE,
    help="Check part files of your own, or directories of them. May be repeated.",
)
@click.option("--fits", is_flag=True, help="List the parts that agree with what is known of a chip.")
@click.option("--pins", metavar="N", type=click.IntRange(2, 128), help="Of the chip: number of pins.")
@click.option("--row", metavar="INCH", type=float, help="Of the chip: distance of its rows of pins, 0.3 or 0.6.")
@click.option("--size", metavar="N", help="Of the chip: bytes of its ROM.")
@click.option(
    "--supply",
    metavar="[WHAT=]PIN",
    multiple=True,
    help="Of the chip: a supply pin; WHAT is its name or its voltage (VCC=20, -5V=21). May be repeated.",
)
@click.option("--ground", metavar="PIN", multiple=True, help="Of the chip: a ground pin. May be repeated.")
@click.option(
    "--pin",
    metavar="PIN=WHAT",
    multiple=True,
    help="Of the chip: what a pin is (clock, address, data, select, control, port, not-connected) or is called (D0, "
    "A11, R/W). May be repeated.",
)
@parts_option
def command(
    name: str | None,
    *,
    as_json: bool,
    svg: Path | None,
    check: tuple[Path, ...],
    fits: bool,
    part_folders: tuple[Path, ...],
    **known: Any,
) -> int:
    """Show the chip types that are known: pins, functions, select lines, supplies, limits, times and their sources.

    Without TYPE the catalogue is listed. TYPE is a type number, a number with the variant where one number has two
    pin-outs ('2716, 5 V'), or a part file of your own. What has no source is marked with '?'.

    With --fits a chip with a house mark is looked for by what is known of its pins, and the measurements are given,
    with the power off, that tell the candidates apart.

    For example: romassay parts '2716, 5 V' --svg pins.svg

    Exit status: 0 done, 2 bad input, 4 no part fits.
    """
    said = {key: value for key, value in known.items() if value not in (None, ())}
    if said and not fits:
        option = next(iter(said))
        raise BadValue("is of use with --fits only", place=f"--{option}", advice="add --fits")
    if svg is not None:
        of_no_use(("--json",), "with --svg", "leave one of them out")
    if check:
        of_no_use(("--fits", "--svg", "--json", "--parts"), "with --check, which only checks files", "leave it out")
        if name is not None:
            raise BadValue("--check names its files itself", place=name, advice="leave it out")
        return _check(check)
    if fits:
        of_no_use(("--svg",), "with --fits", "name one type to have it drawn")
        if name is not None:
            raise BadValue(f"'{name}' and --fits exclude each other", advice="name a type, or what is known of a chip")
        return _fits(_clues(said), part_folders, as_json=as_json)
    if name is None:
        if svg is not None:
            raise BadValue("no part to draw", place="--svg", advice="name its type")
        return _list(part_folders, as_json=as_json)
    return _show(name, part_folders, svg, as_json=as_json)


def _list(folders: tuple[Path, ...], *, as_json: bool) -> int:
    from romassay.catalogue import catalogue_parts
    from romassay.cli import screen
    from romassay.report.part_list import list_lines

    found = catalogue_parts(folders)
    if as_json:
        _print_json([{**_brief(item.part), "file": str(item.file) if item.file else None} for item in found])
    else:
        screen.show(list_lines(found, width=screen.width()))
    return 0


def _show(name: str, folders: tuple[Path, ...], svg: Path | None, *, as_json: bool) -> int:
    from romassay.catalogue import find_part
    from romassay.cli import screen
    from romassay.report.part import part_lines
    from romassay.report.text import Segment

    found = find_part(name, folders)
    if svg is not None:
        to_end_in(svg, "--svg", (".svg",))
        from romassay.report.pinout import pin_out
        from romassay.session.files import write_atomically

        if not found.part.pins:
            raise BadValue(f"no pin table of the {found.part.name} was found", advice="there is nothing to draw")
        write_atomically(svg, pin_out(found.part).encode())
        screen.show([(Segment("Written    "), Segment(str(svg), "strong"))])
        return 0
    if as_json:
        _print_json(_whole(found.part))
    else:
        screen.show(part_lines(found.part, width=screen.width(), file=str(found.file or "")))
    return 0


def _check(paths: tuple[Path, ...]) -> int:
    from romassay.catalogue import part_complaints, part_files, part_of, part_types
    from romassay.catalogue.strict import read_text
    from romassay.cli import screen
    from romassay.errors import BadCatalogue
    from romassay.report.text import Segment

    bad = 0
    for path in paths:
        files = part_files([path]) if path.is_dir() else (path,)
        if not files:
            raise BadValue("holds no part files", place=str(path), advice="their names end in .toml")
        for file in files:
            try:
                text = read_text(file, "part")
                complaints = part_complaints(text, str(file))
            except BadCatalogue as e:
                complaints = (e,)
            for complaint in complaints:
                screen.note(str(complaint))
            bad += bool(complaints)
            if not complaints:
                part = part_of(text, str(file))
                count = f"{len(part.unchecked)} of {sum(1 for _ in part.cited())} entries have no source"
                screen.show([(Segment(f"{file}: "), Segment("good", "good"), Segment(f": {part.name}; {count}"))])
                if part.name in part_types():
                    screen.note(f"{file}: {part.name} is in the catalogue too; name this file, or give it a 'variant'")
    return _BAD if bad else 0


def _fits(clues: Clues, folders: tuple[Path, ...], *, as_json: bool) -> int:
    from romassay.catalogue import catalogue_parts
    from romassay.catalogue.fits import fits
    from romassay.cli import screen
    from romassay.report.part_list import fits_lines

    found = fits([item.part for item in catalogue_parts(folders)], clues)
    if as_json:
        _print_json(
            {
                "candidates": [_brief(part) for part in found.candidates],
                "near": [{"name": part.name, "against": problem} for part, problem in found.near],
                "checks": [
                    {
                        "pin": check.pin,
                        "where": check.where,
                        "source": "common practice, no source",
                        "outcomes": [{"seen": what, "parts": list(names)} for what, names in check.outcomes],
                    }
                    for check in found.checks
                ],
                "alike": [list(group) for group in found.alike],
                "not_judged": list(found.unlisted),
            }
        )
    else:
        screen.show(fits_lines(found, clues, width=screen.width()))
    return 0 if found.candidates else _NOTHING


def _clues(said: dict[str, Any]) -> Clues:
    from romassay.catalogue.fits import Clues, known_pin

    known: list[Known] = []
    for text in said.get("supply", ()):
        what, sign, pin = text.rpartition("=")
        known.append(known_pin(pin, what if sign else "supply", "--supply"))
    known += [known_pin(pin, "ground", "--ground") for pin in said.get("ground", ())]
    for text in said.get("pin", ()):
        pin, sign, what = text.partition("=")
        if not sign:
            raise BadValue(f"'{text}' says nothing of a pin", place="--pin", advice="write it like 3=clock")
        known.append(known_pin(pin, what, "--pin"))
    if not said:
        raise BadValue("nothing is known of the chip", place="--fits", advice="say --pins, --supply, --ground or --pin")
    return Clues(said.get("pins"), said.get("row"), _bytes(said.get("size")), tuple(known))


def _bytes(text: str | None) -> int | None:
    from romassay.address import parse_size

    try:
        return None if text is None else parse_size(text)
    except BadValue as e:
        raise BadValue(e.problem, place="--size", advice=e.advice) from e


def _brief(part: Part) -> dict[str, Any]:
    return {
        "name": part.name,
        "type": part.type,
        "variant": part.variant,
        "title": part.title,
        "package": part.package,
        "pin_table": bool(part.pins),
        "functions": [{"kind": f.kind, "name": f.name, "size": f.size, "width": f.width} for f in part.functions],
        "entries": sum(1 for _ in part.cited()),
        "unchecked": len(part.unchecked),
    }


def _whole(part: Part) -> dict[str, Any]:
    import msgspec

    plain: dict[str, Any] = msgspec.to_builtins(part)
    return {"name": part.name, **plain, "unchecked": list(part.unchecked)}


def _print_json(value: object) -> None:
    sys.stdout.write(json.dumps(value, indent=1, ensure_ascii=False) + "\n")
