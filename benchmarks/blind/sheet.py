"""A log under construction: characters, each with the observation it belongs to, so that damage can be accounted for.

`Sheet` collects pieces; `Log` holds the finished characters as arrays. tag >= 0: a digit of that observation; ADDRESS,
FRAME (separators, sums, prompts of a data line, line end), GUTTER (text column: damage there harms nothing), OUTSIDE.
"""

from dataclasses import dataclass, field

import numpy as np

ADDRESS, FRAME, GUTTER, OUTSIDE = -2, -3, -4, -5


@dataclass
class Sheet:
    pieces: list[str] = field(default_factory=list)
    tags: list[int] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    address: list[int] = field(default_factory=list)  # per observation
    value: list[int] = field(default_factory=list)
    base: list[int] = field(default_factory=list)  # 16, 10, 8; 0 for a word's low or high half, see `half`
    reading: list[int] = field(default_factory=list)
    row: int = 0

    def put(self, text: str, tag: int = OUTSIDE) -> None:
        if text:
            self.pieces.append(text)
            self.tags.append(tag)
            self.rows.append(self.row)

    def observe(self, address: int, value: int, reading: int, base: int = 16) -> int:
        self.address.append(address)
        self.value.append(value)
        self.base.append(base)
        self.reading.append(reading)
        return len(self.address) - 1

    def log(self) -> "Log":
        length = np.array([len(piece) for piece in self.pieces], np.int64)
        chars = np.frombuffer("".join(self.pieces).encode("latin-1"), np.uint8).copy()
        return Log(
            chars,
            np.repeat(np.array(self.tags, np.int64), length),
            np.repeat(np.array(self.rows, np.int64), length),
            np.array(self.address, np.int64),
            np.array(self.value, np.uint8),
            np.array(self.base, np.int64),
            np.array(self.reading, np.int64),
        )


@dataclass
class Log:
    chars: np.ndarray
    tag: np.ndarray
    row: np.ndarray
    address: np.ndarray
    value: np.ndarray
    base: np.ndarray
    reading: np.ndarray
    good: np.ndarray | None = None  # per observation: arrives whole
    heard: np.ndarray | None = None  # per observation: what a careful reader would take it for, -1 nothing certain

    def untouched(self) -> "Log":
        self.good = np.ones(len(self.address), bool)
        self.heard = self.value.astype(np.int64)
        return self


def damage(rng: np.random.Generator, log: Log, rate: float, style: str, *, summed: bool) -> Log:
    """Harm about `rate` of the characters. style: printable, bitflip, drop, burst, mixed. Fills `good` and `heard`."""
    count = len(log.chars)
    if rate <= 0 or not count:
        return log.untouched()
    chars = log.chars.copy()
    hit = np.zeros(count, bool)
    if style == "burst":
        while hit.sum() < rate * count:
            length = int(rng.integers(2, 16))
            start = int(rng.integers(0, max(1, count - length)))
            hit[start : start + length] = True
    else:
        hit = rng.random(count) < rate
    at = np.flatnonzero(hit)
    if style == "mixed":
        how = rng.integers(0, 3, len(at))
    else:
        how = np.full(len(at), {"printable": 0, "bitflip": 1, "drop": 2, "burst": 0}[style])
        if style == "burst":
            how[rng.random(len(at)) < 0.2] = 2
    new = chars[at].copy()
    new[how == 0] = rng.integers(32, 127, int((how == 0).sum()))
    new[how == 1] ^= (1 << rng.integers(0, 7, int((how == 1).sum()))).astype(np.uint8)
    changed = new != chars[at]
    chars[at] = new
    dropped = at[how == 2]
    altered = at[(how != 2) & changed]
    _account(log, chars, altered, dropped, summed=summed)
    keep = np.ones(count, bool)
    keep[dropped] = False
    return Log(
        chars[keep], log.tag[keep], log.row[keep], log.address, log.value, log.base, log.reading, log.good, log.heard
    )


def _account(log: Log, chars: np.ndarray, altered: np.ndarray, dropped: np.ndarray, *, summed: bool) -> None:
    """What a careful reader can still take from each observation."""
    rows = int(log.row.max()) + 1
    broken = np.zeros(rows, bool)
    broken[log.row[dropped]] = True
    frame = altered[(log.tag[altered] == ADDRESS) | (log.tag[altered] == FRAME)]
    broken[log.row[frame]] = True
    digit = altered[log.tag[altered] >= 0]
    text = np.frombuffer(b"0123456789abcdefABCDEF", np.uint8)
    stray = digit[~np.isin(chars[digit], text)]
    dirty = np.zeros(rows, bool)
    dirty[log.row[digit]] = True
    wild = np.zeros(rows, bool)  # a stray control or blank may split a column
    wild[log.row[stray[~((chars[stray] > 32) & (chars[stray] < 127))]]] = True
    # a line end that was lost or made takes the next line with it
    ends = np.concatenate([altered, dropped])
    lost = ends[np.isin(log.chars[ends], (10, 13)) | np.isin(chars[ends], (10, 13, 8, 27, 12))]
    for row in log.row[lost]:
        broken[row] = True
        if row + 1 < rows:
            broken[row + 1] = True
    home = np.zeros(len(log.address), np.int64)
    is_digit = log.tag >= 0
    home[log.tag[is_digit]] = log.row[is_digit]
    own = np.zeros(len(log.address), bool)
    own[log.tag[digit]] = True
    whole = ~broken[home] & ~own & ~wild[home]
    if summed:
        whole &= ~dirty[home]
    heard = np.where(whole, log.value, -1).astype(np.int64)
    for number in np.unique(log.tag[digit]):
        if broken[home[number]] or wild[home[number]]:
            continue
        spelt = bytes(chars[(log.tag == number).nonzero()[0]]).decode("latin-1") if len(log.chars) < 2000 else None
        heard[number] = -1 if spelt is None else _number(spelt, int(log.base[number]))
    if len(log.chars) >= 2000:
        _spell(log, chars, heard, np.unique(log.tag[digit]), broken[home] | wild[home])
    log.good = whole
    log.heard = heard


def _spell(log: Log, chars: np.ndarray, heard: np.ndarray, numbers: np.ndarray, lost: np.ndarray) -> None:
    where = np.flatnonzero(log.tag >= 0)
    order = where[np.argsort(log.tag[where], kind="stable")]
    starts = np.searchsorted(log.tag[order], numbers, "left")
    stops = np.searchsorted(log.tag[order], numbers, "right")
    for number, start, stop in zip(numbers, starts, stops, strict=True):
        if not lost[number]:
            heard[number] = _number(bytes(chars[order[start:stop]]).decode("latin-1"), int(log.base[number]))


def _number(spelt: str, base: int) -> int:
    try:
        value = int(spelt, base) if spelt.isalnum() else -1
    except ValueError:
        return -1
    return value if 0 <= value < 256 else -1
