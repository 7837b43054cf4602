"""Marked records of hex digits, found and decoded in bulk: what five formats share.

A record is a mark (':' or 'S', say) and hex digits, one of which counts the rest. Records are looked for wherever their
mark stands, so that prompts, echoes and other text of a terminal log are passed over; whatever is no whole record with
a right checksum is never taken. Records of the same length are decoded together, as rows of one array: one pass of
numpy for each length that a block of text holds.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from romassay.formats.records.digits import hex_values, is_no_digit
from romassay.formats.records.left_over import is_damage, keep_damaged, keep_left, line_starts
from romassay.formats.records.marks import BLANK, NEWLINE, Gathered, Marks, wanted_digits
from romassay.formats.records.model import LONG, SHORT, WRONG_SUM, Grammar, Scan
from romassay.reading import Bytes, Mask

_BLOCK = 1 << 20
_KEPT = 31 << 20


def scan(text: bytes, grammar: Grammar, *, brief: bool = False) -> Scan:
    """Find and decode all records in a text that `plain` has cleaned; if `brief`, pass over what else stands there."""
    _keep_freed_memory()
    state = Gathered(brief)
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


def _blocks(text: bytes, mark: bytes) -> Iterator[Bytes]:
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


def _scan_block(block: Bytes, grammar: Grammar, state: Gathered) -> None:
    others = np.flatnonzero(is_no_digit(block))
    characters = block[others]
    line_of = np.cumsum(characters == NEWLINE)
    followed = np.diff(others, append=len(block)) > 1
    which = np.flatnonzero((characters == ord(grammar.mark)) & followed)
    at, n = others[which], len(which)
    marks = Marks(
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
    ink, taken = int(np.count_nonzero(block > BLANK)), int((1 + marks.digits[good]).sum())
    if ink != taken and not state.brief:
        damaged = ~good & is_damage(marks, grammar)
        starts = line_starts(block)
        ink_of = np.add.reduceat((block > BLANK).astype(np.int64), starts)
        lost = keep_left(marks, others, good, damaged, starts, ink_of, grammar, state)
        keep_damaged(marks, good, damaged, lost, state)
    state.ink += ink
    state.taken += taken
    state.torn += int((1 + marks.digits[marks.verdict == WRONG_SUM]).sum())
    state.records += int(good.sum())
    state.newlines += int(line_of[-1]) if len(line_of) else 0


def _decode(marks: Marks, grammar: Grammar) -> None:
    """Judge every mark, and decode those with as many digits as their length field wants, in groups of one length."""
    block, digits = marks.block, marks.digits
    full = np.flatnonzero(digits >= grammar.lead + 2 * grammar.head)
    if not len(full):
        return
    wanted = wanted_digits(block, marks.at[full], grammar)
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


def _keep_good(marks: Marks, good: Mask, state: Gathered) -> None:
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
