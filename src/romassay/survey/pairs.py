"""What flipping one bus line does: the same bytes again, other bytes, or nothing that could tell.

Counted granule by granule, then pooled over blocks of any size: this is the whole evidence for a decode.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from romassay.reading import Index
from romassay.survey.bus import CONTENDED, CONTENT, HOST, UNSEEN, VOLATILE, Ground
from romassay.survey.stack import GRANULE_LINES, Bools, Consensus, Stack

SAME_SHARE = 0.8
"""Of the bytes that can tell, so many must match for two blocks to be copies: a line that spoils one character in a
hundred leaves 0.92 in a single reading."""

OTHER_SHARE = 0.5

EVIDENCE = 4
"""Telling bytes needed before a comparison counts."""

Masks = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Evidence of each bus line from `lowest` up, for each block.

    Attributes:
        level: log2 of the block's size.
        blocks: int64[B], block numbers (address >> level), sorted.
        telling: int32[L, B], bytes that can tell, of a block against its partner across line `A4 + row`; for a line
            inside the block, of its one half against the other.
        same: int32[L, B], those of them that match.
        firm: int32[L, B], those that differ beyond what noise explains.
        content: int32[B], bytes of the block that say more than the bus.
        repeating: int32[L, B], granules with content that repeat across the line, as far as each can tell by itself.
        differing: int32[L, B], granules with content across the line from which something else stands.
        granules: int32[B], granules with content.
        upper: int32[L, B], bytes of `content` at addresses in which line `A4 + row` is 1.
        needed: firm differences that it takes to tell two blocks apart that are else alike.
    """

    level: int
    blocks: Index
    telling: npt.NDArray[np.int32]
    same: npt.NDArray[np.int32]
    firm: npt.NDArray[np.int32]
    content: npt.NDArray[np.int32]
    upper: npt.NDArray[np.int32]
    repeating: npt.NDArray[np.int32]
    differing: npt.NDArray[np.int32]
    granules: npt.NDArray[np.int32]
    needed: int

    def states(self) -> tuple[Bools, Bools]:
        """Return across which lines each block repeats, and across which something else stands; two bool[L, B]."""
        enough = self.telling >= EVIDENCE
        again = enough & (self.same >= SAME_SHARE * self.telling)
        near = again & (self.firm >= self.needed)
        other = (enough & (self.same <= OTHER_SHARE * self.telling)) | near
        return again & ~near, other

    def masks(self) -> tuple[Masks, Masks]:
        """Return the same as bit masks of bus lines, two int64[B]; a line in neither could not tell."""
        weights = (1 << (np.arange(len(self.telling), dtype=np.int64) + GRANULE_LINES))[:, None]
        again, other = self.states()
        same: Masks = (weights * again).sum(axis=0)
        differ: Masks = (weights * other).sum(axis=0)
        return same, differ

    def pooled(self) -> Pairs:
        """Return the same evidence over blocks of twice the size."""
        numbers = self.blocks >> 1
        starts = np.flatnonzero(np.r_[True, numbers[1:] != numbers[:-1]][: len(numbers)])
        if not len(starts):
            return replace(self, level=self.level + 1, blocks=numbers)
        return Pairs(
            self.level + 1,
            numbers[starts],
            *(np.add.reduceat(table, starts, axis=1) for table in (self.telling, self.same, self.firm)),
            np.add.reduceat(self.content, starts),
            *(np.add.reduceat(table, starts, axis=1) for table in (self.upper, self.repeating, self.differing)),
            np.add.reduceat(self.granules, starts),
            self.needed,
        )


def pairs(stacked: Stack, said: Consensus, based: Ground, *, quiet: bool) -> Pairs:
    """Compare every granule with its partner across each bus line.

    Args:
        stacked: the readings.
        said: what they say together.
        based: what each granule holds.
        quiet: True where the log shows no damage at all, so that even a single reading's differences are real.
    """
    told = based.told(said)
    open_to = ~np.isin(based.state, (HOST, UNSEEN, CONTENDED))
    content = based.state == CONTENT
    lines = range(GRANULE_LINES, stacked.bits)
    shape = (len(lines), len(stacked.granules))
    telling, same, firm = (np.zeros(shape, np.int32) for _ in range(3))
    steady = said.firm if not quiet else said.sure & (said.against == 0)
    still = based.state != VOLATILE
    readable = said.sure | (~still[:, None] & (said.seen > 0))
    for row, line in enumerate(lines):
        partner = stacked.partners(line)
        here = np.flatnonzero((partner >= 0) & open_to)
        here = here[open_to[partner[here]]]
        here = here[content[here] | content[partner[here]]]
        if not len(here):
            continue
        there = partner[here]
        tells = (told[here] | told[there]) & readable[here] & readable[there]
        differs = said.value[here] ^ said.value[there]
        telling[row, here] = np.count_nonzero(tells, axis=1)
        same[row, here] = np.count_nonzero(tells & (differs == 0), axis=1)
        certain = tells & steady[here] & steady[there] & (np.bitwise_count(differs) >= 2)  # noqa: PLR2004
        firm[row, here] = np.count_nonzero(certain, axis=1) * (still[here] & still[there])
    amount = np.count_nonzero(told, axis=1).astype(np.int32)
    levels = stacked.granules >> np.arange(len(lines))[:, None] & 1
    needed = 1 if len(stacked.value) >= 3 else 2  # noqa: PLR2004
    none = np.zeros_like(telling)
    alone = Pairs(
        GRANULE_LINES,
        stacked.granules,
        telling,
        same,
        firm,
        amount,
        (levels * amount).astype(np.int32),
        none,
        none,
        content.astype(np.int32),
        needed,
    )
    again, other = alone.states()
    return replace(alone, repeating=(again & content).astype(np.int32), differing=(other & content).astype(np.int32))
