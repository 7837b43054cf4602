"""Files that hold no dump at all, and dumps so damaged that only an honest result is asked for.

A directory is written as a file name that ends in '/'; a missing file is simply not written.
"""

import gzip
import io
import zipfile
from collections.abc import Callable

import numpy as np

PROSE = """\
The light stands on the eastern mole. Every evening the keeper walks the four hundred steps, trims nothing, since
nothing is left to trim, and reads the lamp's hours from a dial. A bad face, a dead cafe, added beef: words that
are spelt in six letters. In 1978 the horn was given a controller; in 1991 it was silenced, and its boards put by.
"""


def _lines(rng: np.random.Generator, row: Callable[[int], str], count: int = 200) -> bytes:
    del rng
    return ("\n".join(row(i) for i in range(count)) + "\n").encode()


def _dates(rng: np.random.Generator) -> bytes:
    return _lines(
        rng, lambda i: f"2024-{i % 12 + 1:02d}-{i % 28 + 1:02d} {i % 24:02d}:{i * 7 % 60:02d}:{i * 13 % 60:02d}"
    )


def _syslog(rng: np.random.Generator) -> bytes:
    words = ["lamp on", "lamp off", "horn test", "door open", "mains 231 V", "fog sensor 12 18 22"]
    return _lines(
        rng, lambda i: f"Nov {i % 28 + 1:2d} 10:{i % 60:02d}:{i * 7 % 60:02d} mole kernel[{i}]: {rng.choice(words)}"
    )


def _timetable(rng: np.random.Generator) -> bytes:
    def row(i: int) -> str:
        minutes = np.sort(rng.choice(60, int(rng.integers(2, 7)), replace=False))
        return f"{(5 + i) % 24:02d}00  " + " ".join(f"{m:02d}" for m in minutes)

    return b"HARBOUR FERRY, weekdays\n" + _lines(rng, row, 19)


def _sums(rng: np.random.Generator) -> bytes:
    return _lines(rng, lambda i: f"{rng.bytes(16).hex()}  pictures/mole-{i:03d}.png", 60)


def _uuids(rng: np.random.Generator) -> bytes:
    def row(_: int) -> str:
        h = rng.bytes(16).hex()
        return f"{h[:8]}-{h[8:12]}-{h[12:16]}-{h[16:20]}-{h[20:]}"

    return _lines(rng, row, 50)


def _macs(rng: np.random.Generator) -> bytes:
    return _lines(
        rng, lambda i: f"192.168.{i % 7}.{int(rng.integers(1, 255))}  {rng.bytes(6).hex(':')}  lan{i % 3}", 40
    )


def _csv(rng: np.random.Generator) -> bytes:
    return b"time,temp,humidity\n" + _lines(
        rng, lambda i: f"{i * 600},{rng.normal(12, 3):.1f},{rng.normal(80, 9):.0f}%"
    )


def _commits(rng: np.random.Generator) -> bytes:
    return _lines(rng, lambda i: f"{rng.bytes(4).hex()[:7]} Mend the lamp's relay, part {i}", 80)


def _phones(rng: np.random.Generator) -> bytes:
    return _lines(rng, lambda i: f"Keeper {i:02d}: 0{rng.integers(10, 99)}-{rng.integers(100000, 999999)}", 60)


def _script(rng: np.random.Generator) -> bytes:
    del rng
    body = "def main(argv):\n    for item in argv:\n        print(item, 0xFF, 0x10)\n    return 0\n"
    return f"import sys\n\n\n{body}\n\nsys.exit(main(sys.argv[1:]))\n".encode()


def _html(rng: np.random.Generator) -> bytes:
    del rng
    return (
        "<html><head><style>p{color:#FF00AA;background:#00FF10}</style></head><body>"
        + f"<p>{PROSE}</p>" * 20
        + "</body></html>"
    ).encode()


def _zip(rng: np.random.Generator) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        box.writestr("a.txt", PROSE * 9)
        box.writestr("b.bin", rng.bytes(500))
    return out.getvalue()


def _picture(rng: np.random.Generator) -> bytes:
    return b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x01\0\0\0\x01\0\x08\x02\0\0\0" + rng.bytes(3000)


def _program(rng: np.random.Generator) -> bytes:
    return b"\x7fELF\x02\x01\x01" + bytes(9) + b"\x02\0\x3e\0\x01\0\0\0" + rng.bytes(4000)


