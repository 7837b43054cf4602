"""A plan as text: for a terminal, and the words that its page uses too. Pure.

The order is that of the evening: what is wrong, the wiring, the window, the supply, time and levels, the line, the
checklist, the run sheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from romassay.address import Range
from romassay.plan.model import Check, Coverage, Expected, Margin, Plan, Power, SerialPlan, Setting, Step, Wire
from romassay.plan.probe import NOT_JOINED
from romassay.report.text import Line, Segment, Style, paragraph, width_of
from romassay.report.words import FUNCTIONS, listed, plural, size

_MINUTE, _HOUR = 60, 3600
_SHOWN_SETTINGS = 8
_MOST_SETTINGS = 27
_FOLDED = 4
"""So many options are said in one; fewer are named one by one."""

LEVELS: dict[str, str] = {"high": "1", "low": "0", "ignored": "x"}
"""A sign for what a mask may have made of a select."""


def plan_lines(plan: Plan, *, width: int = 80) -> list[Line]:
    """Return a plan as styled lines of at most `width` columns, where words allow."""
    head, style = headline(plan)
    lines = [*paragraph(head, width=width, style=style), *paragraph(setting_words(plan), width=width)]
    for title, block in _blocks(plan, width):
        if block:
            lines += [(), (Segment(title, "strong"),), *block]
    return lines


def headline(plan: Plan) -> tuple[str, Style]:
    """Return whether the rig may be built, in one sentence, and its style."""
    if plan.problems:
        return f"NOT LIKE THIS: {plural(len(plan.problems), 'problem')} in the rig.", "bad"
    return "READY TO BUILD: nothing in the rig stands against it.", "good"


def setting_words(plan: Plan) -> str:
    """Return what is read with what."""
    host = f", read by: {plan.host}" if plan.host else ""
    name = f"{plan.title}. " if plan.title else ""
    return f"{name}{plan.part} ({plan.part_title}){host}."


def _blocks(plan: Plan, width: int) -> Iterator[tuple[str, list[Line]]]:
    yield "Problems", problem_lines(plan, width=width)
    yield "Wiring", [*_wiring(plan.wires, width), *_texts(plan.rules, width)]
    yield f"Buffer {plan.buffer_name}", _wiring(plan.buffer, width)
    if plan.coverage:
        yield "Window", _texts(coverage_words(plan.coverage, plan.address_bits), width)
    if plan.power:
        yield "Supply", _texts(power_words(plan.power), width)
    yield "Time", _table(_margins(plan.timing), width)
    yield "Levels", [*_table(_margins(plan.levels), width), *_texts(plan.level_notes, width)]
    if plan.serial:
        yield "Line to the file", _serial(plan.serial, width)
    yield "Checklist", _checks(plan, width)
    yield "Run sheet", [line for number, step in enumerate(plan.steps, 1) for line in _step(number, step, width)]
    yield "Not checked", _texts(unchecked_words(plan), width)


def _texts(texts: Iterable[str], width: int) -> list[Line]:
    return [line for text in texts for line in paragraph(text, width=width, first="- ")]


def _table(rows: Sequence[Sequence[str]], width: int) -> list[Line]:
    """Return rows in columns as wide as they need; the last one is wrapped."""
    if not rows:
        return []
    widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]) - 1)]
    lines: list[Line] = []
    for row in rows:
        first = "".join(f"{text:<{w}}  " for text, w in zip(row, widths, strict=False))
        lines += paragraph(row[-1], width=width, first=first) if row[-1] else [(Segment(first.rstrip()),)]
    return lines


def problem_lines(plan: Plan, *, width: int = 80) -> list[Line]:
    """Return each problem of a plan, and what to do about it."""
    lines: list[Line] = []
    for number, item in enumerate(plan.problems, 1):
        lines += paragraph(f"{item.kind}: {item.text}.", width=width, first=f"{number}. ", style="bad")
        lines += paragraph(f"To do: {item.advice}.", width=width, first="   ")
    return lines


def _wiring(wires: tuple[Wire, ...], width: int) -> list[Line]:
    rows = [["pin", "name", "is", "goes to", "on the way"]]
    rows += [[str(w.n), w.pin, role_words(w.role), f"{w.to}{' *' if w.proposed else ''}", w.via] for w in wires]
    lines = _table(rows, width) if wires else []
    if any(wire.proposed for wire in wires):
        lines += paragraph("* proposed: the rig file says nothing of it.", width=width, style="faint")
    return lines


def role_words(role: str) -> str:
    """Return what a pin is, as the sheet of its part says it."""
    return "port" if role == "io" else role


def coverage_words(seen: Coverage, bits: int) -> list[str]:
    """Return what the window shows, as sentences."""
    digits = max(4, (bits + 3) // 4)
    result = [f"Read {_ranges(seen.window, digits)}; free of the host: {_ranges(seen.free, digits) or 'nothing'}."]
    chosen = {level for item in seen.expected for setting in item.settings for _, level in setting.levels}
    result += ["Where a pin is x, the mask leaves it out."] if "ignored" in chosen else []
    for item in seen.expected:
        result += [f"{text}." for text in expected_words(item)]
    if seen.enough:
        total = sum(item.size for item in seen.enough)
        what = "the smallest set that tells every open option from every other"
        result.append(f"{_ranges(seen.enough, digits)} ({size(total)}) is {what}.")
    for levels in seen.hidden[:_SHOWN_SETTINGS]:
        named = listed([f"A{line} = {level}" for line, level in levels])
        result.append(f"Hidden: no block is free where {named}. An option that needs it would not be seen.")
    return result


def _ranges(ranges: Iterable[Range], digits: int) -> str:
    return listed([f"{item.first:0{digits}X}-{item.last:0{digits}X}" for item in ranges])


def expected_words(item: Expected) -> Iterator[str]:
    """Yield in how many places to expect it, the options of one count together; each by itself where they are few."""
    settings = sorted(item.settings, key=lambda s: s.copies)
    name = f"{FUNCTIONS[item.kind]} ({size(item.size)})"
    groups = [(copies, list(group)) for copies, group in groupby(settings, key=lambda s: s.copies)]
    unseen = [item for item in settings if not item.copies]
    never = _never(unseen, settings)
    if len(settings) == 1:
        yield f"{name}: {_copies(settings[0].copies)}{_clash(settings)}"
    elif len(settings) <= _SHOWN_SETTINGS or (item.kind == "rom" and len(settings) <= _MOST_SETTINGS):
        for copies, alike in groups:
            where = f"{never}, which this wiring never gives" if never and not copies else "; ".join(_folded(alike))
            yield f"{name}: {_copies(copies)} where {where}{_clash(alike)}"
    else:
        counts = [f"{copies or 'none'} ({plural(len(alike), 'option')})" for copies, alike in groups]
        yield f"{name}: places by option: {', '.join(counts)}{_clash(settings)}"


def _never(unseen: Sequence[Setting], settings: Sequence[Setting]) -> str:
    """Return the level of a pin, 'CS3=0', that just the unseen options have in common; '' where there is none."""
    for pin, level in unseen[0].levels if unseen else ():
        if [item for item in settings if (pin, level) in item.levels] == list(unseen):
            return f"{pin}={LEVELS[level]}"
    return ""


def _copies(copies: int) -> str:
    return f"in {plural(copies, 'place')}" if copies else "would not be found"


def _clash(settings: Sequence[Setting]) -> str:
    clashing = sum(1 for item in settings if item.clashes)
    return f" ({clashing} of these in the host's memory too)" if clashing else ""


def _folded(settings: Sequence[Setting]) -> Iterator[str]:
    """Yield options in words; those that leave the same pins out and try all levels of the others are one."""
    by_ignored: dict[tuple[str, ...], list[Setting]] = {}
    for item in settings:
        by_ignored.setdefault(tuple(pin for pin, level in item.levels if level == "ignored"), []).append(item)
    for ignored, alike in by_ignored.items():
        tried = [pin for pin, _ in alike[0].levels if pin not in ignored]
        if len(alike) < _FOLDED or len(alike) != 1 << len(tried):
            yield from map(setting_text, alike)
            continue
        out = f"{listed(ignored)} {'is' if len(ignored) == 1 else 'are'} x and " if ignored else ""
        yield f"{out}{listed(tried)} {'is' if len(tried) == 1 else 'are each'} 1 or 0 ({plural(len(alike), 'option')})"


def setting_text(item: Setting) -> str:
    """Return an option: 'RS0=1 CS1=0 CS2=x'."""
    return " ".join(f"{pin}={LEVELS[level]}" for pin, level in item.levels) or "always"


def power_words(power: Power) -> list[str]:
    """Return the supply as sentences: on, off, currents and limits, and the regulator."""
    result = []
    for number, rail in enumerate(power.rails, 1):
        limits = "" if rail.least is None or rail.most is None else f", {rail.least:+g} to {rail.most:+g} V"
        draws = "current not known" if rail.maximum is None else f"{rail.maximum:g} mA at most"
        usual = "" if rail.typical is None else f", {rail.typical:g} mA typical"
        sure = " Not checked." if rail.unchecked else ""
        result.append(
            f"{number}. on: {rail.pin} (pin {rail.n}) {rail.volts:+g} V{limits}; {draws}{usual}; "
            f"current limit {rail.limit:g} mA.{sure}"
        )
    if len(power.rails) > 1:
        result.append(f"Off in this order: {listed(power.off, 'then')}.")
    result.append(
        "Switch off at once: a limit is reached, a rail leaves its limits, the current goes on rising, the chip gets "
        "too hot to leave a finger on, anything smells."
    )
    if power.regulator:
        r = power.regulator
        sink = f"a heat sink of {r.heat_sink:g} K/W" if r.heat_sink else "no heat sink"
        result.append(
            f"Linear regulator: {r.drop:.2f} V over it at {r.load:g} mA makes {r.watts:.2f} W; with {sink} "
            f"its junction is {r.rise:.0f} K above the air, at {r.junction:.0f} °C."
        )
    return result


def _margins(margins: Iterable[Margin]) -> list[list[str]]:
    rows = [["", "needed", "there is", "left", ""]]
    rows += [margin_row(item) for item in margins]
    return rows if len(rows) > 1 else []


def margin_row(item: Margin) -> list[str]:
    """Return a margin as columns: what, needed, there is, left, and whether it holds."""
    sign = {"good": "holds", "bad": "DOES NOT HOLD", "unknown": "not known"}[item.status]
    return [
        item.what,
        _figure(item.need, item.unit),
        _figure(item.have, item.unit),
        _figure(item.margin, item.unit),
        sign + (", not checked" if item.unchecked else ""),
    ]


def _figure(value: float | None, unit: str) -> str:
    return "?" if value is None else f"{value:g} {unit}"


def _serial(line: SerialPlan, width: int) -> list[Line]:
    rows = [["baud", "one pass", "the smallest set"]]
    rows += [
        [f"{whole.baud}{' <' if whole.set_now else ''}", duration(whole.seconds), duration(quick.seconds)]
        for whole, quick in zip(line.rates, line.quick, strict=True)
    ]
    return [*_texts(line.notes, width), *_table(rows, width), *_texts(readings_words(line), width)]


def readings_words(line: SerialPlan) -> list[str]:
    """Return how many readings bring the bound under the target, as sentences."""
    counts: dict[int, list[int]] = {}
    for copies, count in line.readings:
        counts.setdefault(count, []).append(copies)
    return [
        f"{plural(count, 'reading')} without a disagreement bring the bound under {line.target:g} wrong bytes at 95 %, "
        f"where the window shows it in {listed([str(item) for item in copies], 'or')} "
        f"{'place' if copies == [1] else 'places'}."
        for count, copies in counts.items()
    ]


def duration(seconds: float) -> str:
    """Return a time as people say it: 45 s, 12 min, 3 h 40 min."""
    whole = round(seconds)
    if whole < 2 * _MINUTE:
        return f"{whole} s"
    if whole < _HOUR:
        return f"{round(seconds / _MINUTE)} min"
    minutes = round(seconds / _MINUTE)
    return f"{minutes // 60} h {minutes % 60:02d} min"


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A row of the checklist: neighbours that must not be joined stand in one row."""

    number: str
    power: str
    probes: tuple[str, ...]
    expect: str


