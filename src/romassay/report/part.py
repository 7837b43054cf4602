"""A part for people: its package drawn in text, its pins, functions, selects, supplies, limits and times, with sources.

What has no source is marked with a question mark at the left edge, in every table.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from romassay.part import Current, Figure, Level, Part, Rail, Rating, is_unchecked
from romassay.report.package import package_lines
from romassay.report.pins import name_of, sides
from romassay.report.text import Line, Segment, paragraph
from romassay.report.words import FUNCTIONS, plural, size

_MARGIN = 11

_OPTION = {"high": "1", "low": "0", "ignored": "x"}

_CELLS = {
    "mask": "mask-programmed",
    "uv-eprom": "UV EPROM",
    "fuse": "fuses",
    "static-ram": "static",
    "ports": "registers",
}

_TIMES = {
    "address-access": "address to data",
    "enable-access": "chip enable to data",
    "output-enable": "output enable or select to data",
    "output-off": "deselect to floating outputs",
    "hold": "data stays after the address changes",
    "clock-period": "clock period",
    "clock-high": "clock high",
    "clock-low": "clock low",
    "clock-edge": "clock rise and fall",
    "address-before-clock": "address before the clock rises, read",
    "control-before-clock": "R/W before the clock rises, read",
    "port-before-clock": "port before the clock rises, read",
    "clock-access": "clock rise to data",
    "hold-after-clock": "data stays after the clock",
    "address-before-latch": "address before the latching edge",
    "hold-after-latch": "address after the latching edge",
    "latch-width": "latch pulse",
    "latch-access": "latching edge to data",
    "strobe-access": "read strobe to data",
    "machine-cycle": "machine cycle",
    "address-before-clock-write": "address before the clock rises, write",
    "data-before-clock-write": "data before the clock falls, write",
    "hold-after-clock-write": "data after the clock, write",
    "port-after-clock": "port valid after the clock",
}

_LOADS = {
    "input-current": ("input current", "uA"),
    "output-off-current": ("output while off", "uA"),
    "input-capacitance": ("input capacitance", "pF"),
    "output-capacitance": ("output capacitance", "pF"),
}

_RATINGS = {"voltage": ("", "V"), "power": ("power", "mW"), "operating": ("in use", "C"), "storage": ("stored", "C")}

_LEVELS = {"VIH": "input high", "VIL": "input low", "VOH": "output high", "VOL": "output low"}

_STATES = {"active": "active", "standby": "standby", "read": "for reading"}


def part_lines(part: Part, *, width: int, file: str = "") -> Iterator[Line]:
    """Yield a part as lines of text.

    Args:
        part: the part.
        width: columns to write in.
        file: of a part of one's own.
    """
    yield from _head(part, width, file)
    for section in (
        _pin_out(part, width),
        _texts("Cautions", part, width),
        _functions(part, width),
        _reading(part, width),
        _supplies(part, width),
        _limits(part, width),
        _levels(part, width),
        _times(part, width),
        _registers(part, width),
        _texts("Remarks", part, width),
        _sources(part, width),
    ):
        lines = list(section)
        if lines:
            yield ()
            yield from lines


def _head(part: Part, width: int, file: str) -> Iterator[Line]:
    title = paragraph(part.title, width=width - _MARGIN)
    for number, line in enumerate(title):
        yield (Segment(part.type.ljust(_MARGIN) if number == 0 else " " * _MARGIN, "strong"), *line[1:])
    if part.variant:
        yield _text(f"One of several parts of this number: {part.variant}.")
    row = f", rows {part.row:g} inch apart" if part.row else ""
    outputs = {"three-state": "; three-state outputs", "open-collector": "; open-collector outputs: pull-ups needed"}
    yield _text(f"{part.package}{row}{outputs[part.output.kind] if part.output else ''}.")
    yield from _wrapped(_sentence(part.status), width)
    if file:
        yield _text(f"From {file}.")
    count, every = len(part.unchecked), sum(1 for _ in part.cited())
    if count:
        text = f"? marks what has no source ({count} of {every} entries): look it up before you rely on it."
        yield from paragraph(text, width=width, first=" " * _MARGIN, style="care")


def _pin_out(part: Part, width: int) -> Iterator[Line]:
    left, right = sides(part)
    if not left:
        yield (Segment("Pins".ljust(_MARGIN)), Segment("No pin table was found: do not wire this part.", "bad"))
        return
    yield from package_lines(part, left, right, width=width, margin=_MARGIN)
    for pin in part.pins:
        if pin.note:
            first = f"{' ' * _MARGIN}{pin.n:>2} "
            yield from paragraph(f"{pin.name}: {pin.note}.", width=width, first=first, rest=" " * len(first))
    yield from _cite("", {pin.src for pin in part.pins})


def _functions(part: Part, width: int) -> Iterator[Line]:
    for item in part.functions:
        name = FUNCTIONS[item.kind] if item.kind != "registers" else "I/O"
        cell = f", {_CELLS[item.cell]}" if item.cell else ""
        narrow = f", {plural(item.width, 'bit')} wide" if item.width != 8 else ""
        own = f"own lines {item.own[0]} to {item.own[-1]}" if item.own else "no lines of its own"
        text = f"{size(item.size)}{narrow}{cell}; {own}"
        yield from _row(name, text, item.src, width)
        if item.note:
            yield from _wrapped(_sentence(item.note), width)
    yield from _selects(part, width)


def _selects(part: Part, width: int) -> Iterator[Line]:
    if not part.selects:
        return
    names = list(dict.fromkeys(item.name for item in part.selects))
    heads = [function.name for function in part.functions]
    yield ()
    titles = "".join(head.ljust(11) for head in heads)
    yield (Segment("Selects".ljust(_MARGIN)), Segment(f"pin       {titles}".rstrip(), "faint"))
    for name in names:
        mine = [item for item in part.selects if item.name == name]
        cells = []
        for head in heads:
            options = next((item.options for item in mine if head in item.functions), ())
            cells.append(("/".join(_OPTION[option] for option in options) or "-").ljust(11))
        number = f"{part.pin(name).n:>2} " if part.pins else ""
        srcs = list(dict.fromkeys(item.src for item in mine))
        yield from _row("", f"{number}{name.ljust(10 - len(number))}{''.join(cells).rstrip()}", ", ".join(srcs), width)
    masked = any(item.masked for item in part.selects)
    several = "; where there are several, the mask has chosen one" if masked else ""
    yield from _wrapped(f"1 high, 0 low, x don't care, - not decoded{several}.", width)
    for note, pins in _notes((item.name, item.note) for item in part.selects):
        yield from _wrapped(f"{', '.join(pins)}: {note}.", width)


def _notes(items: Iterable[tuple[str, str]]) -> Iterator[tuple[str, list[str]]]:
    found: dict[str, list[str]] = {}
    for name, note in items:
        if note and name not in found.setdefault(note, []):
            found[note].append(name)
    yield from found.items()


_STOPS = {
    "yes": "may stand still between readings",
    "no": "must never stand still",
    "unknown": "may or may not stand still: not known, keep it running",
}

_FOR_READING = {
    "high": "held high",
    "low": "held low",
    "open": "left open",
    "clock": "a free-running clock",
    "strobe": "driven in step with each reading",
    "raised": "raised above the supply",
}


def _reading(part: Part, width: int) -> Iterator[Line]:
    held = [pin for pin in part.pins if pin.hold]
    for number, pin in enumerate(held):
        word = _FOR_READING.get(pin.hold, f"connected to {pin.hold}")
        volts = f" to {pin.hold_volts:g} V" if pin.hold_volts is not None else ""
        text = f"{pin.n:>2} {name_of(pin).ljust(12)} {word}{volts}"
        yield from _row("To read" if number == 0 else "", text, pin.hold_src or pin.src, width)
    for latch in part.latches:
        pins = ", ".join(latch.takes)
        yield from _row(
            "", f"The {latch.edge} of {latch.pin} takes in {pins}: it must come for each address.", latch.src, width
        )
    if part.clock:
        yield from _row("", f"{part.clock.pin} {_STOPS[part.clock.stoppable]}.", part.clock.src, width)


def _supplies(part: Part, width: int) -> Iterator[Line]:
    ordered = any(rail.order for rail in part.rails)
    for number, rail in enumerate(sorted(part.rails, key=lambda rail: (rail.nominal == 0, rail.order))):
        yield from _row("Supply" if number == 0 else "", _rail_text(rail, ordered), _sources_of_rail(rail), width)
        if rail.programming is not None:
            yield _text(f"   {rail.programming:g} V programs: never for reading.")
        if rail.note:
            yield _text(f"   {_sentence(rail.note)}")
    if ordered:
        yield _text("On in this order, off the other way round.")
    for number, item in enumerate(part.current):
        yield from _row("Current" if number == 0 else "", _current_text(item), item.src, width)


def _rail_text(rail: Rail, ordered: bool) -> str:
    place = (f"{rail.order}. " if rail.order else "   ") if ordered else ""
    limits = ""
    if rail.minimum is not None or rail.maximum is not None:
        limits = f" ({between(rail.minimum, None, rail.maximum, 'V')})"
    return (
        f"{place}{rail.pin:>2} {rail.name.ljust(5)} {rail.nominal:+g} V{limits}"
        if rail.nominal
        else (f"{'   ' if ordered else ''}{rail.pin:>2} {rail.name.ljust(5)} 0 V")
    )


def _sources_of_rail(rail: Rail) -> str:
    named = [rail.src]
    named += [f"limits {rail.limits_src}"] if rail.limits_src and rail.limits_src != rail.src else []
    named += [f"order {rail.order_src}"] if rail.order_src and rail.order_src != rail.src else []
    return "; ".join(named)


def _current_text(item: Current) -> str:
    return (
        f"{item.rail.ljust(5)} {_STATES[item.state]}: {between(None, item.typical, item.maximum, 'mA')}{_aside(item)}"
    )


def _limits(part: Part, width: int) -> Iterator[Line]:
    for number, item in enumerate(part.ratings):
        word, unit = _RATINGS[item.what]
        where = _pins_text(item.pins) or ("every other pin" if any(r.pins for r in part.ratings) else "every pin")
        against = f" against {item.against}" if item.against else ""
        text = (
            f"{where if item.what == 'voltage' else word}: {between(item.minimum, None, item.maximum, unit)}{against}"
        )
        yield from _row("Limits" if number == 0 else "", f"{text}{_aside(item)}", item.src, width)
    if part.ratings:
        yield _text("Absolute maxima: beyond them the part is damaged.")
    else:
        yield (
            Segment("Limits".ljust(_MARGIN)),
            Segment("No absolute maximum is known: stay within the supply.", "care"),
        )


def _levels(part: Part, width: int) -> Iterator[Line]:
    for number, item in enumerate(part.levels):
        text = f"{item.what} {_LEVELS[item.what]}{_on(item)}: {between(item.minimum, item.typical, item.maximum, 'V')}"
        at = f" at {item.at:g} mA" if item.at is not None else ""
        yield from _row("Levels" if number == 0 else "", f"{text}{at}{_aside(item)}", item.src, width)
    for number, load in enumerate(part.loads):
        word, unit = _LOADS[load.what]
        pins = f" {_pins_text(load.pins)}" if load.pins else ""
        text = f"{word}{pins}: {between(load.minimum, load.typical, load.maximum, unit)}{_aside(load)}"
        yield from _row("Loads" if number == 0 else "", text, load.src, width)


def _on(item: Level | Rating) -> str:
    return f" {_pins_text(item.pins)}" if item.pins else ""


def _times(part: Part, width: int) -> Iterator[Line]:
    for number, item in enumerate(part.timing):
        symbol = f" ({item.symbol})" if item.symbol else ""
        text = f"{_TIMES[item.what]}{symbol}: {between(item.minimum, item.typical, item.maximum, 'ns')}{_aside(item)}"
        yield from _row("Times" if number == 0 else "", text, item.src, width)


def _registers(part: Part, width: int) -> Iterator[Line]:
    for number, item in enumerate(part.registers):
        text = f"{item.offset}: read {item.read}" if item.read != "-" else f"{item.offset}:"
        text += f"{';' if item.read != '-' else ''} write {item.write}" if item.write != "-" else ""
        yield from _row("Registers" if number == 0 else "", text, item.src, width)


def _texts(title: str, part: Part, width: int) -> Iterator[Line]:
    items = part.cautions if title == "Cautions" else part.remarks
    for number, item in enumerate(items):
        yield from _row(title if number == 0 else "", item.text, item.src, width)


def _sources(part: Part, width: int) -> Iterator[Line]:
    for number, item in enumerate(part.sources):
        first = ("Sources" if number == 0 else "").ljust(_MARGIN)
        date = f", {item.date}" if item.date not in ("", "-") else ""
        yield from paragraph(
            f"{item.id}: {item.title}{date} ({item.grade})", width=width, first=first, rest=" " * (_MARGIN + 2)
        )


def between(minimum: float | None, typical: float | None, maximum: float | None, unit: str) -> str:
    """Return limits in words: 'at least 2 V', '100 mA, at most 200 mA', '-0.3 to 7 V'."""
    if minimum is not None and maximum is not None:
        middle = f", typically {typical:g} {unit}" if typical is not None else ""
        return f"{minimum:g} to {maximum:g} {unit}{middle}"
    words = [f"typically {typical:g} {unit}"] if typical is not None else []
    words += [f"at least {minimum:g} {unit}"] if minimum is not None else []
    words += [f"at most {maximum:g} {unit}"] if maximum is not None else []
    return ", ".join(words)


def _aside(item: Figure) -> str:
    words = "; ".join(text for text in (item.condition, item.note) if text)
    return f" ({words})" if words else ""


def _pins_text(pins: Sequence[str]) -> str:
    """Return names of pins, runs of numbers drawn together: 'PA0-PA7, PB0'."""
    runs: list[list[str]] = []
    for name in pins:
        last = runs[-1][-1] if runs else ""
        if (
            last
            and name.rstrip("0123456789") == last.rstrip("0123456789") != name
            and _number(name) == _number(last) + 1
        ):
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def _number(name: str) -> int:
    digits = name[len(name.rstrip("0123456789")) :]
    return int(digits) if digits else -2


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"


def _text(text: str) -> Line:
    return (Segment(" " * _MARGIN), Segment(text))


def _wrapped(text: str, width: int) -> list[Line]:
    return paragraph(text, width=width, first=" " * _MARGIN)


def _row(title: str, text: str, src: str, width: int) -> list[Line]:
    """Return a row of a table, wrapped: its mark where it has no source, its text, its source."""
    lines = paragraph(f"{text}  [{src}]", width=width, first=" " * _MARGIN, rest=" " * (_MARGIN + 3))
    mark = Segment("? " if _is_unsure(src) else "  ", "care")
    return [(Segment(title.ljust(_MARGIN - 2)), mark, *lines[0][1:]), *lines[1:]]


def _is_unsure(src: str) -> bool:
    """Whether a source, or several told apart by semicolons and a word, is none."""
    return any(is_unchecked(item.removeprefix("limits ").removeprefix("order ")) for item in src.split("; "))


def _cite(text: str, srcs: Iterable[str]) -> Iterator[Line]:
    named = sorted(srcs)
    if named:
        yield (Segment(" " * _MARGIN), Segment(text), Segment(f"[{'; '.join(named)}]", "faint"))
