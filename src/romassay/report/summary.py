"""What a person sees at the end of an assay: found, where, how sure and of what, and what to do next. Pure text.

The order is that of a reader in a hurry: the verdict in one sentence, the image, the decode, the map, then how sure it
is, what stands against it, and the next steps as commands. Colour repeats what the words say, never more.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from romassay.address import merge_ranges
from romassay.chain import Assay, Verdict
from romassay.finding import Finding
from romassay.reading import Reading
from romassay.report.picture import INSIDE, address_map, name_of, pattern
from romassay.report.text import Line, Segment, Style, clean, paragraph
from romassay.report.words import FINDINGS, LIMITS, SIGNS, digits, listed, plural, size, some
from romassay.settle.model import Image
from romassay.survey.model import Function, Level, ReadNext

MIN_WIDTH = 60
_LABEL = 11
_SHOWN_READINGS = 8
_SHOWN_PLACES = 8
_SHOWN_DOUBTS = 6
_STYLES: dict[Verdict, Style] = {"confirmed": "good", "provisional": "care", "not-found": "bad"}


@dataclass(frozen=True, slots=True)
class Setting:
    """What the summary needs to know of the call: so that the next steps can be given as commands.

    Attributes:
        command: the call that brought this result; new files and options are added to its end.
        keeps: True where a docket keeps the readings.
        written: names of the files that were written, as the person can open them.
    """

    command: str = "romassay assay FILE..."
    keeps: bool = False
    written: tuple[str, ...] = ()


def summary(assay: Assay, setting: Setting | None = None, *, width: int = 80) -> list[Line]:
    """Return the summary of an assay as lines of at most `width` columns, where words allow."""
    setting = setting or Setting()
    page = _Page(max(MIN_WIDTH, width))
    page.lines.append((Segment(*_headline(assay)),))
    for text in (_because(assay), _besides(assay)):
        page.lines += paragraph(text, width=page.width) if text else []
    for image in assay.images:
        _show_image(page, assay, image)
    for index, function in enumerate(assay.survey.functions):
        if function.kind != "rom":
            _show_other(page, assay, index, function)
    page.block("Map", address_map(assay.survey))
    page.block("Readings", _readings(assay, page.room))
    _show_findings(page, assay)
    page.texts("Left open", [LIMITS[limit] for limit in assay.limits], mark="- ")
    _show_steps(page, _steps(assay, setting))
    page.block("Written", [line for name in setting.written for line in paragraph(name, width=page.room)])
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

    def texts(self, label: str, texts: Sequence[str], *, mark: str = "") -> None:
        """Add sentences under a label, each wrapped."""
        self.block(label, [line for text in texts for line in paragraph(text, width=self.room, first=mark)])


def _headline(assay: Assay) -> tuple[str, Style]:
    style = _STYLES[assay.verdict]
    if assay.verdict == "not-found" or not assay.images:
        return f"NOT FOUND: nothing in {_window(assay)} answers like a ROM.", style
    word = "CONFIRMED" if assay.verdict == "confirmed" else "PROVISIONAL"
    return f"{word}: {_found(assay, assay.images[0])}.", style


def _found(assay: Assay, image: Image) -> str:
    mirrors = len(assay.survey.functions[image.function].copies) - 1
    also = f" with {plural(mirrors, 'mirror')}" if mirrors > 0 else ""
    return f"{size(len(image))} of ROM at {_address(assay, _first(assay, image))}{also}"


def _first(assay: Assay, image: Image) -> int:
    """Return the lowest address at which a ROM was seen without a bus conflict, or at all."""
    function = assay.survey.functions[image.function]
    alone = [copy.first for copy in function.copies if not copy.contended]
    return min(alone or [copy.first for copy in function.copies] or [function.cube.value])


def _address(assay: Assay, address: int) -> str:
    return f"{address:0{digits(assay.survey.address_bits)}X}"


def _range(assay: Assay, first: int, last: int) -> str:
    return f"{_address(assay, first)}-{_address(assay, last)}"


def _window(assay: Assay) -> str:
    """Return what was read of the specimen, as ranges."""
    spans = merge_ranges(span for reading in assay.readings.with_role("specimen") for span in reading.spans())
    return some([_range(assay, span.first, span.last) for span in spans], 3) or "these readings"


def _because(assay: Assay) -> str:
    if not assay.images:
        return "No image is given, because a guess would look like one."
    if assay.verdict == "confirmed":
        return (
            f"Every byte is settled from {plural(_fewest(assay.images[0]), 'independent reading')} or more, "
            "none is in doubt, and no finding stands against it."
        )
    return f"Not confirmed, because: {'; '.join(_reasons(assay)) or 'too few independent readings'}."


def _fewest(image: Image) -> int:
    return int(image.readings.min()) if len(image) else 0


def _besides(assay: Assay) -> str:
    """Name the further ROMs, on which the verdict says nothing."""
    others = [f"{_found(assay, image)} ({name_of(assay.survey, image.function)})" for image in assay.images[1:]]
    return f"Also found: {listed(others)}. The verdict is on the first." if others else ""


def _reasons(assay: Assay) -> list[str]:
    reasons = list(dict.fromkeys(FINDINGS[finding.kind] for finding in assay.findings if finding.blocks))
    image = assay.images[0]
    missing, doubtful, by_hand = _unseen(image), len(image.doubtful), len(image.decided)
    reasons += [f"{plural(missing, 'byte')} never seen"] if missing else []
    reasons += [f"{plural(doubtful, 'byte')} in doubt"] if doubtful else []
    reasons += [f"{plural(by_hand, 'byte')} decided by hand"] if by_hand else []
    return reasons


def _unseen(image: Image) -> int:
    return int((image.seen == 0).sum())


def _show_image(page: _Page, assay: Assay, image: Image) -> None:
    function = assay.survey.functions[image.function]
    data = bytes(image)
    mirrors = sorted(copy.first for copy in function.copies if copy.first != _first(assay, image))
    first = _first(assay, image)
    where = f"{size(len(data))} at {_range(assay, first, first + len(data) - 1)}"
    also = f"; mirrors at {some([_address(assay, at) for at in mirrors], _SHOWN_PLACES)}" if mirrors else ", no mirror"
    page.texts(name_of(assay.survey, image.function), [where + also])
    page.row("CRC-32", f"{zlib.crc32(data):08x}")
    page.row("SHA-256", hashlib.sha256(data).hexdigest())
    page.block("Decode", _decode(page, function))
    page.texts("How sure", [_seen(image), _bound(image)])
    doubts = [
        f"{doubt.offset:04X}: {listed([_vote(value, count) for value, count, _ in doubt.alternatives])}"
        for doubt in image.doubtful
    ]
    page.texts("In doubt", [*doubts[:_SHOWN_DOUBTS], *_more(len(doubts) - _SHOWN_DOUBTS)], mark="offset ")
    page.texts("By hand", [f"{d.offset:04X} is {d.value:02X}: {d.reason}" for d in image.decided], mark="offset ")


def _vote(value: int, count: int) -> str:
    return f"{value:02X} seen {plural(count, 'time')}"


def _more(count: int) -> list[str]:
    return [f"... and {count} more"] if count > 0 else []


def _decode(page: _Page, function: Function) -> list[Line]:
    names, signs = pattern(function)
    used = {character for character in signs if character != " "}
    legend = {"x": "x don't care", "?": "? not exercised", INSIDE: f"{INSIDE} inside"}
    key = "   ".join(text for sign, text in legend.items() if sign in used)
    lines: list[Line] = [(Segment(names, "faint"),), (Segment(signs, "strong"), Segment(f"   {key}", "faint"))]
    return [*lines, *paragraph(decode_in_words(function), width=page.room)]


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
    words = [f"Answers when {' and '.join(parts)}." if parts else "Answers at any level of the lines above its own."]
    words += [f"Don't care: {listed(levels['any'])}."] if levels["any"] else []
    words += [f"Not exercised: {listed(levels['unknown'])}."] if levels["unknown"] else []
    if function.pins:
        words.append(f"In the specimen's pins: {listed([f'{pin} {_PIN[level]}' for pin, level in function.pins])}.")
    return " ".join(words)


_PIN: dict[Level, str] = {"1": "high", "0": "low", "any": "don't care", "unknown": "not exercised"}


def _seen(image: Image) -> str:
    c = image.confidence
    source = f"{plural(c.readings, 'reading')}, {plural(c.copies, 'place')}, {plural(c.sessions, 'power-up')}"
    missing = _unseen(image)
    if missing:
        seen = f"{plural(missing, 'byte')} never seen, the others in {source}."
    else:
        seen = f"Each byte was seen {plural(c.observations_min, 'time')} or more ({source})."
    if not c.disagreements:
        return f"{seen} All observations agree."
    verb = "differs" if c.disagreements == 1 else "differ"
    return f"{seen} {plural(c.disagreements, 'observation')} {verb} from the result."


_SMALL = 0.001


def _bound(image: Image) -> str:
    c = image.confidence
    bound = c.wrong_bytes_upper_bound
    most = f"fewer than {_SMALL:g}" if bound < _SMALL else f"at most {bound:.2g}"
    return f"At {c.level:.0%}, {most} of {plural(len(image), 'byte')} are wrong. That covers random line errors only."


def _show_other(page: _Page, assay: Assay, index: int, function: Function) -> None:
    places = [_address(assay, copy.first) for copy in function.copies]
    page.texts(
        name_of(assay.survey, index)[: _LABEL - 1] if function.kind == "ram" else "I/O, timer",
        [f"{size(function.size)} at {some(places, _SHOWN_PLACES) or 'no address that was read alone'}"],
    )
    page.lines.extend((Segment(" " * _LABEL), *line) for line in _decode(page, function))


def _readings(assay: Assay, room: int) -> list[Line]:
    shown = assay.readings.readings[:_SHOWN_READINGS]
    named = max((len(clean(reading.source.name)) for reading in shown), default=0)
    lines: list[Line] = []
    for reading in shown:
        name = f"{clean(reading.source.name):<{min(named, _LONG_NAME)}}  "
        lines += paragraph(_reading(assay, reading), width=room, first=name)
    texts = _more(len(assay.readings.readings) - _SHOWN_READINGS)
    texts += [f"{name}: the same file as an earlier one, not counted" for name in assay.readings.duplicates]
    return [*lines, *(line for text in texts for line in paragraph(text, width=room))]


_LONG_NAME = 24


def _reading(assay: Assay, reading: Reading) -> str:
    spans = reading.spans()
    where = _range(assay, spans[0].first, spans[-1].last) if spans else "nothing"
    notes = [reading.role.replace("-", " ")] if reading.role != "specimen" else []
    notes += [f"pass {reading.source.pass_number}"] if reading.source.pass_number > 1 else []
    notes += [f"session {reading.conditions.session}"] if reading.conditions.session else []
    notes += [plural(len(reading), "byte")]
    notes += [plural(len(reading.holes), "hole")] if reading.holes else []
    notes += [plural(reading.source.bad_lines, "bad line")] if reading.source.bad_lines else []
    return f"{where}: {', '.join(notes)}"


def _show_findings(page: _Page, assay: Assay) -> None:
    lines: list[Line] = []
    for finding in assay.findings:
        style: Style = "care" if finding.blocks else "plain"
        title = f"{FINDINGS[finding.kind]}{_place_of(assay, finding)}{_likelihood(finding)}"
        lines += paragraph(title, width=page.room, first="! " if finding.blocks else "- ", style=style)
        lines += paragraph(_sentence(finding.evidence), width=page.room, first="  ")
        if finding.advice:
            lines += paragraph(_sentence(finding.advice), width=page.room, first="  To do: ", rest="  ")
    if any(finding.blocks for finding in assay.findings):
        lines.append((Segment("! stands against 'confirmed'", "faint"),))
    page.block("Findings", lines)


def _sentence(text: str) -> str:
    """Return a text with a capital and a full stop."""
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"


def _place_of(assay: Assay, finding: Finding) -> str:
    places = [some(finding.lines, _SHOWN_PLACES)] if finding.lines else []
    if finding.offsets:
        noun = "offset" if len(finding.offsets) == 1 else "offsets"
        places.append(f"{noun} {some([f'{offset:04X}' for offset in finding.offsets], _SHOWN_PLACES)}")
    if finding.where:
        places.append(some([_range(assay, item.first, item.last) for item in finding.where], _SHOWN_PLACES))
    if finding.mapping:
        places.append(some([f"{wired} is {meant}" for wired, meant in finding.mapping], _SHOWN_PLACES))
    if finding.function is not None and len(assay.images) > 1:
        places.insert(0, name_of(assay.survey, finding.function))
    return f": {', '.join(places)}" if places else ""


def _likelihood(finding: Finding) -> str:
    likely = "" if finding.probability >= 1 else f" (probability {finding.probability:.0%})"
    return likely + (f", or instead: {FINDINGS[finding.alternative_to]}" if finding.alternative_to else "")


@dataclass(frozen=True, slots=True)
class _Step:
    """What to do at the bench, and the command that then takes it in."""

    text: str
    command: str


def _steps(assay: Assay, setting: Setting) -> list[_Step]:
    again = f"{setting.command} NEW.log"
    steps = [*_reading_steps(assay, again), *_limit_steps(assay, setting)]
    if assay.verdict == "not-found":
        steps.insert(0, _Step("Check power, selects and wiring, and read a window that holds the whole ROM.", again))
    if not setting.keeps:
        steps.append(_Step("Keep the readings, the record and the image in a docket.", f"{setting.command} -o DIR"))
    return steps


def _reading_steps(assay: Assay, again: str) -> list[_Step]:
    steps = []
    for image in assay.images:
        first = _first(assay, image)
        where = _range(assay, first, first + len(image) - 1)
        more = image.confidence.more_readings_for_target
        missing = _unseen(image)
        if missing:
            steps.append(_Step(f"Read {where} again: {plural(missing, 'byte')} never seen.", again))
        if more:
            steps.append(
                _Step(
                    f"Take {plural(more, 'more reading', 'more readings')} of {where}: "
                    f"the bound then falls under {assay.options.target:g} wrong bytes.",
                    again,
                )
            )
    unresolved = [function.read_next for function in assay.survey.functions if function.read_next]
    return [*steps, *(_Step(_read_next(assay, items), again) for items in unresolved)]


def _read_next(assay: Assay, items: Sequence[ReadNext]) -> str:
    where = [_range(assay, item.where.first, item.where.last) for item in items]
    lines = list(dict.fromkeys(line for item in items for line in item.lines))
    verb = "counts" if len(lines) == 1 else "count"
    return f"Read {listed(where)} too: to learn whether {listed(lines)} {verb}."


def _limit_steps(assay: Assay, setting: Setting) -> list[_Step]:
    steps = []
    if "no-power-cycle" in assay.limits:
        session = "--session 2" if setting.keeps else "--session 2=NEW.log"
        steps.append(
            _Step("Switch off and on, and read again as a session of its own.", f"{setting.command} {session} NEW.log")
        )
    if "no-control-reading" in assay.limits:
        steps.append(
            _Step("Take the specimen out and read the same window.", f"{setting.command} --empty-socket EMPTY.log")
        )
    if "part-not-declared" in assay.limits:
        steps.append(_Step("Say which part it is, if its type number is known.", f"{setting.command} --part TYPE"))
    return steps


def _show_steps(page: _Page, steps: Sequence[_Step]) -> None:
    """Number the steps; a command that several share stands under the last of them."""
    lines: list[Line] = []
    for number, step in enumerate(steps, 1):
        lines += paragraph(step.text, width=page.room, first=f"{number}. ")
        if number == len(steps) or steps[number].command != step.command:
            lines.append((Segment("   "), Segment(step.command, "strong")))
    page.block("Next", lines)
