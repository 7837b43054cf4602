"""What flipping one bus line does: the same bytes again, other bytes, or nothing that could tell.

Counted granule by granule, then pooled over blocks of any size: this is the whole evidence for a decode.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.reading import Index
from romassay.survey.consensus import Consensus
from romassay.survey.stack import GRANULE_LINES, Bools, Stack, counted
from romassay.survey.states import BUS, CONTENDED, CONTENT, HOST, UNSEEN, VOLATILE, Ground

SAME_SHARE = 0.8
"""Of the bytes that can tell, so many must match for two blocks to be copies: a line that spoils one character in a
hundred leaves 0.92 in a single reading."""

EVIDENCE = 4
"""Telling bytes needed before a comparison counts, where four data lines or more say something."""

APART = 0.5
"""Of the bytes that can tell, so many at most match in two blocks that have nothing to do with each other."""

APART_ALONE = 0.65
"""The same over a single data line, where every other bit matches by chance."""

FOUGHT_BYTES = 16
"""Bytes that must be pulled to one side before two drivers are believed to fight; by chance a tenth look so."""

COVER = 4
"""Granules that something of the host's covers at least, aligned."""

SAME_BY_CHANCE = 4
"""One byte in so many is the same at most in a granule that something else covers."""

CERTAIN = 8
"""What a byte counts that differs in several bits: no weak cell does that. One that differs in a single bit, and never
otherwise, counts as many as the n readings of it: a cell that fails every other time does so once in 2**(2n - 1)."""

EVIDENCE_BITS = 64
"""Bits of them that are needed where fewer do."""

AT_ONCE = 1 << 14
"""Granules that are compared at once: so many stay near the processor."""

