"""Marked records of hex digits, found and decoded in bulk: what five formats share.

A record is a mark (':' or 'S', say) and hex digits, one of which counts the rest. Records are looked for wherever their
mark stands, so that prompts, echoes and other text of a terminal log are passed over; whatever is no whole record with
a right checksum is never taken. Records of the same length are decoded together, as rows of one array: one pass of
numpy for each length that a block of text holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from romassay.formats.model import MAX_LEFT, Left
from romassay.formats.terminal import clean
from romassay.formats.tracks import Lost, Track
from romassay.reading import Bytes, Index

Text = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]

GOOD, WRONG_SUM, WRONG_FORM, SHORT, LONG, NO_MARK = range(6)
"""What a record is found to be."""

REASONS = {
    WRONG_SUM: "wrong checksum",
    WRONG_FORM: "a record that the format does not know",
    SHORT: "record ends before its time",
    LONG: "record is longer than it says",
    NO_MARK: "record without its mark",
}

MAX_DAMAGED = 300_000
"""Damaged records that are told one by one; more of them are only counted."""

_BLOCK = 1 << 20
_KEPT = 31 << 20
_SHOWN = 100
_MAX_DIGITS = 600
_TAB, _NEWLINE, _RETURN, _BLANK = 9, 10, 13, 32
_SHORTEST = 10
_CONTROLS = bytes(sorted({*range(32), 127} - {9, 10, 13}))
_COMMON_CONTROLS = (0, 17, 19, 127)
_ESCAPE, _BACKSPACE = b"\x1b", b"\x08"
_TEXT = bytes([0, 8, 9, 10, 13, 27, *range(32, 127)])
_SAMPLE = 1 << 16
_FEW = 0.05
_STRIP_BIT_7 = bytes(i & 0x7F for i in range(256))


@dataclass(frozen=True, slots=True)
class Decoded:
    """Records of one length, decoded: n rows.

    Attributes:
        kind: uint8[n], the record type.
        address: int64[n], the address field as it stands; or the number that a record without addresses carries.
        count: int64[n], data bytes; 0 for records that carry none.
        at: column of the first data byte.
        verdict: uint8[n], GOOD, WRONG_SUM or WRONG_FORM.
    """

    kind: Bytes
    address: Index
    count: Index
    at: int
    verdict: Bytes


@dataclass(frozen=True, slots=True)
class Grammar:
    """How a format's records are built.

    Attributes:
        mark: the character that starts a record; no hex digit.
        lead: digits between the mark and the first pair of digits, 0 or 1.
        head: pairs that are the same in every record: length, address, type.
        length_at: which pair, from 0, holds the length.
        pairs: length fields, int64[n], to the number of pairs in the whole record.
        decode: the lead digit and the pairs as bytes, uint8[n, pairs], to columns.
    """

    mark: str
    lead: int
    head: int
    length_at: int
    pairs: Callable[[Index], Index]
    decode: Callable[[int, Bytes], Decoded]


@dataclass(frozen=True, slots=True)
class Damaged:
    """A record that was not taken.

    Attributes:
        after: how many good records stand before it.
        line: in the source, from 1.
        digits: its digits, the first 600 of them.
        verdict: one of the codes above.
        span: characters from its mark to the next one, or to the end of the line.
    """

    after: int
    line: int
    digits: str
    verdict: int
    span: int


@dataclass(frozen=True, slots=True)
class Scan:
    """All good records of a text as columns, in the order of the text; and what else stood there.

    Attributes:
        line: int64[n], in the source, from 1.
        kind, address, count: as in `Decoded`.
        value: uint8, the data bytes of all records in a row.
        damaged: at most MAX_DAMAGED; `damaged_total` counts all.
        left: lines with other text, at most MAX_LEFT; `left_total` counts all.
        lines: lines of the whole text.
        ink: characters of the text that print.
        taken: those of them that stand in good records.
        torn: those that stand in records of the right length with a wrong checksum.
    """

    line: Index
    kind: Bytes
    address: Index
    count: Index
    value: Bytes
    damaged: tuple[Damaged, ...]
    damaged_total: int
    left: tuple[Left, ...]
    left_total: int
    lines: int
    ink: int
    taken: int
    torn: int


def plain(source: bytes, encoding: str | None = None) -> bytes:
    """Return a log's text in 7-bit characters, lines ended by LF, without the controls that terminals add.

    Byte order marks of UTF-8 and UTF-16 are honoured. Bytes above 7F are characters where they are valid UTF-8, else
    bit 7 is a parity bit and goes. Line numbers stay those that an editor shows: where the text has any LF, a lone CR
    ends no line.
    """
    if encoding is not None or ((_ESCAPE in source or _BACKSPACE in source) and _is_text(source)):
        source = clean(source, encoding)
    if source.startswith((b"\xff\xfe", b"\xfe\xff")):
        source = source.decode("utf-16", "replace").encode("ascii", "replace")
    elif not source.isascii():
        source = _seven_bits(source)
    if any(bytes((code,)) in source for code in _COMMON_CONTROLS):
        source = source.translate(None, _CONTROLS)
    if b"\r" in source and b"\n" not in source:
        source = source.replace(b"\r", b"\n")
    return source


def _is_text(source: bytes) -> bool:
    """Tell a terminal's log from binary junk, in which escapes mean nothing and cost much."""
    sample = source[:_SAMPLE].translate(_STRIP_BIT_7)
    return len(sample.translate(None, _TEXT)) < _FEW * len(sample)


