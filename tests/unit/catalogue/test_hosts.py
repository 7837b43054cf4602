from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from romassay.catalogue import host_names, host_of, load_host, rig_of
from romassay.errors import BadCatalogue

PLAIN = """address_bits = 16

[[memory]]
range = "0x0000-0x0FFF"
kind = "ram"

[levels]
supply = 5.0
high = 2.4
low = 0.4
high_in = 2.0
low_in = 0.8
most_in = 5.5
high_current = 0.4
low_current = 8.0
load = 0.2
src = "common practice, no source"

[serial]
kind = "rs-232"
baud = 300
"""


@pytest.mark.parametrize("name", host_names())
def test_every_host_loads_and_says_what_the_sums_need(name: str) -> None:
    host = load_host(name)
    assert host.title
    assert host.levels is not None
    assert host.cycle is not None
    assert host.serial is not None
    assert host.dump is not None
    assert host.serial.baud in host.serial.rates
    assert bool(host.memory) == host.writes


def test_a_frame_is_start_data_parity_and_stop() -> None:
    assert load_host("reader-5v").serial.frame == 10  # type: ignore[union-attr]  # 8N1 = 10 bit times
    assert load_host("loop-110-baud").serial.frame == 11  # type: ignore[union-attr]  # 110 baud: 10 characters a second


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("address_bits = 16", "address_bits = 7", "my.toml:1: address_bits: 7 lines; allowed: 8 to 24"),
        ("low = 0.4", "low = 3.0", "my.toml:10: levels: low: low is not below high; write volts"),
        ("high = 2.4", "high = 5.4", "my.toml:9: levels: high: 5.4 V is above the supply; write volts"),
        ("baud = 300", "baud = 0", "my.toml:21: serial: baud: 0 cannot be; allowed: 1 to 4e+06"),
        ('"rs-232"', '"rs232"', "my.toml:20: serial: kind: 'rs232' is not allowed; did you mean 'rs-232'? "
         "allowed: current-loop, rs-232, ttl, ttl-inverted, usb"),
        ("supply = 5.0", "suply = 5.0", None),
    ],
)  # fmt: skip
def test_a_slip_names_file_line_key_and_what_is_allowed(old: str, new: str, expected: str | None) -> None:
    assert host_of(PLAIN, "my.toml").address_bits == 16
    with pytest.raises(BadCatalogue) as caught:
        host_of(PLAIN.replace(old, new, 1), "my.toml")
    if expected is None:
        assert "did you mean 'supply'" in str(caught.value)
    else:
        assert str(caught.value) == expected


def test_an_unknown_host_is_named_with_those_there_are() -> None:
    with pytest.raises(BadCatalogue, match="did you mean 'reader-5v'"):
        load_host("reader-5")


def test_a_rig_names_a_host_and_says_what_differs(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(PLAIN)
    known = load_host("monitor-300-baud")
    assert rig_of('host = "monitor-300-baud"', "rig.toml").rig.host == known
    changed = rig_of('[host]\nlike = "monitor-300-baud"\nserial = {baud = 1200}', "rig.toml").rig.host
    assert known.serial is not None
    assert changed == msgspec.structs.replace(known, serial=msgspec.structs.replace(known.serial, baud=1200))
    assert rig_of('host = "mine.toml"', "rig.toml", tmp_path).rig.host == host_of(PLAIN, "mine.toml")
    with pytest.raises(BadCatalogue, match=r"rig\.toml:1: host: 'monitor' is no host of the catalogue"):
        rig_of('host = "monitor"', "rig.toml")
    with pytest.raises(BadCatalogue, match="like: 'moniter-300-baud' is no host"):
        rig_of('[host]\nlike = "moniter-300-baud"', "rig.toml")
