"""The formats: one file each, chosen by content. `load` is the door for files, `read` for bytes in hand."""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from romassay.errors import BadInput, BadValue
from romassay.formats.contents import Content, content_in, digest_of, head_of, opened, wording_of
from romassay.formats.model import Format, Hints, Loaded, Parsed

__all__ = ["FORMATS", "Hints", "Loaded", "load", "read"]

_MODULES = (
    "transcript",
    "traces.vcd",
    "traces.csv_trace",
    "records.intel_hex",
    "records.s_record",
    "records.tektronix_hex",
    "records.tektronix_extended",
    "records.paper_tape",
    "records.ti_txt",
    "records.verilog_memory",
    "records.bnpf",
    "text_dump",
    "raw_binary",
)
_HEAD = 1 << 20
_LEAST_SURE = 0.1
"""A format whose `sniff` says less than this is not tried."""

MARKS = {
    "transcript": b"romassay transcript",
    "vcd": b"$",
    "s-record": b"S",
    "tektronix-hex": b"/",
    "tektronix-extended": b"%",
    "paper-tape": b";",
    "ti-txt": b"@",
}
"""What no file of a format lacks: one in whose sample it does not stand is not asked about, nor the module imported."""

_NO_TEXT = ("raw-binary", "vcd")


class _Registry(Mapping[str, Format]):
    """The formats by name, each module imported when it is first asked for."""

    def __init__(self) -> None:
        self._modules = {module.rpartition(".")[2].replace("_", "-"): f"{__name__}.{module}" for module in _MODULES}

    def __getitem__(self, name: str) -> Format:
        found: Format = importlib.import_module(self._modules[name]).FORMAT
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._modules)

    def __len__(self) -> int:
        return len(self._modules)


FORMATS: Mapping[str, Format] = _Registry()


def load(path: str | Path, hints: Hints | None = None) -> Loaded:
    """Read a file's readings, whatever its format.

    Raises:
        BadInput: the file is missing, unreadable, empty, or holds no dump at all.
    """
    hints, name = hints or Hints(), str(path)
    with opened(Path(path)) as file:
        chosen = _streaming(head_of(file, _HEAD), hints)
        stream = chosen.stream if chosen else None
        if chosen is None or stream is None:
            return _read(content_in(file, name), name, hints)
        digest = digest_of(file)
        return _loaded(chosen, _parse(lambda: stream(file, hints), name), name, (digest, ""), hints)


def _streaming(head: bytes, hints: Hints) -> Format | None:
    """Return the format of a file, by its head, where that is one that need not be in memory as a whole."""
    if not head:
        return None
    if hints.format is not None:
        return FORMATS.get(hints.format)
    if _sniffed("transcript", head, head) == 1.0:
        return None
    if _sniffed("vcd", head, head) == 1.0:
        return FORMATS["vcd"]
    return FORMATS[_with_layout(head, hints.layout)] if hints.layout else None


def read(data: bytes, name: str, hints: Hints | None = None) -> Loaded:
    """Read the readings in a file's content; `name` is for messages and for the readings' source.

    Raises:
        BadInput: the content is empty or holds no dump at all.
        BadValue: the hints name a format that does not exist.
    """
    return _read(Content(data, hashlib.sha256(data).hexdigest()), name, hints or Hints())


def _unordered(parsed: Parsed) -> int:
    """Return the bytes in a word whose order was assumed; 1 where none was."""
    from romassay.formats.learning.fit import ORDER_OF_OCTAL, ORDER_UNKNOWN

    if ORDER_UNKNOWN not in parsed.notes and ORDER_OF_OCTAL not in parsed.notes:
        return 1
    return next(int(word[5:]) for word in parsed.layout.split() if word.startswith("size="))


