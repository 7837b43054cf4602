"""From readings to image files: what is cut, filled, repeated and split, and what is refused."""

from __future__ import annotations

import hashlib
import random
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.address import Range
from romassay.errors import BadInput, BadValue
from romassay.formats import FORMATS, read
from romassay.formats.model import Hints, Loaded, Piece, WriteOptions
from romassay.session.convert import ConvertOptions, convert, format_of_name, name_of_lane, writable
from strategies_records import RECORD_FORMATS, bits_of, content_of, images

ROM = random.Random(2364).randbytes(256)


def written(name: str, pieces: list[Piece]) -> bytes:
    write = FORMATS[name].write
    assert write is not None
    return write(pieces, WriteOptions())


def loaded(pieces: list[Piece], name: str = "intel-hex") -> Loaded:
    return read(written(name, pieces), "in.hex")


def raw(given_: Loaded, **options: object) -> bytes:
    return convert(given_, ConvertOptions(to="raw-binary", **options)).outputs[0].content  # type: ignore[arg-type]


IN = loaded([Piece(0xD000, ROM)])
GAP = loaded([Piece(0xD000, ROM[:64]), Piece(0xD080, ROM[128:])])


@pytest.mark.parametrize("source", RECORD_FORMATS)
@pytest.mark.parametrize("target", RECORD_FORMATS)
def test_between_all_formats(source: str, target: str) -> None:
    out = convert(loaded([Piece(0xD000, ROM)], source), ConvertOptions(to=target)).outputs[0]
    assert out.content == written(target, [Piece(0xD000, ROM)])


@given(st.data())
@settings(max_examples=40)
def test_sparse_images_stay_as_they_are(data: st.DataObject) -> None:
    target = data.draw(st.sampled_from(RECORD_FORMATS))
    pieces = data.draw(images(bits_of(target)))
    out = convert(loaded(pieces), ConvertOptions(to=target)).outputs[0]
    again = read(out.content, "out")
    assert convert(again, ConvertOptions(to="intel-hex")).outputs[0].content == written("intel-hex", pieces)
    assert (out.size, out.first, out.last) == (
        len(content_of(pieces)),
        pieces[0].first,
        pieces[-1].first + len(pieces[-1].data) - 1,
    )


def test_what_is_said_of_an_output() -> None:
    (out,) = convert(IN, ConvertOptions(to="s-record")).outputs
    assert (out.lane, out.size, out.first, out.last) == ("", 256, 0xD000, 0xD0FF)
    assert out.sum16 == sum(ROM) & 0xFFFF
    assert out.crc32 == zlib.crc32(ROM)
    assert out.sha256 == hashlib.sha256(ROM).hexdigest()


def test_check_values_of_the_digits_1_to_9() -> None:
    """CRC-32/ISO-HDLC CBF43926: catalogue of parametrised CRC algorithms; the plain sum 01DD was recomputed."""
    (out,) = convert(loaded([Piece(0, b"123456789")]), ConvertOptions(to="raw-binary")).outputs
    assert (out.crc32, out.sum16) == (0xCBF43926, 0x01DD)
    assert out.sha256 == "15e2b0d3c33891ebb0f1ef609ec419420c20e320ce94c65fbc8c3312448eb225"


def test_the_sum_of_bytes_is_one_of_16_bits() -> None:
    """1024 times FF is 261120, which is 3 times 65536 and FC00."""
    out = convert(loaded([Piece(0, b"\xff" * 1024)]), ConvertOptions("raw-binary")).outputs[0]
    assert out.sum16 == 0xFC00


def test_ranges_cut() -> None:
    assert raw(IN, ranges=(Range(0xD010, 0xD01F),)) == ROM[16:32]
    two = convert(IN, ConvertOptions(to="intel-hex", ranges=(Range(0xD080, 0xD083), Range(0xD010, 0xD011))))
    assert two.outputs[0].content == written("intel-hex", [Piece(0xD010, ROM[16:18]), Piece(0xD080, ROM[128:132])])


def test_a_range_beyond_the_bytes_is_filled_or_refused() -> None:
    ranges = (Range(0xCFFE, 0xD001),)
    assert raw(IN, ranges=ranges, fill=0xAA) == b"\xaa\xaa" + ROM[:2]
    with pytest.raises(BadInput, match=r"^in.hex: nothing is known of CFFE-CFFF; give --fill BYTE, or a --range$"):
        raw(IN, ranges=ranges)
    with pytest.raises(BadInput, match=r"^in.hex: holds nothing in C000-C0FF; it holds D000-D0FF$"):
        raw(IN, ranges=(Range(0xC000, 0xC0FF),))


