"""The record against its description, and against digests by other means."""

from __future__ import annotations

import binascii
import io
import json
from typing import Any

import pytest
from intelhex import IntelHex

import examples
from romassay.docket.record import encode, image_name, record_of, result_files

READING = {"source", "sha256", "role", "session", "first", "last", "bytes", "holes", "bad_lines"}
REGION = {"first", "last", "kind", "function", "copy"}
FUNCTION = {"kind", "size", "width", "own_lines", "decode", "pins", "copies", "read_next"}
IMAGE = {"file", "size", "first", "crc32", "sha1", "sha256", "doubtful"}
CONFIDENCE = {
    "readings",
    "sessions",
    "copies",
    "observations_min",
    "disagreements",
    "wrong_bytes_upper_bound",
    "level",
    "more_readings_for_target",
}
CODE = {"cpu", "candidates", "origin", "origins", "checks"}
FINDING = {"kind", "lines", "offsets", "mapping", "probability", "blocks", "evidence", "advice"}


def parsed(name: str) -> dict[str, Any]:
    record: dict[str, Any] = json.loads(encode(record_of(examples.ALL[name]())))
    return record


@pytest.mark.parametrize("name", examples.ALL)
def test_every_promised_key_is_there(name: str) -> None:
    record = parsed(name)
    assert record["schema"] == "romassay/assay/1"
    assert set(record) >= {"version", "options", "verdict", "limits", "readings", "regions", "functions", "findings"}
    assert all(set(item) >= READING for item in record["readings"])
    assert all(set(item) >= REGION for item in record["regions"])
    assert all(set(item) >= FINDING for item in record["findings"])
    for function in record["functions"]:
        assert set(function) >= FUNCTION
        assert all(set(copy) >= {"first", "agreement"} for copy in function["copies"])
        assert set(function["image"]) >= IMAGE
        assert set(function["confidence"]) >= CONFIDENCE
        assert set(function["code"]) >= CODE


@pytest.mark.parametrize("name", examples.ALL)
def test_equal_assays_give_equal_bytes(name: str) -> None:
    assert [f.data for f in result_files(examples.ALL[name]())] == [f.data for f in result_files(examples.ALL[name]())]


def test_the_decode_names_every_line_above_the_functions_own() -> None:
    function = parsed("confirmed")["functions"][0]
    assert function["own_lines"] == [f"A{i}" for i in range(10)]
    assert function["decode"] == {"A10": "1", "A11": "0", "A12": "any", "A13": "unknown", "A14": "0", "A15": "1"}
    assert function["read_next"] == [{"first": 0xA400, "last": 0xA7FF, "resolves": ["A13"]}]
    assert [copy["first"] for copy in function["copies"]] == [0x8400, 0x8C00, 0x9400, 0x9C00]


def test_the_image_is_named_with_digests_that_others_compute_alike() -> None:
    image = parsed("confirmed")["functions"][0]["image"]
    assert image["first"] == 0x8400
    assert image["size"] == 1024
    assert image["crc32"] == f"{binascii.crc32(examples.CONTENT):08x}"
    files = {file.name: file for file in result_files(examples.confirmed())}
    assert files["image.bin"].data == examples.CONTENT
    assert files["image.bin"].sha256 == image["sha256"]


def test_doubts_give_value_and_count() -> None:
    image = parsed("provisional")["functions"][0]["image"]
    assert image["doubtful"] == [{"offset": 0x123, "alternatives": [[0x4A, 7], [0x42, 5]]}]


def test_what_a_person_decided_is_shown_as_such() -> None:
    image = parsed("decided")["functions"][0]["image"]
    assert image["decided"] == [{"offset": 0x123, "value": 0x4A, "reason": "the listing's branch ends there"}]


def test_without_a_rom_there_is_a_record_and_no_image() -> None:
    assert [file.name for file in result_files(examples.not_found())] == ["assay.json"]
    assert parsed("not-found")["verdict"] == "not-found"


def test_several_roms_are_numbered_from_two() -> None:
    names = [file.name for file in result_files(examples.two_roms())]
    assert names == ["assay.json", "image.bin", "image.hex", "image-2.bin", "image-2.hex"]
    assert [f["image"]["file"] for f in parsed("two-roms")["functions"]] == ["image.bin", "image-2.bin"]
    assert image_name(10, "bin") == "image-11.bin"


def test_intel_hex_stands_at_the_first_copy_and_leaves_out_what_was_never_seen() -> None:
    """Judged by the intelhex library."""
    files = {file.name: file.data for file in result_files(examples.two_roms())}
    whole = IntelHex(io.StringIO(files["image.hex"].decode()))
    assert (whole.minaddr(), whole.maxaddr()) == (0x8400, 0x87FF)
    assert whole.tobinstr() == examples.CONTENT
    parts = IntelHex(io.StringIO(files["image-2.hex"].decode()))
    assert parts.segments() == [(0x7000, 0x7080), (0x7088, 0x7100)]
    assert files["image-2.bin"][0x80:0x88] == b"\xff" * 8


def test_findings_keep_their_order_and_places() -> None:
    findings = parsed("provisional")["findings"]
    assert [f["kind"] for f in findings] == ["weak-bits", "short-window"]
    assert findings[0]["offsets"] == [0x123, 0x145]
    assert findings[0]["lines"] == ["D3"]
    assert findings[0]["mapping"] is None
