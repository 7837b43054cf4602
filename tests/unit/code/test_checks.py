"""The firmware's own checks: catalogued check values, and that only what chance cannot explain is told."""

from __future__ import annotations

import binascii
import random
import zlib

import crccheck
import numpy as np
import pytest

from romassay.code.checks import ENOUGH, own_checks
from romassay.code.sums import CRC_BY_NAME, CRCS, KINDS, WIDTHS, Totals, crc_of, sum_of, value_of

CHECK = np.frombuffer(b"123456789", np.uint8)

CATALOGUE = {  # G. Cook, Catalogue of parametrised CRC algorithms: the check value of each row of 8, 16 and 32 bits
    "crc-8/autosar": 0xDF,
    "crc-8/bluetooth": 0x26,
    "crc-8/cdma2000": 0xDA,
    "crc-8/darc": 0x15,
    "crc-8/dvb-s2": 0xBC,
    "crc-8/gsm-a": 0x37,
    "crc-8/gsm-b": 0x94,
    "crc-8/hitag": 0xB4,
    "crc-8/i-432-1": 0xA1,
    "crc-8/i-code": 0x7E,
    "crc-8/lte": 0xEA,
    "crc-8/maxim-dow": 0xA1,
    "crc-8/mifare-mad": 0x99,
    "crc-8/nrsc-5": 0xF7,
    "crc-8/opensafety": 0x3E,
    "crc-8/rohc": 0xD0,
    "crc-8/sae-j1850": 0x4B,
    "crc-8/smbus": 0xF4,
    "crc-8/tech-3250": 0x97,
    "crc-8/wcdma": 0x25,
    "crc-16/arc": 0xBB3D,
    "crc-16/cdma2000": 0x4C06,
    "crc-16/cms": 0xAEE7,
    "crc-16/dds-110": 0x9ECF,
    "crc-16/dect-r": 0x007E,
    "crc-16/dect-x": 0x007F,
    "crc-16/dnp": 0xEA82,
    "crc-16/en-13757": 0xC2B7,
    "crc-16/genibus": 0xD64E,
    "crc-16/gsm": 0xCE3C,
    "crc-16/ibm-3740": 0x29B1,
    "crc-16/ibm-sdlc": 0x906E,
    "crc-16/iso-iec-14443-3-a": 0xBF05,
    "crc-16/kermit": 0x2189,
    "crc-16/lj1200": 0xBDF4,
    "crc-16/m17": 0x772B,
    "crc-16/maxim-dow": 0x44C2,
    "crc-16/mcrf4xx": 0x6F91,
    "crc-16/modbus": 0x4B37,
    "crc-16/nrsc-5": 0xA066,
    "crc-16/opensafety-a": 0x5D38,
    "crc-16/opensafety-b": 0x20FE,
    "crc-16/profibus": 0xA819,
    "crc-16/riello": 0x63D0,
    "crc-16/spi-fujitsu": 0xE5CC,
    "crc-16/t10-dif": 0xD0DB,
    "crc-16/teledisk": 0x0FB3,
    "crc-16/tms37157": 0x26B1,
    "crc-16/umts": 0xFEE8,
    "crc-16/usb": 0xB4C8,
    "crc-16/xmodem": 0x31C3,
    "crc-32/aixm": 0x3010BF7F,
    "crc-32/autosar": 0x1697D06A,
    "crc-32/base91-d": 0x87315576,
    "crc-32/bzip2": 0xFC891918,
    "crc-32/cd-rom-edc": 0x6EC2EDC4,
    "crc-32/cksum": 0x765E7680,
    "crc-32/iscsi": 0xE3069283,
    "crc-32/iso-hdlc": 0xCBF43926,
    "crc-32/jamcrc": 0x340BC6D9,
    "crc-32/mef": 0xD2C22F51,
    "crc-32/mpeg-2": 0x0376E6E7,
    "crc-32/xfer": 0xBD0BE338,
}


def image(seed: int, size: int = 1024) -> np.ndarray:
    return np.frombuffer(random.Random(seed).randbytes(size), np.uint8).copy()


