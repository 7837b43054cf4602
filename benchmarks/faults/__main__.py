"""Run the fault bench: python -m benchmarks.faults --cases 20 [--case NAME] [--noise 0.002] [--save DIR]."""

import argparse
import json
import sys
import tempfile
import time
import zlib
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
from benchmarks.blind.__main__ import run_forked
from benchmarks.reliability import draw, error, tenths

from .bench import Answer
from .draws import Draws
from .faults import CASES, Case
from .programs import pool

ASIDE = {
    "single-reading", "duplicate-reading", "link-corruption", "link-dropout", "short-window", "size-ambiguous",
    "undriven-bits", "not-code", "byte-order",
}  # fmt: skip
"""Kinds that say how well it was read, or nothing against the specimen or its wiring."""


def text(address: np.ndarray, value: np.ndarray, rng: np.random.Generator, noise: float) -> bytes:
    """A plain dump, sixteen bytes a line; with noise, some characters become others."""
    digits = value.tobytes().hex().upper()
    pairs = [digits[i : i + 2] for i in range(0, len(digits), 2)]
    lines = [f"{int(address[i]):04X}: {' '.join(pairs[i : i + 16])}" for i in range(0, len(address), 16)]
    out = bytearray(("\n".join(lines) + "\n").encode())
    if noise:
        for at in np.flatnonzero(rng.random(len(out)) < noise):
            if out[at] != 10:
                out[at] = int(rng.integers(33, 127))
    return bytes(out)


def examine(name: str, number: int, options: argparse.Namespace, draws: Draws) -> dict:
    """Make one case, run the program on it, and mark its answer."""
    rng = np.random.default_rng([options.seed, zlib.crc32(name.encode()), number])
    case = CASES[name](rng, draws)
    if options.direct:
        said, data, seconds = directly(case)
        return {"case": name, "number": number, "seconds": seconds, "note": case.note} | judged(case, said, data)
    with tempfile.TemporaryDirectory(prefix="faults-") as place:
        folder = Path(place) if not options.save else Path(options.save) / f"{name}-{number:03d}"
        folder.mkdir(parents=True, exist_ok=True)
        names = []
        for index, (address, value) in enumerate(case.readings):
            names.append(f"pass-{index + 1}.log")
            (folder / names[-1]).write_bytes(text(address, value, rng, options.noise))
        ran = run_forked(["assay", *names, *case.options, "--json", "-o", "out"], folder)
        (folder / "case.json").write_text(json.dumps({"options": case.options, "note": case.note}, default=str))
        try:
            said = json.loads(ran.out)
        except ValueError:
            return {"case": name, "number": number, "crash": ran.err[-300:], "right": False, "seconds": ran.seconds}
        binary = folder / "out" / "image.bin"
        data = binary.read_bytes() if binary.is_file() else b""
    return {"case": name, "number": number, "seconds": ran.seconds, "note": case.note} | judged(case, said, data)


def directly(case: Case) -> tuple[dict, bytes, float]:
    """Assay the readings themselves, without printing and reading logs: quicker by far, the same inference."""
    from romassay.catalogue import load_part
    from romassay.chain import Options, assay
    from romassay.docket.record import record_of
    from romassay.reading import Source, reading_of

    said = dict(zip(case.options[::2], case.options[1::2], strict=True))
    readings = [
        replace(
            reading_of([(int(address[0]), value.tobytes())], unit="hex-digit"),
            source=Source(name=f"pass-{number + 1}", sha256=f"{zlib.crc32(value.tobytes())}-{number}"),
        )
        for number, (address, value) in enumerate(case.readings)
    ]
    started = time.perf_counter()
    result = assay(
        readings,
        Options(
            part=load_part(said["--part"]) if "--part" in said else None,
            size=int(said["--size"]) if "--size" in said else None,
        ),
    )
    seconds = time.perf_counter() - started
    return record_of(result), bytes(result.image) if result.image else b"", seconds


def judged(case: Case, said: dict, data: bytes) -> dict:
    """Mark the record: is the finding that stands first among the faults the right one?"""
    faults = [f for f in said["findings"] if f["kind"] not in ASIDE]
    wrong = case.rom is None or data != case.rom.tobytes()
    out = {
        "verdict": said["verdict"],
        "fatal": said["verdict"] == "confirmed" and wrong,
        "functions": [(f["kind"], f["size"]) for f in said["functions"]][:6],
        "faults": [
            (f["kind"], f["lines"], f["mapping"], round(f["probability"], 3), f["alternative_to"]) for f in faults
        ],
        "image": not wrong,
        "given": [(f["probability"], truly(case, f)) for f in faults if f["alternative_to"] is None],
        "besides": [(f["probability"], truly(case, f)) for f in faults if f["alternative_to"] is not None],
    }
    if not case.answers:
        out["right"] = not faults
    else:
        out["listed"] = all(any(answers(answer, f) for f in faults) for answer in case.answers)
        out["right"] = bool(faults) and right(case, faults[0]) and out["listed"]
        out["kind"] = bool(faults) and any(faults[0]["kind"] in answer.kinds for answer in case.answers)
    return out


