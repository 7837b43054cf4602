"""Lines taken a block at a time say what they say one by one, whatever is wrong with one of them."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.formats.layout import Layout, parse_layout
from romassay.formats.lines import chunk
from romassay.formats.lines.reader import read_rows
from romassay.formats.lines.rows import Rows
from romassay.formats.lines.strict import LineReader

LAYOUTS = {
    "bytes": ('where=line address=hex4 after=": " cells=8 cell=hex2 gap=" "', "{a:04X}: {b}"),
    "words": (
        'where=line address=hex8 after=": " cells=4 cell=hex4 size=2 order=big gap=" " gutter="  "',
        "{a:08x}: {w}  {t}",
    ),
    "bars": (
        'where=line lead="0x" address=hex6 after="  " cells=8 cell=hex2 gap=" " gap@4="  " gutter="  |" end="|"',
        "0x{a:06x}  {g}  |{t}|",
    ),
    "sums": (
        'where=line address=hex4 after=" " cells=8 cell=hex2 gap=" " sum=add8:hex2 sum-before=" = "',
        "{a:04X} {b} = {s:02X}",
    ),
    "octal": ('where=line address=oct6 after=" " cells=8 cell=oct3 gap=" "', "{a:06o} {o}"),
    "loop": ('where=line lead="*" address=dec5> after=" " cells=8 cell=dec gap=" "', "*{a:5d} {n}"),
    "commas": ('where=line address=hex after=": " cells=8 cell=hex gap=","', "{a:X}: {c}"),
    "two": ('where=line address=dec after=" " cells=4 cell=dec size=2 order=little gap=" " end="."', "{a} {p}."),
    "decimal": ('where=line address=dec5 after=" " cells=8 cell=dec3> gap=" "', "{a:05d} {d}"),
}


@pytest.fixture(autouse=True)
def small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chunk, "_CHUNK", 1 << 9)


def printed(form: str, address: int, data: bytes) -> bytes:
    capitals = "X}" in form
    digits = data.hex(" ").upper() if capitals else data.hex(" ")
    return form.format(
        a=address,
        b=digits,
        w=" ".join(data[i : i + 2].hex() for i in range(0, len(data), 2)),
        g=f"{data[:4].hex(' ')}  {data[4:].hex(' ')}",
        t="".join(chr(c) if 32 <= c < 127 else "." for c in data),
        s=sum(data) & 0xFF,
        o=" ".join(f"{c:03o}" for c in data),
        d=" ".join(f"{c:3d}" for c in data),
        n=" ".join(map(str, data)),
        c=",".join(f"{c:X}" for c in data),
        p=" ".join(str(int.from_bytes(data[i : i + 2], "little")) for i in range(0, len(data), 2)),
    ).encode("ascii")


def one_by_one(text: bytes, layout: Layout) -> list[tuple[int, int | None, bytes]]:
    """What the strict reader says about each line that is just as it should be."""
    reader = LineReader(layout)
    found = (reader.read(number, line) for number, line in enumerate(text.split(b"\n"), 1) if line)
    return [(row.line, row.address, row.values) for row in found if row is not None and row.known is None]


def in_blocks(rows: Rows) -> list[tuple[int, int | None, bytes]]:
    whole = [
        rows.known is None or bool((rows.known[a : a + n] == 0xFF).all())
        for a, n in zip(rows.start, rows.count, strict=True)
    ]
    return [
        (int(line), int(at), rows.value[a : a + n].tobytes())
        for line, at, a, n, good in zip(rows.line, rows.address, rows.start, rows.count, whole, strict=True)
        if good
    ]


def dump(form: str, data: bytes) -> bytes:
    return b"".join(printed(form, i, data[i : i + 8]) + b"\n" for i in range(0, len(data), 8))


@pytest.mark.parametrize("name", LAYOUTS)
@given(seed=st.integers(0, 1 << 16), place=st.integers(0, 1 << 12), by=st.sampled_from(b"Gg@/:;`\x81\xb1 A5,.\t"))
def test_a_changed_character_changes_no_other_line(name: str, seed: int, place: int, by: int) -> None:
    words, form = LAYOUTS[name]
    layout = parse_layout(words)
    text = bytearray(dump(form, random.Random(seed).randbytes(800)))
    place %= len(text)
    if text[place] != ord("\n"):
        text[place] = by
    rows = read_rows(bytes(text), layout, align=False)
    assert in_blocks(rows) == one_by_one(bytes(text), layout)


@pytest.mark.parametrize("name", LAYOUTS)
def test_clean_lines_are_all_taken_once(name: str) -> None:
    words, form = LAYOUTS[name]
    data = random.Random(1).randbytes(4096)
    text = dump(form, data)
    rows = read_rows(text, parse_layout(words))
    assert rows.value.tobytes() == data
    assert rows.address.tolist() == list(range(0, len(data), 8))
    assert rows.line.tolist() == list(range(1, 513))
    assert int(rows.length.sum()) == rows.ink == len(text) - 512


def test_a_wrong_sum_far_into_a_log_takes_no_line_twice() -> None:
    words, form = LAYOUTS["sums"]
    text = dump(form, random.Random(2).randbytes(800)).split(b"\n")
    text[60] = text[60][:-2] + b"ZZ"
    text[70] = text[70][:-2] + (b"00" if not text[70].endswith(b"00") else b"01")
    rows = read_rows(b"\n".join(text), parse_layout(words))
    assert sorted(set(rows.line.tolist())) == rows.line.tolist()
    assert [int(line) for line, good in zip(rows.line, rows.checked, strict=True) if not good] == [61, 71]


def test_lines_of_which_none_has_the_layout_leave_nothing() -> None:
    words, _ = LAYOUTS["loop"]
    assert not len(read_rows(b"*  1 300 300 300 300 300 300 300 300\n" * 9, parse_layout(words), align=False))