def test_gaps_are_no_matter_where_the_output_can_show_them() -> None:
    assert convert(GAP, ConvertOptions(to="ti-txt")).outputs[0].size == 192
    with pytest.raises(BadInput, match="nothing is known of D040-D07F"):
        raw(GAP)
    with pytest.raises(BadInput, match="nothing is known of D040-D07F"):
        convert(GAP, ConvertOptions(to="ti-txt", repeat=2))
    assert raw(GAP, fill=0) == ROM[:64] + bytes(64) + ROM[128:]
    assert convert(GAP, ConvertOptions(to="raw-binary", fill=0)).notes == ("filled D040-D07F with 00",)


def test_at_moves_the_first_byte() -> None:
    (out,) = convert(GAP, ConvertOptions(to="intel-hex", at=0x100)).outputs
    assert out.content == written("intel-hex", [Piece(0x100, ROM[:64]), Piece(0x180, ROM[128:])])
    with pytest.raises(BadValue, match="the bytes do not fit above FFFFFFFF"):
        raw(IN, at=0xFFFFFFFF)


@given(st.integers(1, 5), st.integers(0, 40), st.integers(0, 255))
def test_repeat_and_size(copies: int, more: int, fill: int) -> None:
    made = raw(IN, repeat=copies, size=256 * copies + more, fill=fill)
    assert made == ROM * copies + bytes([fill]) * more


def test_repeat_to_the_size() -> None:
    assert raw(IN, repeat="size", size=2048) == ROM * 8
    assert raw(IN, size=300) == ROM + b"\xff" * 44


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"size": 255}, "256 bytes do not fit a size of 255; give a --range or a larger --size"),
        ({"repeat": "size"}, "--repeat needs to know how often; give --repeat N, or --size"),
        ({"repeat": 0}, "0 copies cannot be written; give 1 or more"),
        ({"repeat": "size", "size": 300}, "copies of 256 bytes do not fill a size of 300 evenly"),
        ({"size": 1 << 31}, "an image of 2147483648 bytes is too large; at most 268435456 bytes are added"),
        ({"at": 0xFFFFFF00, "size": 512}, "512 bytes do not fit above FFFFFF00; put them lower with --at"),
        ({"split": "odd"}, "'odd' is no way to split; choose one of even,odd or 0,1 or 0,1,2,3"),
        ({"pass_number": 2}, "in.hex: there is no pass 2; the file holds 1 pass"),
    ],
)
def test_options_that_cannot_be_followed(options: dict[str, object], message: str) -> None:
    with pytest.raises(BadValue) as refusal:
        raw(IN, **options)
    assert str(refusal.value).startswith(message)


def test_no_such_format() -> None:
    with pytest.raises(BadValue, match=r"^'morse' is no format to write; choose one of intel-hex, s-record, "):
        convert(IN, ConvertOptions(to="morse"))


def test_split_in_two_and_four() -> None:
    even, odd = convert(IN, ConvertOptions(to="raw-binary", split="even,odd")).outputs
    assert (even.lane, even.content, odd.lane, odd.content) == ("even", ROM[::2], "odd", ROM[1::2])
    assert (even.first, odd.last) == (0x6800, 0x687F)
    four = convert(IN, ConvertOptions(to="raw-binary", split="0,1,2,3")).outputs
    assert [out.content for out in four] == [ROM[i::4] for i in range(4)]


@given(images(16), st.sampled_from(["even,odd", "0,1,2,3"]))
def test_lanes_dealt_back_are_the_image(pieces: list[Piece], split: str) -> None:
    lanes = split.count(",") + 1
    try:
        outputs = convert(loaded(pieces), ConvertOptions(to="intel-hex", split=split)).outputs
    except BadValue as e:
        assert "nothing is left for" in e.problem  # noqa: PT017 - either outcome is right, by what was drawn
        return
    back = {}
    for i, out in enumerate(outputs):
        (reading,) = read(out.content, "lane").readings
        back |= {a * lanes + i: v for a, v in zip(reading.addresses().tolist(), reading.value.tolist(), strict=True)}
    assert back == content_of(pieces)


def damaged(line: int) -> bytes:
    lines = written("intel-hex", [Piece(0xD000, ROM)]).split(b"\n")
    lines[line] = lines[line][:-1] + (b"0" if lines[line][-1:] != b"0" else b"1")
    return b"\n".join(lines)