def _read(content: Content, name: str, hints: Hints) -> Loaded:
    data, digest = content.data, content.sha256
    if not data:
        raise BadInput("the file is empty", place=name, advice="take the log again")
    chosen = _choose(data, name, hints)
    if content.gaps and chosen.name == "raw-binary":
        raise BadInput(
            "this is a sparse file, too large to be a plain image", place=name, advice="cut out the part that is one"
        )
    wording = "" if chosen.name in _NO_TEXT else wording_of(data)
    return _loaded(chosen, _parse(lambda: chosen.read(data, hints), name), name, (digest, wording), hints)


def _loaded(chosen: Format, parsed: Parsed, name: str, digests: tuple[str, str], hints: Hints) -> Loaded:
    """Return what was read, with the file's name and the digests of it and of its wording in each reading's source."""
    digest, wording = digests
    unordered = _unordered(parsed)
    readings = tuple(
        replace(
            reading,
            role=hints.role,
            source=replace(
                reading.source,
                name=name,
                sha256=digest,
                format=chosen.name,
                layout=reading.source.layout or parsed.layout,
                hints=hints.pairs(),
                pass_number=number,
                unordered=unordered,
                wording=wording,
            ),
            conditions=replace(reading.conditions, session=hints.session or reading.conditions.session),
        )
        for number, reading in enumerate(parsed.readings, 1)
    )
    return Loaded(
        name=name,
        sha256=digest,
        format=chosen.name,
        layout=parsed.layout,
        readings=readings,
        left=parsed.left,
        left_total=parsed.left_total,
        notes=parsed.notes,
    )


def _choose(data: bytes, name: str, hints: Hints) -> Format:
    if hints.format is not None:
        if hints.format not in FORMATS:
            raise BadValue(f"there is no format '{hints.format}'", advice=f"choose one of {', '.join(FORMATS)}")
        return FORMATS[hints.format]
    if hints.layout is not None:
        return FORMATS[_with_layout(data, hints.layout)]
    if hints.likely and _fits_likely(data, hints):
        return FORMATS["text-dump"]
    best, sure = _surest(data)
    if sure < _LEAST_SURE and hints.base is not None:
        return FORMATS["raw-binary"]
    if sure < _LEAST_SURE:
        raise BadInput(
            "this holds no dump in any format that is known here",
            place=name,
            advice="for a plain image give the address of its first byte, --base or Hints(base=…); for a text dump, "
            "its layout, --layout or Hints(layout=…)",
        )
    return FORMATS[best]


def _fits_likely(data: bytes, hints: Hints) -> bool:
    """Tell whether the content surely has one of the layouts that are likely."""
    from romassay.formats.text_dump import likely_layout

    return likely_layout(data, hints) is not None


def _with_layout(data: bytes, layout: str) -> str:
    """Return the format that a layout is for: a map of signals is for traces, any other for text."""
    for name in ("transcript", "vcd"):
        if FORMATS[name].sniff(data) == 1.0:
            return name
    return "csv-trace" if "sample=" in layout and FORMATS["csv-trace"].sniff(data) else "text-dump"


def _sniffed(name: str, data: bytes, sample: bytes) -> float:
    """Tell how surely a content has a format; without its mark in a plain sample it has not."""
    mark = MARKS.get(name)
    if mark and mark not in sample and sample.isascii():
        return 0.0
    return FORMATS[name].sniff(data)


def _surest(data: bytes) -> tuple[str, float]:
    """Return the format that knows the content best, and how surely; none is asked behind one that is certain."""
    from romassay.formats.text.sampling import sample_of

    best, sure, sample = "", -1.0, sample_of(data)
    for each in FORMATS:
        found = _sniffed(each, data, sample)
        if found > sure:
            best, sure = each, found
        if sure >= 1.0:
            break
    return best, sure


def _parse(read_it: Callable[[], Parsed], name: str) -> Parsed:
    """Read, and put the file's name into what is raised: the formats know only content."""
    try:
        return read_it()
    except BadInput as e:
        place = f"{name}:{e.place}" if e.place else name
        raise BadInput(e.problem, place=place, advice=e.advice) from e
