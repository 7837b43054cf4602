"""The listing as a use case: a docket or an image in, source for an assembler and pictures out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from romassay.chain import Assay
from romassay.code import code_of, entries_at
from romassay.code.charsets import CHARSETS, charset
from romassay.code.dialects import KEYWORDS
from romassay.code.listing import Listing, Place, listing
from romassay.code.model import Code
from romassay.code.source import source
from romassay.code.stride import USUAL, stride_of, wide_of
from romassay.code.texts import clear_texts
from romassay.cpus.assemble import RESERVED
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.model import Cpu
from romassay.docket.files import write_atomically
from romassay.errors import BadInput, BadValue
from romassay.formats import load
from romassay.formats.model import Hints
from romassay.reading import spans_of
from romassay.session.registers import part_registers
from romassay.settle.model import Image

_LARGEST = 0x10000
_FILL = 0xFF
_PLAIN = "6502"
_MOST_LINES = 128
"""Lines of a drawing that has no cells."""
"""The CPU whose assembler takes bytes that are no code."""

RAW = "raw-binary"
DUMP = "text-dump"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person said about the listing.

    Attributes:
        cpu: the CPU's type number, or None to let the code tell.
        origin: address of the first byte, or None to let the code tell.
        entries: addresses at which code begins, besides those that are found.
        characters: the character set of the texts.
        registers: (type number, address) of parts on the bus.
        names: (name, address) of places, in the image or outside of it.
        reached: whether nothing but what the flow reaches is to be code.
        image: which of a docket's images, from 1.
        format: of the file, where its content does not tell.
    """

    cpu: str | None = None
    origin: int | None = None
    entries: tuple[int, ...] = ()
    characters: str = "ascii"
    registers: tuple[tuple[str, int], ...] = ()
    names: tuple[tuple[str, int], ...] = ()
    reached: bool = False
    image: int = 1
    format: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Listed:
    """What came of it: the source, what it was made of, and sentences on what was assumed."""

    text: str
    listing: Listing
    code: Code
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Image:
    """The bytes to list, with the address that their file gives them, and what the docket knows of registers."""

    name: str
    data: bytes
    first: int | None
    registers: Mapping[int, Place]
    remarks: Mapping[int, str] = field(default_factory=dict)
    note: str = ""


def list_image(path: Path, wanted: Wanted) -> Listed:
    """List a docket's image or a file.

    Raises:
        BadInput: no such file, a file that holds no image, or one of more than 64 KiB.
        BadValue: an unknown CPU, part or character set.
    """
    image = _docket_image(path, wanted.image) if path.is_dir() else _file_image(path, wanted.format)
    return _listed(image, wanted)


def list_found(found: Assay, name: str, wanted: Wanted) -> Listed:
    """List an image of an assay; `name` is what its docket is called.

    Raises:
        BadValue: there is no such image.
    """
    return _listed(_image_of(found, name, wanted.image), wanted)


def _listed(image: _Image, wanted: Wanted) -> Listed:
    raw = np.frombuffer(image.data, np.uint8)
    code = code_of(raw)
    name, is_code, doubt = _cpu(image, code, wanted)
    cpu = cpu_of(name)
    origin, note = _origin(image, code, wanted)
    if not 0 <= origin <= _LARGEST - len(image.data):
        raise BadValue(
            f"{len(image.data)} bytes from {origin:04X} on do not fit into 64 KiB", advice="give a lower --origin"
        )
    last = origin + len(image.data) - 1
    for address in wanted.entries:
        if not origin <= address <= last:
            raise BadValue(
                f"{address:04X} is not in the image", place="--entry", advice=f"it lies at {origin:04X}-{last:04X}"
            )
    found = entries_at(cpu, raw, origin) if is_code else ()
    entries = [*found, *(("", address) for address in wanted.entries)]
    names = _names(wanted.names, cpu)
    places = {**image.registers, **_registers(wanted.registers), **{at: Place(name) for at, name in names.items()}}
    likely = is_code and not wanted.reached
    shown = listing(
        cpu, image.data, origin, entries, characters=wanted.characters, registers=places, names=names, likely=likely
    )
    notes = [text for text in (image.note, doubt, note if is_code else "") if text]
    inside = range(origin, origin + len(image.data))
    notes += [
        f"no line begins at {at:04X}: '{name}' is left out"
        for at, name in names.items()
        if at in inside and shown.labels.get(at) != name
    ]
    notes += _other_characters(image.data, wanted.characters)
    missing = sum(remark == _UNSEEN for remark in image.remarks.values())
    if missing:
        notes.append(f"{missing} bytes were never seen; they stand as FF")
    if len(image.remarks) > missing:
        notes.append(f"{len(image.remarks) - missing} bytes are not beyond doubt; the listing says it where they stand")
    text = source(shown, title=image.name, characters=wanted.characters, doubt=doubt, remarks=image.remarks)
    return Listed(text, shown, code, tuple(notes))


