"""What to do next: each step in a sentence, with the command that takes in what it brings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romassay.chain import Assay
from romassay.finding import WIRING, Kind
from romassay.judge import ENOUGH
from romassay.report.findings import sentence
from romassay.report.places import extent, next_to_read, span, unseen_bytes
from romassay.report.text import Line, Segment, paragraph
from romassay.report.words import FINDINGS, listed, plural
from romassay.survey.model import ReadNext


@dataclass(frozen=True, slots=True)
class Step:
    """What to do at the bench, and what to type then."""

    text: str
    command: str


def steps(assay: Assay, command: str, *, keeps: bool) -> list[Step]:
    """Return what would make the result surer, the most telling first; before it, to keep what there is.

    Args:
        assay: the result.
        command: the call that new files and options are added to.
        keeps: True where a docket keeps the readings.
    """
    kept = "the readings, the record and the image" if assay.images else "the readings and the record"
    keep = [] if keeps else [Step(f"Keep {kept} in a docket, to which the next ones are added.", f"{command} -o DIR")]
    docket = command if keeps else "romassay assay -o DIR"
    mend = [Step(text, call) for text, call in _faults_to_mend(assay, docket)]
    again = [Step(text, f"{docket} NEW.log") for text in _readings_to_take(assay)]
    others = [Step(text, f"{docket} {options}") for text, options in _evidence_to_add(assay)]
    todo = [*mend, *again, *others]
    if not todo and assay.verdict == "provisional":
        todo = [Step(text, f"{docket} NEW.log") for text in _what_stands_against(assay)]
    return [*keep, *todo]


_MOVING: frozenset[Kind] = frozenset({"marginal-timing", "supply-sag", "weak-bits"})


def _faults_to_mend(assay: Assay, docket: str) -> Iterator[tuple[str, str]]:
    """Yield what the blocking findings ask for, as a step and the command that takes in what it brings."""
    against = [finding for finding in assay.findings if finding.blocks and not finding.alternative_to]
    wiring = [finding for finding in against if finding.kind in WIRING]
    if wiring:
        named = listed(list(dict.fromkeys(FINDINGS[finding.kind] for finding in wiring)))
        yield (
            f"Check what the findings say of the wiring ({named}). Once it is mended, read into a docket of its own: "
            "what came through other wires only contradicts it.",
            "romassay assay NEW-1.log NEW-2.log -o NEW-DIR",
        )
    applied = [finding for image in assay.images for finding in assay.applied(image)]
    if any(finding.kind in _APPLICABLE for finding in wiring) and not applied:
        yield (
            "Or put the image right as it is. The readings stay as they are, the verdict stays provisional.",
            f"{docket} --apply-findings",
        )
    if any(finding.kind == "mixed-specimens" for finding in against):
        yield (
            "See which specimen each log is of, and give each specimen a docket of its own.",
            "romassay assay ITS-1.log ITS-2.log -o NEW-DIR",
        )
    for finding in against:
        if finding.kind in _MOVING:
            yield sentence(finding.advice), f"{docket} NEW.log"


_APPLICABLE: frozenset[Kind] = frozenset({"data-lines-swapped", "data-inverted", "address-lines-swapped"})


def _readings_to_take(assay: Assay) -> Iterator[str]:
    image = assay.image
    if image is None and has_no_rom(assay):
        yield "Where the specimen does hold a ROM it is another part: read the type number on it again."
        return
    if image is None:
        yield (
            "With the power off, check the wires of supply, ground, selects and data lines at the chip's own pins; "
            "then read a window that holds the whole ROM, best the whole bus."
        )
        return
    where = extent(assay, image)
    missing, more = unseen_bytes(image), image.confidence.more_readings_for_target
    if missing:
        yield f"Read {where} again: {plural(missing, 'byte')} never seen."
    if more:
        yield (
            f"Take {plural(more, 'more reading')} of {where}: "
            f"the bound then falls under {assay.options.target:g} wrong bytes."
        )
    elif not missing and int(image.readings.min(initial=ENOUGH)) < ENOUGH:
        yield f"Read {where} again into a new file, best after switching off and on: two readings must agree."
    elif not missing and image.doubtful:
        yield f"Read {where} again: {plural(len(image.doubtful), 'byte')} in doubt."
    items = next_to_read(assay.survey.functions[image.function], assay.options.rig)
    if items:
        yield _to_resolve(assay, items)


def _what_stands_against(assay: Assay) -> Iterator[str]:
    """Yield why a result stays provisional for which there is no other step."""
    decided = sum(len(image.decided) for image in assay.images)
    if decided:
        yield (f"{plural(decided, 'byte')} decided by hand: read again, and take back what the readings settle alone.")
    for finding in assay.findings:
        if finding.blocks and not finding.alternative_to:
            yield sentence(finding.advice)


def has_no_rom(assay: Assay) -> bool:
    """Tell whether the declared part is one without a ROM."""
    part = assay.options.part
    return part is not None and all(function.kind != "rom" for function in part.functions)


def _to_resolve(assay: Assay, items: Sequence[ReadNext]) -> str:
    where = [span(assay, item.where.first, item.where.last) for item in items]
    lines = list(dict.fromkeys(line for item in items for line in item.lines))
    verb = "counts" if len(lines) == 1 else "count"
    return f"Read {listed(where)} too: to learn whether {listed(lines)} {verb}."


def _evidence_to_add(assay: Assay) -> Iterator[tuple[str, str]]:
    """Yield what the verdict could not lean on, as a step and what to add to the command."""
    if "no-power-cycle" in assay.limits:
        session = f"--session {_new_session(assay)}"
        yield "Switch off and on, and read again as a session of its own.", f"{session} NEW.log"
    if "no-control-reading" in assay.limits:
        yield "Take the specimen out and read the same window.", "--empty-socket EMPTY.log"
    if "part-not-declared" in assay.limits:
        yield "Say which part it is, if its type number is known.", "--part TYPE"


def _new_session(assay: Assay) -> str:
    """Return a number that no session of the readings is called by."""
    used = {reading.conditions.session for reading in assay.readings.readings}
    return next(name for name in map(str, range(2, len(used) + 3)) if name not in used)


def step_lines(todo: Sequence[Step], room: int) -> list[Line]:
    """Return numbered steps, each with its command."""
    if not todo:
        return paragraph("Nothing more is asked for. Keep the docket safe.", width=room)
    lines: list[Line] = []
    for number, step in enumerate(todo, 1):
        mark = f"{number}. "
        lines += paragraph(step.text, width=room, first=mark)
        lines.append((Segment(" " * len(mark)), Segment(step.command, "strong")))
    return lines
