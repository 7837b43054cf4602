from __future__ import annotations

import hashlib
from dataclasses import replace
from importlib.resources import files

import msgspec
import numpy as np
import pytest

from romassay.catalogue import RigFile, rig_of
from romassay.errors import BadValue
from romassay.twin import HIGH, LOW, Floating, LineNoise, Memory, Terminal, Weak, observe, truth
from romassay.twin.build import bench_of, files_named, noise_of, terminal_of
from romassay.twin.evening import rehearse

DEMO = files("romassay.twin") / "demo"
EXAMPLE = (DEMO / "example.toml").read_text("utf-8")

WHOLE = """
[host]
address_bits = 12
[[host.memory]]
range = "0xF00-0xFFF"
kind = "rom"
pattern = "DE AD"
[twin]
seed = 5
unrest = 0.01
contention = "high-wins"
cycles = 77
[[twin.functions]]
kind = "rom"
pattern = "1-00 aaaa aaaa"
lines = ["D0-D3"]
contents = { file = "own.bin" }
[[twin.functions]]
kind = "rom"
pattern = "1-01 aaaa aaaa"
contents = { seed = 9 }
[[twin.functions]]
kind = "rom"
pattern = "1-10 aaaa aaaa"
[[twin.floating]]
kind = "constant"
value = 0xB1
lines = ["D0-D6"]
[[twin.floating]]
kind = "decay"
value = 0
rate = 8.0
lines = ["D7"]
[twin.noise]
substitute = 0.1
digit = 0.2
flip = 0.3
drop = 0.4
burst = 0.5
burst_length = 6
[twin.line]
newline = "lf"
nuls = 3
parity = "even"
encoding = "ascii"
colour = true
typos = true
[twin.evening]
window = ["0x000-0xFFF"]
"""


def rehearsal(text: str, **changes: object) -> RigFile:
    found = rig_of(text, "rig.toml")
    assert found.rig.twin is not None
    evening = msgspec.structs.replace(found.rig.twin.evening, **changes)
    twin = msgspec.structs.replace(found.rig.twin, evening=evening)
    return replace(found, rig=msgspec.structs.replace(found.rig, twin=twin))


def test_everything_in_a_rig_file_reaches_the_bench() -> None:
    found = rig_of(WHOLE, "rig.toml")
    own = bytes(range(256))
    assert files_named(found.rig) == ("own.bin",)
    bench = bench_of(found.rig, None, {"own.bin": own})
    assert (bench.address_bits, bench.unrest, bench.contention, bench.cycles, bench.seed) == (
        12,
        0.01,
        "high-wins",
        77,
        5,
    )
    assert bench.memory == (Memory(0xF00, 0xFFF, "rom", b"\xde\xad"),)
    assert bench.floating == (Floating("constant", 0xB1, 0.5, 0x7F), Floating("decay", 0, 8.0, 0x80))
    [specimen] = bench.specimens
    assert [f.selects for f in specimen.functions] == [
        ((8, 0), (9, 0), (11, 1)),
        ((8, 1), (9, 0), (11, 1)),
        ((8, 0), (9, 1), (11, 1)),
    ]
    assert [f.driven for f in specimen.functions] == [0x0F, 0xFF, 0xFF]
    assert specimen.functions[0].data == own
    assert len({f.data for f in specimen.functions}) == 3
    assert found.rig.twin is not None
    assert noise_of(found.rig.twin) == LineNoise(0.1, 0.2, 0.3, 0.4, 0.5, 6)
    assert terminal_of(found.rig.twin) == Terminal("\n", 3, "even", "ascii", colour=True, typos=True)


def test_the_wiring_of_a_part_reaches_the_bench() -> None:
    text = EXAMPLE.replace('"A0-A10" = "A0-A10"', '"A0-A9" = "A0-A9"')
    text = text.replace("[held]", '[held]\nA10 = "high"').replace('CS3 = "high"', 'CS3 = "low"', 1)
    text = text.replace('"D0-D7" = "D0-D7"', '"D0-D7" = "D7-D0"')
    text = text.replace("# [[twin.weak]]", "[[twin.weak]]\noffset = 3\nline = 2\nto = 1\nchance = 0.5\n#")
    found = rig_of(text, "rig.toml")
    [specimen] = bench_of(found.rig, found.part, {}).specimens
    [rom] = specimen.functions
    assert rom.own == (0, 1, 2, 3, 4, 5, 6, 7, 8, 9, HIGH)
    assert rom.selects == ((15, 1), (14, 0), (LOW, 1))
    assert specimen.data_lines == (7, 6, 5, 4, 3, 2, 1, 0)
    assert rom.weak == (Weak(3, 2, 1, 0.5, "read"),)