def right(case: Case, finding: dict) -> bool:
    """Tell whether a finding is a right one: kind, lines, and the permutation where that is the fault."""
    return any(answers(answer, finding) for answer in case.answers)


EITHER = {"data-line-stuck", "data-line-open"}
"""Faults of which one may read as the other."""


def truly(case: Case, finding: dict) -> bool:
    """Tell whether a finding names the fault itself: of a line that stands where the bus floats, what holds it there.

    A finding that would read the same may stand first as well as the fault itself; its probability is about the fault.
    """
    if finding["kind"] not in EITHER:
        return right(case, finding)
    itself = [replace(a, kinds=a.kinds[:1]) if set(a.kinds) >= EITHER else a for a in case.answers]
    return any(answers(answer, finding) for answer in itself)


def answers(answer: Answer, finding: dict) -> bool:
    """Tell whether a finding is the one that an answer asks for."""
    if finding["kind"] not in answer.kinds:
        return False
    if answer.mapping is not None:
        return {k: v for k, v in (finding["mapping"] or {}).items() if k != v} == answer.mapping
    return answer.lines is None or frozenset(finding["lines"]) == answer.lines


def table(marks: list[dict]) -> str:
    """One line a case."""
    groups = defaultdict(list)
    for mark in marks:
        groups[mark["case"]].append(mark)
    rows = [f"{'fault':16} {'n':>4} {'right%':>6} {'kind%':>6} {'listed%':>7} {'fatal':>5} {'crash':>5} {'s max':>6}"]
    for name, some in groups.items():
        n = len(some)

        def rate(key: str, some: list[dict] = some, n: int = n) -> str:
            return f"{100 * sum(bool(m.get(key)) for m in some) / n:6.1f}"

        rows.append(
            f"{name:16} {n:4d} {rate('right')} {rate('kind')} {rate('listed'):>7} "
            f"{sum(bool(m.get('fatal')) for m in some):5d} {sum('crash' in m for m in some):5d} "
            f"{max(m['seconds'] for m in some):6.2f}"
        )
    return "\n".join(rows)


def reliability(marks: list[dict]) -> tuple[list[tuple[float, float, int]], str]:
    """Return how often findings of each stated probability were right, by tenths; the same in words, with the error."""
    bins = tenths(pair for mark in marks for pair in mark.get("given", ()))
    rows = [
        f"{'mean':>6} {'right':>6} {'n':>5}",
        *(f"{said:6.3f} {right:6.3f} {count:5d}" for said, right, count in bins),
    ]
    return bins, "\n".join([*rows, f"expected calibration error {error(bins):.3f}"])


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.faults", description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=20)
    parser.add_argument("--from", dest="start", type=int, default=0)
    parser.add_argument("--case", action="append", default=[], help="the start of a case's name; repeat")
    parser.add_argument("--noise", type=float, default=0.0)
    parser.add_argument("--programs", type=int, default=40, help="programs for each CPU")
    parser.add_argument("--pool", default="benchmarks/faults/.programs", help="where the programs are kept")
    parser.add_argument("--direct", action="store_true", help="hand the readings over without logs; noise is left out")
    parser.add_argument("--save", default="")
    parser.add_argument("--diagram", default="", help="where to draw the reliability diagram, as SVG")
    parser.add_argument("--show", type=int, default=0, help="failures to show of each case")
    options = parser.parse_args()
    draws = Draws(pool(Path(options.pool), options.seed, options.programs))
    names = [n for n in CASES if not options.case or n.startswith(tuple(options.case))]
    started, marks = time.perf_counter(), []
    for name in names:
        some = [examine(name, i, options, draws) for i in range(options.start, options.start + options.cases)]
        marks += some
        for mark in [m for m in some if not m["right"] or m.get("fatal")][: options.show]:
            print(json.dumps(mark, default=str))
    print(table(marks))
    bins, said = reliability(marks)
    print(said)
    if options.diagram:
        Path(options.diagram).write_text(draw(bins), encoding="utf-8")
    print(f"{time.perf_counter() - started:.0f} s")
    return int(any(m.get("fatal") for m in marks))


if __name__ == "__main__":
    sys.exit(main())