def test_every_row_gives_the_catalogues_check_value() -> None:
    assert {crc.name: crc_of(crc, CHECK) for crc in CRCS} == CATALOGUE


@pytest.mark.parametrize("size", [1, 2, 3, 255, 1000])
def test_crcs_agree_with_the_standard_library_at_any_length(size: int) -> None:
    data = image(size, size)
    assert value_of("crc-32/iso-hdlc", data) == zlib.crc32(data.tobytes())
    assert value_of("crc-16/xmodem", data) == binascii.crc_hqx(data.tobytes(), 0)
    assert value_of("crc-16/ibm-3740", data) == binascii.crc_hqx(data.tobytes(), 0xFFFF)


@pytest.mark.parametrize("size", [1, 7, 256, 1001])
def test_crcs_agree_with_a_reference_library_at_any_length(size: int) -> None:
    data = image(size + 1, size)  # crccheck, M. Scharrer: all rows of the catalogue, a bit at a time
    rows = {c._names[0].lower(): c for c in vars(crccheck.crc).values() if getattr(c, "_names", ())}
    assert {crc.name: crc_of(crc, data) for crc in CRCS} == {
        crc.name: rows[crc.name].calc(data.tobytes()) for crc in CRCS
    }


def test_sums() -> None:
    assert sum_of("sum-8", CHECK) == 0xDD
    assert sum_of("sum-16", CHECK) == 0x01DD
    assert sum_of("xor-8", CHECK) == 0x31
    assert sum_of("sum-8-carry", np.array([0xFF, 0x02], np.uint8)) == 0x02
    # RFC 1071, section 3: 00 01 F2 03 F4 F5 F6 F7 adds up to 2DDF0, and to DDF2 with the carry put back
    words = np.frombuffer(bytes.fromhex("0001F203F4F5F6F7"), np.uint8)
    assert sum_of("words-16-big", words) == 0xDDF0


@pytest.mark.parametrize(
    "kind", [kind for kind in KINDS if kind.startswith(("sum-16", "words-16", "crc-16", "crc-32"))]
)
@pytest.mark.parametrize("order", ["big", "little"])
def test_a_stored_value_is_found(kind: str, order: str) -> None:
    data = image(30)  # in about one image of 130 chance gives a hit in a likelier place, which is told instead
    width = 4 if kind.startswith("crc-32") else 2
    value = value_of(kind, data[:-width])
    data[-width:] = np.frombuffer(value.to_bytes(width, order), np.uint8)  # type: ignore[arg-type]
    found = [check for check in own_checks(data) if check.kind == kind]
    assert (0, 1023 - width, 1024 - width, value) in [(c.first, c.last, c.stored_at, c.value) for c in found]
    assert found[0].chance_hits < ENOUGH


def test_a_value_before_the_vectors_is_found() -> None:
    data = image(6)
    value = value_of("sum-16", data[:-8])
    data[-8:-6] = [value >> 8, value & 0xFF]
    assert [(c.kind, c.stored_at) for c in own_checks(data, vectors=6)] == [("sum-16", 1016)]
    assert own_checks(data) == ()


def test_a_single_8_bit_sum_is_never_told_but_one_in_every_block_is() -> None:
    data = image(7, 2048)
    data[0] = (int(data[0]) - sum_of("sum-8", data)) & 0xFF
    assert own_checks(data) == ()
    for at in (0, 1024):
        part = data[at : at + 1024]
        part[0] = (int(part[0]) - sum_of("sum-8", part)) & 0xFF
    assert {(c.kind, c.first, c.last) for c in own_checks(data)} == {("sum-8", 0, 1023), ("sum-8", 1024, 2047)}


@pytest.mark.parametrize("kind", ["sum-16", "words-16-little-carry", "crc-16/xmodem", "crc-32/bzip2"])
def test_a_value_behind_a_first_jump_is_found_and_left_out_of_its_own_check(kind: str) -> None:
    data = image(8)
    width = 4 if kind.startswith("crc-32") else 2
    rest = np.concatenate([data[:3], data[3 + width :]])
    data[3 : 3 + width] = np.frombuffer(value_of(kind, rest).to_bytes(width, "little"), np.uint8)
    found = [check for check in own_checks(data, order="little") if check.kind == kind]
    assert [(c.first, c.last, c.stored_at) for c in found] == [(0, 1023, 3)]


