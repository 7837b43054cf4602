"""Captures as a use case: a line and a host's dialogue to readings in a docket, as they arrive, and an assay of them.

Whatever happens, what came in stays: in the transcript that grows within the docket, beside a note of what was to be
read. Taking a capture up again reads both and asks for what is missing.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Generator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from romassay.address import Range
from romassay.capture import AnswerBegan, Answered, Ask, Asked, Asking, Event, Learnt, Received, Retried, Sent, converse
from romassay.capture.port import Port, SerialPort
from romassay.chain import Assay, Options, assay, gather
from romassay.docket.folder import hold, reading_path
from romassay.docket.growing import GrowingFile, Plan, make_ready, new_name, read_plan, write_plan
from romassay.docket.manifest import Manifest, Said
from romassay.errors import BadInput, BadValue
from romassay.formats import load
from romassay.formats.answers import learnt_layout
from romassay.formats.layout import parse_layout
from romassay.formats.model import Hints
from romassay.formats.transcript import (
    FIRST_LINE,
    SUFFIX,
    Begin,
    Record,
    Transcript,
    ask_line,
    heard_of,
    line_of,
    transcript_of,
)
from romassay.part import Part
from romassay.rig import Serial
from romassay.session.assay import Outcome, Request, assay_or_keep
from romassay.session.loading import Input
from romassay.session.order import Order, plan_of

_STEM = "capture"

_ROUNDS = 4
"""Times that the result so far may ask for more."""

_MOST_PASSES = 32

Clock = Callable[[], float]

OpenPort = Callable[[str, Serial], AbstractContextManager[Port]]


@dataclass(frozen=True, slots=True, eq=False)
class Captured:
    """What a capture left.

    Attributes:
        outcome: of the assay over all that the docket holds; None where it holds no reading of the specimen yet.
        asked: bytes that were asked for in this call.
        needed: bytes of all passes, each once.
        missing: bytes that were never heard, over all passes.
        files: the transcripts.
    """

    outcome: Outcome | None
    asked: int
    needed: int
    missing: int
    files: tuple[Path, ...]


Watch = Callable[[Asking, Event], None]
"""Is told of every event, with the account as it stands."""


def capture(
    order: Order, *, watch: Watch = lambda _, __: None, clock: Clock = time.monotonic, open_port: OpenPort = SerialPort
) -> Captured:
    """Capture a window from its beginning.

    Raises:
        BadInput: the line or the host fails, the folder is no docket, the disk is full. What came in is kept.
    """
    _part_of(order)
    with hold(order.docket):
        former = read_plan(order.docket)
        if former and not former.done:
            raise BadInput(
                "a capture into this docket is not finished",
                place=str(order.docket),
                advice="go on with --resume, or give -o another folder",
            )
        plan = plan_of(order)
        account = _account(plan)
        _run(order, plan, account, watch, clock, open_port)
    return _assayed(order, account)


def resume(
    order_of: Callable[[Plan], Order],
    docket: Path,
    *,
    watch: Watch = lambda _, __: None,
    clock: Clock = time.monotonic,
    open_port: OpenPort = SerialPort,
) -> Captured:
    """Go on with a docket's capture: what its transcripts hold is not asked for again.

    The order may name another line, or a dialogue that was mended.

    Args:
        order_of: makes the order from the note that the capture left.
        docket: the folder.
        watch: is told of every event.
        clock: seconds.
        open_port: opens the line.

    Raises:
        BadInput: there is no capture to go on with; and as `capture`.
    """
    with hold(docket):
        plan = read_plan(docket)
        if plan is None or plan.done:
            raise BadInput(
                "there is no unfinished capture here" if plan else "there is no capture here",
                place=str(docket),
                advice="capture without --resume",
            )
        order = order_of(plan)
        _part_of(order)
        mended = order.dialogue != plan.dialogue
        plan = msgspec.structs.replace(
            plan, host=order.host, port=order.port, dialogue=order.dialogue, serial=order.serial
        )
        account = _account(plan)
        former = [t for name in plan.files if (t := _former(reading_path(docket, name))) is not None]
        for transcript in former:
            for _, found in heard_of(transcript):
                account.enter(found)
        layout = "" if order.dialogue.layout or order.dialogue.format else _layout_learnt(former, afresh=mended)
        if layout:
            account.line = parse_layout(layout).line_bytes
        _run(order, plan, account, watch, clock, open_port, layout)
    return _assayed(order, account)


def _account(plan: Plan) -> Asking:
    window = [Range(item.first, item.last) for item in plan.window]
    account = Asking(window, passes=plan.passes, piece=plan.dialogue.piece, fixed=plan.dialogue.fixed)
    if plan.dialogue.layout:
        account.line = parse_layout(plan.dialogue.layout).line_bytes
    return account


def _former(path: Path) -> Transcript | None:
    """Return a former transcript; None where it was cut off before it was begun."""
    try:
        return transcript_of(path.read_bytes())
    except FileNotFoundError:
        return None
    except OSError as e:
        raise BadInput(f"cannot be read ({e.strerror or e})", place=str(path)) from e


def _layout_learnt(former: Sequence[Transcript], *, afresh: bool) -> str:
    """Return the layout that former transcripts have learnt, or that their answers together show; '' where none."""
    known = [transcript.layout for transcript in former if transcript.layout and not afresh]
    if known:
        return known[-1]
    learnt = learnt_layout(b"\n".join(answer.text for transcript in former for answer in transcript.answers))
    return str(learnt) if learnt else ""


def _run(
    order: Order, plan: Plan, account: Asking, watch: Watch, clock: Clock, open_port: OpenPort, layout: str = ""
) -> None:
    """Hold the conversation, and keep what comes in as it comes."""
    with open_port(order.port, order.serial) as port:
        make_ready(order.docket)
        name = new_name(order.docket, _STEM, SUFFIX)
        plan = msgspec.structs.replace(plan, files=(*plan.files, name))
        write_plan(order.docket, plan)
        events = _events(order, plan, account, port, clock, layout)
        with contextlib.closing(GrowingFile(order.docket, name, clock)) as file, contextlib.closing(events):
            file.append(_opening(order))
            for event in events:
                file.append(lines_of(event))
                watch(account, event)


def _opening(order: Order) -> bytes:
    when = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    begin = Begin(
        host=order.host, port=order.port, layout=order.dialogue.layout, format=order.dialogue.format, when=when
    )
    return FIRST_LINE + line_of(Record(0.0, "begin", msgspec.json.encode(begin)))


def _events(order: Order, plan: Plan, account: Asking, port: Port, clock: Clock, layout: str) -> Generator[Event]:
    """Yield the conversation's events, after having entered what they say into the account."""
    rounds = 0

    def ask_next() -> Ask | None:
        nonlocal rounds
        ask = account.next()
        while ask is None and rounds < _ROUNDS:
            rounds += 1
            if not _ask_for_more(order, plan, account):
                return None
            ask = account.next()
        return ask

    character_s = order.serial.frame / order.serial.baud
    conversation = converse(port, order.dialogue, ask_next, clock, character_s=character_s, layout=layout)
    with contextlib.closing(conversation):  # type: ignore[type-var]
        for event in conversation:
            if isinstance(event, Learnt):
                account.line = parse_layout(event.layout).line_bytes
            if isinstance(event, Answered):
                account.take(event.heard, event.said)
            yield event


