"""What a person sees at the end of an assay: found, where, how sure and of what, and what to do next. Pure text.

The order is that of a reader in a hurry: the verdict in one sentence, the image, its decode and how sure it is, what
else answers, the map, the readings, what stands against it, and the next steps as commands. Colour repeats what the
words say, never more.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from romassay.chain import Assay, Verdict
from romassay.docket.record import crc32, image_name
from romassay.finding import Finding
from romassay.judge import is_settled
from romassay.part import FunctionKind
from romassay.reading import Reading, spans_of
from romassay.report.code import code_sentences
from romassay.report.findings import finding_lines
from romassay.report.picture import INSIDE, address_map, name_of, pattern
from romassay.report.places import at, extent, first_of, span, unseen_bytes
from romassay.report.steps import has_no_rom, step_lines, steps
from romassay.report.text import LEAST_ROOM, Line, Segment, Style, clean, paragraph
from romassay.report.words import FINDINGS, FUNCTIONS, LIMITS, SIGNS, listed, plural, size, some, times
from romassay.settle.model import Doubt, Image
from romassay.survey.model import Function, Level

MIN_WIDTH = 40
_LABEL = 11
_SHOWN_READINGS = 12
"""So many has a whole evening by the run sheet, ends of the supply and all."""
_SHOWN_PLACES = 8
_SHOWN_DOUBTS = 6
_SHOWN_LESSER = 4
_SHOWN_FILES = 6
_GAP = 3
_STYLES: dict[Verdict, Style] = {"confirmed": "good", "provisional": "care", "not-found": "bad"}


@dataclass(frozen=True, slots=True)
class Setting:
    """What the summary needs to know of the call: so that the next steps can be given as commands.

    Attributes:
        command: the call that brought this result; new files and options are added to its end.
        keeps: True where a docket keeps the readings.
        written: names of the files that were written, as the person can open them.
        assumed: what was assumed about a file because its content does not say, as (file, sentence).
    """

    command: str = "romassay assay FILE..."
    keeps: bool = False
    written: tuple[str, ...] = ()
    assumed: tuple[tuple[str, str], ...] = ()


def summary(assay: Assay, setting: Setting | None = None, *, width: int = 80) -> list[Line]:
    """Return the summary of an assay as lines of at most `width` columns, where words allow."""
    setting = setting or Setting()
    page = _Page(max(MIN_WIDTH, width))
    head, style = headline(assay)
    page.lines += paragraph(head, width=page.width, style=style)
    for text in (because(assay), besides(assay)):
        page.lines += paragraph(text, width=page.width) if text else []
    if assay.image is not None:
        _show_image(page, assay, assay.image)
    _show_lesser(page, assay)
    page.block("Map", address_map(assay.survey, page.room))
    page.block("Readings", _readings(assay, page.room))
    page.texts("Assumed", _assumed(setting))
    page.block("Findings", finding_lines(assay, page.room))
    page.texts("Left open", [LIMITS[limit] for limit in assay.limits], mark="- ")
    page.block("Next", step_lines(steps(assay, setting.command, keeps=setting.keeps), page.room))
    page.block("Written", _written(setting, page.room))
    return page.lines


class _Page:
    """Collects lines: each block has its label in the margin."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.room = width - _LABEL
        self.lines: list[Line] = []

    def block(self, label: str, lines: Iterable[Line]) -> None:
        """Add lines under a label; nothing where there are none."""
        for number, line in enumerate(lines):
            if number == 0:
                self.lines.append(())
            margin = f"{label if number == 0 else '':<{_LABEL}}"
            self.lines.append((Segment(margin, "strong"), *line))

    def row(self, label: str, text: str) -> None:
        """Add a line of its own label to the block above."""
        self.lines.append((Segment(f"{label:<{_LABEL}}", "strong"), Segment(text)))

    def add(self, lines: Iterable[Line]) -> None:
        """Add lines to the block above."""
        self.lines += [(Segment(" " * _LABEL), *line) for line in lines]

    def texts(self, label: str, texts: Sequence[str], *, mark: str = "") -> None:
        """Add sentences under a label, each wrapped."""
        self.block(label, [line for text in texts for line in paragraph(text, width=self.room, first=mark)])


def headline(assay: Assay) -> tuple[str, Style]:
    """Return the verdict in one sentence, and its style."""
    style = _STYLES[assay.verdict]
    if assay.verdict == "not-found" or not assay.images:
        return f"NOT FOUND: nothing in {_window(assay)} answers like a ROM.", style
    word = "CONFIRMED" if assay.verdict == "confirmed" else "PROVISIONAL"
    return f"{word}: {_found(assay, assay.images[0])}.", style


