"""The use case on real files: a docket grows, derives itself anew, and tells what adds nothing."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

import msgspec
import pytest

from romassay.catalogue import find_part
from romassay.docket.folder import hold
from romassay.docket.manifest import Decided, Manifest, Said, Span, encode
from romassay.errors import BadCatalogue, BadInput, BadValue
from romassay.reading import Role
from romassay.session.assay import Outcome, Request, assay_files, look
from romassay.session.loading import Input

ROM = (files("romassay.twin") / "demo" / "fog_signal.bin").read_bytes()


def noon() -> datetime:
    return datetime(2026, 1, 2, 12, tzinfo=UTC)


def dump(window: bytes, first: int = 0x8000) -> str:
    lines = (
        f"{first + i:04X}: {' '.join(f'{b:02X}' for b in window[i : i + 16])}\n" for i in range(0, len(window), 16)
    )
    return "".join(lines)


WINDOW = b"".join(b"\xff" * 1024 + ROM for _ in range(4))


def log(path: Path, banner: str = "ready", window: bytes = WINDOW) -> Path:
    path.write_text(f"{banner}\n{dump(window)}")
    return path


@pytest.fixture
def logs(tmp_path: Path) -> tuple[Path, Path, Path]:
    return log(tmp_path / "a.log", "one"), log(tmp_path / "b.log", "two"), log(tmp_path / "c.log", "three")


def assay(
    *paths: Path, into: Path | None = None, said: Said | None = None, role: Role = "specimen", **settings: Any
) -> Outcome:
    inputs = tuple(Input(path, role, said or Said()) for path in paths)
    return assay_files(Request(inputs, settings, into, "romassay assay ..."), now=noon)


def manifest(box: Path) -> Manifest:
    with hold(box) as found:
        assert found is not None
        return found


def names(box: Path) -> Sequence[str]:
    return [entry.file for entry in manifest(box).readings]


def record(outcome: Outcome) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(outcome.files[0].data)
    return found


def test_two_clean_logs_are_confirmed_and_nothing_is_written(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    before = set(tmp_path.rglob("*"))
    outcome = assay(logs[0], logs[1], size=1024)
    assert outcome.assay.verdict == "confirmed"
    assert outcome.assay.image is not None
    assert bytes(outcome.assay.image) == ROM
    assert set(tmp_path.rglob("*")) == before


def test_the_docket_and_the_call_without_one_give_the_same_record(
    logs: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    kept = assay(logs[0], logs[1], into=tmp_path / "box")
    assert assay(logs[0], logs[1]).files == kept.files
    for file in kept.files:
        assert (tmp_path / "box" / file.name).read_bytes() == file.data


def test_a_docket_grows_and_ends_where_one_call_with_all_files_ends(
    logs: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    first = assay(logs[0], into=tmp_path / "grown")
    assert first.assay.verdict == "provisional"
    assay(logs[1], into=tmp_path / "grown")
    grown = assay(logs[2], into=tmp_path / "grown")
    at_once = assay(*logs, into=tmp_path / "once")
    assert grown.files == at_once.files
    assert names(tmp_path / "grown") == ["a.log", "b.log", "c.log"]
    assert (tmp_path / "grown/readings/b.log").read_bytes() == logs[1].read_bytes()


def test_without_a_file_the_docket_is_derived_anew(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    first = assay(logs[0], logs[1], into=tmp_path / "box", size=1024)
    for path in (tmp_path / "box/assay.json", tmp_path / "box/image.bin", *logs):
        path.unlink()
    again = assay(into=tmp_path / "box")
    assert again.notices == (f"{tmp_path / 'box'}: its results were not those of its readings; they are now",)
    assert again.files == first.files
    assert assay(into=tmp_path / "box").notices == ()
    assert (tmp_path / "box/image.bin").read_bytes() == ROM
    assert [event.did for event in manifest(tmp_path / "box").history] == [
        f"added a.log, b.log; confirmed, 1024 bytes, CRC-32 {record(first)['functions'][0]['image']['crc32']}",
        *[f"derived anew; confirmed, 1024 bytes, CRC-32 {record(first)['functions'][0]['image']['crc32']}"] * 2,
    ]
    assert {event.when for event in manifest(tmp_path / "box").history} == {"2026-01-02T12:00:00Z"}


def test_the_same_file_again_adds_nothing_and_says_so(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    first = assay(logs[0], logs[1], into=tmp_path / "box")
    again = assay(logs[0], into=tmp_path / "box")
    assert again.notices == ("a.log: in the docket already; it adds nothing",)
    assert again.files == first.files
    assert names(tmp_path / "box") == ["a.log", "b.log"]


def test_a_copy_under_another_name_is_named_and_not_counted(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    copy = tmp_path / "copy.log"
    copy.write_bytes(logs[0].read_bytes())
    for outcome in (
        assay(logs[0], copy),
        assay(logs[0], copy, into=tmp_path / "box"),
        assay(copy, into=tmp_path / "box"),
        assay(into=tmp_path / "box"),
    ):
        assert outcome.assay.verdict == "provisional"
        assert len(record(outcome)["readings"]) == 1
        assert record(outcome)["duplicates"] == ["copy.log"]
        assert "duplicate-reading" in [finding.kind for finding in outcome.assay.findings]
    assert sorted(p.name for p in (tmp_path / "box/readings").iterdir()) == ["a.log"]


def test_the_same_bytes_in_another_role_are_another_reading(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    inputs = (Input(logs[0]), Input(logs[0], "empty-socket"))
    outcome = assay_files(Request(inputs, docket=tmp_path / "box"), now=noon)
    assert [reading["role"] for reading in record(outcome)["readings"]] == ["specimen", "empty-socket"]
    assert names(tmp_path / "box") == ["a.log", "a-2.log"]


def test_what_is_said_later_about_a_known_file_counts(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    assay(logs[0], logs[1], into=tmp_path / "box")
    outcome = assay(logs[0], into=tmp_path / "box", said=Said(session="tuesday"))
    assert outcome.notices == ("a.log: known already; what is said about it now counts",)
    assert [reading["session"] for reading in record(outcome)["readings"]] == ["tuesday", None]
    assert [reading["session"] for reading in record(assay(into=tmp_path / "box"))["readings"]] == ["tuesday", None]


def test_settings_stay_until_they_are_said_anew(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    box = tmp_path / "box"
    outcome = assay(logs[0], logs[1], into=box, size=1024, exclude=(Span(0x9000, 0x9FFF),))
    assert record(outcome)["options"]["size"] == 1024
    again = assay(into=box)
    assert record(again)["options"] == record(outcome)["options"]
    assert [copy["first"] for copy in record(again)["functions"][0]["copies"]] == [0x8400, 0x8C00]
    cleared = assay(into=box, size=None, exclude=())
    assert record(cleared)["options"]["size"] is None
    assert len(record(cleared)["functions"][0]["copies"]) == 4


def test_a_part_takes_the_place_of_a_size_and_back(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    box = tmp_path / "box"
    assay(logs[0], into=box, size=1024)
    assert record(assay(into=box, part="6530"))["options"] | {"address_bits": 0} == {
        "part": "6530",
        "rig": None,
        "size": None,
        "target": 0.01,
        "address_bits": 0,
        "exclude": [],
        "apply_findings": False,
    }
    back = assay(into=box, size=1024)
    assert record(back)["options"]["part"] is None
    assert back.notices == ("the part that was said before no longer counts; what is said now takes its place",)
    assert assay(into=box, size=None).notices == ()


def test_files_of_one_name_stay_apart(tmp_path: Path) -> None:
    for day in ("mon", "tue"):
        (tmp_path / day).mkdir()
        log(tmp_path / day / "pass.log", day)
    outcome = assay(tmp_path / "mon/pass.log", tmp_path / "tue/pass.log", into=tmp_path / "box")
    assert [reading["source"] for reading in record(outcome)["readings"]] == ["pass.log", "pass-2.log"]
    assert (tmp_path / "box/readings/pass-2.log").read_text().startswith("tue")


def test_a_file_of_somebody_else_among_the_readings_is_not_written_over(
    logs: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    box = tmp_path / "box"
    assay(logs[0], into=box)
    (box / "readings/b.log").write_text("mine")
    (box / "readings/c.log").write_bytes(logs[2].read_bytes())
    assay(logs[1], logs[2], into=box)
    assert names(box) == ["a.log", "b-2.log", "c.log"]
    assert (box / "readings/b.log").read_text() == "mine"


def test_a_reading_that_was_altered_or_lost_is_named(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    box = tmp_path / "box"
    assay(logs[0], logs[1], into=box)
    kept = box / "readings/a.log"
    for damage in (kept.read_bytes()[:-7], b"rubbish"):
        kept.write_bytes(damage)
        with pytest.raises(BadInput) as caught:
            assay(into=box)
        assert str(caught.value).startswith(f"{kept}: the reading is not as it was filed")
    kept.unlink()
    with pytest.raises(BadInput, match="missing"):
        assay(into=box)


def test_a_call_that_fails_leaves_the_docket_as_it_was(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    box = tmp_path / "box"
    (tmp_path / "prose.txt").write_text("It was a dark and stormy night.\n")
    with pytest.raises(BadInput, match=r"prose\.txt"):
        assay(logs[0], tmp_path / "prose.txt", into=box)
    assert not box.exists()
    assay(logs[0], into=box)
    before = {path: path.read_bytes() for path in box.rglob("*") if path.is_file()}
    with pytest.raises(BadInput):
        assay(logs[1], tmp_path / "prose.txt", into=box)
    with pytest.raises(BadCatalogue, match="no-such-part"):
        assay(logs[1], into=box, part="no-such-part")
    assert {path: path.read_bytes() for path in box.rglob("*") if path.is_file()} == before


def test_a_decision_by_hand_counts_and_never_confirms(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    box = tmp_path / "box"
    assay(logs[0], logs[1], into=box)
    decided = msgspec.structs.replace(manifest(box), decisions=(Decided(0, 5, ROM[5] ^ 1, "seen under the lens"),))
    (box / "docket.json").write_bytes(encode(decided))
    outcome = assay(into=box)
    assert outcome.assay.verdict == "provisional"
    assert (box / "image.bin").read_bytes()[5] == ROM[5] ^ 1
    assert record(outcome)["functions"][0]["image"]["decided"] == [
        {"offset": 5, "value": ROM[5] ^ 1, "reason": "seen under the lens"}
    ]
    assert manifest(box).decisions == decided.decisions


def test_only_control_readings_are_nothing_to_assay(logs: tuple[Path, Path, Path]) -> None:
    with pytest.raises(BadValue, match="no reading of the specimen"):
        assay(logs[0], role="empty-socket")
    with pytest.raises(BadValue, match="no reading of the specimen"):
        assay()


def test_an_image_that_is_found_no_more_is_taken_away(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    box = tmp_path / "box"
    assay(logs[0], into=box)
    assert (box / "image.hex").exists()
    outcome = assay(into=box, exclude=(Span(0x8000, 0x9FFF),))
    assert outcome.assay.verdict == "not-found"
    assert sorted(path.name for path in box.iterdir()) == ["assay.json", "docket.json", "readings"]


def test_bytes_in_hand_are_kept_like_a_file(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    item = Input(Path("stdin"), content=logs[0].read_bytes())
    outcome = assay_files(Request((item,), docket=tmp_path / "box"), now=noon)
    assert record(outcome)["readings"][0]["source"] == "stdin"
    assert (tmp_path / "box/readings/stdin").read_bytes() == logs[0].read_bytes()


def test_looking_keeps_nothing(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    found = look(Request((Input(logs[0]),), docket=tmp_path / "box"))
    assert [file.format for file in found] == ["text-dump"]
    assert not (tmp_path / "box").exists()
    assay(logs[0], logs[1], into=tmp_path / "box")
    assert [file.name for file in look(Request((), docket=tmp_path / "box"))] == ["a.log", "b.log"]


def test_a_part_file_of_ones_own_is_kept_with_the_docket(logs: tuple[Path, Path, Path], tmp_path: Path) -> None:
    own = tmp_path / "mine.toml"
    own.write_text((files("romassay.catalogue") / "parts" / "2316.toml").read_text("utf-8"), "utf-8")
    box = tmp_path / "box"
    first = assay(logs[0], into=box, part=str(own))
    assert record(first)["options"]["part"] == "2316"
    assert (box / "part.toml").read_bytes() == own.read_bytes()
    own.unlink()
    assert assay(into=box).files == first.files
    assert record(assay(into=box, part="2332"))["options"]["part"] == "2332"
    with pytest.raises(BadCatalogue, match=r"mine\.toml"):
        assay(into=box, part=str(own))


def test_a_type_number_with_two_pin_outs_is_enough_for_readings(tmp_path: Path) -> None:
    data = random.Random(2364).randbytes(8192)
    made = [log(tmp_path / f"{n}.log", n, data) for n in ("one", "two")]
    outcome = assay(*made, into=tmp_path / "box", part="2364")
    assert outcome.assay.verdict == "confirmed"
    assert outcome.assay.options.part is not None
    assert (outcome.assay.options.part.type, outcome.assay.options.part.pins) == ("2364", ())
    with pytest.raises(BadCatalogue, match="say which"):
        find_part("2364")


def test_a_file_refused_by_itself_is_read_as_its_companions_are(tmp_path: Path) -> None:
    short, long, prose = (tmp_path / name for name in ("short.log", "long.log", "prose.log"))
    short.write_text("4000: " + " ".join(f"{i * 7 & 255:02X}" for i in range(16)) + "\n")
    long.write_text("".join(f"{0x4000 + 16 * i:04X}: {'FF ' * 15}FF\n" for i in range(2)))
    prose.write_text("nothing but a few words of prose\n")
    with pytest.raises(BadInput):
        look(Request((Input(short),)))
    loaded = look(Request((Input(short), Input(long))))
    assert [len(found.readings[0]) for found in loaded] == [16, 32]
    with pytest.raises(BadInput, match=r"prose\.log"):
        look(Request((Input(prose), Input(long))))
    with pytest.raises(BadInput, match=r"short\.log"):
        look(Request((Input(short), Input(prose))))


def test_a_docket_that_is_not_there_is_named_and_not_made(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"nowhere: there is no such folder; name a docket"):
        assay(into=tmp_path / "nowhere")
    assert not (tmp_path / "nowhere").exists()
