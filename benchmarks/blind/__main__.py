"""Run the examination: python -m benchmarks.blind --cases 50 --jobs 2 --save DIR."""

import argparse
import json
import multiprocessing
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

from . import loadcheck
from .cases import CATEGORIES, Case, make
from .marks import Mark, Ran, mark
from .selfcheck import check

LIMIT = 60.0


def run_forked(argv: list[str], folder: Path) -> Ran:
    """`python -m romassay` in a fork of this process: its own memory and status, without the start-up of Python."""
    out, err = folder / "stdout", folder / "stderr"
    started = time.perf_counter()
    pid = os.fork()
    if pid == 0:
        _child(argv, folder, out, err)
    status, usage, late = _wait(pid, started)
    seconds = time.perf_counter() - started
    text, complaint = (f.read_text(errors="replace") if f.exists() else "" for f in (out, err))
    code = os.waitstatus_to_exitcode(status)
    return Ran(code, text, complaint, seconds, usage.ru_maxrss / 1024, late)


def _wait(pid: int, started: float) -> tuple[int, resource.struct_rusage, bool]:
    pause = 0.001
    while True:
        done, status, usage = os.wait4(pid, os.WNOHANG)
        if done:
            return status, usage, False
        if time.perf_counter() - started > LIMIT:
            os.kill(pid, signal.SIGKILL)
            _, status, usage = os.wait4(pid, 0)
            return status, usage, True
        time.sleep(pause)
        pause = min(0.02, pause * 1.5)


def _child(argv: list[str], folder: Path, out: Path, err: Path) -> None:
    code = 70
    try:
        os.chdir(folder)
        for number, path in ((1, out), (2, err)):
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(handle, number)
        sys.argv = ["romassay", *argv]
        import runpy

        runpy.run_module("romassay", run_name="__main__", alter_sys=True)
        code = 0
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else 0 if stop.code is None else 1
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def run_process(argv: list[str], folder: Path) -> Ran:
    """A fresh interpreter, as a person would start it."""
    started = time.perf_counter()
    command = [sys.executable, "-m", "romassay", *argv]
    late = False
    with (folder / "stdout").open("wb") as out, (folder / "stderr").open("wb") as err:
        process = subprocess.Popen(command, cwd=folder, stdout=out, stderr=err)
        status, usage, late = _wait(process.pid, started)
        process.returncode = os.waitstatus_to_exitcode(status)
    texts = [(folder / name).read_text(errors="replace") for name in ("stdout", "stderr")]
    seconds = time.perf_counter() - started
    return Ran(process.returncode, *texts, seconds, usage.ru_maxrss / 1024, late)


def lay_out(case: Case, folder: Path) -> None:
    for name, data in case.files.items():
        if name.endswith("/"):
            (folder / name).mkdir()
        else:
            (folder / name).write_bytes(data)


def truth_of(case: Case) -> dict[str, object]:
    """The answer as JSON, for whoever looks into a failure."""
    roms = [
        [
            {
                "note": a.note,
                "size": len(a.image),
                "decode": {f"A{k}": sorted(v) for k, v in a.decode.items()},
                "unsolid": np.flatnonzero(~a.solid).tolist()[:50] if a.solid is not None else None,
                "image": a.image.tobytes().hex() if len(a.image) <= 8192 else "(large)",
            }
            for a in group
        ]
        for group in case.roms
    ]
    flips = {str(k): v for k, v in case.flips.items()}
    return {"expect": case.expect, "steps": case.steps, "note": case.note, "flips": flips, "roms": roms}


def examine(job: tuple[str, int, int, str, str, bool]) -> Mark:
    category, seed, index, save, how, canonical = job
    case = make(category, seed, index, canonical=canonical)
    folder = Path(tempfile.mkdtemp(prefix="blind-"))
    try:
        lay_out(case, folder)
        ran = Ran(0, "", "", 0.0, 0.0)
        start = run_process if how == "process" else run_forked
        for step in case.steps:
            ran = start(["assay", *step, "--json", "-o", "out"], folder)
        result = mark(case, ran, folder)
        if save and result.failed:
            keep = Path(save) / f"{category}-{index:04d}"
            shutil.rmtree(keep, ignore_errors=True)
            shutil.copytree(folder, keep)
            (keep / "truth.json").write_text(json.dumps(truth_of(case), indent=1, default=str))
            commands = ["romassay assay " + " ".join(f"'{a}'" for a in step) + " --json -o out" for step in case.steps]
            (keep / "command.sh").write_text("\n".join(commands) + "\n")
            (keep / "mark.json").write_text(json.dumps(result.as_dict(), indent=1))
        return result
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _rate(values: list[bool]) -> str:
    return f"{100 * sum(values) / len(values):5.1f}" if values else "    -"