def test_the_last_value_before_the_padding_is_found() -> None:
    data = image(9, 2048)
    data[1502:] = 0xFF
    value = value_of("crc-16/ibm-3740", data[:1500])
    data[1500:1502] = [value >> 8, value & 0xFF]
    found = own_checks(data, order="big")
    assert [(c.kind, c.first, c.last, c.stored_at) for c in found] == [("crc-16/ibm-3740", 0, 1499, 1500)]


@pytest.mark.parametrize("kind", ["sum-16", "crc-16/xmodem", "sum-8", "crc-8/dvb-s2"])
def test_a_value_at_the_end_of_each_block_is_found(kind: str) -> None:
    data = image(10, 2048)
    width = WIDTHS[kind] // 8
    for at in range(0, 2048, 256):
        value = value_of(kind, data[at : at + 256 - width])
        data[at + 256 - width : at + 256] = np.frombuffer(value.to_bytes(width, "little"), np.uint8)
    found = {(c.first, c.last, c.stored_at) for c in own_checks(data, order="little") if c.kind == kind}
    assert {(at, at + 255 - width, at + 256 - width) for at in range(0, 2048, 256)} <= found


def test_blocks_that_combine_to_nothing_are_told_as_such_and_not_by_a_stored_value() -> None:
    data = image(13, 2048)
    for at in range(0, 2048, 256):
        data[at + 255] = value_of("xor-8", data[at : at + 255])
    assert {(c.kind, c.first, c.stored_at, c.value) for c in own_checks(data)} == {
        ("xor-8", at, None, 0) for at in range(0, 2048, 256)
    }


def test_blocks_that_come_out_at_one_value_whatever_it_is_are_told() -> None:
    data = image(14, 2048)
    for at in range(0, 2048, 512):
        data[at + 77] = (0x5A - sum_of("sum-8", np.delete(data[at : at + 512], 77))) & 0xFF
    assert {(c.kind, c.first, c.value) for c in own_checks(data)} == {("sum-8", at, 0x5A) for at in range(0, 2048, 512)}


@pytest.mark.parametrize(("held", "at"), [(None, 1201), (0x00, 640), (0xFF, 4)])
def test_a_value_of_32_bits_anywhere_is_found_however_its_own_place_counts(held: int | None, at: int) -> None:
    data = image(15, 2048)
    data[at : at + 4] = held or 0
    covered = np.delete(data, slice(at, at + 4)) if held is None else data
    data[at : at + 4] = np.frombuffer(zlib.crc32(covered.tobytes()).to_bytes(4, "big"), np.uint8)
    assert [(c.kind, c.first, c.last, c.stored_at) for c in own_checks(data)] == [("crc-32/iso-hdlc", 0, 2047, at)]


def test_a_crc_that_is_brought_to_nothing_is_found() -> None:
    data = image(16, 1024)  # XMODEM: two bytes that are chosen so that the whole comes out at 0000
    for patch in range(1 << 16):
        data[500:502] = [patch >> 8, patch & 0xFF]
        if binascii.crc_hqx(data.tobytes(), 0) == 0:
            break
    assert [(c.kind, c.first, c.last, c.stored_at, c.value) for c in own_checks(data, order="big")] == [
        ("crc-16/xmodem", 0, 1021, 1022, int.from_bytes(data[-2:].tobytes(), "big"))
    ]


@pytest.mark.parametrize("kind", ["sum-8", "xor-8", "sum-16"])
def test_a_table_of_the_blocks_values_is_found(kind: str) -> None:
    data = image(11, 4096)
    width = 2 if kind == "sum-16" else 1
    for block in range(8):
        value = value_of(kind, data[512 * block : 512 * block + 512])
        at = 4000 + width * block
        data[at : at + width] = np.frombuffer(value.to_bytes(width, "big"), np.uint8)
    found = [(c.first, c.last, c.stored_at) for c in own_checks(data, order="big") if c.kind == kind]
    assert found == [(512 * n, 512 * n + 511, 4000 + width * n) for n in range(7)]