_TEXT = 32
"""Bytes of text beyond doubt, from which on a character set is named in which they are that."""


def _other_characters(data: bytes, said: str) -> list[str]:
    """Return a sentence on the character set in which much more of the bytes is text, if there is one."""
    found = {name: sum(end - first for first, end in clear_texts(data, charset(name))) for name in CHARSETS}
    best = max(found, key=lambda name: found[name])
    if best == said or found[best] < _TEXT + 2 * found[said]:
        return []
    return [f"{found[best]} bytes read as text in {best}: '--characters {best}' lists them so"]


_SURE = 0.9
"""Probability of a CPU from which on nothing is said of others."""

_POSSIBLE = 0.05
"""Probability from which on bytes that are rather no code are listed as code all the same."""


def _cpu(image: _Image, code: Code, wanted: Wanted) -> tuple[str, bool, str]:
    """Return the CPU whose source is written, whether any of it is to be code, and what is doubtful about it."""
    if wanted.cpu is not None:
        return wanted.cpu, True, ""
    likeliest = [(name, chance) for name, chance in code.candidates if name is not None]
    name, chance = likeliest[0] if likeliest else (_PLAIN, 0.0)
    if code.cpu is not None and chance >= _SURE:
        return name, True, ""
    others = ", ".join(f"{other or 'no code'} {share:.0%}" for other, share in code.candidates if other != name)
    if chance >= _POSSIBLE:
        return name, True, f"taken for {name} code, by {chance:.0%} ({others}); --cpu says it better"
    said = f"{image.name} does not look like code of any CPU that is known here"
    if wanted.entries:
        return name, True, f"{said}; taken for {name} code; --cpu says it better"
    return name, False, f"{said}: all of it is listed as data; --cpu lists it as code"


def _origin(image: _Image, code: Code, wanted: Wanted) -> tuple[int, str]:
    if wanted.origin is not None:
        return wanted.origin, ""
    if code.origin is not None and (wanted.cpu is None or code.cpu == wanted.cpu):
        return code.origin, ""
    if image.first is not None:
        return image.first, f"the code does not tell its address; {image.first:04X} is where it was read"
    return 0, "the code does not tell its address; --origin says it"


def _file_image(path: Path, format_: str | None) -> _Image:
    loaded = load(path, Hints(format=format_, base=0))
    if not loaded.readings or not len(loaded.readings[0]):
        raise BadInput("the file holds no bytes", place=str(path))
    reading = loaded.readings[0]
    spans = spans_of(reading.runs)
    first, last = spans[0].first, spans[-1].last
    if last - first >= _LARGEST:
        raise BadInput(
            f"it covers {last - first + 1} bytes, and a listing holds 64 KiB",
            place=str(path),
            advice="cut out a part with 'romassay convert --range'",
        )
    data = np.full(last - first + 1, _FILL, np.uint8)
    data[reading.addresses() - first] = reading.value
    known = np.zeros(len(data), bool)
    known[reading.addresses() - first] = True
    where = None if loaded.format == RAW and first == 0 else first
    note = f"{path.name} is listed as it stands, {first:04X}-{last:04X}; 'romassay assay' finds the ROM in a dump"
    unseen = dict.fromkeys(np.flatnonzero(~known).tolist(), _UNSEEN)
    return _Image(path.name, data.tobytes(), where, {}, unseen, note if loaded.format == DUMP else "")