def table(marks: list[Mark]) -> str:
    """One line a category, and a last one for all."""
    groups: dict[str, list[Mark]] = defaultdict(list)
    for m in marks:
        groups[m.category].append(m)
    head = f"{'category':22} {'n':>5} {'recov':>5} {'image%':>6} {'decode%':>7} {'rest%':>5} {'first%':>6}"
    head += f" {'weak%':>5} {'conf%':>5} {'fatal':>5} {'undue':>5} {'crash':>5} {'other':>5}"
    head += f" {'s med':>6} {'s max':>6} {'MB max':>6}"
    rows = [head]
    for name in [*(c for c in CATEGORIES if c in groups), "all"]:
        some = groups[name] if name != "all" else marks
        fair = [m for m in some if m.recoverable]
        image = [bool(m.image) for m in fair if m.image is not None or (m.crash and not _no_image(m.category))]
        decode = [bool(m.decode) for m in fair if m.decode is not None or (m.crash and not _no_image(m.category))]
        rest = [m.rest for m in some if m.rest is not None]
        first = [m.first for m in fair if m.first is not None]
        weak = [m.weak for m in some if m.weak is not None]
        sure = [m.confirmed for m in some if m.confirmed is not None]
        row = f"{name:22} {len(some):5d} {len(image):5d} {_rate(image):>6} {_rate(decode):>7}"
        row += f" {_rate(rest):>5} {_rate(first):>6}"
        row += f" {_rate(weak):>5} {_rate(sure):>5} {sum(bool(m.fatal) for m in some):5d}"
        row += f" {sum(bool(m.undue) for m in some):5d} {sum(bool(m.crash) for m in some):5d}"
        row += f" {sum(bool(m.other) for m in some):5d}"
        seconds = sorted(m.seconds for m in some)
        row += f" {seconds[len(seconds) // 2]:6.2f} {seconds[-1]:6.2f} {max(m.megabytes for m in some):6.0f}"
        rows.append(row)
    return "\n".join(rows)


def _no_image(category: str) -> bool:
    return category.startswith(("nothing", "bad-input", "damage", "blank"))


def _load_one(job: tuple[str, int, int, str]) -> list[loadcheck.Loading]:
    category, seed, index, save = job
    case = make(category, seed, index)
    marks = loadcheck.check(case)
    if save and any(m.failed for m in marks):
        folder = Path(save) / f"{category}-{index:04d}"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        lay_out(case, folder)
        (folder / "truth.json").write_text(json.dumps(truth_of(case), indent=1, default=str))
    return marks


def score_loading(names: list[str], seed: int, wanted: range, options: argparse.Namespace) -> int:
    jobs = [(n, seed, i, options.save) for n in names if n not in ("bad-input", "damage") for i in wanted]
    with multiprocessing.get_context("fork").Pool(options.jobs) as pool:
        marks = [m for some in pool.map(_load_one, jobs, chunksize=4) for m in some]
    print(loadcheck.table(marks))
    shown: dict[str, int] = defaultdict(int)
    for m in marks:
        if m.failed and shown[m.category] < options.show:
            shown[m.category] += 1
            print(m)
    return int(any(m.wrong for m in marks))


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.blind", description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=20, help="cases a category")
    parser.add_argument("--category", action="append", default=[], help="a category or the start of its name; repeat")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--save", default="", help="folder for the cases that failed")
    parser.add_argument("--from", dest="start", type=int, default=0, help="number of the first case")
    parser.add_argument("--process", action="store_true", help="a fresh interpreter for each run")
    parser.add_argument("--selfcheck", action="store_true", help="check the logs against the truth, run nothing")
    parser.add_argument("--load", action="store_true", help="mark the loading of the files alone")
    parser.add_argument("--canonical", action="store_true", help="one plain layout for all logs")
    parser.add_argument("--list", action="store_true", help="name the categories")
    parser.add_argument("--show", type=int, default=3, help="failures to show of each category")
    options = parser.parse_args()
    names = [c for c in CATEGORIES if not options.category or c.startswith(tuple(options.category))]
    if options.list:
        print("\n".join(names))
        return 0
    wanted = range(options.start, options.start + options.cases)
    if options.selfcheck:
        faults = [fault for name in names for index in wanted for fault in check(make(name, options.seed, index))]
        print("\n".join(faults) or f"{len(names) * options.cases} cases hold what they should")
        return bool(faults)
    if options.load:
        return score_loading(names, options.seed, wanted, options)
    how = "process" if options.process else "fork"
    jobs = [(name, options.seed, index, options.save, how, options.canonical) for name in names for index in wanted]
    if options.save:
        Path(options.save).mkdir(parents=True, exist_ok=True)
    context = multiprocessing.get_context("fork")
    with context.Pool(options.jobs) as pool:
        marks = pool.map(examine, jobs, chunksize=4)
    print(table(marks))
    shown: dict[str, int] = defaultdict(int)
    for m in marks:
        if m.failed and shown[m.category] < options.show:
            shown[m.category] += 1
            print(f"\n{m.category} {m.index}: {m.verdict or '-'} {m.fatal or m.undue or m.crash}")
            for line in m.why[:4]:
                print(f"    {line}")
    return int(any(m.fatal for m in marks))


if __name__ == "__main__":
    sys.exit(main())
