"""Every record format: what is written is read again, the same; and it knows itself among the others."""

from __future__ import annotations

import random
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.errors import BadInput, BadValue
from romassay.formats import FORMATS
from romassay.formats.model import Format, Hints, Piece, WriteOptions
from romassay.formats.pieces import lay_out
from strategies_records import CHECKED, NARROW, RECORD_FORMATS, bits_of, content, content_of, disturbed, images

ROM = random.Random(2316).randbytes(2048)


def written(form: Format, pieces: list[Piece], options: WriteOptions | None = None) -> bytes:
    assert form.write is not None
    return form.write(pieces, options or WriteOptions())


@pytest.mark.parametrize("name", RECORD_FORMATS)
@given(data=st.data())
@settings(max_examples=60)
def test_write_read_same(name: str, data: st.DataObject) -> None:
    form = FORMATS[name]
    pieces = data.draw(images(bits_of(name)))
    options = WriteOptions(record=data.draw(st.sampled_from([None, 1, 7, 16, 32])))
    found = form.read(written(form, pieces, options), Hints())
    (reading,) = found.readings
    assert reading.holes == ()
    assert not len(reading.resent)
    assert not any(left.damage for left in found.left)
    assert reading.unit == ("record-checked" if name in CHECKED else "record")
    assert lay_out([reading]).pieces == tuple(pieces)


@given(images(), st.sampled_from([2, 4, 8]))
def test_verilog_words(pieces: list[Piece], word: int) -> None:
    """Bytes that a word has and the image has not are written as x, and read as not known."""
    form = FORMATS["verilog-memory"]
    text = written(form, pieces, WriteOptions(word=word))
    (reading,) = form.read(text, Hints()).readings
    assert content([reading]) == content_of(pieces)


@pytest.mark.parametrize("name", RECORD_FORMATS)
def test_it_knows_itself_best(name: str) -> None:
    text = written(FORMATS[name], [Piece(0xF000, ROM)])
    sure = {each: FORMATS[each].sniff(text) for each in RECORD_FORMATS}
    assert max(sure, key=lambda each: sure[each]) == name
    assert sure[name] >= 0.9
    assert all(value < sure[name] for each, value in sure.items() if each != name)


@pytest.mark.parametrize("name", RECORD_FORMATS)
@pytest.mark.parametrize("text", [b"", b"\n\n", b"dear colleague,\nat noon the face faded.\n", bytes(range(256)) * 40])
def test_nothing_is_nothing(name: str, text: bytes) -> None:
    assert FORMATS[name].sniff(text) < 0.1
    with pytest.raises(BadInput):
        FORMATS[name].read(text, Hints())


@pytest.mark.parametrize("name", RECORD_FORMATS)
def test_address_bits(name: str) -> None:
    low = written(FORMATS[name], [Piece(0xF000, ROM)])
    assert FORMATS[name].read(low, Hints()).readings[0].address_bits == 16
    assert FORMATS[name].read(low, Hints(address_bits=24)).readings[0].address_bits == 24
    if name not in NARROW:
        high = written(FORMATS[name], [Piece(0x12F000, ROM)])
        assert FORMATS[name].read(high, Hints()).readings[0].address_bits == 21


@pytest.mark.parametrize("name", NARROW)
def test_narrow_formats_say_where_they_end(name: str) -> None:
    with pytest.raises(BadValue, match=r"reaches address FFFF only, and the bytes go to 10000; "):
        written(FORMATS[name], [Piece(0xFFFF, b"ab")])


@pytest.mark.parametrize("name", RECORD_FORMATS)
@pytest.mark.parametrize("seed", range(6))
def test_disturbed_logs_are_read_or_refused_in_one_line(name: str, seed: int) -> None:
    """No other error than BadInput, whatever the line did; and what was not lost is still there."""
    dice = random.Random(f"{name} {seed}")
    form = FORMATS[name]
    refusals = []
    for _ in range(60):
        pieces = [Piece(0x100, dice.randbytes(200)), Piece(0x8000, dice.randbytes(99))]
        log = disturbed(written(form, pieces), dice, dice.choice([1, 2, 5, 20]))
        try:
            found = form.read(log, Hints())
        except BadInput as e:
            refusals.append(str(e))
        else:
            lay_out(found.readings)
            assert found.left_total >= len(found.left)
    assert not any("\n" in refusal for refusal in refusals)


@pytest.mark.parametrize("name", CHECKED)
def test_one_wrong_character_never_gives_a_wrong_byte(name: str) -> None:
    """Any one character of a checked format changed to any other digit: a hole, or the same bytes."""
    form = FORMATS[name]
    pieces = [Piece(0x20, ROM[:40])]
    text = written(form, pieces)
    truth = content_of(pieces)
    dice = random.Random(5)
    for at in [m.start() for m in re.finditer(rb"[0-9A-Z:;/%]", text)]:
        for other in (ord(dice.choice("0123456789ABCDEF")), text[at] ^ 0x08, ord("?")):
            log = text[:at] + bytes([other]) + text[at + 1 :]
            try:
                found = form.read(log, Hints())
            except BadInput:
                continue
            said = content(found.readings)
            assert said.items() <= truth.items(), log
            if said != truth and name != "tektronix-extended":
                assert any(reading.holes for reading in found.readings), log