def _docket_image(folder: Path, number: int) -> _Image:
    from romassay.session.assay import derive

    return _image_of(derive(folder).assay, folder.name, number)


def _image_of(found: Assay, name: str, number: int) -> _Image:
    from romassay.docket.record import first_address, image_name

    if not 1 <= number <= len(found.images):
        raise BadValue(
            f"{name} has no image {number}",
            place="--image",
            advice=f"it has {len(found.images)}" if found.images else "no ROM was found in its readings",
        )
    image = found.images[number - 1]
    bases = [
        copy.first for function in found.survey.functions if function.kind == "registers" for copy in function.copies
    ]
    part = found.options.part
    places: dict[int, Place] = {}
    for base in bases if part else ():
        places |= part_registers(part, base) if part else {}
    file = image_name(number - 1, "bin")
    first = first_address(found.survey.functions[image.function])
    return _Image(f"{name}/{file}", bytes(image), first, places, _remarks_on(image))


_UNSEEN = "was never seen"


def _remarks_on(image: Image) -> dict[int, str]:
    """Return what is to be said of single bytes: not seen, not beyond doubt, or decided by a person."""
    remarks = dict.fromkeys(np.flatnonzero(image.seen == 0).tolist(), _UNSEEN)
    for doubt in image.doubtful:
        values = " or ".join(f"{value:02X} ({count})" for value, count, _ in doubt.alternatives)
        remarks.setdefault(doubt.offset, f"is not beyond doubt: {values}")
    return remarks | {each.offset: f"was decided by a person: {each.reason}" for each in image.decided}


def _registers(given: Iterable[tuple[str, int]]) -> dict[int, Place]:
    from romassay.catalogue import load_part

    places: dict[int, Place] = {}
    for name, base in given:
        places |= part_registers(load_part(name), base)
    return places


_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{1,23}")


def _names(given: Iterable[tuple[str, int]], cpu: Cpu) -> dict[int, str]:
    """Return the names of places by address, once it is sure that an assembler takes them for names."""
    taken = {form.mnemonic.lower() for form in cpu.forms} | RESERVED | KEYWORDS
    names: dict[int, str] = {}
    for name, address in given:
        if not _NAME.fullmatch(name) or name.lower() in taken or re.fullmatch("[LST][0-9A-Fa-f]{4}", name):
            raise BadValue(
                f"an assembler does not take '{name}' for a name",
                place="--name",
                advice="give two letters, digits or '_' and more, a letter first, and no instruction or register, or "
                "other word of an assembler",
            )
        if name.lower() in (other.lower() for other in names.values()):
            raise BadValue(f"two places are called '{name}'", place="--name", advice="give each its own name")
        names[address] = name
    return names


def write_text(path: Path, text: str) -> None:
    """Write a listing so that it is whole or not there."""
    write_atomically(path, text.encode("ascii", "replace"))


def bytes_of(path: Path, number: int = 1, format_: str | None = None) -> bytes:
    """Return the bytes of a docket's image or of a file, as `list_image` takes them."""
    return (_docket_image(path, number) if path.is_dir() else _file_image(path, format_)).data


def cell_of(data: bytes, wide: int | None = None) -> tuple[int, int, str]:
    """Return the bytes of one cell of a picture of an image, how many stand side by side, and why so many.

    Args:
        data: the image.
        wide: the bytes side by side, where they are known.
    """
    values = np.frombuffer(data, np.uint8)
    across = wide_of(values) if wide is None else wide
    stride = stride_of(values, across)
    if stride is not None:
        return stride, across, "as the bytes repeat"
    if across == 1:
        return USUAL, 1, "for want of a better number"
    return across * min(_MOST_LINES, -(-len(data) // across)), across, "as each goes on below itself"