def check_rows(checks: tuple[Check, ...]) -> list[CheckRow]:
    """Return the checklist as rows, numbered through."""
    rows = []
    number = 1
    for apart, group in groupby(checks, key=lambda item: item.expect == NOT_JOINED):
        items = list(group)
        if apart:
            probes = tuple(f"{item.pins[0]} and {item.pins[1]}" for item in items)
            rows.append(CheckRow(f"{number}-{number + len(items) - 1}", "off", probes, "neighbours not joined"))
        else:
            rows += [
                CheckRow(str(number + place), "ON" if item.power else "off", (item.probe,), item.expect)
                for place, item in enumerate(items)
            ]
        number += len(items)
    return rows


def _checks(plan: Plan, width: int) -> list[Line]:
    rows = [[f"{row.number}.", row.power, f"{', '.join(row.probes)}: {row.expect}"] for row in check_rows(plan.checks)]
    return _table(rows, width)


def _step(number: int, step: Step, width: int) -> list[Line]:
    mark = f"{number}. "
    indent = " " * len(mark)
    lines = paragraph(step.title, width=width, first=mark, style="strong")
    for text in step.do:
        lines += paragraph(text, width=width, first=f"{indent}- ")
    for text in step.cautions:
        lines += paragraph(f"Mind: {text}", width=width, first=f"{indent}! ")
    if step.typed:
        lines += paragraph(f"at the host: {'   '.join(step.typed)}", width=width, first=indent)
    if step.file:
        lines += paragraph(f"save as: {step.file}", width=width, first=indent)
    if step.command:
        lines.append((Segment(indent), Segment(step.command, "strong")))
    return lines


def unchecked_words(plan: Plan) -> list[str]:
    """Return what rests on memory or practice, as one sentence."""
    if not plan.unchecked:
        return []
    return [
        "These figures of the part have no source; look them up in a data sheet before you rely on them: "
        f"{', '.join(plan.unchecked)}."
    ]


def widest(lines: Iterable[Line]) -> int:
    """Return the columns that lines take."""
    return max(map(width_of, lines), default=0)
