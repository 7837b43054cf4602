"""How long survey and settle take, beside one numpy pass over the same bytes in the same run; and how that grows.

    python benchmarks/survey.py [ROUNDS]

The fastest of ROUNDS (5 unless said) counts. Readings are made in memory: a ROM of 4 KiB, mirrored, on a bus that shows
the high byte of the address, in lines of sixteen bytes. Nothing is asserted.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable

import numpy as np

from romassay.reading import Reading, ReadingSet
from romassay.settle import settle
from romassay.survey import survey

ROM = np.frombuffer(random.Random(2332).randbytes(4096), np.uint8)


def window(bits: int) -> np.ndarray[tuple[int], np.dtype[np.uint8]]:
    """Return what a whole bus says: the ROM where the top line is 1 and A12 is 0."""
    address = np.arange(1 << bits)
    answers = (address >> (bits - 1) & 1) & ~(address >> 12) & 1
    return np.where(answers, ROM[address & 0xFFF], address >> 8).astype(np.uint8)


def readings(bits: int, count: int) -> ReadingSet:
    """Return equal readings of the whole bus, as a text dump of sixteen bytes a line gives them."""
    value = window(bits)
    first = np.arange(0, 1 << bits, 16)
    runs = np.stack([first, first, np.full(len(first), 16), np.arange(1, len(first) + 1)], axis=1)
    one = Reading(runs, value, None, bits, "hex-digit")
    return ReadingSet((one,) * count, bits)


def fastest(job: Callable[[], object], rounds: int) -> float:
    """Return the shortest of some runs, in seconds."""
    best = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        job()
        best = min(best, time.perf_counter() - start)
    return best


def main(rounds: int) -> None:
    """Print the table."""
    print(f"{'bytes x readings':<20} {'survey':>9} {'settle':>9} {'numpy pass':>11} {'ratio':>7} {'ns a byte':>10}")
    for bits, count in ((16, 1), (16, 8), (18, 4), (20, 4), (22, 4), (24, 4)):
        given = readings(bits, count)
        found = survey(given)
        looked = fastest(lambda given=given: survey(given), rounds)
        settled = fastest(lambda given=given, found=found: settle(given, found), rounds)
        stack = np.stack([r.value for r in given.readings])
        passed = fastest(lambda stack=stack: np.bitwise_xor.reduce(stack, axis=0).sum(), rounds)
        total = looked + settled
        size = f"{(1 << bits) >> 10} KiB x {count}"
        print(
            f"{size:<20} {looked * 1e3:7.1f}ms {settled * 1e3:7.1f}ms {passed * 1e3:9.2f}ms {total / passed:7.0f} "
            f"{total / (count << bits) * 1e9:10.1f}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
