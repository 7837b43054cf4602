"""What stands in a text of records and is no good one: broken records, lines that lost their mark, other text."""

from __future__ import annotations

import numpy as np

from romassay.formats.model import MAX_LEFT, Left
from romassay.formats.records.marks import BLANK, NEWLINE, RETURN, TAB, Gathered, Marks, wanted_digits
from romassay.formats.records.model import MAX_DAMAGED, NO_MARK, REASONS, WRONG_FORM, WRONG_SUM, Damaged, Grammar
from romassay.reading import Bytes, Index, Mask

_SHOWN = 100
_MAX_DIGITS = 600
_SHORTEST = 10


def is_damage(marks: Marks, grammar: Grammar) -> Mask:
    """Tell records that broke from marks that stand in other text: a time of day, a path, a sentence.

    A broken one begins a line, or stands behind a blank and is long enough, or right behind another record, or has just
    the length that a record has.
    """
    block, at, digits = marks.block, marks.at, marks.digits
    before = np.where(at > 0, block[at - 1], NEWLINE)
    after_at = at + 1 + digits
    after = np.where(after_at < len(block), block[np.minimum(after_at, len(block) - 1)], NEWLINE)
    stands_alone = (before <= BLANK) & (digits >= grammar.lead + 2 * grammar.head)
    is_a_line = (before == NEWLINE) & ((digits > 1) | (after == NEWLINE) | (after == RETURN)) & (digits > 0)
    of_record_length = (marks.verdict == WRONG_SUM) | (marks.verdict == WRONG_FORM)
    damage: Mask = stands_alone | is_a_line | of_record_length
    previous = np.r_[False, (damage | marks.good)[:-1] & (after_at[:-1] == at[1:])][: len(at)]
    damage |= previous & (digits > 1)
    if grammar.lead:
        damage &= block[np.minimum(at + 1, len(block) - 1)] <= ord("9")
    return damage


def line_starts(block: Bytes) -> Index:
    """Return where the lines of a block begin."""
    starts: Index = np.r_[0, np.flatnonzero(block == NEWLINE) + 1]
    return starts if starts[-1] < len(block) else starts[:-1]


def keep_damaged(marks: Marks, good: Mask, damaged: Mask, lost: tuple[Index, Index], state: Gathered) -> None:
    """Note damaged records and those that lost their mark: `lost` holds where that was, and how many digits follow."""
    rows = np.flatnonzero(damaged)
    at: Index = np.concatenate([marks.at[rows], lost[0]])
    digits = np.concatenate([marks.digits[rows], lost[1]])
    if not len(at):
        return
    verdict = np.r_[marks.verdict[rows], np.full(len(lost[0]), NO_MARK, np.uint8)]
    after = np.searchsorted(marks.at[good], at) + state.records
    newlines = np.flatnonzero(marks.block == NEWLINE)
    row = np.searchsorted(newlines, at + 1)
    stops = np.sort(np.concatenate([newlines, marks.at, [len(marks.block)]]))
    span = stops[np.searchsorted(stops, at + 1)] - at
    for i in np.argsort(at)[: max(0, MAX_DAMAGED - len(state.damaged))].tolist():
        start = int(at[i]) + 1
        text = marks.block[start : start + min(int(digits[i]), _MAX_DIGITS)].tobytes().decode("ascii")
        line = state.newlines + 1 + int(row[i])
        state.damaged.append(Damaged(int(after[i]), line, text, int(verdict[i]), int(span[i])))
    state.damaged_total += len(at)


def keep_left(
    marks: Marks,
    others: Index,
    good: Mask,
    damaged: Mask,
    starts: Index,
    ink: Index,
    grammar: Grammar,
    state: Gathered,
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


def _lost_marks(block: Bytes, starts: Index, others: Index, grammar: Grammar) -> tuple[Index, Index]:
    """Look for records at the starts of lines whose mark is missing or is another character.

    Return where the mark should stand, and the number of digits behind it: 0 where that is not what a record has.
    """
    stops = np.append(others, len(block))
    at = starts - (stops[np.searchsorted(stops, starts)] > starts)
    digits = stops[np.searchsorted(stops, at + 1)] - at - 1
    full = np.flatnonzero(digits >= grammar.lead + 2 * grammar.head)
    fits = np.zeros(len(starts), bool)
    if len(full):
        fits[full] = wanted_digits(block, at[full], grammar) == digits[full]
    return at, np.where(fits, digits, 0)


def _like_records(block: Bytes, starts: Index, which: Index, ink: Index, others: Index) -> Mask:
    """Tell which of some lines hold digits without blanks, but for a few characters, as records do."""
    characters = block[others]
    line_of = np.searchsorted(starts, others, "right") - 1
    other_ink = np.bincount(line_of[characters > BLANK], minlength=len(starts))[which]
    blanks = np.bincount(line_of[(characters == BLANK) | (characters == TAB)], minlength=len(starts))[which]
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