def _seven_bits(source: bytes) -> bytes:
    try:
        return source.decode("utf-8-sig").encode("ascii", "replace")
    except UnicodeDecodeError:
        return source.translate(_STRIP_BIT_7)


def hex_digits(digits: Bytes) -> Bytes:
    """Return the values of hex digits, given as ASCII codes."""
    return (digits & np.uint8(15)) + np.uint8(9) * (digits >> np.uint8(6))


def hex_values(digits: Bytes) -> Bytes:
    """Return the bytes that pairs of hex digits stand for: uint8[n, 2k] of ASCII codes to uint8[n, k]."""
    pairs = np.ascontiguousarray(hex_digits(digits)).view("<u2")
    return ((pairs << np.uint16(4)) | (pairs >> np.uint16(8))).astype(np.uint8)


def row_sums(rows: Bytes) -> Bytes:
    """Return the sum of each row modulo 256: uint8[n, k] to uint8[n]."""
    total: Bytes = np.einsum("ij->i", rows)
    return total


def big_endian(columns: Bytes) -> Index:
    """Return the number that each row spells, high byte first: uint8[n, k] to int64[n]."""
    total = np.zeros(len(columns), np.int64)
    for i in range(columns.shape[1]):
        total = total << 8 | columns[:, i]
    return total


def scan(text: bytes, grammar: Grammar, *, brief: bool = False) -> Scan:
    """Find and decode all records in a text that `plain` has cleaned; if `brief`, pass over what else stands there."""
    _keep_freed_memory()
    state = _Gathered(brief)
    for block in _blocks(text, grammar.mark.encode()):
        _scan_block(block, grammar, state)
    return state.finish()


def _keep_freed_memory() -> None:
    """Have the C library keep freed memory for the next block, not give it back page by page.

    Measured on a 16 MiB image: 110 000 page faults become 32 000, and a first read takes half the time. glibc raises
    its limits to the size of the largest block that was freed, up to 32 MiB (mallopt(3), M_MMAP_THRESHOLD); other
    libraries are not affected. The memory is never touched, so it costs none.
    """
    block = np.empty(_KEPT, np.uint8)
    del block


def track_of(found: Scan, is_data: Mask, is_end: Mask, claim: Callable[[Damaged], tuple[int, int] | None]) -> Track:
    """Return the data records of a scan in which the address field is the whole address.

    `claim` gives the first and last address of a damaged record by its own word.
    """
    before = np.r_[0, np.cumsum(is_data)]
    lost = losses(found, before, claim)
    return Track(
        first=found.address[is_data],
        count=found.count[is_data],
        line=found.line[is_data],
        value=found.value,
        ends=before[:-1][is_end],
        end_lines=found.line[is_end],
        lost=lost,
    )


