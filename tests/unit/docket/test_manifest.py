from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.docket.manifest import (
    SCHEMA,
    Decided,
    Entry,
    Event,
    Manifest,
    Result,
    Said,
    Settings,
    Span,
    decode,
    encode,
    safe_name,
    unique_name,
)
from romassay.errors import BadInput
from romassay.settle.model import Decision

FULL = Manifest(
    settings=Settings(part="6530", target=0.5, address_bits=16, exclude=(Span(0, 0x1FFF),)),
    readings=(
        Entry(file="pass-1.log", sha256="0" * 64, bytes=12, said=Said(session="one", base=0x8000), also=("b.log",)),
        Entry(file="empty.log", sha256="1" * 64, bytes=0, role="empty-socket"),
    ),
    decisions=(Decided(0, 5, 0xFF, "the other listing has it"),),
    results=(Result("assay.json", "2" * 64),),
    history=(Event("2026-01-01T00:00:00Z", "0.1.0", "romassay assay pass-1.log", "added pass-1.log"),),
)


def test_a_manifest_comes_back_as_it_was_written() -> None:
    assert decode(encode(FULL), "docket.json") == FULL
    assert decode(encode(Manifest()), "docket.json") == Manifest()


def test_it_gives_the_chain_its_ranges_and_decisions() -> None:
    assert FULL.decided == ((0, Decision(5, 0xFF, "the other listing has it")),)
    assert [str(item) for item in FULL.settings.excluded] == ["0000-1FFF"]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"bytes": 12,', '"bytes": 12', "is no JSON text"),
        ('"settings"', '"setings"', "unknown field `setings`"),
        ('"first": 0', '"first": 9000', "`$.settings.exclude[0]`"),
        ('"first": 0', '"first": "0"', "`$.settings.exclude[0].first`"),
        ('"target": 0.5', '"target": 0', "`$.settings`"),
        ('"value": 255', '"value": 256', "`$.decisions[0]`"),
        ('"role": "empty-socket"', '"role": "other"', "`$.readings[1].role`"),
        ('"pass-1.log"', '"../pass-1.log"', "`$.readings[0].file`"),
        ('"pass-1.log"', '"/etc/passwd"', "`$.readings[0].file`"),
        ('"pass-1.log"', '"\\u001b[31m"', "`$.readings[0].file`"),
    ],
)
def test_a_slip_names_the_file_and_the_key(old: str, new: str, message: str) -> None:
    text = encode(FULL).decode().replace(old, new, 1)
    assert text != encode(FULL).decode()
    with pytest.raises(BadInput) as caught:
        decode(text.encode(), "x/docket.json")
    assert str(caught.value).startswith("x/docket.json: ")
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_manifest_of_another_version_is_told_from_a_damaged_one() -> None:
    text = encode(FULL).decode().replace(SCHEMA, "romassay/docket/2", 1)
    with pytest.raises(BadInput) as caught:
        decode(text.encode(), "x/docket.json")
    assert str(caught.value) == (
        "x/docket.json: the docket is of the form 'romassay/docket/2', and this version of romassay knows "
        "'romassay/docket/1'; open it with the version that its history names, or a newer one"
    )


@given(st.binary(max_size=200))
def test_junk_is_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(BadInput):
        decode(data, "docket.json")


def test_deep_junk_is_refused() -> None:
    with pytest.raises(BadInput):
        decode(b"[" * 100_000, "docket.json")


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("pass-1.log", "pass-1.log"),
        ("Pass 2 (warm).txt", "Pass 2 (warm).txt"),
        ("größe.log", "größe.log"),
        ("..", "reading"),
        (".hidden", "hidden"),
        ("-o", "o"),
        ("a/b\\c:d.log", "a_b_c_d.log"),
        ("x\x1b[2J\n.log", "x_[2J_.log"),
        ("a\u202egol.exe", "a_gol.exe"),
        ("bad\udcff.log", "bad_.log"),
        ("CON.log", "_CON.log"),
        ("nul", "_nul"),
        ("ends. ", "ends"),
        ("", "reading"),
        ("l" * 300 + ".log", "l" * 116 + ".log"),
    ],
)
def test_names_stay_where_they_can(name: str, kept: str) -> None:
    assert safe_name(name) == kept


@given(st.text(st.characters(codec=None), max_size=200))
def test_a_safe_name_is_safe_and_final(name: str) -> None:
    kept = safe_name(name)
    assert kept
    assert kept.isprintable()
    assert not set(kept) & set('/\\:*?"<>|')
    assert kept[0] not in ".-"
    assert len(kept.encode()) <= 121
    assert safe_name(kept) == kept


def test_unique_names_count_on_and_mind_file_systems_without_capitals() -> None:
    taken: list[str] = []
    for _ in range(3):
        taken.append(unique_name("pass.log", taken))
    taken.append(unique_name("PASS.LOG", taken))
    taken.append(unique_name("pass", taken))
    assert taken == ["pass.log", "pass-2.log", "pass-3.log", "PASS-4.LOG", "pass"]