@pytest.mark.parametrize(("first", "end", "at"), [(0, 1001, 1001), (64, 517, 517), (256, 768, 1801), (512, 2048, 77)])
def test_a_value_of_32_bits_is_found_where_no_page_ends_or_far_from_what_it_covers(
    first: int, end: int, at: int
) -> None:
    data = image(20, 2048)
    data[at : at + 4] = np.frombuffer(zlib.crc32(data[first:end].tobytes()).to_bytes(4, "little"), np.uint8)
    found = [(c.kind, c.first, c.last, c.stored_at) for c in own_checks(data)]
    assert found == [("crc-32/iso-hdlc", first, end - 1, at)]


@pytest.mark.parametrize(("kind", "first"), [("sum-16", 0), ("crc-16/xmodem", 0), ("crc-16/kermit", 905)])
def test_a_value_of_16_bits_is_found_anywhere_beside_its_complement(kind: str, first: int) -> None:
    data = image(21, 2048)
    value = value_of(kind, data[first:] if first else np.concatenate([data[:901], data[905:]]))
    data[901:905] = np.frombuffer((value << 16 | value ^ 0xFFFF).to_bytes(4, "big"), np.uint8)
    found = [(c.kind, c.first, c.last, c.stored_at) for c in own_checks(data)]
    assert found == [(kind, first, 2047, 901)]


def test_the_sum_of_all_bytes_with_its_own_and_its_complement_is_found() -> None:
    data = image(22, 2048)
    data[500:504] = 0
    value = (sum_of("sum-16", data) + 2 * 0xFF) & 0xFFFF  # a word and its complement add 2 x FF, whatever they are
    data[500:504] = np.frombuffer((value ^ 0xFFFF).to_bytes(2, "little") + value.to_bytes(2, "little"), np.uint8)
    assert ("sum-16", 0, 2047, 500) in [(c.kind, c.first, c.last, c.stored_at) for c in own_checks(data)]


def test_an_image_that_is_mostly_padding_is_searched() -> None:
    data = np.full(2048, 0xFF, np.uint8)
    data[:700] = image(23, 700)
    data[-2:] = np.frombuffer(value_of("crc-16/arc", data[:-2]).to_bytes(2, "big"), np.uint8)
    assert [(c.kind, c.last) for c in own_checks(data)] == [("crc-16/arc", 2045)]


def test_regular_tables_prove_nothing() -> None:
    rng = random.Random(24)
    blocks = [bytes(rng.sample(range(256), 256)) for _ in range(8)]  # each value once: every block's XOR is 00
    assert own_checks(np.frombuffer(b"".join(blocks), np.uint8)) == ()


@pytest.mark.parametrize("kind", ["crc-32/iso-hdlc", "crc-32/mpeg-2"])
def test_a_crc_to_each_place_is_that_of_the_bytes_before_it(kind: str) -> None:
    data = image(25, 300)
    values = Totals(data).crc_to_each(CRC_BY_NAME[kind], 7)
    assert values.tolist() == [value_of(kind, data[7:end]) for end in range(7, 301)]


def test_equal_and_blank_blocks_prove_nothing() -> None:
    block = image(12, 512)
    block[0] = (int(block[0]) - sum_of("sum-8", block)) & 0xFF
    same = np.concatenate([block, block, block, np.full(512, 0xFF, np.uint8)])  # FF 512 times adds up to 00 as well
    assert own_checks(same) == ()


def test_noise_gives_no_more_hits_than_it_is_said_to() -> None:
    hits = sum(bool(own_checks(image(seed, 256), vectors=6)) for seed in range(400))
    assert hits <= 400 * ENOUGH


@pytest.mark.parametrize(
    "data", [b"", b"\0" * 1024, b"\xff" * 2048, random.Random(1).randbytes(512) * 2, bytes(range(256)) * 5]
)
def test_what_comes_out_even_by_itself_is_no_check(data: bytes) -> None:
    assert own_checks(np.frombuffer(data, np.uint8)) == ()
