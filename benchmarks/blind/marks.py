"""Marks one case: what the program said against what is right."""

import json
from collections import defaultdict
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

from .cases import Case
from .truth import Answer

EXIT = {"confirmed": 0, "provisional": 3, "not-found": 4}


@dataclass
class Ran:
    status: int
    out: str
    err: str
    seconds: float
    megabytes: float
    timed_out: bool = False


@dataclass
class Mark:
    category: str
    index: int
    verdict: str = ""
    status: int = 0
    seconds: float = 0.0
    megabytes: float = 0.0
    image: bool | None = None  # None: not asked
    decode: bool | None = None
    rest: bool | None = None  # not all is recoverable: right at every offset that is
    first: bool | None = None  # the ROM stands first
    confirmed: bool | None = None  # None: nothing to expect
    weak: bool | None = None
    recoverable: bool = True
    fatal: str = ""  # a wrong image called confirmed
    undue: str = ""  # a verdict that its own rules forbid
    crash: str = ""
    other: str = ""  # which other explanation was taken
    why: list[str] = field(default_factory=list)

    @property
    def failed(self) -> bool:
        asked = (self.image, self.decode, self.weak)
        missed = any(a is False for a in asked) and self.recoverable
        return bool(missed or self.fatal or self.undue or self.crash)

    def as_dict(self) -> dict[str, object]:
        return asdict(self)


def mark(case: Case, ran: Ran, folder: Path) -> Mark:
    """Judge the last run of a case; `folder` holds its docket 'out'."""
    out = Mark(case.category, case.index, status=ran.status, seconds=ran.seconds, megabytes=ran.megabytes)
    if "Traceback" in ran.err or ran.timed_out or ran.status not in (0, 2, 3, 4):
        out.crash = "timeout" if ran.timed_out else f"status {ran.status}: {ran.err.strip().splitlines()[-1:]}"
        return out
    if ran.seconds > 20:
        out.crash = f"{ran.seconds:.1f} s"
    if ran.megabytes > 1024:
        out.crash += f" {ran.megabytes:.0f} MB"
    if case.expect == "bad-input":
        return _bad_input(case, ran, out)
    if ran.status == 2:
        if case.expect != "survive":
            out.crash = f"refused: {ran.err.strip()[:200]}"
        return out
    try:
        said = json.loads(ran.out)
    except ValueError as error:
        out.crash = f"no JSON: {error}"
        return out
    out.verdict = said["verdict"]
    if EXIT.get(out.verdict) != ran.status:
        out.undue = f"verdict {out.verdict} with status {ran.status}"
    images = [(f, _image(f, folder)) for f in said["functions"] if f["kind"] == "rom"]
    if case.expect == "nothing":
        if out.verdict != "not-found" or images:
            kinds = [(f["kind"], f["size"]) for f in said["functions"]]
            out.fatal = f"nothing there, yet {out.verdict} {kinds}"
        return out
    if case.expect == "blank":
        if out.verdict == "confirmed":
            out.undue = "a blank specimen confirmed"
        return out
    if case.expect == "survive":
        return out
    return _found(case, said, images, out)


def _bad_input(case: Case, ran: Ran, out: Mark) -> Mark:
    lines = [line for line in ran.err.splitlines() if line.strip()]
    if ran.status != 2:
        out.undue = f"status {ran.status} for {case.note['what']}"
    elif len(lines) != 1 or ran.out.strip():
        out.undue = f"{len(lines)} lines on stderr, {len(ran.out)} characters on stdout: {lines[:2]}"
    elif case.blamed and case.blamed not in lines[0]:
        out.undue = f"does not name {case.blamed}: {lines[0]}"
    return out


def _image(function: dict[str, object], folder: Path) -> np.ndarray:
    image = function.get("image")
    if not isinstance(image, dict):
        return np.zeros(0, np.uint8)
    file = folder / "out" / str(image["file"])
    return np.frombuffer(file.read_bytes(), np.uint8) if file.is_file() else np.zeros(0, np.uint8)


def _same(answer: Answer, image: np.ndarray, case: Case, *, whole: bool) -> bool:
    if len(image) != len(answer.image):
        return False
    care = np.ones(len(image), bool) if whole or answer.solid is None else answer.solid
    wrong = ((image ^ answer.image) & answer.mask).astype(bool) & care
    if wrong.any() and case.word_order:
        swapped = image.reshape(-1, 2)[:, ::-1].reshape(-1)
        wrong = ((swapped ^ answer.image) & answer.mask).astype(bool) & care
    return not wrong.any()


def _decode_misses(answer: Answer, function: dict[str, object]) -> list[str]:
    said = function["decode"]
    out = []
    for line, right in answer.decode.items():
        word = said.get(f"A{line}", "unknown")
        if word not in right:
            out.append(f"A{line} is {word}, right {'/'.join(sorted(right))}")
    for name, word in said.items():
        line = int(name[1:])
        if line < answer.own:
            out.append(f"{name} {word} is an own line")
        elif line not in answer.decode and word != "unknown":
            out.append(f"{name} {word} was never on the bus")
    return out


