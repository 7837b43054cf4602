"""How likely bytes are as code of each CPU, against bytes that are uniformly random: natural logarithms, a byte.

Four ways, from the cheapest to the sharpest:

- `byte_weights()`: int8[CPUs, 256]. The sum over a histogram is the score: `histogram @ byte_weights().T / SCALE`. A
  permutation of data lines permutes the histogram, so that 40,320 of them are one matrix product. It knows nothing of
  the order of the bytes.
- `adjacent_weights(name)`: int8[256, 256], for each byte the score of the one behind it. The score over pairs of
  bytes that follow each other feels a wrong order of the address lines too; `adjacent_scores(data)` adds them up.
- `likeness(data)`: a float for each CPU, from the best division of the bytes into code and other data. The sharpest,
  some 1 ms for a KiB and a CPU.
- `segment(cpu, data)`: the same for one CPU, with the offsets at which instructions begin.

The numbers in `likeness.npz` are log-likelihood ratios in tenths of a nat (`SCALE`), counted by
`training/fit_likeness.py` over code compiled and assembled for the purpose; no ROM of any product is in it. Zero is a
uniformly random byte; above zero is likelier as code. Text and tables can reach above zero as well: compare with
`plain_score`, which is what the same bytes score as data.

Padding scores high in none of them but the first: leave it out of the histogram (`padding`). numpy is loaded when this
module is.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.columns import ILLEGAL, JUMP, RETURN, STOP, Columns, columns, pages
from romassay.cpus.model import Cpu, Kind, Name

SCALE = 10.0
"""Table units in one nat."""

OPERANDS: tuple[Kind, ...] = ("byte", "near", "shift", "offset")
"""Operands whose bytes are scored; addresses and ports are as random as any."""

Weights = npt.NDArray[np.int8]
Floats = npt.NDArray[np.float64]

_ENTER = -3.0
_LEAVE_AFTER_END = -1.0
_LEAVE = -5.0


RUN = 6
"""Equal bytes in a row from which on they are taken for padding, not for code."""


def padding(raw: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
    """Return bool[n]: bytes in runs of `RUN` and more equal ones."""
    edges = np.flatnonzero(np.diff(raw.astype(np.int16), prepend=-1, append=-1))
    lengths = np.diff(edges)
    marks: npt.NDArray[np.bool_] = np.repeat(lengths >= RUN, lengths)
    return marks


@cache
def _tables() -> dict[str, Weights]:
    content = files("romassay.cpus").joinpath("likeness.npz").read_bytes()
    with np.load(BytesIO(content)) as stored:
        return {name: stored[name] for name in stored.files}


@cache
def byte_weights() -> Weights:
    """Return int8[CPUs, 256]: the score of each byte, in the order of `NAMES`."""
    weights: Weights = np.stack([_tables()[f"byte_{name}"] for name in NAMES])
    return weights


def byte_scores(histograms: npt.ArrayLike) -> Floats:
    """Return float64[..., CPUs]: nats a byte, for histograms of shape [..., 256]."""
    counts = np.asarray(histograms, np.float64)
    total = np.maximum(counts.sum(-1, keepdims=True), 1)
    scores: Floats = (counts @ byte_weights().T.astype(np.float64)) / SCALE / total
    return scores


def adjacent_weights(name: Name) -> Weights:
    """Return int8[256, 256]: for each byte (row), the score of the byte behind it (column)."""
    return _tables()[f"adjacent_{name}"]


def adjacent_scores(data: bytes | npt.NDArray[np.uint8]) -> Floats:
    """Return float64[CPUs]: nats a byte from pairs of bytes that follow each other."""
    raw = np.frombuffer(bytes(data), np.uint8)
    pairs = raw[:-1].astype(np.int64) << 8 | raw[1:]
    pairs = pairs[~padding(raw)[1:]]
    total = [float(adjacent_weights(name).ravel()[pairs].sum()) for name in NAMES]
    return np.array(total) / SCALE / max(1, len(pairs))


@dataclass(frozen=True, slots=True, eq=False)
class Segmented:
    """The best division of bytes into code and other data, for one CPU.

    Attributes:
        score: nats over all the bytes, against uniformly random ones.
        starts: int32[k], offsets at which instructions begin.
        code: bool[n], bytes that belong to code.
        columns: what the instructions are.
        ahead: float64[n + 1], nats of all that lies at and behind each offset, where no code goes on from before it.
    """

    score: float
    starts: npt.NDArray[np.int32]
    code: npt.NDArray[np.bool_]
    columns: Columns
    ahead: Floats


def segment(
    cpu: Cpu,
    data: bytes | npt.NDArray[np.uint8],
    origin: int = 0,
    *,
    without: npt.NDArray[np.int32] | None = None,
    where: npt.NDArray[np.bool_] | None = None,
) -> Segmented:
    """Divide bytes into code of one CPU and other data, so that the whole is likeliest.

    Instructions whose ident is in `without` count as none; with `where`, bool[n], only at the offsets that it names.

    Other data score nothing; to begin and to break off code costs, to end it behind a jump or return costs little.
    """
    raw = np.frombuffer(bytes(data), np.uint8)
    decoded = columns(cpu, raw, origin)
    n = len(raw)
    decoded.ident[padding(raw)] = ILLEGAL
    if without is not None:
        left_out = np.isin(decoded.ident, without)
        decoded.ident[left_out if where is None else left_out & where] = ILLEGAL
    own, onward = _scores(cpu, raw, decoded)
    enter = np.where(decoded.ident == ILLEGAL, -1e9, _single(cpu, decoded) + _ENTER).tolist()
    leave = np.where(np.isin(decoded.flow, (JUMP, RETURN, STOP)), _LEAVE_AFTER_END, _LEAVE).tolist()
    legal = (decoded.ident != ILLEGAL).tolist()
    following = (np.arange(n) + decoded.size).tolist()
    code = [-1e9] * (n + 1)
    code[n] = 0.0
    other = [0.0] * (n + 1)
    go_on = [False] * n
    begin = [False] * n
    for i in range(n - 1, -1, -1):
        j = following[i]
        if legal[i]:
            ahead = onward[i] + code[j]
            out = leave[i] + other[j]
            go_on[i] = ahead > out
            code[i] = own[i] + (ahead if ahead > out else out)
        begun = enter[i] + code[i]
        begin[i] = begun > other[i + 1]
        other[i] = begun if begin[i] else other[i + 1]
    starts, marks = _traced(n, begin, go_on, following)
    return Segmented(float(other[0]), starts, marks, decoded, np.array(other))


def _traced(
    n: int, begin: list[bool], go_on: list[bool], following: list[int]
) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.bool_]]:
    starts: list[int] = []
    marks = np.zeros(n, bool)
    i, inside = 0, False
    while i < n:
        if not inside and not begin[i]:
            i += 1
            continue
        starts.append(i)
        marks[i : following[i]] = True
        inside = go_on[i]
        i = following[i]
    return np.array(starts, np.int32), marks


def _single(cpu: Cpu, decoded: Columns) -> Floats:
    table = _tables()[f"single_{cpu.name}"].astype(np.float64) / SCALE
    scores: Floats = table[np.maximum(decoded.ident, 0)]
    return scores


def _scores(cpu: Cpu, raw: npt.NDArray[np.uint8], decoded: Columns) -> tuple[list[float], list[float]]:
    """Return for each offset the score of the operands there, and that of the instruction behind it."""
    n = len(raw)
    here = np.arange(n)
    known = np.maximum(decoded.ident, 0)
    page = pages(cpu.name)
    own = np.zeros(n)
    padded = np.concatenate([raw, np.zeros(8, np.uint8)])
    scored = _operand_places(cpu.name)
    weights = _tables()["operands"].astype(np.float64) / SCALE
    for kind in range(len(OPERANDS)):
        at = scored[kind][known]
        own += np.where(at > 0, weights[kind][padded[here + at]], 0)
    target = decoded.near
    outside = (page.narrow[known] == 1) & ((target < 0) | (target >= n))
    own -= 1.0 * outside
    following = np.minimum(here + decoded.size, n - 1)
    table = _tables()[f"pair_{cpu.name}"]
    after = decoded.ident[following]
    onward = table[known, np.maximum(after, 0)].astype(np.float64) / SCALE
    onward = np.where(here + decoded.size >= n, 0.0, onward)
    onward = np.where(after == ILLEGAL, -1e9 * (here + decoded.size < n), onward)
    return own.tolist(), onward.tolist()


@cache
def _operand_places(name: Name) -> list[npt.NDArray[np.int64]]:
    from romassay.cpus.columns import ident_of, idents

    cpu = cpu_of(name)
    places = [np.zeros(idents(name), np.int64) for _ in OPERANDS]
    for form in cpu.forms:
        for operand in form.operands:
            if operand.kind in OPERANDS:
                places[OPERANDS.index(operand.kind)][ident_of(cpu, form)] = operand.at
    return places


def likeness(data: bytes | npt.NDArray[np.uint8]) -> dict[Name, float]:
    """Return for each CPU how much likelier the bytes are as its code and other data than as random ones.

    In nats a byte.
    """
    size = max(1, len(bytes(data)))
    return {name: segment(cpu_of(name), data).score / size for name in NAMES}


_SEEN = 1 / 8
"""How often each byte counts as seen before the first."""


def plain_score(data: bytes | npt.NDArray[np.uint8]) -> float:
    """Return what the bytes score as data of few different values: nats a byte, against uniformly random ones.

    The estimate learns the frequencies of the bytes as it goes (Krichevsky and Trofimov, 1981, with a start of 1/8
    for each byte), so that it needs no table; blank, sparse and plain text score high.
    """
    raw = np.frombuffer(bytes(data), np.uint8)
    n = len(raw)
    if n == 0:
        return 0.0
    from math import lgamma

    counts = np.bincount(raw, minlength=256)
    often = np.bincount(counts[counts > 0]).tolist()
    total = sum(number * (lgamma(c + _SEEN) - lgamma(_SEEN)) for c, number in enumerate(often) if number)
    total -= lgamma(n + 256 * _SEEN) - lgamma(256 * _SEEN)
    return float(total / n + np.log(256))