def _found(assay: Assay, image: Image) -> str:
    mirrors = len(assay.survey.functions[image.function].copies) - 1
    also = f" with {plural(mirrors, 'mirror')}" if mirrors > 0 else ""
    return f"{size(len(image))} of ROM at {at(assay, first_of(assay, image))}{also}"


def _window(assay: Assay) -> str:
    """Return what was read of the specimen, as ranges; what the line lost inside them is not said here."""
    readings = assay.readings.with_role("specimen")
    holes = (hole for reading in readings for hole in reading.holes)
    lost = [(h.first, 0, h.last - h.first + 1, 0) for h in holes if h.first is not None and h.last is not None]
    runs = np.concatenate([np.array(lost, np.int64).reshape(-1, 4), *(reading.runs for reading in readings)])
    return some([span(assay, seen.first, seen.last) for seen in spans_of(runs)], 3) or "these readings"


def because(assay: Assay) -> str:
    """Return what the verdict rests on, or what stands against it, as a sentence."""
    if not assay.images:
        if has_no_rom(assay) and assay.options.part:
            return f"The declared part, {assay.options.part.type}, holds no ROM."
        silent = all(region.kind in ("open-bus", "host") for region in assay.survey.regions)
        said = "All of it is what a bus says that nobody drives. " if silent and assay.survey.regions else ""
        return f"{said}No image is given, because a guess would look like one."
    if assay.verdict == "confirmed":
        return (
            f"Every byte is settled from {plural(_fewest(assay.images), 'independent reading')} or more, "
            "none is in doubt, and no finding stands against it."
        )
    return f"Not confirmed, because: {'; '.join(_reasons(assay)) or 'too few independent readings'}."


def _fewest(images: Sequence[Image]) -> int:
    return min(int(image.readings.min(initial=_MANY)) for image in images)


_MANY = 1 << 30


def besides(assay: Assay) -> str:
    """Name the further ROMs: the verdict is on them too."""
    others = [_found(assay, image) for image in assay.images[1:]]
    if not others:
        return ""
    named = listed(others) if len(others) < _SHOWN_LESSER else f"{len(others)} more ROMs"
    return f"Also found: {named}. The verdict is on all of them{_whose(assay)}."


def _whose(assay: Assay) -> str:
    """Say which further ROMs may not be the specimen's: their bytes are as sure, but they may be the host's, or RAM."""
    doubted = {finding.function for finding in assay.findings if finding.kind == "ram-or-rom"}
    names = [name_of(assay.survey, image.function) for image in assay.images[1:] if image.function in doubted]
    if not names:
        return ""
    return f", but whether {some(names, _SHOWN_LESSER)} {'is' if len(names) == 1 else 'are'} the specimen's is open"


def _reasons(assay: Assay) -> list[str]:
    reasons = list(dict.fromkeys(FINDINGS[finding.kind] for finding in assay.findings if finding.blocks))
    image = assay.images[0]
    missing, doubtful, by_hand = unseen_bytes(image), len(_doubts(image)), len(image.decided)
    reasons += [f"{plural(missing, 'byte')} never seen"] if missing else []
    reasons += [f"{plural(doubtful, 'byte')} in doubt"] if doubtful else []
    reasons += [f"{plural(by_hand, 'byte')} decided by hand"] if by_hand else []
    open_ones = [name_of(assay.survey, image.function) for image in assay.images[1:] if not is_settled(image)]
    reasons += [f"{some(open_ones, _SHOWN_LESSER)} not settled"] if open_ones else []
    return reasons


def _show_image(page: _Page, assay: Assay, image: Image) -> None:
    function = assay.survey.functions[image.function]
    data = bytes(image)
    page.texts(name_of(assay.survey, image.function), [place_words(assay, image)])
    page.row("CRC-32", crc32(data))
    page.row("SHA-256", hashlib.sha256(data).hexdigest())
    page.texts("Put right", [_put_right(finding) for finding in assay.applied(image)])
    page.block("Decode", _decode(page, function))
    page.texts("How sure", [seen_words(image), bound_words(image)])
    doubts = [
        f"offset {doubt.offset:04X}: {listed([vote(value, count) for value, count, _ in doubt.alternatives])}"
        for doubt in _doubts(image)
    ]
    page.texts("Code", code_sentences(assay, 0))
    page.texts("In doubt", [*doubts[:_SHOWN_DOUBTS], *_more(len(doubts) - _SHOWN_DOUBTS)])
    page.texts("By hand", [f"offset {d.offset:04X} is {d.value:02X}: {d.reason}" for d in image.decided])