def losses(found: Scan, before: Index, claim: Callable[[Damaged], tuple[int, int] | None]) -> tuple[Lost, ...]:
    """Return what the damaged records of a scan lost; `before` counts the data runs before each good record."""
    lost = [Lost(int(before[d.after]), d.line, REASONS[d.verdict], claim(d)) for d in found.damaged]
    more = found.damaged_total - len(found.damaged)
    if more:
        last = found.damaged[-1]
        lost.append(Lost(int(before[last.after]), last.line, f"{more} more damaged records behind this one"))
    return tuple(lost)


def count_losses(found: Scan, track: Track, counted: Mask, is_data: Mask, counts: Mask, fresh: Mask) -> Track:
    """Compare what count records say with what was read, and note records that are missing without a trace.

    Args:
        found: the scan.
        track: the track made of it.
        counted: records that a count record counts.
        is_data: records that are in the track.
        counts: the count records; `address` is the number that they give.
        fresh: records behind which counting starts anew.
    """
    rows = np.flatnonzero(counts)
    if not len(rows):
        return track
    so_far = np.cumsum(counted)
    behind = np.r_[False, (fresh | counts)[:-1]]
    base = np.maximum.accumulate(np.where(behind, so_far - counted, 0))
    damage = np.array([d.after for d in found.damaged], np.int64)
    before = np.cumsum(is_data)
    lost = list(track.lost)
    start = -1
    for i in rows[:MAX_DAMAGED].tolist():
        read = int(so_far[i] - base[i])
        said = int(found.address[i])
        damaged = int(np.searchsorted(damage, i, "right")) - int(np.searchsorted(damage, start, "right"))
        start = i
        if said > read + damaged:
            reason = f"{said - read - damaged} of {said} records are missing without a trace, by the count record"
            lost.append(Lost(int(before[i]), int(found.line[i]), reason))
    return replace(track, lost=tuple(sorted(lost, key=lambda item: (item.at, item.line))))


def without(found: Scan, rows: Mask, verdict: int, digits: Callable[[int], str]) -> Scan:
    """Return a scan in which some good records count as damaged; `digits` gives those of a record by its index."""
    keep = ~rows
    index = np.flatnonzero(rows)
    before = np.r_[0, np.cumsum(keep)]
    damaged = [replace(d, after=int(before[d.after])) for d in found.damaged]
    damaged += [
        Damaged(int(before[i]), int(found.line[i]), text, verdict, len(text) + 1)
        for i, text in ((i, digits(i)) for i in index[:MAX_DAMAGED].tolist())
    ]
    return replace(
        found,
        line=found.line[keep],
        kind=found.kind[keep],
        address=found.address[keep],
        count=found.count[keep],
        value=found.value[np.repeat(keep, found.count)],
        damaged=tuple(sorted(damaged, key=lambda d: d.line)),
        damaged_total=found.damaged_total + len(index),
    )


def _blocks(text: bytes, mark: bytes) -> Iterator[Text]:
    """Cut the text where no record is cut: behind a line's end, else before a mark, else anywhere."""
    whole = np.frombuffer(text, np.uint8)
    start = 0
    while start < len(text):
        end = start + _BLOCK
        if end < len(text):
            cut = text.rfind(b"\n", start, end) + 1 or text.rfind(mark, start + 1, end)
            end = cut if cut > start else end
        yield whole[start:end]
        start = end