def _json(rng: np.random.Generator) -> bytes:
    return ('{"readings": [' + ", ".join(str(int(v)) for v in rng.integers(0, 256, 300)) + "]}\n").encode()


def _listing(rng: np.random.Generator) -> bytes:
    return _lines(
        rng,
        lambda i: f"-rw-r--r-- 1 keeper mole {rng.integers(10, 99999):6d} Nov {i % 28 + 1:2d} 10:{i % 60:02d} f{i}.dat",
        50,
    )


def _calendar(rng: np.random.Generator) -> bytes:
    del rng
    out = "    November 2024\nSu Mo Tu We Th Fr Sa\n                1  2\n"
    for start in range(3, 31, 7):
        out += " ".join(f"{d:2d}" for d in range(start, min(31, start + 7))) + "\n"
    return out.encode()


def _novel(rng: np.random.Generator) -> bytes:
    del rng
    return (PROSE * 30).encode()


def _words(rng: np.random.Generator) -> bytes:
    pool = ["bad", "cafe", "dead", "beef", "face", "add", "fee", "deed", "feed", "fade", "ace", "bed", "dad", "cab"]
    return _lines(rng, lambda _: " ".join(rng.choice(pool, 9)), 60)


def _prices(rng: np.random.Generator) -> bytes:
    return _lines(
        rng, lambda i: f"{1000 + int(rng.integers(1, 9000))}  lamp glass no. {i}   {rng.uniform(1, 90):6.2f}", 60
    )


def _session(rng: np.random.Generator) -> bytes:
    del rng
    return b"Connected at 9600 8N1\r\nREADY\r\n\r\nM D000 D3FF\r\n?SYNTAX ERROR\r\nREADY\r\n"


TEXTS: dict[str, Callable[[np.random.Generator], bytes]] = {
    "prose": _novel, "dates": _dates, "syslog": _syslog, "timetable": _timetable, "sums": _sums, "uuids": _uuids,
    "macs": _macs, "csv": _csv, "commits": _commits, "phones": _phones, "script": _script, "html": _html, "zip": _zip,
    "picture": _picture, "program": _program, "json": _json, "listing": _listing, "calendar": _calendar,
    "words": _words,
    "prices": _prices, "session": _session,
    "junk": lambda rng: rng.bytes(5000), "junk-small": lambda rng: rng.bytes(int(rng.integers(1, 60))),
    "gzip": lambda rng: gzip.compress(PROSE.encode() + rng.bytes(99), mtime=0),
    "empty": lambda _: b"", "newline": lambda _: b"\n",
    "blanks": lambda _: b" \r\n" * 50, "nuls": lambda _: bytes(4096),
    "ff": lambda _: b"\xff" * 4096, "one-letter": lambda _: b"A", "bom": lambda _: b"\xff\xfe",
    "utf-16-prose": lambda _: PROSE.encode("utf-16"),
    "hex-end-only": lambda _: b":00000001FF\r\n", "srec-head-only": lambda _: b"S0030000FC\r\nS9030000FC\r\n",
    "colon": lambda _: b":\n:\n:\n", "addresses-only": lambda _: b"D000:\nD010:\nD020:\nD030:\n",
}  # fmt: skip


def _good_log(rng: np.random.Generator, size: int = 1024) -> bytes:
    body = rng.integers(0, 256, size).astype(np.uint8)
    rows = [f"{0xD000 + i:04X}: " + " ".join(f"{b:02X}" for b in body[i : i + 16]) for i in range(0, size, 16)]
    return ("\r\n".join(rows) + "\r\n").encode()


def bad_input(rng: np.random.Generator, index: int) -> tuple[str, dict[str, bytes], str, list[str]]:
    """Name, files, the file that must be blamed, arguments. Now and then beside a good file, or as a control."""
    kinds = [*TEXTS, "missing", "directory", "missing-name", "bad-size", "bad-range", "bad-part"]
    kind = kinds[index % len(kinds)]
    files: dict[str, bytes] = {}
    name = f"{kind}.log"
    if kind in TEXTS:
        files[name] = TEXTS[kind](rng)
    elif kind == "directory":
        files[name + "/"] = b""
    elif kind == "missing-name":
        name = "no such file.log"
    if kind in ("bad-size", "bad-range", "bad-part"):
        files["good.log"] = _good_log(rng)
        option = {
            "bad-size": ["--size", str(rng.choice(["zero", "0", "-5", "1000", "12x"]))],
            "bad-range": ["--exclude", str(rng.choice(["D000", "0xD000-0xC000", "here-there", "0x-0x"]))],
            "bad-part": ["--part", str(rng.choice(["9999", "", "6531X"]))],
        }[kind]
        return kind, files, "", ["good.log", *option]
    args = [name]
    if rng.random() < 0.4:
        files["good.log"] = _good_log(rng)
        args = ["good.log", name] if rng.random() < 0.7 else ["good.log", "--empty-socket", name]
    return kind, files, name, args


