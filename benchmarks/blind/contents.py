"""Invented ROM contents: what a mask ROM of the time might hold, by byte statistics, none of it anybody's program.

Every function takes a numpy Generator and a size in bytes and returns uint8[size].
"""

import numpy as np

ALPHABET = "ETAOIN SHRDLUETA CMFWYP VBGKQJXZ"
# opcode byte, operand bytes: a hand-picked part of two common instruction sets, weighted by repetition
STYLE_A = [(0xA9, 1), (0xA5, 1), (0x85, 1), (0x8D, 2), (0xAD, 2), (0x20, 2), (0x4C, 2), (0xD0, 1), (0xF0, 1), (0x60, 0)]
STYLE_A += [
    (0xA2, 1),
    (0xCA, 0),
    (0xE8, 0),
    (0x18, 0),
    (0x69, 1),
    (0xC9, 1),
    (0x29, 1),
    (0x48, 0),
    (0x68, 0),
    (0x10, 1),
]
STYLE_A += [
    (0xB1, 1),
    (0x91, 1),
    (0xBD, 2),
    (0x9D, 2),
    (0xE6, 1),
    (0xC6, 1),
    (0x0A, 0),
    (0x4A, 0),
    (0x38, 0),
    (0xE9, 1),
]
STYLE_B = [(0x3E, 1), (0x21, 2), (0x11, 2), (0x01, 2), (0xCD, 2), (0xC3, 2), (0xC2, 2), (0xCA, 2), (0xC9, 0), (0x7E, 0)]
STYLE_B += [
    (0x77, 0),
    (0x23, 0),
    (0x13, 0),
    (0x0D, 0),
    (0x05, 0),
    (0xFE, 1),
    (0xE6, 1),
    (0xF5, 0),
    (0xF1, 0),
    (0xE5, 0),
]
STYLE_B += [
    (0xE1, 0),
    (0xD3, 1),
    (0xDB, 1),
    (0x32, 2),
    (0x3A, 2),
    (0xAF, 0),
    (0xB7, 0),
    (0x47, 0),
    (0x78, 0),
    (0x1A, 0),
]
KINDS = ("code", "code", "code", "code-tail", "random", "table", "text", "sparse", "repeat", "near-repeat")


def code(rng: np.random.Generator, size: int) -> np.ndarray:
    """Opcodes with operands; high operand bytes keep to a few pages."""
    style = STYLE_A if rng.random() < 0.6 else STYLE_B
    weight = rng.dirichlet(np.full(len(style), 0.7))
    pages = rng.integers(0, 256, 4)
    out: list[int] = []
    while len(out) < size:
        for pick in rng.choice(len(style), 256, p=weight):
            opcode, operands = style[pick]
            out.append(opcode)
            if operands >= 1:
                out.append(int(rng.integers(0, 256)) if rng.random() < 0.6 else int(rng.integers(0, 16)))
            if operands == 2:
                out.append(int(pages[rng.integers(0, 4)]))
    return np.array(out[:size], np.uint8)


def text(rng: np.random.Generator, size: int) -> np.ndarray:
    """Words in capitals, ended by a zero, a return, or a set top bit."""
    letters = np.frombuffer(ALPHABET.encode(), np.uint8)
    body = letters[rng.integers(0, len(letters), size)].copy()
    ends = rng.random(size) < 1 / 12
    style = rng.integers(0, 3)
    if style == 0:
        body[ends] = 0
    elif style == 1:
        body[ends] = 13
    else:
        body[ends] |= 0x80
    return body


def table(rng: np.random.Generator, size: int) -> np.ndarray:
    """A curve, a ramp, or dot patterns of characters."""
    style = rng.integers(0, 3)
    x = np.arange(size)
    if style == 0:
        return (127.5 + 120 * np.sin(x * rng.uniform(0.01, 0.2) + rng.uniform(0, 6))).astype(np.uint8)
    if style == 1:
        return ((x * int(rng.integers(3, 90)) // int(rng.integers(2, 9))) % 251).astype(np.uint8)
    rows = np.array([0, 0, 0x18, 0x24, 0x42, 0x7E, 0x66, 0x3C, 0xFF, 0x40, 0x02, 0x10], np.uint8)
    return rows[rng.integers(0, len(rows), size)]


def program(rng: np.random.Generator, size: int) -> np.ndarray:
    """Code, then tables and text, with vectors at the end."""
    parts = []
    left = size
    while left > 0:
        take = int(min(left, rng.integers(16, max(17, size // 2 + 1))))
        pick = rng.random()
        maker = code if pick < 0.6 else text if pick < 0.8 else table
        parts.append(maker(rng, take))
        left -= take
    out = np.concatenate(parts)
    if size >= 64:
        page = int(rng.integers(0xC0, 0x100))
        out[-6:] = [int(rng.integers(0, 256)), page, int(rng.integers(0, 256)), page, int(rng.integers(0, 256)), page]
    return out


def make(rng: np.random.Generator, size: int, kind: str | None = None) -> tuple[np.ndarray, str]:
    """The bytes and what kind they are."""
    kind = kind or str(rng.choice(KINDS))
    if kind == "code":
        out = program(rng, size)
    elif kind == "code-tail":
        out = program(rng, size)
        fill = int(rng.choice([0xFF, 0x00]))
        start = int(size * rng.uniform(0.3, 0.9))
        stop = size - 6 if rng.random() < 0.5 and size >= 64 else size
        out[start:stop] = fill
    elif kind == "table":
        out = table(rng, size)
        out[: size // 4] = rng.integers(0, 256, size // 4)
    elif kind == "text":
        out = text(rng, size)
    elif kind == "sparse":
        out = np.full(size, int(rng.choice([0xFF, 0x00])), np.uint8)
        count = max(10, int(size * rng.uniform(0.03, 0.2)))
        if rng.random() < 0.5:
            start = int(rng.integers(0, max(1, size - count)))
            out[start : start + count] = program(rng, min(count, size - start))
        else:
            out[rng.choice(size, min(count, size), replace=False)] = rng.integers(1, 255, min(count, size))
    elif kind == "repeat":
        half = program(rng, size // 2)
        out = np.concatenate([half, half])
    elif kind == "near-repeat":
        half = program(rng, size // 2)
        out = np.concatenate([half, half])
        for offset in rng.choice(size // 2, min(size // 2, int(rng.integers(3, 12))), replace=False):
            out[size // 2 + offset] ^= int(rng.integers(1, 256))
    elif kind == "all":
        out = np.full(size, int(rng.choice([0xFF, 0x00])), np.uint8)
    else:
        out = rng.integers(0, 256, size).astype(np.uint8)
    return out.astype(np.uint8), kind