@dataclass(slots=True)
class _Gathered:
    """What the blocks gave so far."""

    brief: bool
    columns: list[tuple[Index | Bytes, ...]] = field(default_factory=list)
    values: list[Bytes] = field(default_factory=list)
    records: int = 0
    newlines: int = 0
    damaged: list[Damaged] = field(default_factory=list)
    damaged_total: int = 0
    left: list[Left] = field(default_factory=list)
    left_total: int = 0
    left_line: int = 0
    ink: int = 0
    taken: int = 0
    torn: int = 0

    def finish(self) -> Scan:
        empty = np.zeros(0, np.int64)
        columns = list(zip(*self.columns, strict=True)) or [(empty,)] * 4
        line, kind, address, count = (np.concatenate(c) for c in columns)
        value = np.concatenate(self.values) if self.values else np.zeros(0, np.uint8)
        return Scan(
            line=line,
            kind=kind.astype(np.uint8, copy=False),
            address=address,
            count=count,
            value=value,
            damaged=tuple(self.damaged),
            damaged_total=self.damaged_total,
            left=tuple(self.left),
            left_total=self.left_total,
            lines=self.newlines + 1,
            ink=self.ink,
            taken=self.taken,
            torn=self.torn,
        )


@dataclass(slots=True)
class _Marks:
    """The marks of one block, and what stands behind each: n marks.

    Attributes:
        block: the text, uint8.
        at: int64[n], where the mark stands.
        digits: int64[n], hex digits behind it.
        line: int64[n], in the source.
        verdict: uint8[n].
        kind, address, count: as in `Decoded`, where the length is right.
        groups: (which marks, their pairs as bytes, column of the first data byte) for each length.
    """

    block: Text
    at: Index
    digits: Index
    line: Index
    verdict: Bytes
    kind: Bytes
    address: Index
    count: Index
    groups: list[tuple[Index, Bytes, int]] = field(default_factory=list)

    @property
    def good(self) -> Mask:
        good: Mask = self.verdict == GOOD
        return good


def _scan_block(block: Text, grammar: Grammar, state: _Gathered) -> None:
    others = np.flatnonzero(is_no_digit(block))
    characters = block[others]
    line_of = np.cumsum(characters == _NEWLINE)
    followed = np.diff(others, append=len(block)) > 1
    which = np.flatnonzero((characters == ord(grammar.mark)) & followed)
    at, n = others[which], len(which)
    marks = _Marks(
        block=block,
        at=at,
        digits=np.append(others, len(block))[which + 1] - at - 1,
        line=line_of[which] + (state.newlines + 1),
        verdict=np.full(n, SHORT, np.uint8),
        kind=np.zeros(n, np.uint8),
        address=np.zeros(n, np.int64),
        count=np.zeros(n, np.int64),
    )
    _decode(marks, grammar)
    good = marks.good
    if n:
        _keep_good(marks, good, state)
    ink, taken = int(np.count_nonzero(block > _BLANK)), int((1 + marks.digits[good]).sum())
    if ink != taken and not state.brief:
        damaged = ~good & _is_damage(marks, grammar)
        starts = _line_starts(block)
        ink_of = np.add.reduceat((block > _BLANK).astype(np.int64), starts)
        lost = _keep_left(marks, others, good, damaged, starts, ink_of, grammar, state)
        _keep_damaged(marks, good, damaged, lost, state)
    state.ink += ink
    state.taken += taken
    state.torn += int((1 + marks.digits[marks.verdict == WRONG_SUM]).sum())
    state.records += int(good.sum())
    state.newlines += int(line_of[-1]) if len(line_of) else 0


def is_no_digit(block: Text) -> Mask:
    """Tell which characters are no hex digits."""
    decimal = block - np.uint8(48)
    letter = (block | np.uint8(32)) - np.uint8(97)
    no_digit: Mask = (decimal > 9) & (letter > 5)
    return no_digit