def _found(case: Case, said: dict[str, object], images: list, out: Mark) -> Mark:
    out.recoverable = all(group[0].solid is None or bool(group[0].solid.all()) for group in case.roms)
    rights, decodes, notes = [], [], []
    size = 0
    for group in case.roms:
        best: tuple[bool, list[str], str, int] | None = None
        for answer in group:
            for place, (function, image) in enumerate(images):
                if _same(answer, image, case, whole=False):
                    misses = _decode_misses(answer, function)
                    if best is None or (len(misses), answer.note != "as built") < (len(best[1]), best[2] != "as built"):
                        best = (True, misses, answer.note, place)
        if best is None:
            near = [f"{len(i)} B" for _, i in images]
            out.why.append(f"no right image of {len(group[0].image)} B among {near}: {_nearest(group[0], images)}")
            rights.append(False)
            decodes.append(False)
            continue
        rights.append(True)
        decodes.append(not best[1])
        out.why += best[1]
        notes.append(best[2])
        if group is case.roms[0]:
            out.first = best[3] == 0
            size = len(images[best[3]][1])
    out.image, out.decode = all(rights), all(decodes)
    if not out.recoverable:
        out.rest = out.image
    out.other = next((note for note in notes if note != "as built"), "")
    _verdict(case, said, images, out)
    if case.flips or case.category.startswith("weak"):
        _weak(case, said, out, size or len(case.roms[0][0].image))
    return out


def _nearest(answer: Answer, images: list) -> str:
    """How far the nearest image of the same size is."""
    fits = [int((((i ^ answer.image) & answer.mask) != 0).sum()) for _, i in images if len(i) == len(answer.image)]
    return f"{min(fits)} bytes differ" if fits else "none of that size"


def _verdict(case: Case, said: dict[str, object], images: list, out: Mark) -> None:
    if out.verdict == "confirmed":
        if not case.may_confirm:
            out.undue = "confirmed although the readings forbid it"
        # everything called confirmed has to be a right image, or the memory of the host that nobody declared
        for place, (function, image) in enumerate(images):
            if place and _is_host(case, function):
                out.why.append("host memory that nobody declared is among the images")
                continue
            answers = [a for group in case.roms for a in group]
            if any(_same(a, image, case, whole=True) for a in answers):
                continue
            known_ram = any(len(r) == len(image) and np.array_equal(r, image) for r in case.ram)
            what = "RAM" if known_ram else "bytes"
            sizes = [len(a.image) for a in answers]
            out.fatal = f"confirmed with wrong {what} as ROM {place + 1} ({len(image)} B, right sizes {sizes})"
            break
        if not images:
            out.fatal = "confirmed without an image"
    if case.should_confirm:
        out.confirmed = out.verdict == "confirmed"
    if out.verdict == "not-found" and case.expect == "found":
        out.why.append("not found")
    del said


def _is_host(case: Case, function: dict[str, object]) -> bool:
    """Every copy lies over host memory, in part at least."""
    spans = case.note.get("host_at") or []
    copies = [int(copy["first"]) for copy in function["copies"]]
    size = int(function["size"])
    return bool(copies) and all(any(low < first + size and first <= high for low, high in spans) for first in copies)


def _weak(case: Case, said: dict[str, object], out: Mark, size: int) -> None:
    """Mark the list of weak bits. Where the image is the half of a ROM that repeats, so are its offsets."""
    flips: dict[int, int] = defaultdict(int)
    for at, times in case.flips.items():
        flips[at % size] += times
    listed: set[int] = set()
    for finding in said["findings"]:
        if finding["kind"] == "weak-bits":
            listed |= _offsets(finding.get("offsets") or [])
    least = 2 if case.category == "weak-noise" else 1
    wanted = {at for at, times in flips.items() if times >= least}
    missing = sorted(wanted - listed)
    out.weak = not missing
    if missing:
        out.why.append(f"weak offsets not listed: {[(m, flips[m]) for m in missing]}")
    if listed - set(flips):
        out.why.append(f"{len(listed - set(flips))} offsets listed as weak that never flipped")
    if case.flips and out.verdict == "confirmed":
        out.undue = "confirmed in spite of weak bits"


def _offsets(entries: list[object]) -> set[int]:
    out: set[int] = set()
    for entry in entries:
        if isinstance(entry, int):
            out.add(entry)
        elif isinstance(entry, list | tuple) and len(entry) == 2:
            out |= set(range(int(entry[0]), int(entry[1]) + 1))
        elif isinstance(entry, dict) and "first" in entry:
            out |= set(range(int(entry["first"]), int(entry["last"]) + 1))
        elif isinstance(entry, dict) and "offset" in entry:
            out.add(int(entry["offset"]))
    return out
