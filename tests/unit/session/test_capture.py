from __future__ import annotations

import os
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from tests.monitors import DIALOGUE, Clock, Line, Monitor

import romassay
from romassay.address import Range
from romassay.docket.growing import GrowingFile, Plan, read_plan
from romassay.docket.manifest import MANIFEST_FILE, Span, decode
from romassay.errors import BadInput
from romassay.formats.transcript import received
from romassay.rig import Serial
from romassay.session.assay import Request, assay_files
from romassay.session.capture import Captured, capture, resume
from romassay.session.order import Order, order_of_plan

ROM = random.Random(7).randbytes(512)
SERIAL = Serial(kind="ttl", baud=115200)


def memory(address: int) -> int:
    """A ROM of 512 bytes at 4000-41FF, and what was left on the lines elsewhere."""
    return ROM[address & 0x1FF] if address & 0xFE00 == 0x4000 else address >> 8


def order(docket: Path, **changes: object) -> Order:
    given = {
        "port": "test",
        "host": "a monitor",
        "dialogue": DIALOGUE,
        "serial": SERIAL,
        "window": (Range(0x3F00, 0x42FF),),
        "passes": 2,
        "docket": docket,
        "settings": {"size": 512},
    }
    return Order(**{**given, **changes})  # type: ignore[arg-type]


def run(docket: Path, line: Line, *, again: bool = False) -> Captured:
    clock = line.clock

    def opened(_url: str, _serial: Serial) -> Line:
        return line

    if again:
        return resume(lambda plan: order_of_plan(plan, docket), docket, clock=clock, open_port=opened)
    return capture(order(docket), clock=clock, open_port=opened)


def line(**noise: object) -> Line:
    return Line(Monitor(memory).feed, Clock(), **noise)  # type: ignore[arg-type]


def test_a_quiet_line_gives_the_exact_image_and_asks_for_each_byte_twice(tmp_path: Path) -> None:
    wire = line()
    captured = run(tmp_path / "d", wire)
    assert (tmp_path / "d" / "image.bin").read_bytes() == ROM
    assert captured.outcome.assay.verdict == "confirmed"
    assert captured.asked == captured.needed == 2 * 0x400
    (file,) = captured.files
    assert len(received(file.read_bytes())) == wire.received
    plan = read_plan(tmp_path / "d")
    assert plan is not None
    assert plan.done


def bare(address: int) -> int:
    """The bus with the socket empty."""
    return address >> 8


def test_a_control_reading_comes_first_and_is_kept_until_there_is_something_to_assay(tmp_path: Path) -> None:
    """The order of a run sheet: the empty socket, the specimen, the specimen with the data lines pulled up."""
    docket = tmp_path / "d"

    def taken(read: Callable[[int], int], **changes: object) -> Captured:
        wire = Line(Monitor(read).feed, Clock())
        return capture(order(docket, **changes), clock=wire.clock, open_port=lambda _url, _serial: wire)

    empty = taken(bare, role="empty-socket", passes=1)
    assert empty.outcome is None
    assert empty.asked == 0x400
    assert not (docket / "assay.json").exists()
    pulled = taken(lambda address: memory(address) if address & 0xFE00 == 0x4000 else 0xFF, role="pulled-up", passes=1)
    assert pulled.outcome is None
    found = taken(memory).outcome
    assert found is not None
    assert found.assay.verdict == "confirmed"
    assert [reading.role for reading in found.assay.readings.readings] == [
        "empty-socket", "pulled-up", "specimen", "specimen",
    ]  # fmt: skip
    assert "no-control-reading" not in found.assay.limits
    assert (docket / "image.bin").read_bytes() == ROM


def test_a_control_reading_that_broke_off_goes_on_as_one(tmp_path: Path) -> None:
    docket = tmp_path / "d"
    wire = Line(Monitor(bare).feed, Clock(), unplug_after=900)
    with pytest.raises(BadInput):
        capture(order(docket, role="empty-socket", passes=1), clock=wire.clock, open_port=lambda _url, _serial: wire)
    whole = run(docket, Line(Monitor(bare).feed, Clock()), again=True)
    assert whole.outcome is None
    assert {entry.role for entry in decode((docket / MANIFEST_FILE).read_bytes(), "").readings} == {"empty-socket"}


@pytest.mark.parametrize("seed", range(6))
def test_a_noisy_line_gives_the_exact_image_confirmed(tmp_path: Path, seed: int) -> None:
    captured = run(tmp_path / "d", line(corrupt=0.005, drop=0.0005, seed=seed))
    assert (tmp_path / "d" / "image.bin").read_bytes() == ROM
    assert captured.outcome.assay.verdict == "confirmed"
    assert captured.asked < 1.5 * captured.needed


def same(one: Captured, other: Captured) -> bool:
    """Tell whether two results are equal but for the names and digests of their transcripts."""
    a, b = one.outcome.assay, other.outcome.assay
    return (
        a.verdict == b.verdict
        and bytes(a.image) == bytes(b.image)  # type: ignore[arg-type]
        and a.survey.regions == b.survey.regions
        and a.survey.functions == b.survey.functions
        and a.limits == b.limits
    )