def _mirrors(assay: Assay, image: Image) -> str:
    first = first_of(assay, image)
    copies = sorted(copy.first for copy in assay.survey.functions[image.function].copies)
    mirrors = [at(assay, address) for address in copies if address != first]
    noun = "mirror" if len(mirrors) == 1 else "mirrors"
    return f"; {noun} at {some(mirrors, _SHOWN_PLACES)}" if mirrors else ", no mirror"


def place_words(assay: Assay, image: Image) -> str:
    """Return the size, width, place and mirrors of an image."""
    function = assay.survey.functions[image.function]
    lines = [f"D{i}" for i in range(8) if function.driven >> i & 1]
    narrow = f", {plural(len(lines), 'bit')} wide ({listed(lines)})" if len(lines) < 8 else ""
    return f"{size(len(image))}{narrow} at {extent(assay, image)}{_mirrors(assay, image)}"


def _doubts(image: Image) -> list[Doubt]:
    """Return the doubtful bytes that were seen, the closest votes first."""
    return sorted((doubt for doubt in image.doubtful if doubt.alternatives), key=_lead)


def _lead(doubt: Doubt) -> float:
    """Return the share of the observations that the likeliest value has."""
    counts = [count for _, count, _ in doubt.alternatives]
    return counts[0] / max(1, sum(counts))


def vote(value: int, count: int) -> str:
    """Return a value and how often it was seen."""
    return f"{value:02X} seen {times(count)}"


def _more(count: int) -> list[str]:
    return [f"... and {count} more"] if count > 0 else []


def _decode(page: _Page, function: Function) -> list[Line]:
    return [*_pattern(function, page.room), *paragraph(decode_in_words(function), width=page.room)]


def _pattern(function: Function, room: int) -> list[Line]:
    names, signs = pattern(function)
    legend = {"x": "x don't care", "?": "? not exercised", INSIDE: f"{INSIDE} own line"}
    key = (" " * _GAP).join(text for sign, text in legend.items() if sign in signs)
    if len(signs) + len(key) + _GAP > room:
        return [(Segment(names, "faint"),), (Segment(signs, "strong"),), *paragraph(key, width=room, style="faint")]
    return [(Segment(names, "faint"),), (Segment(signs, "strong"), Segment(" " * _GAP + key, "faint"))]


def decode_in_words(function: Function) -> str:
    """Return at which levels of the bus lines a function answers, as sentences."""
    levels: dict[Level, list[str]] = {level: [] for level in SIGNS}
    for line, level in reversed(function.decode.items()):
        levels[level].append(line)
    parts = [
        f"{listed(levels[level])} {'is' if len(levels[level]) == 1 else 'are'} {level}"
        for level in ("1", "0")
        if levels[level]
    ]
    words = [f"Answers when {' and '.join(parts)}."] if parts else []
    if not parts and not levels["unknown"]:
        words += ["Answers at any level of the lines above its own."]
    words += [f"Don't care: {listed(levels['any'])}."] if levels["any"] else []
    words += [f"Not exercised: {listed(levels['unknown'])}."] if levels["unknown"] else []
    if function.pins:
        words.append(f"In the specimen's pins: {pins_in_words(function)}.")
    return " ".join(words)


def pins_in_words(function: Function) -> str:
    """Return at which levels of its pins a function answers: 'ROM answers when CS1 = 1; CS2 don't care; …'."""
    pins = function.pins or ()
    decided = [f"{pin} = {level}" for pin, level in pins if level in ("0", "1")]
    ignored = [pin for pin, level in pins if level == "any"]
    untried = [pin for pin, level in pins if level == "unknown"]
    parts = [f"{FUNCTIONS[function.kind]} answers when {listed(decided)}"] if decided else []
    parts += [f"{listed(ignored)} don't care"] if ignored else []
    parts += [f"{listed(untried)} {'was' if len(untried) == 1 else 'were'} never exercised"] if untried else []
    return "; ".join(parts)


def seen_words(image: Image) -> str:
    """Return how often each byte was seen, and by what."""
    c = image.confidence
    source = f"{plural(c.readings, 'reading')}, {plural(c.copies, 'place')}, {plural(c.sessions, 'power-up')}"
    missing = unseen_bytes(image)
    if missing:
        seen = f"{plural(missing, 'byte')} never seen, the others in {source}."
    else:
        seen = f"Each byte was seen {times(c.observations_min)} or more ({source})."
    if not c.disagreements:
        return f"{seen} All observations agree."
    verb = "differs" if c.disagreements == 1 else "differ"
    return f"{seen} {plural(c.disagreements, 'observation')} {verb} from the result."


_SMALL = 0.001
_WHOLE = 10
_SLACK = 1e-9


