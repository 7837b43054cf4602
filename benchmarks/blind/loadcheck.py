"""Marks the loading alone: the bytes `romassay.formats.load` takes from each file, against those that were printed."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from .cases import Case
from .sheet import Log


@dataclass
class Loading:
    category: str
    index: int
    name: str
    layout: str
    printed: int  # observations that arrived whole
    missing: int  # of these, not loaded
    wrong: int  # loaded, and neither printed nor what the harmed digits spell
    readings: tuple[int, int]  # loaded, printed
    refused: str = ""

    @property
    def failed(self) -> bool:
        return bool(self.refused or self.missing or self.wrong or self.readings[0] != self.readings[1])


def check(case: Case) -> list[Loading]:
    """One mark a file of readings."""
    names = [name for name in case.files if name.startswith("pass-")]
    with TemporaryDirectory(prefix="blind-") as folder:
        return [_one(case, name, log, Path(folder)) for name, log in zip(names, case.logs, strict=True)]


def _one(case: Case, name: str, log: Log, folder: Path) -> Loading:
    from romassay.formats import load

    path = folder / name
    path.write_bytes(case.files[name])
    passes = len(np.unique(log.reading))
    layout = str(case.note["layout"])
    try:
        loaded = load(path)
    except Exception as error:  # whatever goes wrong is a mark
        whole = int(log.good.sum())
        return Loading(case.category, case.index, name, layout, whole, whole, 0, (0, passes), f"{error}"[:160])
    got: Counter[int] = Counter()
    for reading in loaded.readings:
        address = reading.addresses() if callable(reading.addresses) else reading.addresses
        whole = np.ones(len(address), bool) if reading.known is None else np.asarray(reading.known) == 0xFF
        got.update((np.asarray(address, np.int64)[whole] << 8 | reading.value[whole]).tolist())
    sure = Counter((log.address[log.good] << 8 | log.value[log.good]).tolist())
    heard = log.heard >= 0
    may = Counter((log.address[heard] << 8 | log.heard[heard]).tolist()) | sure
    allowed = may + Counter((log.address << 8 | log.value).tolist())
    missing = sum((sure - got).values())
    wrong = sum(1 for key in got if key not in allowed)
    count = (len(loaded.readings), passes)
    return Loading(case.category, case.index, name, layout, sum(sure.values()), missing, wrong, count)


def table(marks: Iterable[Loading]) -> str:
    groups: dict[str, list[Loading]] = defaultdict(list)
    for m in marks:
        groups[m.category].append(m)
    rows = [f"{'category':22} {'files':>6} {'right%':>6} {'refused':>7} {'passes':>6} {'missing%':>8} {'wrong':>7}"]
    for name, some in groups.items():
        right = 100 * sum(not m.failed for m in some) / len(some)
        lost = 100 * sum(m.missing for m in some) / max(1, sum(m.printed for m in some))
        refused = sum(bool(m.refused) for m in some)
        passes = sum(m.readings[0] != m.readings[1] and not m.refused for m in some)
        wrong = sum(m.wrong for m in some)
        rows.append(f"{name:22} {len(some):6d} {right:6.1f} {refused:7d} {passes:6d} {lost:8.3f} {wrong:7d}")
    return "\n".join(rows)