def test_unplugged_at_any_moment_it_goes_on_to_the_undisturbed_result(tmp_path: Path) -> None:
    undisturbed = run(tmp_path / "whole", line())
    chance = random.Random(11)
    for number in range(int(os.environ.get("ROMASSAY_UNPLUG", "12"))):
        docket = tmp_path / f"d{number}"
        broken = line(unplug_after=chance.randrange(1, 13_000), seed=number)
        try:
            captured = run(docket, broken)
        except BadInput:
            before = read_plan(docket)
            assert before is not None
            kept = (docket / "readings" / before.files[0]).read_bytes()
            assert len(received(kept)) == broken.received
            captured = run(docket, line(), again=True)
            assert (docket / "readings" / before.files[0]).read_bytes() == kept
            assert captured.asked <= 2 * 0x400 + 256
        assert same(captured, undisturbed)
        assert (docket / "image.bin").read_bytes() == (tmp_path / "whole" / "image.bin").read_bytes()


def test_what_was_heard_is_not_asked_for_again(tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        run(tmp_path / "d", line(unplug_after=6000))
    captured = run(tmp_path / "d", line(), again=True)
    assert captured.asked < 2 * 0x400 - 256


def test_what_was_declared_holds_when_a_capture_goes_on_from_another_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = {"part": "mine.toml", "exclude": (Span(0x4280, 0x42FF),), "target": 0.5}
    shutil.copy(Path(romassay.__file__).parent / "catalogue" / "parts" / "2332.toml", tmp_path / "mine.toml")
    for name in ("own", "else"):
        (tmp_path / name).mkdir()
    monkeypatch.chdir(tmp_path)
    wire = line(unplug_after=3000)
    with pytest.raises(BadInput):
        capture(
            order(tmp_path / "d", settings=said, part_folders=(Path("own"),)),
            clock=wire.clock,
            open_port=lambda _url, _serial: wire,
        )
    monkeypatch.chdir(tmp_path / "else")
    plan = read_plan(tmp_path / "d")
    assert plan is not None
    later = order_of_plan(plan, tmp_path / "d")
    assert later.settings == {**said, "part": str(tmp_path / "mine.toml")}
    assert later.part_folders == (tmp_path / "own",)
    assert later.until_target


def test_a_docket_with_an_unfinished_capture_is_not_captured_into_anew(tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        run(tmp_path / "d", line(unplug_after=100))
    with pytest.raises(BadInput, match=r"not finished.*--resume"):
        run(tmp_path / "d", line())


def test_there_must_be_something_to_resume(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="there is no capture here"):
        run(tmp_path / "d", line(), again=True)
    run(tmp_path / "e", line())
    with pytest.raises(BadInput, match="no unfinished capture"):
        run(tmp_path / "e", line(), again=True)


def test_a_second_capture_adds_to_the_docket(tmp_path: Path) -> None:
    run(tmp_path / "d", line())
    again = run(tmp_path / "d", line(corrupt=0.002, seed=2))
    assert again.outcome.assay.image is not None
    assert again.outcome.assay.image.confidence.readings >= 4


def test_a_damaged_note_is_named(tmp_path: Path) -> None:
    run(tmp_path / "d", line())
    note = tmp_path / "d" / "capture.json"
    note.write_text("{")
    with pytest.raises(BadInput, match=r"capture.json: the note of the capture cannot be used"):
        run(tmp_path / "d", line(), again=True)


def test_a_note_never_leads_out_of_the_docket() -> None:
    good = msgspec.json.decode(
        msgspec.json.encode(
            Plan(host="", port="", dialogue=DIALOGUE, serial=SERIAL, window=(), passes=1, files=("a.transcript",))
        )
    )
    with pytest.raises(msgspec.ValidationError, match="no safe name"):
        msgspec.convert({**good, "files": ["../../x"]}, Plan)


def test_a_full_disk_keeps_what_came_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write, left = os.write, [5000]

    def filling(handle: int, data: bytes) -> int:
        if left[0] <= 0:
            raise OSError(28, "No space left on device")
        left[0] -= len(data)
        return write(handle, data)

    monkeypatch.setattr(os, "write", filling)
    with pytest.raises(BadInput, match="no space left on device"):
        run(tmp_path / "d", line())
    monkeypatch.undo()
    captured = run(tmp_path / "d", line(), again=True)
    assert (tmp_path / "d" / "image.bin").read_bytes() == ROM
    assert captured.asked < 2 * 0x400


def test_the_docket_of_a_capture_is_derived_anew_to_the_same(tmp_path: Path) -> None:
    captured = run(tmp_path / "d", line(corrupt=0.005, seed=4))
    outcome = assay_files(Request(inputs=(), docket=tmp_path / "d"))
    assert outcome.assay.verdict == captured.outcome.assay.verdict
    assert bytes(outcome.assay.image) == ROM  # type: ignore[arg-type]


def test_a_growing_file_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "readings").mkdir()
    file = GrowingFile(tmp_path, "a.log", Clock())
    file.append(b"one")
    file.close()
    with pytest.raises(BadInput):
        GrowingFile(tmp_path, "a.log", Clock())
    assert (tmp_path / "readings" / "a.log").read_bytes() == b"one"


def test_a_line_that_cannot_be_opened_leaves_no_docket(tmp_path: Path) -> None:
    def refused(_url: str, _serial: Serial) -> Line:
        raise BadInput("cannot be opened")

    with pytest.raises(BadInput, match="cannot be opened"):
        capture(order(tmp_path / "d"), open_port=refused)
    assert not (tmp_path / "d").exists()
