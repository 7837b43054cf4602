"""Boards unlike one another, each asked by a host file that the guide tells how to write."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tests.hosts import BOARDS, ROM, HalfSpeed, Host, Wire, memory
from tests.monitors import Clock

from romassay.address import Range
from romassay.capture import Answered, Asking, Event, LostLine
from romassay.capture.port import Port, Unplugged
from romassay.catalogue import load_host
from romassay.formats import text_dump
from romassay.formats.model import Hints
from romassay.rig import Serial
from romassay.session.capture import Captured, capture, resume
from romassay.session.order import Order, dialogue_of

WINDOW = Range(0x3F40, 0x42BF)


def order_for(name: str, folder: Path, window: Range = WINDOW) -> Order:
    file = folder / "my.toml"
    file.write_text(BOARDS[name].file)
    host = load_host(str(file))
    assert host.serial is not None
    return Order(
        port="test",
        host=str(file),
        dialogue=dialogue_of(host, str(file)),
        serial=host.serial,
        window=(window,),
        passes=2,
        docket=folder / "docket",
        settings={"size": 512},
    )


def run(name: str, folder: Path, host: Host, *, again: bool = False, **noise: float) -> Captured:
    clock = Clock()
    wire = Wire(host, clock, baud=BOARDS[name].baud, **noise)  # type: ignore[arg-type]

    def opened(_url: str, _serial: Serial) -> Port:
        return wire

    if again:
        return resume(lambda _: order_for(name, folder), folder / "docket", clock=clock, open_port=opened)  # type: ignore[arg-type]
    return capture(order_for(name, folder), clock=clock, open_port=opened)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", BOARDS)
def test_each_board_gives_its_image_and_is_asked_for_no_byte_twice(name: str, tmp_path: Path) -> None:
    host = BOARDS[name].make()
    captured = run(name, tmp_path, host)
    assert (tmp_path / "docket" / "image.bin").read_bytes() == ROM
    assert captured.outcome.assay.verdict == "confirmed"
    # an address in two parts shows itself only when the first part changes: until then its answers say nothing
    again = captured.needed // 4 if name == "split octal" else 0
    assert captured.needed <= captured.asked <= captured.needed + again
    assert captured.missing == 0
    assert host.harm == []


@pytest.mark.parametrize("name", sorted(BOARDS.keys() - {"slow"}))
def test_each_board_gives_its_image_over_a_bad_line(name: str, tmp_path: Path) -> None:
    host = BOARDS[name].make()
    run(name, tmp_path, host, corrupt=0.005, drop=0.0005, seed=11)
    assert (tmp_path / "docket" / "image.bin").read_bytes() == ROM
    assert host.harm == []


def test_a_host_that_drops_to_half_its_rate_is_told_and_gone_on_with(tmp_path: Path) -> None:
    with pytest.raises(LostLine, match=r"host .* prompt.*the rate with --probe; then --resume"):
        run("plain", tmp_path, HalfSpeed())
    captured = run("plain", tmp_path, Host(), again=True)
    assert (tmp_path / "docket" / "image.bin").read_bytes() == ROM
    assert captured.asked < captured.needed


def test_a_layout_that_is_not_the_hosts_is_told_with_the_one_that_is(tmp_path: Path) -> None:
    file = tmp_path / "my.toml"
    order = order_for("plain", tmp_path)
    file.write_text(BOARDS["plain"].file + "layout = 'address=hex4 after=\"  \" cells=16 cell=hex2'\n")
    host = load_host(str(file))
    clock = Clock()
    wire = Wire(Host(), clock)
    wrong = replace(order, dialogue=dialogue_of(host, str(file)))
    with pytest.raises(LostLine, match=r"not of the layout .* cells=16 .*, but of .* cells=8 .*; mend layout"):
        capture(wrong, clock=clock, open_port=lambda _url, _serial: wire)  # type: ignore[arg-type]
    captured = run("plain", tmp_path, Host(), again=True)
    assert (tmp_path / "docket" / "image.bin").read_bytes() == ROM
    assert captured.outcome.assay.verdict == "confirmed"


@pytest.mark.parametrize("name", ["columns", "octal", "decimal", "steps"])
def test_what_is_left_after_a_break_is_asked_for_and_read_by_the_layout_that_was_learnt(
    name: str, tmp_path: Path
) -> None:
    """The line breaks when only a few lines are missing: too few to learn a layout from."""
    clock = Clock()
    wire = Wire(BOARDS[name].make(), clock, corrupt=0.004, seed=5)
    order = order_for(name, tmp_path)

    def cut(account: Asking, event: Event) -> None:
        if isinstance(event, Answered) and 0 < account.needed - account.got < 64:
            raise Unplugged("the line is gone", place="test")

    with pytest.raises(Unplugged):
        capture(order, watch=cut, clock=clock, open_port=lambda _url, _serial: wire)  # type: ignore[arg-type]
    captured = run(name, tmp_path, BOARDS[name].make(), again=True)
    assert (tmp_path / "docket" / "image.bin").read_bytes() == ROM
    assert captured.asked < captured.needed // 4


TYPED = {
    "plain": "HELP\rD 3F40,3F4F\rD 3F\x1bD 3F40,42BF\rM 0200 FF\rD 4000,400F\rD 3F40,42BF\rbye\r",
    "columns": "E 4000 40\x18E 3f40 42bf\rE 3F40 42BF\rX\r",
    "octal": "037500/041277\r037500/041277\r",
    "split octal": "P077.100-102.277\rP077.100-102.277\r",
    "decimal": "LIST\rPRINT 16192,17087\rPRINT 16192,17087\r",
    "keys": "D3F4042BFD3F4042BF",
    "paging": ("D 3F40,42BF\r" + " " * 13) * 2,
    "steps": ("X3F40\r" + "+" * 0x37F + "\x1b") * 2,
    "addressed": "3F40-42BF\r4000-400F\r3F40-42BF\r",
    "mute": "R3F400380\rR3F400380\r",
}
"""What a person types at a host while romassay listens: two passes, and slips and other commands between."""


@pytest.mark.parametrize("name", TYPED)
def test_two_passes_that_a_person_asked_for_are_found_in_what_the_line_said(name: str) -> None:
    host = BOARDS[name].make()
    said = b"".join(map(host.hear, TYPED[name].encode()))
    readings = [r for r in text_dump.read(said, Hints()).readings if len(r.value) >= WINDOW.size]
    assert len(readings) == 2
    for reading in readings:
        seen = {}
        for first, start, count, _ in reading.runs.tolist():
            seen |= dict(enumerate(reading.value[start : start + count].tolist(), first))
        assert seen == {address: memory(address) for address in range(WINDOW.first, WINDOW.last + 1)}