def _ask_for_more(order: Order, plan: Plan, account: Asking) -> bool:
    """Ask for what the result so far needs: the doubtful bytes, and as many readings as the target wants."""
    result = _result_so_far(order, plan) if order.role == "specimen" else None
    if result is None or result.image is None:
        return False
    places = _places(result)
    doubtful = [Range(places[offset], places[offset]) for offset in doubtful_offsets(result) if offset in places]
    more = result.image.confidence.more_readings_for_target if order.until_target else 0
    whole = [Range(min(places.values()), max(places.values()))] if places and more else []
    for _ in range(min(more or 0, _MOST_PASSES)):
        account.again(whole)
    if doubtful and not whole:
        account.again(doubtful)
    return bool(doubtful or whole)


def doubtful_offsets(result: Assay) -> tuple[int, ...]:
    """Return the offsets of the first image that are not settled."""
    return tuple(int(item.offset) for item in result.image.doubtful) if result.image else ()


def _places(result: Assay) -> dict[int, int]:
    """Return the address of each offset of the first image, in its first copy."""
    image = result.image
    if image is None:
        return {}
    copies = result.survey.functions[image.function].copies
    if not copies:
        return {}
    return {offset: copies[0].first + offset for offset in range(len(image))}


def _part_of(order: Order) -> Part | None:
    """Return the part that this call declares; BadCatalogue where there is none of that name."""
    from romassay.catalogue import find_part

    name = order.settings.get("part")
    return find_part(name, order.part_folders).part if name else None


def _result_so_far(order: Order, plan: Plan) -> Assay | None:
    """Assay the transcripts of this capture alone; None where they hold nothing yet."""
    options = Options(
        part=_part_of(order),
        size=order.settings.get("size"),
        target=order.settings.get("target", Options().target),
    )
    excluded = [Range(item.first, item.last) for item in order.settings.get("exclude", ())]
    try:
        loaded = [load(reading_path(order.docket, name), Hints(session=order.session)) for name in plan.files]
        return assay(gather(loaded, exclude=excluded), options)
    except (BadInput, BadValue):
        return None


def lines_of(event: Event) -> bytes:
    """Return what a transcript keeps of an event."""
    match event:
        case Asked(at, ask):
            return ask_line(at, ask.asked, ask.number)
        case Sent(at, data):
            return line_of(Record(at, ">", data))
        case Received(at, data):
            return line_of(Record(at, "<", data))
        case AnswerBegan(at):
            return line_of(Record(at, "answer"))
        case Learnt(at, layout):
            return line_of(Record(at, "layout", layout.encode()))
        case Answered(at, _, _, ended):
            return line_of(Record(at, "done", ended.encode()))
        case Retried(at, reason):
            return line_of(Record(at, "note", reason.encode()))


def _assayed(order: Order, account: Asking) -> Captured:
    """Enter the transcripts into the docket and assay all that it holds; the capture is done then.

    A control reading may come before any of the specimen: then there is nothing to assay, and it is kept.
    """
    plan = read_plan(order.docket)
    assert plan is not None  # noqa: S101 - for the type checker; this call has written it
    said = Said(session=order.session)
    files = tuple(reading_path(order.docket, name) for name in plan.files)
    holding = [path for path in files if path.is_file() and _holds_answers(path, order)]
    request = Request(
        inputs=tuple(Input(path, order.role, said) for path in holding),
        settings=order.settings,
        docket=order.docket,
        part_folders=order.part_folders,
        command=order.command,
    )
    outcome = assay_or_keep(request)
    with hold(order.docket) as former:
        if former != Manifest():
            write_plan(order.docket, msgspec.structs.replace(plan, done=True))
    return Captured(outcome, account.bytes_asked, account.needed, account.needed - account.got, files)


def _holds_answers(path: Path, order: Order) -> bool:
    """Tell whether anything of a transcript can be read; one that was cut off at once stays where it is."""
    found = heard_of(transcript_of(path.read_bytes()), order.dialogue.layout or None)
    return any(pieces for _, pieces in found)
