"""Fit how likely a found order of lines is the right one: the constants of `romassay.diagnose.orders`.

    PYTHONPATH=training:. python training/fit_orders.py [COUNT] [SEED]

Images of programs (`hand.py`, and the compiled ones of `benchmarks.faults.programs`, of a seed that no benchmark is run
with) get their lines exchanged and their data inverted; what is no code (`others.py`) stays as it is. All are searched.
An order is right where every line is; one found in data that is no code is wrong. The logistic is fitted on nats a byte
and on the logarithm of what the jumps say.
"""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from math import log1p
from pathlib import Path

import hand
import numpy as np
import others
from benchmarks.faults import programs
from scipy.optimize import minimize

from romassay.cpus.catalogue import NAMES
from romassay.diagnose.as_read import Read, in_runs
from romassay.diagnose.order import Order, put_right, straight
from romassay.diagnose.orders import MOST_NATS, hopeless
from romassay.diagnose.reads import best_sense
from romassay.diagnose.refine import simplest
from romassay.diagnose.search import search

COUNT = int(sys.argv[1]) if len(sys.argv) > 1 else 300
SEED = int(sys.argv[2]) if len(sys.argv) > 2 else 5
POOL = Path("benchmarks/faults/.programs")
SIZES = (1024, 1024, 2048, 4096)
SHRINK = 0.02


def exchanged(rng: random.Random, count: int) -> tuple[int, ...]:
    """Return an order of lines: two exchanged, all reversed, or any."""
    order = list(range(count))
    how = rng.random()
    if how < 0.4:
        a, b = rng.sample(range(count), 2)
        order[a], order[b] = order[b], order[a]
    elif how < 0.55:
        order.reverse()
    else:
        rng.shuffle(order)
    return tuple(order)


def image(rng: random.Random, pool: list[programs.Program]) -> np.ndarray:
    """Return the bytes of a ROM with a program in it, uint8[size]."""
    size = rng.choice(SIZES)
    if rng.random() < 0.4:
        return programs.image(rng.choice(pool), size, np.random.default_rng(rng.getrandbits(32)))
    data = hand.program(rng.choice(NAMES), rng, size).data[:size]
    return np.frombuffer(data.ljust(size, b"\xff"), np.uint8).copy()


def sample(rng: random.Random, pool: list[programs.Program]) -> tuple[float, float, bool] | None:
    """Return nats, what the jumps say, and whether the order found is the right one; None where none is looked for."""
    code = rng.random() < 0.75
    value = image(rng, pool) if code else np.frombuffer(others.data(rng, rng.choice(SIZES))[1], np.uint8)
    lines = len(value).bit_length() - 1
    order = straight(lines)
    if code:
        which = rng.choice(("data", "address", "both", "inverted"))
        order = Order(
            exchanged(rng, 8) if which in ("data", "both") else order.data,
            which == "inverted",
            exchanged(rng, lines) if which in ("address", "both") else order.address,
        )
        value = wired(value, order)
    own = best_sense(value)
    if own.well or hopeless(value):
        return None
    own = replace(own, score=own.score + in_runs(value))
    order_found, better = search(Read(value), own)
    found, _ = simplest(Read(value), order_found, own, better)
    if found == straight(lines):
        return None
    read = best_sense(put_right(value, found))
    jumps = log1p(read.gain) if read.gain > 0 else -log1p(-read.gain)
    return min(read.nats, MOST_NATS), jumps, code and found == order


def wired(value: np.ndarray, order: Order) -> np.ndarray:
    """Return an image as it is read through an order of lines: what `put_right` undoes."""
    data = tuple(order.data.index(line) for line in range(8))
    address = tuple(order.address.index(line) for line in range(len(order.address)))
    return put_right(value, Order(data, order.inverted, address))


def main() -> None:
    rng = random.Random(SEED)
    pool = programs.pool(POOL, SEED, 12)
    rows = [row for _ in range(COUNT) if (row := sample(rng, pool))]
    facts = np.array([(1.0, nats, jumps) for nats, jumps, _ in rows])
    right = np.array([1.0 if hit else -1.0 for _, _, hit in rows])

    def loss(weights: np.ndarray) -> float:
        return float(np.logaddexp(0, -right * (facts @ weights)).sum() + SHRINK * (weights[1:] ** 2).sum())

    weights = minimize(loss, np.zeros(3)).x
    print(f"{len(rows)} orders found, {int((right > 0).sum())} right")
    print("CERTAIN, BY_NATS, BY_JUMPS =", ", ".join(f"{weight:.2f}" for weight in weights))
    chance = 1 / (1 + np.exp(-facts @ weights))
    for low in (0.0, 0.15, 0.5, 0.8, 0.95):
        high = {0.0: 0.15, 0.15: 0.5, 0.5: 0.8, 0.8: 0.95, 0.95: 1.01}[low]
        some = (chance >= low) & (chance < high)
        if some.any():
            print(f"said {chance[some].mean():.2f}, right {(right[some] > 0).mean():.2f}, {int(some.sum())}")


if __name__ == "__main__":
    main()