def test_damage_is_refused_unless_it_is_filled() -> None:
    bad = read(damaged(3), "bad.hex")
    with pytest.raises(BadInput) as refusal:
        raw(bad)
    assert str(refusal.value) == (
        "bad.hex: damage took D030-D03F (first on line 4: wrong checksum); "
        "read again, or give --fill BYTE to write it all the same"
    )
    with pytest.raises(BadInput, match="damage took D030-D03F"):
        convert(bad, ConvertOptions(to="s-record"))
    assert raw(bad, fill=0xFF) == ROM[:48] + b"\xff" * 16 + ROM[64:]
    assert raw(bad, ranges=(Range(0xD000, 0xD02F),)) == ROM[:48]


def test_damage_at_the_end_is_filled_too() -> None:
    assert raw(read(damaged(15), "bad.hex"), fill=0) == ROM[:240] + bytes(16)


def test_damage_without_an_address() -> None:
    text = written("intel-hex", [Piece(0xD000, ROM)]).replace(b":00000001FF", b":0300300002337A1F\n:00000001FF")
    bad = read(text, "bad.hex")
    with pytest.raises(BadInput, match="damage took 1 record whose address is not certain"):
        raw(bad)
    assert raw(bad, ranges=(Range(0xD000, 0xD0FF),)) == ROM
    assert convert(bad, ConvertOptions(to="raw-binary", fill=0)).notes == ("1 damaged record has no certain address",)


def test_passes_that_agree_help_each_other() -> None:
    both = read(damaged(3) + damaged(5), "two.hex")
    assert len(both.readings) == 2
    made = convert(both, ConvertOptions(to="raw-binary"))
    assert (made.outputs[0].content, made.notes) == (ROM, ("2 passes that agree were taken together",))


def test_passes_that_disagree_are_refused_unless_one_is_named() -> None:
    other = bytes([ROM[0] ^ 1]) + ROM[1:]
    text = written("intel-hex", [Piece(0xD000, ROM)]) + written("intel-hex", [Piece(0xD000, other)])
    both = read(text, "two.hex")
    with pytest.raises(BadInput) as refusal:
        raw(both)
    assert str(refusal.value) == (
        "two.hex: its 2 passes disagree at D000; "
        "'romassay assay' settles them from all passes; --pass N takes one as it is"
    )
    assert (raw(both, pass_number=1), raw(both, pass_number=2)) == (ROM, other)
    assert raw(both, ranges=(Range(0xD001, 0xD0FF),)) == ROM[1:]


def test_one_pass_that_contradicts_itself_is_refused() -> None:
    lines = written("intel-hex", [Piece(0xD000, ROM)]).split(b"\n")
    other = written("intel-hex", [Piece(0xD020, bytes(16))]).split(b"\n")[0]
    with pytest.raises(BadInput, match="the same addresses come with different bytes: D020-D02F"):
        raw(read(b"\n".join([*lines[:5], other, *lines[5:]]), "odd.hex"))


def test_a_narrow_part_is_written_and_told() -> None:
    narrow = read(b"BNNPPF BPNPNF", "prom")
    made = convert(narrow, ConvertOptions(to="raw-binary"))
    assert made.outputs[0].content == b"\x03\x0a"
    assert made.notes == ("only data bits 0F are known; the others are written as 0",)


def test_sparse_over_4_gib_is_not_filled() -> None:
    wide = loaded([Piece(0, b"a"), Piece(0xF0000000, b"b")])
    with pytest.raises(BadInput, match="4026531839 bytes would have to be filled between 1 and EFFFFFFF"):
        raw(wide, fill=0)
    assert convert(wide, ConvertOptions(to="s-record")).outputs[0].size == 2


def test_the_ending_names_the_format() -> None:
    assert format_of_name("a/b.HEX") == "intel-hex"
    assert format_of_name("x.bin") == "raw-binary"
    assert {format_of_name("x" + FORMATS[name].suffixes[0]) for name in writable()} == set(writable())
    with pytest.raises(
        BadValue, match=r"^x.doc: its ending '.doc' is that of no format to write; give --to with one of"
    ):
        format_of_name("x.doc")
    with pytest.raises(BadValue, match=r"^x: its name has no ending to write"):
        format_of_name("x")


def test_names_of_lanes() -> None:
    assert name_of_lane("out/image.bin", "even") == "out/image.even.bin"
    assert name_of_lane("image", "3") == "image.3"
    assert name_of_lane("image.bin", "") == "image.bin"


def test_raw_input_has_the_base_that_is_told() -> None:
    assert raw(read(ROM, "rom.bin", Hints(base=0xE000)), ranges=(Range(0xE001, 0xE002),)) == ROM[1:3]
