"""Sums against published figures, and the checklist against a count of pins and pairs."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.bounds import upper_bound
from romassay.catalogue import host_names, load_host, load_part, part_types, rig_of
from romassay.plan.bus import FAMILIES, conflict_resistor, nearest_above, pull_range
from romassay.plan.power import limit_for, regulated
from romassay.plan.serial import dump_seconds, readings_needed
from romassay.rig import Dump, Regulator, Serial
from strategies_rigs import legal_rig, plan_of

PARTS_WITH_PINS = [name for name in part_types() if load_part(name).pins]


def test_a_regulator_without_a_heat_sink() -> None:
    """9 V in, 0.5 A: 2.0 W from the load, and a rise of 2 x 65 = 130 K (MC7800 data sheet's 65 K/W, plus VI x IQ)."""
    plan = regulated(Regulator(input=9.0), 500)
    quiescent = 9.0 * 0.008
    assert plan.watts - quiescent == pytest.approx(2.0)
    assert plan.rise == pytest.approx(130 + quiescent * 65)
    assert plan.junction > 125


def test_a_regulator_with_a_heat_sink() -> None:
    """9 V in, 0.3 A: (9 - 5) x 0.3 + 9 x 0.008 = 1.27 W; junction to case 5 K/W (L7800 series, rev. 12, table 2)."""
    plan = regulated(Regulator(input=9.0, heat_sink=15.0), 300)
    assert plan.watts == pytest.approx(1.272)
    assert plan.junction == pytest.approx(25 + 1.272 * 20)


@pytest.mark.parametrize(("input_", "kinds"), [(9.0, []), (6.5, ["regulator-drop-out"]), (35.0, ["regulator-too-hot"])])
def test_a_regulator_is_refused_where_it_starves_or_boils(input_: float, kinds: list[str]) -> None:
    """Dropout 2 V; 35 V is the input limit of the series and far too hot without a heat sink at 200 mA."""
    text = f'part = "6530"\nhost = "monitor-300-baud"\n[supply.regulator]\ninput = {input_}\n'
    problems = plan_of(rig_of(text, "rig.toml", strict=False)).problems
    assert [item.kind for item in problems] == kinds


def test_frames_and_times_of_a_line() -> None:
    """8N1 at 9600: 960 characters a second; 110 baud with eleven bit times: 10 characters a second."""
    plain, teleprinter = (
        Serial(kind="rs-232", baud=9600),
        Serial(kind="current-loop", baud=110, data_bits=7, parity="even", stop_bits=2),
    )
    assert (plain.frame, teleprinter.frame) == (10, 11)
    one = Dump(bytes_a_line=1, line_characters=1)
    assert dump_seconds(one, plain.frame, 960, 9600) == pytest.approx(1)
    assert dump_seconds(one, teleprinter.frame, 10, 110) == pytest.approx(1)
    assert dump_seconds(Dump(bytes_a_line=16, line_characters=55, pause=0.5), 10, 33, 550) == pytest.approx(
        3 * (1 + 0.5)
    )


def test_readings_are_as_many_as_the_bound_needs() -> None:
    """The bound is the exact one-sided limit, 1 - 0.05 ** (1 / n) where nothing disagreed (rule of three, exact)."""
    assert upper_bound(0, 1000) == pytest.approx(1 - 0.05 ** (1 / 1000))
    for size, copies, target in ((1024, 1, 0.01), (1024, 9, 0.01), (32, 1, 0.01), (32, 1, 1e-6)):
        found = readings_needed(size, copies, target)
        worth = [
            size * p * min(1, p / 4) ** (n * copies - 1)
            for n in range(2, found + 1)
            for p in [1 - 0.05 ** (1 / (size * (n * copies - 1)))]
        ]
        assert worth[-1] <= target
        assert all(item > target for item in worth[:-1])


def test_levels_are_those_of_the_sheets() -> None:
    """74LS245: SDLS146B; 74HCT: product specification of 2003 at 4.5 V and 4 mA; 3.3 V: the LVTTL table."""
    ls, hct, lvc = FAMILIES["LS"], FAMILIES["HCT"], FAMILIES["LVC"]
    assert (ls.high_in, ls.low_in, ls.high, ls.low, ls.load, ls.delay) == (2.0, 0.8, 2.4, 0.4, 0.2, 12.0)
    assert (hct.high_in, hct.low_in, hct.high, hct.low, hct.load) == (2.0, 0.8, 3.84, 0.33, 0.001)
    assert (lvc.high_in, lvc.low_in, lvc.high, lvc.low) == (2.0, 0.8, 2.4, 0.4)


def test_an_nmos_high_is_not_enough_for_a_cmos_input() -> None:
    """2.4 V into an input that wants 3 V: refused without a buffer; a 74HCT245 is proposed where nothing is said."""
    head = 'part = "2316"\nhost = "reader-5v"\n'
    assert plan_of(rig_of(head, "rig.toml")).buffer_name == "74HCT245"
    kinds = [item.kind for item in plan_of(rig_of(head + "[buffer]\nfitted = false\n", "rig.toml")).problems]
    assert kinds == ["level-too-low"]
    pulled = head + "[buffer]\nfitted = false\n[pull_ups]\n" + "".join(f"D{n} = 4700\n" for n in range(8))
    assert not plan_of(rig_of(pulled, "rig.toml")).problems


def test_five_volts_are_kept_from_a_host_of_three() -> None:
    head = 'part = "2316"\nhost = "reader-3v3"\n'
    assert plan_of(rig_of(head, "rig.toml")).buffer_name == "74LVC245"
    kinds = [item.kind for item in plan_of(rig_of(head + "[buffer]\nfitted = false\n", "rig.toml")).problems]
    assert "over-voltage-at-host" in kinds


@given(st.floats(0.5, 5e6))
def test_resistors_are_of_the_series_and_not_below(ohms: float) -> None:
    """E12 of IEC 60063: ten values a decade and two more, none a step of more than 25 % above what is asked."""
    found = nearest_above(ohms)
    mantissa = found
    while mantissa >= 100:
        mantissa /= 10
    while mantissa < 9.99:
        mantissa *= 10
    assert min(abs(mantissa - value) for value in (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)) < 1e-6
    assert ohms * (1 - 1e-8) <= found <= ohms * 1.26


def test_a_conflict_pushes_no_more_than_ten_milliamperes() -> None:
    assert 5.0 / conflict_resistor(5.0) <= 0.010
    least, most = pull_range(5.0, 2.4, 16.0, 0.1, 0.2)
    assert least == pytest.approx((5 - 0.45) / 0.0158)
    assert most == pytest.approx(26_000)
    assert limit_for(200) == 250
    assert limit_for(None) == 100


@pytest.mark.parametrize("part", PARTS_WITH_PINS)
def test_the_checklist_probes_every_pin_once_and_every_pair_of_neighbours(part: str) -> None:
    found = next(rig for host in ("reader-5v", "reader-multiplexed") if (rig := legal_rig(part, host)))
    plan = plan_of(found)
    off = [item for item in plan.checks if not item.power]
    assert [item.power for item in plan.checks] == sorted(item.power for item in plan.checks)  # power off comes first
    joined = [item for item in off if len(item.pins) == 1 and "no short" not in item.expect]
    assert sorted(item.pins[0] for item in joined) == [wire.n for wire in plan.wires]
    supplies = {wire.n for wire in plan.wires if wire.net == "rail"}
    assert {item.pins[0] for item in joined[: len(supplies)]} == supplies
    assert plan.wires[joined[0].pins[0] - 1].to == "ground"
    rest = [item.pins[0] for item in joined[len(supplies) :]]
    assert rest == sorted(rest)  # round the package
    pairs = {item.pins for item in off if item.expect == "not joined"}
    for one, other in combinations(plan.wires, 2):
        if other.n == one.n + 1:
            same = one.to == other.to and "open" not in (one.net, other.net)
            assert ((one.n, other.n) in pairs) == (not same)
    assert all(b == a + 1 for a, b in pairs)
    shorted = {frozenset(item.pins) for item in off if "no short" in item.expect}
    live = [wire for wire in plan.wires if wire.net == "rail" and wire.to != "ground"]
    assert shorted == {frozenset([wire.n]) for wire in live} | {
        frozenset([one.n, other.n]) for one, other in combinations(live, 2) if one.to != other.to
    }


@pytest.mark.parametrize("name", host_names())
def test_every_part_has_a_plan_or_a_named_problem_on_every_host(name: str) -> None:
    assert load_host(name).title
    for part in PARTS_WITH_PINS:
        plan = plan_of(rig_of(f'part = "{part}"\nhost = "{name}"\n', "rig.toml", strict=False))
        assert plan.problems or plan.steps
        assert all(item.text and item.advice for item in plan.problems)


def test_the_three_rail_eprom_is_refused_until_its_voltage_was_looked_up() -> None:
    head = 'part = "2708"\nhost = "reader-5v"\n'
    [problem] = plan_of(rig_of(head, "rig.toml")).problems
    assert (problem.kind, problem.pins) == ("unchecked-voltage", ("VDD",))
    checked = head + '[supply.checked]\nVDD = "an invented data sheet, p. 2"\n'
    plan = plan_of(rig_of(checked, "rig.toml"))
    assert not plan.problems
    assert plan.power is not None
    assert [rail.pin for rail in plan.power.rails] == ["VBB", "VCC", "VDD"]  # -5 V first on, last off
    assert plan.power.off[-1] == "VBB"
    text = head + '[supply]\norder = ["VDD", "VBB", "VCC"]\n[supply.checked]\nVDD = "an invented data sheet, p. 2"\n'
    [problem] = plan_of(rig_of(text, "rig.toml")).problems
    assert (problem.kind, set(problem.pins)) == ("rail-order", {"VBB", "VDD"})


def kinds(text: str) -> list[str]:
    return [item.kind for item in plan_of(rig_of(text, "rig.toml", strict=False)).problems]


def test_nothing_may_drive_while_a_host_writes() -> None:
    """A gate helps only where the level that it gates is known; on a reader of one's own R/W may be strapped."""
    head = 'part = "2316"\nhost = "monitor-300-baud"\nwindow = ["0x4000-0x5FFF"]\n'
    bare = head + "[buffer]\nfitted = false\n"
    assert kinds(bare) == ["clash-with-host-memory", "specimen-drives-on-writes"]
    assert kinds('gated = ["CS1"]\n' + bare) == ["clash-with-host-memory", "specimen-drives-on-writes"]
    assert kinds('gated = ["CS1"]\n' + bare + '[known.rom]\nCS1 = "high"\n') == ["clash-with-host-memory"]
    assert kinds(head) == []
    strapped = 'part = "6530"\nhost = "{}"\n[held]\n"R/W" = "high"\n[buffer]\nfitted = false\n'
    assert "specimen-drives-on-writes" in kinds(strapped.format("monitor-300-baud"))
    assert "specimen-drives-on-writes" not in kinds(strapped.format("reader-5v"))


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ('part = "2716, 5 V"\nhost = "reader-5v"\n[held]\n"/CE" = "high"\n', "select-never-true"),
        ('part = "2316"\nhost = "reader-5v"\n[wiring]\n"D0-D7" = "D0-D7"\nCS1 = "A40"\n', "no-such-line"),
        ('part = "2316"\nhost = "reader-5v"\n[wiring]\nD0 = "D0"\nD1 = "D0"\n', "two-outputs-on-one-line"),
        ('part = "2316"\nhost = "reader-5v"\n[wiring]\nCS1 = "A3"\nA3 = "A3"\n', "line-used-twice"),
        ('part = "6530"\nhost = "reader-5v"\n[held]\n"R/W" = "low"\n', "writes-to-specimen"),
        ('part = "6530"\nhost = "reader-5v"\n[held]\nPA0 = "high"\n', "output-held"),
        ('part = "2708"\nhost = "reader-5v"\n[held]\nPGM = "high"\n', "held-wrong"),
        ('part = "6530"\n[host]\nlike = "reader-5v"\ncycle = {clock_mhz = 0.01}\n', "clock-too-slow"),
        ('part = "6530"\n[host]\nlike = "reader-5v"\ncycle = {clock_mhz = 4.0}\n', "clock-too-fast"),
        ('part = "6530"\n[host]\nlike = "reader-5v"\ncycle = {free_running = false}\n', "clock-stops"),
        ('part = "8755"\nhost = "reader-multiplexed"\n[held]\nALE = "high"\n', "latch-not-cycled"),
        ('part = "2316"\nhost = "monitor-300-baud"\nwindow = ["0x0000-0x1FFF"]\n', "no-free-block"),
        ('part = "2708"\nhost = "reader-5v"\n[supply.rails]\nVCC = 5.0\nVDD = 12.0\n', "supply-not-connected"),
        ('part = "2716, 5 V"\nhost = "reader-5v"\n[supply.rails]\nVCC = 5.0\nVPP = 25.0\n', "rail-outside-limits"),
        ('part = "2316"\nhost = "reader-5v"\n[supply.rails]\nVCC = 9.0\n', "rail-beyond-maximum"),
    ],
)
def test_every_error_is_a_problem_of_its_own_name(text: str, kind: str) -> None:
    assert kind in kinds(text)