def bound_words(image: Image) -> str:
    """Return the bound on wrong bytes as a sentence, with what it covers."""
    c = image.confidence
    bound = c.wrong_bytes_upper_bound
    if bound >= len(image):
        return "Nothing bounds the number of wrong bytes: there is too little to compare."
    most = f"fewer than {_SMALL:g}" if bound < _SMALL else f"at most {_rounded_up(bound)}"
    besides = "; the bytes in doubt come on top" if image.flipped else ""
    return (
        f"At {c.level:.0%}, {most} of {plural(len(image), 'byte')} are wrong. "
        f"That covers random line errors only{besides}."
    )


def _rounded_up(bound: float) -> str:
    """Return a bound in two digits or as a whole number of bytes; never less than it is."""
    if bound >= _WHOLE:
        return str(math.ceil(bound))
    step = 10.0 ** (math.floor(math.log10(bound)) - 1)
    return f"{math.ceil(bound / step - _SLACK) * step:.2g}"


def _put_right(finding: Finding) -> str:
    """Say what was done to the bytes of the image; its digests are of what it now is."""
    how = f": {listed([f'{wired} taken as {meant}' for wired, meant in finding.mapping])}" if finding.mapping else ""
    return f"{FINDINGS[finding.kind]}{how}. The readings are as they were."


def _show_lesser(page: _Page, assay: Assay) -> None:
    """Show what else answers: further ROMs with their digest and pattern, then RAM and registers."""
    for number, image in list(enumerate(assay.images))[1:_SHOWN_LESSER]:
        function = assay.survey.functions[image.function]
        page.texts(name_of(assay.survey, image.function), [place_words(assay, image)])
        page.row("", f"CRC-32 {crc32(bytes(image))}, {image_name(number, 'bin')}")
        page.add(_pattern(function, page.room))
    page.texts("", _more(len(assay.images) - _SHOWN_LESSER))
    others = [index for index, function in enumerate(assay.survey.functions) if function.kind != "rom"]
    for index in others[:_SHOWN_LESSER]:
        function = assay.survey.functions[index]
        places = some([at(assay, copy.first) for copy in function.copies], _SHOWN_PLACES)
        page.texts(_LABELS[function.kind], [f"{size(function.size)} at {places or 'addresses that were not read'}"])
        page.add(_decode(page, function))
    page.texts("", _more(len(others) - _SHOWN_LESSER))


_LABELS: dict[FunctionKind, str] = {"rom": "ROM", "ram": "RAM", "registers": "I/O, timer"}


def _assumed(setting: Setting) -> list[str]:
    """Return each assumption once, with the files that it is about."""
    files: dict[str, list[str]] = {}
    for file, text in setting.assumed:
        files.setdefault(text, []).append(file)
    return [f"{some(names, _SHOWN_FILES)}: {text}" for text, names in files.items()]


def _written(setting: Setting, room: int) -> list[Line]:
    if len(setting.written) <= _SHOWN_FILES:
        return [line for name in setting.written for line in paragraph(name, width=room)]
    return paragraph(", ".join(setting.written), width=room)


def _readings(assay: Assay, room: int) -> list[Line]:
    shown = assay.readings.readings[:_SHOWN_READINGS]
    named = max((len(clean(reading.source.name)) for reading in shown), default=0)
    lines: list[Line] = []
    for reading in shown:
        name = f"{clean(reading.source.name):<{min(named, _LONG_NAME)}}  "
        if len(name) > min(room // 2, room - LEAST_ROOM):  # beside it hardly a word would have room
            lines.append((Segment(name.rstrip()),))
            name = "  "
        lines += paragraph(_reading(assay, reading), width=room, first=name)
    texts = _more(len(assay.readings.readings) - _SHOWN_READINGS)
    texts += [f"{name}: the same file as an earlier one, not counted" for name in assay.readings.duplicates]
    texts += [f"{name}: damaged just as an earlier one is, not counted" for name in assay.readings.copied]
    return [*lines, *(line for text in texts for line in paragraph(text, width=room))]


_LONG_NAME = 24


def _reading(assay: Assay, reading: Reading) -> str:
    spans = reading.spans()
    where = span(assay, spans[0].first, spans[-1].last) if spans else "nothing"
    notes = [reading.role.replace("-", " ")] if reading.role != "specimen" else []
    notes += [f"pass {reading.source.pass_number}"] if reading.source.pass_number > 1 else []
    notes += [f"session {reading.conditions.session}"] if reading.conditions.session else []
    notes += [plural(len(reading), "byte")]
    notes += [plural(len(reading.holes), "hole")] if reading.holes else []
    notes += [plural(reading.source.bad_lines, "bad line")] if reading.source.bad_lines else []
    return f"{where}: {', '.join(notes)}"