Masks = npt.NDArray[np.int64]
Table = npt.NDArray[np.unsignedinteger]


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Evidence of each bus line from `lowest` up, for each block.

    Attributes:
        level: log2 of the block's size.
        blocks: int64[B], block numbers (address >> level), sorted.
        telling: counts[L, B], bytes that can tell, of a block against its partner across line `A4 + row`; for a line
            inside the block, of its one half against the other.
        same: counts[L, B], those of them that match.
        firm: counts[L, B], how far they differ beyond what noise and weak cells explain, `CERTAIN` a byte.
        content: counts[B], bytes of the block that say more than the bus.
        fair: counts[L, B], telling bytes that are neither all ones here nor all zeros there.
        under: counts[L, B], those of them whose partner has no one that this block has not: bits pulled low.
        repeating: counts[L, B], granules with content that repeat across the line, as far as each can tell by itself.
        differing: counts[L, B], granules with content across the line from which something else stands.
        granules: counts[B], granules with content.
        upper: counts[level - 4, B], bytes of `content` at addresses in which line `A4 + row`, inside the block, is 1.
        least: telling bytes needed before a comparison counts.
        exact: True where the log shows no damage, so that every difference is real.
        apart: share of the telling bytes that match at most where two blocks have nothing to do with each other.
        needed: what `firm` must come to before two blocks are told apart that are else alike.
    """

    level: int
    blocks: Index
    telling: Table
    same: Table
    firm: Table
    content: Table
    upper: Table
    fair: Table
    under: Table
    repeating: Table
    differing: Table
    granules: Table
    needed: int
    least: int = EVIDENCE
    exact: bool = False
    apart: float = APART

    def across(self, row: int) -> tuple[Bools, Bools]:
        """Return which blocks repeat across line `A4 + row`, and across which something else stands; two bool[B]."""
        telling, same = self.telling[row].astype(np.int64), self.same[row].astype(np.int64)
        enough = telling >= self.least
        again = enough & (same * 5 >= telling * 4)
        near = again & (self.firm[row] >= self.needed)
        other = (enough & (same <= self.apart * telling)) | near
        return again & ~near, other

    def pulled(self, row: int) -> Bools:
        """Return the blocks whose partners across line `A4 + row` hold their bytes with bits pulled low, bool[B]."""
        fair = self.fair[row].astype(np.int64)
        alike = self.same[row].astype(np.int64) * 5 >= self.telling[row].astype(np.int64) * 4
        drawn: Bools = (fair >= FOUGHT_BYTES) & (self.under[row].astype(np.int64) * 20 >= fair * 19) & ~alike
        return drawn

    def near(self, row: int) -> Bools:
        """Return which blocks are nearly the same across line `A4 + row`, but for bytes that differ for certain."""
        close = self.same[row].astype(np.int64) * 5 >= self.telling[row].astype(np.int64) * 4
        certain: Bools = close & (self.firm[row] >= self.needed) & (self.telling[row] >= self.least)
        return certain

    def masks(self) -> tuple[Masks, Masks]:
        """Return the lines across which each block repeats, and those across which something else stands.

        Two int64[B] bit masks of bus lines; a line in neither could not tell.
        """
        again, other = (np.zeros(len(self.blocks), np.int64) for _ in range(2))
        for row in range(len(self.telling)):
            bit = 1 << (row + GRANULE_LINES)
            for mask, hits in zip((again, other), self.across(row), strict=True):
                mask[hits] |= bit
        return again, other

    def pooled(self) -> Pairs:
        """Return the same evidence over blocks of twice the size."""
        numbers = self.blocks >> 1
        starts = np.flatnonzero(np.r_[True, numbers[1:] != numbers[:-1]][: len(numbers)])
        level = self.level + 1

        def add(table: Table) -> Table:
            return _added(table, starts, _wide_enough(level))

        return Pairs(
            level=level,
            blocks=numbers[starts],
            telling=add(self.telling),
            same=add(self.same),
            firm=_added(self.firm, starts, _wide_enough(level + 3)),
            content=add(self.content),
            upper=add(np.vstack([self.upper, self.content * (self.blocks & 1).astype(self.content.dtype)])),
            fair=add(self.fair),
            under=add(self.under),
            repeating=add(self.repeating),
            differing=add(self.differing),
            granules=add(self.granules),
            needed=self.needed,
            least=self.least,
            exact=self.exact,
            apart=self.apart,
        )


def _wide_enough(level: int) -> type[np.unsignedinteger]:
    """Return the smallest type that counts the bytes of a block: these tables are the most that a survey holds."""
    return np.uint8 if level < 8 else np.uint16 if level < 16 else np.uint32


def _added(table: Table, starts: Index, kind: type[np.unsignedinteger]) -> Table:
    """Add up the last axis from each start to the next."""
    if not len(starts):
        return table
    if len(starts) * 2 == table.shape[-1]:
        return np.add(table[..., 0::2], table[..., 1::2], dtype=kind)
    return np.add.reduceat(table, starts, axis=-1, dtype=kind)


class Ladder:
    """The evidence at every block size, each pooled once, when it is first asked for."""

    def __init__(self, lowest: Pairs) -> None:
        self._rungs = [(lowest, lowest.masks())]

    def at(self, level: int) -> tuple[Pairs, tuple[Masks, Masks]]:
        """Return the pairs and the masks for blocks of 2**level bytes."""
        while len(self._rungs) <= level - GRANULE_LINES:
            pooled = self._rungs[-1][0].pooled()
            self._rungs.append((pooled, pooled.masks()))
        return self._rungs[level - GRANULE_LINES]


def _covered(granules: Index, telling: Table, same: Table) -> Bools:
    """Tell which granules lie in aligned groups all of which hold something else than their partners, bool[n]."""
    group, at = np.unique(granules // COVER, return_inverse=True)
    other = np.bincount(at[same * SAME_BY_CHANCE <= telling], minlength=len(group))
    covered: Bools = (other == COVER)[at]
    return covered


def evidence_for(driven: int) -> int:
    """Return the telling bytes that a comparison over some data lines needs."""
    lines = max(1, driven.bit_count())
    return EVIDENCE if lines >= EVIDENCE else EVIDENCE_BITS // lines


@dataclass(frozen=True, slots=True, eq=False)
class _Granules:
    """What is known of the bytes of each granule before it is compared with another: bool[granules, bytes] each.

    Attributes:
        said: what the readings say together.
        told: bytes that say more than the bus.
        readable: bytes whose value is known well enough to tell something.
        agreed: bytes that all readings agree on.
        steady: bytes that no reading contradicts, so that a difference of several bits is real.
        still: bool[granules], those whose bytes don't change from reading to reading.
        driven: data lines that say something.
    """

    said: Consensus
    told: Bools
    readable: Bools
    agreed: Bools
    steady: Bools
    still: Bools
    driven: int

    def compared(self, here: Index, there: Index) -> tuple[Index, Index, Table, Index, Index]:
        """Return what some granules are against their partners: telling, same, firm, fair and under, counts[n] each."""
        said = self.said
        one, other = said.value[here], said.value[there]
        differs = one ^ other
        by_difference = np.bool_(self.driven.bit_count() <= EVIDENCE) & (differs != 0)
        tells = (self.told[here] | self.told[there] | by_difference) & self.readable[here] & self.readable[there]
        open_here = tells & (one != self.driven) & (other != 0)
        lines_apart = np.bitwise_count(differs)
        certain = tells & self.steady[here] & self.steady[there] & (lines_apart >= 2)
        single = tells & self.agreed[here] & self.agreed[there] & (lines_apart == 1)
        often = np.minimum(np.minimum(said.seen[here], said.seen[there]), CERTAIN)
        weight = certain * np.uint8(CERTAIN) + single * often
        return (
            counted(tells),
            counted(tells & (differs == 0)),
            weight.sum(axis=1, dtype=np.uint8) * (self.still[here] & self.still[there]),
            counted(open_here),
            counted(open_here & (differs & ~one == 0)),
        )


def _granules(said: Consensus, based: Ground, driven: int, *, quiet: bool) -> _Granules:
    """Return what is known of each granule."""
    still = based.state != VOLATILE
    return _Granules(
        said=said,
        told=based.told(said),
        readable=said.sure | ((~still | (based.state == BUS))[:, None] & (said.seen > 0)),
        agreed=said.firm,
        steady=said.sure & (said.against == 0) if quiet else said.firm,
        still=still,
        driven=driven,
    )


def pairs(
    stacked: Stack, said: Consensus, based: Ground, *, driven: int, quiet: bool, declared: int | None = None
) -> Pairs:
    """Compare every granule with its partner across each bus line.

    What repeats elsewhere, but not across one line because a memory answers there that itself never repeats, says
    nothing about that line: it may be the host's memory, and a copy of the specimen's under it. Over few data lines
    much of what a memory says is what the bus says there: so every difference tells.

    Args:
        stacked: the readings.
        said: what they say together.
        based: what each granule holds.
        driven: data lines that say something.
        quiet: True where the log shows no damage at all, so that even a single reading's differences are real.
        declared: the lowest line above the declared ROM: across it and those above, what differs in all of some aligned
            granules is covered by something of the host's.
    """
    granules = _granules(said, based, driven, quiet=quiet)
    content = based.state == CONTENT
    lines = range(GRANULE_LINES, stacked.bits)
    tables = [np.zeros((len(lines), len(stacked.granules)), np.uint8) for _ in range(5)]
    telling, same, firm, fair, under = tables
    for row, line in enumerate(lines):
        partner = stacked.partners(line)
        here = _comparable(partner, based)
        for part in (here[at : at + AT_ONCE] for at in range(0, len(here), AT_ONCE)):
            for table, counts in zip(tables, granules.compared(part, partner[part]), strict=True):
                table[row, part] = counts
        if declared is not None and line >= declared and len(here):
            firm[row, here[_covered(stacked.granules[here], telling[row, here], same[row, here])]] = 0
    amount = counted(granules.told).astype(np.uint8)
    found = Pairs(
        level=GRANULE_LINES,
        blocks=stacked.granules,
        telling=telling,
        same=same,
        firm=firm,
        content=amount,
        upper=np.zeros((0, len(amount)), np.uint8),
        fair=fair,
        under=under,
        repeating=np.zeros_like(telling),
        differing=np.zeros_like(telling),
        granules=content.astype(np.uint8),
        needed=CERTAIN if quiet or len(stacked.value) >= 3 else 2 * CERTAIN,
        least=evidence_for(driven),
        exact=quiet,
        apart=APART if driven.bit_count() > 1 else APART_ALONE,
    )
    _tell_each(found, stacked, content)
    return found


def _comparable(partner: Index, based: Ground) -> Index:
    """Return the granules that have a partner, neither of them the host's, and of which one at least has content."""
    open_to = ~np.isin(based.state, (HOST, UNSEEN, CONTENDED))
    content = based.state == CONTENT
    here = np.flatnonzero((partner >= 0) & open_to)
    here = here[open_to[partner[here]]]
    with_content: Index = here[content[here] | content[partner[here]]]
    return with_content


def _tell_each(found: Pairs, stacked: Stack, content: Bools) -> None:
    """Note of each granule across which lines it repeats, and across which something else stands.

    Where a granule that repeats elsewhere has a partner that never does, the comparison is struck.
    """
    repeats, _ = found.masks()
    for row, line in enumerate(range(GRANULE_LINES, stacked.bits)):
        partner = stacked.partners(line)
        hidden = content & (repeats != 0) & (partner >= 0) & content[partner] & (repeats[partner] == 0)
        for table in (found.telling, found.same, found.firm):
            table[row, hidden] = 0
        again, other = found.across(row)
        found.repeating[row], found.differing[row] = again & content, other & content
