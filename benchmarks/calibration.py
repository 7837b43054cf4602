"""Is the stated confidence true? Wrong bytes against the bound, and bytes by their stated probability.

    python benchmarks/calibration.py [RUNS]

Each run draws a ROM, a number of readings and copies, and a rate at which the line spoils characters; a spoilt one is
another printable character, or has one bit flipped. Digits that became other digits are wrong, characters that are no
digits are unknown. The bound is violated where more bytes are wrong than it says. Nothing is asserted.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from romassay.address import Cube, Range
from romassay.reading import Hole, Reading, ReadingSet, Source
from romassay.settle import settle
from romassay.settle.model import Image
from romassay.survey.model import Copy, Function, Region, Survey

Bytes = npt.NDArray[np.uint8]

HEX = np.frombuffer(b"0123456789ABCDEF", np.uint8)
DIGIT = np.full(256, -1)
DIGIT[HEX] = np.arange(16)
DIGIT[np.frombuffer(b"abcdef", np.uint8)] = np.arange(10, 16)
BITS = 16
STEPS = (0.0, 0.6, 0.9, 0.99, 0.999, 0.9999, 1.01)


def spoilt(value: Bytes, rate: float, style: str, draw: np.random.Generator) -> tuple[Bytes, Bytes]:
    """Return what a line makes of the two digits of each byte, and the bits that are still known."""
    characters = HEX[np.stack([value >> 4, value & 15])]
    hit = draw.random(characters.shape) < rate
    if style == "flip":
        characters = np.where(hit, characters ^ (1 << draw.integers(0, 7, hit.shape)).astype(np.uint8), characters)
    else:
        characters = np.where(hit, draw.integers(32, 127, hit.shape).astype(np.uint8), characters)
    digits = DIGIT[characters]
    known = np.where(digits[0] >= 0, 0xF0, 0) | np.where(digits[1] >= 0, 0x0F, 0)
    return (np.maximum(digits[0], 0) << 4 | np.maximum(digits[1], 0)).astype(np.uint8), known.astype(np.uint8)


def settled(draw: np.random.Generator) -> tuple[Bytes, Image]:
    """Draw a ROM and its readings; return its bytes and what was settled."""
    size = int(draw.choice([256, 1024, 2048]))
    copies, count = int(draw.choice([1, 1, 2, 4])), int(draw.integers(1, 6))
    rate, style = float(draw.choice([0.0003, 0.001, 0.003, 0.01, 0.03])), str(draw.choice(["flip", "other"]))
    data = draw.integers(0, 256, size).astype(np.uint8)
    wide = np.tile(data, copies)
    readings = []
    for number in range(count):
        value, known = spoilt(wide, rate, style, draw)
        first = np.arange(0, len(wide), 16)
        runs = np.stack([first, first, np.full(len(first), 16), first // 16 + 1], axis=1).astype(np.int64)
        holes = tuple(Hole(int(at), int(at), 1, "no digit") for at in np.flatnonzero(known != 0xFF))
        readings.append(Reading(runs, value, known, BITS, "hex-digit", holes, source=Source(f"{number}", f"{number}")))
    own = size - 1
    places = tuple(Copy(i * size, size, 1.0) for i in range(copies))
    function = Function("rom", "rom", size, 8, own, Cube(BITS, 0, 0), 0, places)
    regions = (Region(0, len(wide) - 1, "rom", 0, 0),)
    return data, settle(ReadingSet(tuple(readings), BITS, tuple[Range, ...]()), Survey(BITS, regions, (function,)))[0]


def outcomes(runs: int) -> Iterator[tuple[Bytes, Image]]:
    """Yield the runs, each from a seed of its own."""
    for seed in range(runs):
        yield settled(np.random.default_rng([7, seed]))


def main(runs: int) -> None:
    """Print how often the bound was violated, and how many bytes of each stated probability were right."""
    over = wrong_total = 0
    right, stated, amount = (np.zeros(len(STEPS) - 1) for _ in range(3))
    for data, image in outcomes(runs):
        correct = image.value == data
        wrong = int(np.count_nonzero(~correct))
        wrong_total += wrong
        over += wrong > image.confidence.wrong_bytes_upper_bound and wrong > 0
        step = np.digitize(image.posterior, STEPS) - 1
        for index in range(len(STEPS) - 1):
            chosen = step == index
            amount[index] += np.count_nonzero(chosen)
            right[index] += np.count_nonzero(correct[chosen])
            stated[index] += float(image.posterior[chosen].astype(np.float64).sum())
    print(f"{runs} runs, {wrong_total} wrong bytes, bound violated in {over} ({over / runs:.1%})")
    print(f"{'stated probability':<20} {'bytes':>9} {'mean stated':>12} {'right':>10}")
    for index, least in enumerate(STEPS[:-1]):
        if amount[index]:
            mean, share = stated[index] / amount[index], right[index] / amount[index]
            print(f"from {least:<15g} {int(amount[index]):>9} {mean:>12.6f} {share:>10.6f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400)