def test_while_reset_is_held_low_a_combination_chip_is_silent() -> None:
    """MCS6500 Hardware Manual, 1976, section 1.6: the data bus drivers are off while /RES is low."""
    text = (DEMO / "rig.toml").read_text("utf-8").replace('"/RES" = "/RES"\n', '\n[held]\n"/RES" = "low"\n')
    found = rig_of(text, "rig.toml")
    bench = bench_of(found.rig, found.part, {"fog_signal.bin": bytes(1024)})
    assert truth(bench) == ()
    everything = np.arange(0x4000, 0xE000)
    assert (observe(bench, everything) == everything >> 8).all()


def test_fixed_selects_need_no_mask() -> None:
    text = """
part = "6532"
[host]
address_bits = 12
[wiring]
"A0-A6" = "A0-A6"
"/RS" = "A9"
CS1 = "A7"
"/CS2" = "A11"
"DB0-DB7" = "D0-D7"
PHI2 = "PHI2"
"R/W" = "R/W"
[held]
"/RES" = "high"
[twin.evening]
window = ["0x000-0xFFF"]
"""
    found = rig_of(text, "rig.toml")
    decodes = {item.name: item.decode for item in truth(bench_of(found.rig, found.part, {}))}
    assert decodes["ram"] == {7: "1", 8: "any", 9: "0", 10: "any", 11: "0"}
    assert decodes["io-timer"] == {5: "any", 6: "any", 7: "1", 8: "any", 9: "1", 10: "any", 11: "0"}


def test_a_file_of_another_size() -> None:
    found = rig_of(WHOLE, "rig.toml")
    with pytest.raises(BadValue, match=r"'own\.bin' holds 3 bytes, the ROM 256; give a file of the ROM's size"):
        bench_of(found.rig, None, {"own.bin": b"abc"})


def test_a_rig_without_a_rehearsal() -> None:
    found = rig_of("[host]\naddress_bits = 16\n", "rig.toml")
    with pytest.raises(BadValue, match=r"the rig has no \[twin\] table"):
        rehearse(found.rig, None, {})


def names(found: RigFile) -> list[tuple[str, str, int]]:
    return [(log.name, log.role, log.session) for log in rehearse(found.rig, found.part, {}).logs]


def test_the_logs_are_named_after_what_was_done() -> None:
    found = rehearsal(EXAMPLE, controls=("pulled-up", "empty-socket", "pulled-up"), window=("0x8000+0x20",))
    assert names(found) == [
        ("pulled-up.log", "pulled-up", 0),
        ("empty-socket.log", "empty-socket", 0),
        ("session-1-pass-1.log", "specimen", 1),
        ("session-1-pass-2.log", "specimen", 1),
        ("session-2-pass-1.log", "specimen", 2),
        ("session-2-pass-2.log", "specimen", 2),
    ]
    one = rehearsal(EXAMPLE, controls=(), sessions=1, prefix="my-", window=("0x8000+0x20",))
    assert names(one) == [("my-pass-1.log", "specimen", 1), ("my-pass-2.log", "specimen", 1)]
    together = rehearsal(EXAMPLE, controls=(), together=True, window=("0x8000+0x20",))
    assert names(together) == [("session-1-passes.log", "specimen", 1), ("session-2-passes.log", "specimen", 2)]


def test_the_same_rig_gives_the_same_logs_and_no_two_are_alike() -> None:
    found = rehearsal(EXAMPLE, window=("0x8000+0x1000",))
    one, other = (rehearse(found.rig, found.part, {}) for _ in range(2))
    assert one == other
    assert len({log.data for log in one.logs}) == len(one.logs)


def test_the_truth_is_plain_values() -> None:
    found = rehearsal(EXAMPLE, window=("0x8000-0x8FFF",))
    told = rehearse(found.rig, found.part, {}).truth
    assert told["schema"] == "romassay/truth/1"
    assert told["part"] == "2316"
    assert told["window"] == [[0x8000, 0x8FFF]]
    [rom] = told["functions"]
    assert rom["decode"] == {"A11": "any", "A12": "any", "A13": "any", "A14": "0", "A15": "1"}
    assert rom["not_exercised"] == ["A12", "A13", "A14", "A15"]
    assert rom["copies"] == list(range(0x8000, 0xC000, 0x800))
    assert len(bytes.fromhex(rom["image"])) == rom["size"] == 2048
    assert rom["sha256"] == hashlib.sha256(bytes.fromhex(rom["image"])).hexdigest()
    assert msgspec.json.decode(msgspec.json.encode(told)) == told
