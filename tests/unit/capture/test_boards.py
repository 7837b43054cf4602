"""Boards unlike one another, each asked by a host file that the guide tells how to write."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.hosts import BOARDS, ROM, HalfSpeed, Host, Wire
from tests.monitors import Clock

from romassay.address import Range
from romassay.capture import LostLine
from romassay.capture.port import Port
from romassay.catalogue import load_host
from romassay.rig import Serial
from romassay.session.capture import Captured, Order, capture, dialogue_of, resume

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
