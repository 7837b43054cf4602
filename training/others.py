"""What is no code, as found in ROMs: text, tables, pictures, noise, blanks. All made here."""

from __future__ import annotations

import math
import random
import zlib

import hand


def data(rng: random.Random, size: int) -> tuple[str, bytes]:
    """Return (kind, bytes) of something that is no code."""
    kind = rng.choice(sorted(MAKERS))
    out = b""
    while len(out) < size:
        out += MAKERS[kind](rng, size)
    return kind, out[:size]


def text(rng: random.Random, size: int) -> bytes:
    words = rng.choices(hand.WORDS, k=size // 3)
    end = rng.choice((b" ", b"\0", b"\r\n", b"$", b" "))
    out = b""
    for i in range(0, len(words), 4):
        out += " ".join(words[i : i + 4]).encode() + end
    if rng.random() < 0.2:
        out = bytes(b | (0x80 if rng.random() < 0.2 else 0) for b in out)
    return out


def prose(rng: random.Random, size: int) -> bytes:
    letters = "etaoinshrdlucmfwypvbgkjqxz"
    weights = [
        12,
        9,
        8,
        7.5,
        7,
        6.7,
        6.3,
        6.1,
        6,
        4.2,
        4,
        2.8,
        2.7,
        2.4,
        2.2,
        2.3,
        2,
        1.9,
        1,
        1.5,
        2,
        0.8,
        0.2,
        0.1,
        0.15,
        0.1,
    ]
    return " ".join("".join(rng.choices(letters, weights, k=rng.randint(1, 9))) for _ in range(size // 5)).encode()


def sine(rng: random.Random, size: int) -> bytes:
    period, top = rng.choice((64, 128, 256, 360, 512)), rng.choice((127, 100, 63, 31))
    wide = rng.random() < 0.3
    out = b""
    for i in range(size):
        value = round(math.sin(2 * math.pi * i / period) * top * (100 if wide else 1)) & 0xFFFF
        out += value.to_bytes(2, "little") if wide else bytes([value & 0xFF])
    return out


def curve(rng: random.Random, size: int) -> bytes:
    power, scale = rng.uniform(0.3, 3), rng.uniform(10, 255)
    return bytes(int(scale * ((i % 256) / 255) ** power) & 0xFF for i in range(size))


def characters(rng: random.Random, size: int) -> bytes:
    rows, width = rng.choice(((8, 5), (8, 8), (10, 7), (16, 8), (8, 6))), 8
    height, width = rows
    out = b""
    for _ in range(size // height + 1):
        strokes = [0] * height
        for _ in range(rng.randint(2, 4)):
            if rng.random() < 0.5:
                column, first = rng.randrange(width), rng.randrange(height // 2)
                for y in range(first, min(height - 1, first + rng.randint(3, height))):
                    strokes[y] |= 1 << column
            else:
                y, a = rng.randrange(height - 1), rng.randrange(width)
                for x in range(a, min(width, a + rng.randint(2, width))):
                    strokes[y] |= 1 << x
        out += bytes(strokes)
    return out


def bitmap(rng: random.Random, size: int) -> bytes:
    stride = rng.choice((8, 16, 32, 40))
    phase, step = rng.uniform(0, 6), rng.uniform(0.05, 0.4)
    out = bytearray()
    for y in range(size // stride + 1):
        middle = stride * 4 * (1 + math.sin(phase + y * step) * 0.7)
        row = [1 if abs(x - middle) < 10 + y % 30 else 0 for x in range(stride * 8)]
        out += bytes(sum(row[i * 8 + b] << (7 - b) for b in range(8)) for i in range(stride))
    return bytes(out)


def noise(rng: random.Random, size: int) -> bytes:
    return rng.randbytes(size)


def packed(rng: random.Random, size: int) -> bytes:
    return zlib.compress(prose(rng, size * 4), 9)


def blank(rng: random.Random, size: int) -> bytes:
    return bytes([rng.choice((0, 0xFF, 0xE5, rng.randrange(256)))]) * size


def sparse(rng: random.Random, size: int) -> bytes:
    fill = rng.choice((0, 0xFF))
    return bytes(rng.randrange(256) if rng.random() < 0.08 else fill for _ in range(size))


def words(rng: random.Random, size: int) -> bytes:
    at, order = rng.randrange(0x1000, 0xE000), rng.choice(("big", "little"))
    out = b""
    for _ in range(size // 2):
        at += rng.randint(1, 40)
        out += (at & 0xFFFF).to_bytes(2, order)
    return out


def decimals(rng: random.Random, size: int) -> bytes:
    return bytes(rng.randrange(10) << 4 | rng.randrange(10) for _ in range(size))


def nibbles(rng: random.Random, size: int) -> bytes:
    return bytes(rng.choices(range(16), k=size))


def records(rng: random.Random, size: int) -> bytes:
    length = rng.choice((4, 6, 8, 12, 16))
    base = [rng.randrange(256) for _ in range(length)]
    out = bytearray()
    for n in range(size // length + 1):
        out += bytes(
            (b + (n if i == 0 else rng.choice((0, 0, 0, 1, 5, 16, rng.randrange(256))))) & 0xFF
            for i, b in enumerate(base)
        )
    return bytes(out)


def counting(rng: random.Random, size: int) -> bytes:
    step = rng.choice((1, 3, 5, 17, 255))
    return bytes((i * step + (i >> 8)) & 0xFF for i in range(size))


MAKERS = {
    "text": text,
    "prose": prose,
    "sine": sine,
    "curve": curve,
    "characters": characters,
    "bitmap": bitmap,
    "noise": noise,
    "packed": packed,
    "blank": blank,
    "sparse": sparse,
    "words": words,
    "decimals": decimals,
    "nibbles": nibbles,
    "records": records,
    "counting": counting,
}
