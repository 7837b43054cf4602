"""The examiner's own doubt: does a log hold what the answer says? Read back by the tags of its characters."""

import numpy as np

from .cases import Case


def check(case: Case) -> list[str]:
    """Complaints about one case; none where all is well."""
    name = f"{case.category} {case.index}"
    out = []
    for number, log in enumerate(case.logs):
        spelt = _spelt(log)
        for row, text in spelt.items():
            if not log.good[row] or not log.base[row]:
                continue
            if int(text, int(log.base[row])) != int(log.value[row]):
                out.append(f"{name} log {number}: observation {row} prints {text}, meant {log.value[row]}")
                break
    for group in case.roms:
        built = group[0]
        if case.expect == "found" and len(built.image) < 16:
            out.append(f"{name}: image of {len(built.image)} bytes")
        for answer in group:
            size = len(answer.image)
            if size & (size - 1) or size != 1 << answer.own:
                out.append(f"{name}: size {size} with {answer.own} own lines")
            if answer.solid is not None and len(answer.solid) != size:
                out.append(f"{name}: solid {len(answer.solid)} for {size} ({answer.note})")
        out += _read_back(case, built, name)
    return out


def _spelt(log: object) -> dict[int, str]:
    where = np.flatnonzero(log.tag >= 0)
    if not len(where):
        return {}  # words in octal: no digit belongs to one byte
    order = where[np.argsort(log.tag[where], kind="stable")]
    numbers, starts = np.unique(log.tag[order], return_index=True)
    stops = np.append(starts[1:], len(order))
    text = log.chars[order].tobytes().decode("latin-1")
    return {int(n): text[a:b] for n, a, b in zip(numbers, starts, stops, strict=True)}


def _read_back(case: Case, built: object, name: str) -> list[str]:
    """Where the decode says a copy is, the log has the image; nothing else is checked here."""
    if case.note.get("noise") or case.flips or case.note.get("host"):
        return []
    chips = case.note.get("chips", [])
    if len(chips) != 1 or case.expect != "found":
        return []
    kind, size, fixed = chips[0]
    if size != len(built.image):
        return [f"{name}: {kind} of {size}, image of {len(built.image)}"]
    for log in case.logs:
        hit = np.ones(len(log.address), bool)
        for line, level in fixed.items():
            hit &= (log.address >> int(line[1:]) & 1) == level
        if not hit.any():
            return [f"{name}: no copy in the window"]
        said = log.value[hit] & built.mask
        if (said != built.image[log.address[hit] & (size - 1)] & built.mask).any():
            return [f"{name}: the log's copy is not the image"]
    return []