def _decode(marks: _Marks, grammar: Grammar) -> None:
    """Judge every mark, and decode those with as many digits as their length field wants, in groups of one length."""
    block, digits = marks.block, marks.digits
    full = np.flatnonzero(digits >= grammar.lead + 2 * grammar.head)
    if not len(full):
        return
    wanted = _wanted(block, marks.at[full], grammar)
    marks.verdict[full[digits[full] > wanted]] = LONG
    whole = full[digits[full] == wanted]
    if not len(whole):
        return
    key = digits[whole] * 16
    if grammar.lead:
        lead = block[marks.at[whole] + 1]
        key += hex_values(np.stack((np.zeros_like(lead), lead), axis=1))[:, 0]
    for value in np.flatnonzero(np.bincount(key)).tolist():
        group = whole[key == value]
        windows = np.lib.stride_tricks.sliding_window_view(block, value // 16 - grammar.lead)
        rows = hex_values(windows[marks.at[group] + (1 + grammar.lead)])
        decoded = grammar.decode(value % 16, rows)
        marks.verdict[group] = decoded.verdict
        marks.kind[group] = decoded.kind
        marks.address[group] = decoded.address
        marks.count[group] = decoded.count
        marks.groups.append((group, rows, decoded.at))


def _wanted(block: Text, at: Index, grammar: Grammar) -> Index:
    """Return how many digits records want by their length field; `at` is where their marks stand."""
    place = at + (1 + grammar.lead + 2 * grammar.length_at)
    length = hex_values(np.stack((block[place], block[place + 1]), axis=1))[:, 0]
    return grammar.lead + 2 * grammar.pairs(length.astype(np.int64))


def _keep_good(marks: _Marks, good: Mask, state: _Gathered) -> None:
    """Append the columns of the good records, and their data bytes in the order of the text."""
    count = np.where(good, marks.count, 0)
    end = np.cumsum(count)
    value = np.empty(int(end[-1]), np.uint8)
    for group, rows, at in marks.groups:
        with_data = count[group] > 0
        width = int(count[group].max())
        if not width:
            continue
        data = rows[with_data, at : at + width]
        windows = np.lib.stride_tricks.sliding_window_view(value, width, writeable=True)
        windows[(end - count)[group[with_data]]] = data
    columns = (marks.line, marks.kind, marks.address, count)
    state.columns.append(tuple(c[good] for c in columns))
    state.values.append(value)


def _is_damage(marks: _Marks, grammar: Grammar) -> Mask:
    """Tell records that broke from marks that stand in other text: a time of day, a path, a sentence.

    A broken one begins a line, or stands behind a blank and is long enough, or right behind another record, or has just
    the length that a record has.
    """
    block, at, digits = marks.block, marks.at, marks.digits
    before = np.where(at > 0, block[at - 1], _NEWLINE)
    after_at = at + 1 + digits
    after = np.where(after_at < len(block), block[np.minimum(after_at, len(block) - 1)], _NEWLINE)
    stands_alone = (before <= _BLANK) & (digits >= grammar.lead + 2 * grammar.head)
    is_a_line = (before == _NEWLINE) & ((digits > 1) | (after == _NEWLINE) | (after == _RETURN)) & (digits > 0)
    of_record_length = (marks.verdict == WRONG_SUM) | (marks.verdict == WRONG_FORM)
    damage: Mask = stands_alone | is_a_line | of_record_length
    previous = np.r_[False, (damage | marks.good)[:-1] & (after_at[:-1] == at[1:])][: len(at)]
    damage |= previous & (digits > 1)
    if grammar.lead:
        damage &= block[np.minimum(at + 1, len(block) - 1)] <= ord("9")
    return damage


def _line_starts(block: Text) -> Index:
    starts: Index = np.r_[0, np.flatnonzero(block == _NEWLINE) + 1]
    return starts if starts[-1] < len(block) else starts[:-1]


def _keep_damaged(marks: _Marks, good: Mask, damaged: Mask, lost: tuple[Index, Index], state: _Gathered) -> None:
    """Note damaged records and those that lost their mark: `lost` holds where that was, and how many digits follow."""
    rows = np.flatnonzero(damaged)
    at: Index = np.concatenate([marks.at[rows], lost[0]])
    digits = np.concatenate([marks.digits[rows], lost[1]])
    if not len(at):
        return
    verdict = np.r_[marks.verdict[rows], np.full(len(lost[0]), NO_MARK, np.uint8)]
    after = np.searchsorted(marks.at[good], at) + state.records
    newlines = np.flatnonzero(marks.block == _NEWLINE)
    row = np.searchsorted(newlines, at + 1)
    stops = np.sort(np.concatenate([newlines, marks.at, [len(marks.block)]]))
    span = stops[np.searchsorted(stops, at + 1)] - at
    for i in np.argsort(at)[: max(0, MAX_DAMAGED - len(state.damaged))].tolist():
        start = int(at[i]) + 1
        text = marks.block[start : start + min(int(digits[i]), _MAX_DIGITS)].tobytes().decode("ascii")
        line = state.newlines + 1 + int(row[i])
        state.damaged.append(Damaged(int(after[i]), line, text, int(verdict[i]), int(span[i])))
    state.damaged_total += len(at)


def _keep_left(
    marks: _Marks,
    others: Index,
    good: Mask,
    damaged: Mask,
    starts: Index,
    ink: Index,
    grammar: Grammar,
    state: _Gathered,
) -> tuple[Index, Index]:
    """Note the lines on which something stands that is no good record.

    Return where those of them that would be records with a mark before their first digit should have it, and how many
    digits they have.
    """
    block = marks.block
    n, top = len(starts), state.newlines + 1
    index = marks.line - top
    covered = np.bincount(index[good], 1 + marks.digits[good], n).astype(np.int64)
    has_record = np.bincount(index[good], minlength=n) > 0
    worst = np.zeros(n, np.uint8)
    np.maximum.at(worst, index[damaged], marks.verdict[damaged])
    left = np.flatnonzero(ink > covered)
    long = left[(ink[left] >= _SHORTEST) & ~has_record[left] & (worst[left] == 0)]
    at, digits = _lost_marks(block, starts[long], others, grammar)
    lost = (digits > 0) | _like_records(block, starts, long, ink[long], others) if len(long) else np.zeros(0, bool)
    worst[long[lost]] = NO_MARK
    shown = left[1:] if len(left) and top + int(left[0]) == state.left_line else left
    for i in shown[: max(0, MAX_LEFT - len(state.left))].tolist():
        end = int(starts[i + 1]) - 1 if i + 1 < n else len(block)
        text = block[int(starts[i]) : min(end, int(starts[i]) + 4 * _SHOWN)].tobytes().decode("ascii")
        state.left.append(_left(top + i, text, int(worst[i]), bool(has_record[i])))
    state.left_total += len(shown)
    if len(left):
        state.left_line = top + int(left[-1])
    return at[lost], digits[lost]


def _lost_marks(block: Text, starts: Index, others: Index, grammar: Grammar) -> tuple[Index, Index]:
    """Look for records at the starts of lines whose mark is missing or is another character.

    Return where the mark should stand, and the number of digits behind it: 0 where that is not what a record has.
    """
    stops = np.append(others, len(block))
    at = starts - (stops[np.searchsorted(stops, starts)] > starts)
    digits = stops[np.searchsorted(stops, at + 1)] - at - 1
    full = np.flatnonzero(digits >= grammar.lead + 2 * grammar.head)
    fits = np.zeros(len(starts), bool)
    if len(full):
        fits[full] = _wanted(block, at[full], grammar) == digits[full]
    return at, np.where(fits, digits, 0)


def _like_records(block: Text, starts: Index, which: Index, ink: Index, others: Index) -> Mask:
    """Tell which of some lines hold digits without blanks, but for a few characters, as records do."""
    characters = block[others]
    line_of = np.searchsorted(starts, others, "right") - 1
    other_ink = np.bincount(line_of[characters > _BLANK], minlength=len(starts))[which]
    blanks = np.bincount(line_of[(characters == _BLANK) | (characters == _TAB)], minlength=len(starts))[which]
    alike: Mask = (blanks == 0) & (4 * other_ink <= ink)
    return alike


def _left(line: int, text: str, verdict: int, has_record: bool) -> Left:
    if verdict:
        return Left(line, shorten(text), REASONS[verdict], damage=True)
    return Left(line, shorten(text), "other text beside the record" if has_record else "no record", damage=False)


def shorten(text: str) -> str:
    """Return a line fit for showing: controls out, cut to a screen's width."""
    start = text[: 4 * _SHOWN]
    shown = (start if start.isprintable() else "".join(c if c.isprintable() else " " for c in start)).strip()
    return shown if len(shown) <= _SHOWN else f"{shown[: _SHOWN - 1]}…"