DAMAGE = ("hex-sums", "hex-cut", "contradict", "long-line", "sparse-4g", "srec-sparse", "garbled", "half-line",
          "deep-noise",
          "two-machines", "zero-length", "odd-digits", "long-digits", "control-soup")  # fmt: skip


def damaged(rng: np.random.Generator, index: int) -> tuple[str, dict[str, bytes], list[str]]:
    """Name, files, arguments. Any honest exit counts; time, memory and traceback are what is looked at."""
    kind = DAMAGE[index % len(DAMAGE)]
    files: dict[str, bytes] = {}
    log = _good_log(rng, 4096)
    if kind in ("hex-sums", "hex-cut"):
        rows = []
        for at in range(0, 2048, 16):
            body = [16, 0xD0 + (at >> 8), at & 0xFF, 0, *rng.integers(0, 256, 16).tolist()]
            total = -sum(body) & 0xFF
            if kind == "hex-sums" and rng.random() < 0.5:
                total ^= 0x11
            text = ":" + "".join(f"{b:02X}" for b in [*body, total])
            rows.append(text[: int(rng.integers(1, len(text)))] if kind == "hex-cut" and rng.random() < 0.3 else text)
        files["a.hex"] = "\n".join(rows).encode()
    elif kind == "contradict":
        files["a.log"] = log + _good_log(rng, 4096)[: len(log) // 2] + log
    elif kind == "long-line":
        files["a.log"] = log + b"D000: " + b"4C " * 17_000_000 + b"\r\n"
    elif kind == "long-digits":
        files["a.log"] = log + b"0123456789ABCDEF" * 3_000_000 + b"\r\n"
    elif kind == "sparse-4g":
        rows = []
        for upper in range(0, 0x10000, 0x1555):
            body = [2, 0, 0, 4, upper >> 8, upper & 0xFF]
            rows.append(":" + "".join(f"{b:02X}" for b in [*body, -sum(body) & 0xFF]))
            body = [16, 0, 0, 0, *rng.integers(0, 256, 16).tolist()]
            rows.append(":" + "".join(f"{b:02X}" for b in [*body, -sum(body) & 0xFF]))
        files["a.hex"] = "\n".join([*rows, ":00000001FF"]).encode()
    elif kind == "srec-sparse":
        rows = []
        for first in range(0, 1 << 32, 0x1234567):
            body = [21, *first.to_bytes(4, "big"), *rng.integers(0, 256, 16).tolist()]
            rows.append("S3" + "".join(f"{b:02X}" for b in [*body, ~sum(body) & 0xFF]))
        files["a.s19"] = "\n".join(rows).encode()
    elif kind in ("garbled", "deep-noise"):
        soup = np.frombuffer(log, np.uint8).copy()
        hit = rng.random(len(soup)) < (0.05 if kind == "garbled" else 0.4)
        soup[hit] = rng.integers(0, 256, int(hit.sum()))
        files["a.log"] = soup.tobytes()
    elif kind == "half-line":
        files["a.log"] = log[:30]
    elif kind == "two-machines":
        files["a.log"] = log
        files["b.log"] = log.replace(b"D", b"3").replace(b": ", b" ")
    elif kind == "zero-length":
        files["a.log"] = b"\r\n".join(line + b" " for line in log.split(b"\r\n") for _ in range(3))
    elif kind == "odd-digits":
        files["a.log"] = b"\r\n".join(line[:-1] if i % 3 == 0 else line for i, line in enumerate(log.split(b"\r\n")))
    else:
        files["a.log"] = bytes(rng.choice(np.frombuffer(b"\x1b[\b\r\n\x0c\0D0: 4C", np.uint8), 20000))
    return kind, files, list(files)
