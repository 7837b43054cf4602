"""Layouts with an address now and then, before the data, or nowhere: the bytes between two addresses count them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise

from romassay.formats.layout import ANY, HEX, RUN, Base, pattern_parts
from romassay.formats.learning.address_alone import (
    base_of_lone,
    in_word,
    is_remnant,
    likely_base,
    lone_number,
    with_lone_address,
)
from romassay.formats.learning.cells_anywhere import leads_of, run_forms
from romassay.formats.learning.fit import fit
from romassay.formats.learning.learnt import (
    BASES,
    MAX_STEP,
    MORE_CELLS,
    MOSTLY,
    TELLING,
    Learnt,
    clean_share,
    spread_over,
    tidiness,
)
from romassay.formats.learning.sample import FIRST_TOKENS, Cells, Found, Line, usual
from romassay.formats.text.headings import numbers_columns
from romassay.formats.text.mended import LEAST_ALIKE

_PLACES = 5
"""Numbers at which the cells of a line without an address may begin."""
_NEARLY = 2
"""Characters by which a damaged line of data may be longer or shorter than the others."""
_SHORTEST = 3
_WIDE = 4
"""Bytes of a line that tell of a dump by themselves; shorter ones need addresses that count them."""
_BORNE_OUT = 3
"""Addresses that must do so."""
_FEW_LOST = 8
"""Lines by which an address may be ahead before it is no contradiction but another window."""


def with_few_addresses(sample: list[list[Line]]) -> Iterator[Learnt]:
    """Yield layouts whose lines do not all have an address."""
    lines = [line for stretch in sample for line in stretch]
    for cells in run_forms(lines):
        for lead in leads_of(lines, cells):
            learnt = _few_addresses(sample, cells, lead)
            if learnt:
                yield learnt


def _few_addresses(sample: list[list[Line]], cells: Cells, lead: int) -> Learnt | None:
    """Return the layout of data lines with `lead` numbers before their cells, one more where there is an address."""
    steps = range(max(2, cells.bytes // 2), MAX_STEP + 1)
    if lead and _grows(sample, cells, lead, -1, steps):
        return None
    if cells.bytes > 2 and _grows(sample, cells, lead, 0, range(cells.bytes - 1, cells.bytes)):
        return None
    best: Learnt | None = None
    lines = [line for stretch in sample for line in stretch]
    data = sum(any(cells.read(line, i) for i in range(lead, lead + 5)) for line in lines)
    wide = [line for stretch in sample for line in stretch if len(line.tokens) >= cells.runs]
    if data < 2 or data < 2 * clean_share(wide) * len(wide) * 0.5:
        return None
    tokens = Counter(len(line.tokens) for line in lines if cells.read(line, lead)).most_common(1)[0][0]
    if _reads_on(lines, cells, lead):
        return None
    ways = [(base, cells) for base in BASES]
    if cells.size > 1:
        ways += [(base, replace(cells, words=True)) for base in BASES]
    counted = [(base, way, _count_between(sample, way, lead, base, tokens)) for base, way in ways]
    plain = counted[0][2]
    contradicted = plain.bad > 1 and not plain.good
    miscounted = any(count.bad > 1 and not count.good for _, way, count in counted if not way.words)
    likely = likely_base([(f.line, f.address) for f in plain.found if f.address is not None], cells, lines)
    for base, way, count in counted:
        if (way.words or cells.bytes < _WIDE) and (count.bad or count.good < _BORNE_OUT):
            continue
        printed = any(f.address is not None for f in count.found)
        anchored = printed and not miscounted and not count.bad and base == likely
        if (count.good and count.good >= count.bad // 2) or anchored:
            learnt = _made(count.found, count.alone, base, way)
            share = count.good / (count.good + count.bad) if count.good else 0.5
            score = learnt.score * share * (0.9 if base != 16 else 1.0)
            if best is None or score > best.score:
                best = replace(learnt, score=score)
    refused = contradicted or cells.bytes < _WIDE
    return best or (None if refused else _without_addresses(sample, cells, lead, tokens))


def _reads_on(lines: list[Line], cells: Cells, lead: int) -> bool:
    """Tell whether on most lines several more numbers follow as the cells do: they hold only part of the data."""
    last = lead + cells.runs - 1
    if not cells.runs > 1 or not cells.widths:
        return False
    read = [line for line in lines if cells.read(line, lead)]
    more = 0
    for line in read:
        if len(line.tokens) > last + MORE_CELLS - 1:
            gaps = {line.between(last + i) for i in range(MORE_CELLS - 1)} | {line.between(last - 1)}
            widths = {len(line.token(last + i)) for i in range(MORE_CELLS)}
            more += len(gaps) == 1 and len(widths) == 1
    return more > MOSTLY * len(read)


def _grows(sample: list[list[Line]], cells: Cells, lead: int, place: int, wanted: range) -> bool:
    """Tell whether a number grows from line to line by about the bytes of a line, as an address does.

    One that is not hex must do so by just these, or by a cell or two fewer, which are sums: clocks grow as well.

    Args:
        sample: the lines.
        cells: of them.
        lead: which number is their first.
        place: of the number, counted from there; of three digits or more if it is before the cells.
        wanted: bytes by which it may grow.
    """
    digits = _SHORTEST if place < 0 else 1
    read = [
        [line for line in stretch if cells.read(line, lead) and len(line.token(lead + place)) >= digits]
        for stretch in sample
    ]
    full = {cells.bytes - i * cells.size for i in range(TELLING)}
    for base in BASES if place < 0 else (HEX,):
        steps: Counter[float] = Counter()
        for lines in read:
            numbers = [(line.number, value) for line in lines if (value := line.value(lead + place, base)) is not None]
            steps.update((b - a) / (n - m) for (m, a), (n, b) in pairwise(numbers))
        total = sum(steps.values())
        if total >= LEAST_ALIKE and any(
            step in wanted and (base == HEX or step in full) and n > 0.5 * total for step, n in steps.items()
        ):
            return True
    return False


def _cells_at(line: Line, cells: Cells, lead: int, usual_tokens: int) -> int | None:
    """Return where the cells of a line begin: after the lead, or after an address that stands there as well."""
    first = next((i for i in range(lead, lead + _PLACES) if cells.read(line, i)), None)
    if first is None or first > lead or len(line.token(first)) < _SHORTEST:
        return first
    one_more = len(line.tokens) == usual_tokens + 1 and (cells.base == HEX or cells.size > 1)
    return first + 1 if (one_more or _looks_apart(line, first)) and cells.read(line, first + 1) else first


def _looks_apart(line: Line, i: int) -> bool:
    """Tell whether a number is set off from the next one, as an address is from data of as many digits."""
    return i + 3 < len(line.tokens) and line.between(i) != line.between(i + 1) == line.between(i + 2)


@dataclass(slots=True)
class _Count:
    """How often there are as many bytes between two addresses as these say; a heading of columns may be data.

    Attributes:
        step: by which addresses grow from line to line.
        good, bad: how often so, and how often not.
        found: the lines of data.
        alone: addresses on lines of their own right before data that have none: the line, and which number of it.
        expected: address of the next line, if the last one printed and all since is right.
        before: the last address.
        since: lines of data since then.
        headings: lines since then that may be data or number the columns.
    """

    step: int
    good: int = 0
    bad: int = 0
    found: list[Found] = field(default_factory=list)
    alone: list[tuple[Line, int]] = field(default_factory=list)
    expected: int | None = None
    before: int = 0
    since: int = 0
    headings: int = 0

    def begin(self) -> None:
        """Begin another stretch of lines."""
        self.expected, self.before, self.since, self.headings = None, 0, 0, 0

    def address(self, address: int) -> None:
        """Hold an address against the lines since the last one."""
        if self.expected is not None and self.since and address > self.before:
            is_so = address in (self.expected, self.expected + self.headings * self.step)
            self.good += is_so
            self.bad += not is_so and address - self.expected <= _FEW_LOST * self.step
        self.expected, self.before, self.since, self.headings = address, address, 0, 0

    def line(self) -> None:
        """Count a line of data."""
        self.since += 1
        self.expected = None if self.expected is None else self.expected + self.step


def _count_between(sample: list[list[Line]], cells: Cells, lead: int, base: Base, usual_tokens: int) -> _Count:
    """Count the bytes between addresses. One on a line of its own counts only before data that have none."""
    count = _Count(cells.count if cells.words else cells.bytes)
    length = _usual_length([line for stretch in sample for line in stretch if cells.read(line, lead)])
    for stretch in sample:
        count.begin()
        lone: tuple[Line, int] | None = None
        for line in stretch:
            if numbers_columns(line.text):
                count.headings += cells.read(line, lead)
                continue
            first = _cells_at(line, cells, lead, usual_tokens)
            if first is None:
                which = _address_alone(line, lead)
                if which is not None and line.value(which, base) is not None:
                    lone = line, which
                elif abs(len(line.text) - length) <= _NEARLY:
                    count.line()
                continue
            addressed = first > lead and not in_word(line, first - 1)
            address = line.value(first - 1, base) if addressed else lone[0].value(lone[1], base) if lone else None
            if address is not None:
                count.address(address)
            if lone is not None and not addressed:
                count.alone.append(lone)
            lone = None
            count.found.append(Found(line, first - 1 if addressed else None, first))
            count.line()
    return count


def _address_alone(line: Line, lead: int) -> int | None:
    """Return which number of a line that holds no data may be an address, or None."""
    if not 0 < len(line.tokens) <= FIRST_TOKENS:
        return None
    numbers = [i for i in range(len(line.tokens)) if not in_word(line, i)]
    is_one = 0 < len(numbers) <= lead + 2 and len(line.token(numbers[-1])) >= _SHORTEST
    return numbers[-1] if is_one else None


def _usual_length(lines: list[Line]) -> int:
    return Counter(len(line.text) for line in lines).most_common(1)[0][0] if lines else -_NEARLY - 1


def _made(found: list[Found], alone: list[tuple[Line, int]], base: Base, cells: Cells) -> Learnt:
    with_address = [f for f in found if f.address is not None]
    plain = [f for f in found if f.address is None]
    if len(with_address) >= len(alone) or not plain:
        some = spread_over(plain) + spread_over(with_address)
        fitted = fit(some, base, cells, "some")
        return Learnt(fitted.layout, len(found) * cells.bytes * tidiness(fitted) * 0.95, fitted.notes)
    fitted = fit(spread_over(plain), None, cells, "alone")
    layout = with_lone_address(fitted.layout, alone, base)
    return Learnt(layout, len(found) * cells.bytes * tidiness(fitted) * 0.9, fitted.notes)


TOP_ONLY = "only one address stands in the log, before the data: all bytes are counted from it"
NO_ADDRESS = "the log has no addresses: the first byte is taken as address 0 unless a base is given"


def _without_addresses(sample: list[list[Line]], cells: Cells, lead: int, usual_tokens: int) -> Learnt | None:
    """Return the layout of a dump with one address before it, or none at all."""
    lines = [line for stretch in sample for line in stretch if not numbers_columns(line.text)]
    places = [(line, _cells_at(line, cells, lead, usual_tokens)) for line in lines]
    found = [Found(line, None, lead) for line, first in places if first == lead]
    others = [line for line, first in places if first is None]
    if len(found) < TELLING:
        return None
    fitted = fit(spread_over(found), None, cells, "none")
    is_hex = cells.base == 16 and bool(cells.widths)
    kinds = [kind for kind, _ in pattern_parts(fitted.layout.rest)]
    if not is_hex and (fitted.layout.tail or RUN in kinds or kinds.count(ANY) >= _SHORTEST):
        return None
    score = len(found) * cells.bytes * tidiness(fitted) * 0.5
    gap = usual([f.line.between(lead) for f in found])[0] if cells.runs > 1 else None
    top = [
        (line, which)
        for line in others
        if line.number < found[0].line.number and (which := lone_number(line)) is not None
        if not is_remnant(line, cells, gap)
    ]
    if top:
        line, which = top[-1]
        layout = with_lone_address(fitted.layout, [(line, which)], base_of_lone(line, which, cells, lines))
        rest = line.text[line.tokens[which][1] :].rstrip()
        layout = replace(layout, after=layout.after if not any(chr(c).isalnum() for c in rest) else "*")
        return Learnt(layout, score, (*fitted.notes, TOP_ONLY))
    if "?" * _SHORTEST in fitted.layout.rest:
        return None
    if not is_hex or cells.bytes < 8 or len(found) < 0.7 * sum(len(stretch) for stretch in sample):
        return None
    return Learnt(fitted.layout, score, (*fitted.notes, NO_ADDRESS))
