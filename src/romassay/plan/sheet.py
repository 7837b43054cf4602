"""The run sheet of the evening: what to do, type and save, step by step, with the cautions at the step they belong to.

The cautions are the usual ones: static discharge after JESD625 and published handling notes; hot plugging after EPROM
data sheets; capacitors after 29 CFR 1910.333(b)(2)(ii)(C); lead after 29 CFR 1910.1025; UV-C after ICNIRP; the rest is
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from romassay.part import Part
from romassay.plan.bus import weak_pulls
from romassay.plan.model import Coverage, Power, SerialPlan, Step
from romassay.plan.power import live_rails
from romassay.plan.wires import ohms
from romassay.rig import Rig

DOCKET = "docket"
LEAST_READINGS = 3
"""Passes in a power-up: where two disagree, a third decides."""


@dataclass(frozen=True, slots=True)
class Names:
    """What commands need: the rig file as it was named, and parts that can stand in for the specimen."""

    rig: str
    stand_ins: tuple[str, ...] = ()


def run_sheet(
    rig: Rig, part: Part, names: Names, seen: Coverage, power: Power, serial: SerialPlan | None
) -> tuple[Step, ...]:
    """Return the steps of the evening."""
    readings = max((count for _, count in serial.readings), default=3) if serial else 3
    readings = max(LEAST_READINGS, readings)
    return (
        _before(rig, part),
        _wiring(part),
        _power_off(),
        _empty(rig, seen, power),
        *_practice(rig, names, seen),
        _insert(power),
        _first(rig, names, seen, readings),
        _second(rig, names, seen, readings),
        *_pulled(rig, part, names, seen),
        *_rated_ends(rig, part, names, seen),
        _after(power),
    )


def _typed(rig: Rig, seen: Coverage) -> tuple[str, ...]:
    """Return what to type at the host for one pass over the free ranges; nothing where it has no such command."""
    if rig.host.dialogue is None:
        return tuple(f"read {item.first:0{_digits(rig)}X} to {item.last:0{_digits(rig)}X}" for item in seen.free)
    return tuple(rig.host.dialogue.command(item.first, item.last) for item in seen.free)


def _digits(rig: Rig) -> int:
    return max(4, (rig.address_bits + 3) // 4)


def _assay(names: Names, *words: str) -> str:
    return " ".join(["romassay assay", *words, "--rig", names.rig, "-o", DOCKET])


def _before(rig: Rig, part: Part) -> Step:
    cautions = [
        "Local codes and licensed practice come first. Not trained for the mains? Leave what it feeds alone.",
        "Whether you may copy what the specimen holds differs by place; this is no legal advice.",
    ]
    if rig.host.mains:
        cautions.append(
            "The host is fed from the mains: pull the plug, wait, and discharge its large capacitors through a "
            "resistor before a hand goes in. Work on it with one hand, never alone."
        )
    if rig.host.tube:
        cautions.append(
            "A picture tube keeps thousands of volts for days after it was switched off, and it implodes when knocked. "
            "Leave its anode, its neck and its board to somebody who knows them; wear goggles near it."
        )
    if any(item.cell == "uv-eprom" for item in part.functions):
        cautions.append(
            "Cover an EPROM's window. UV erasers burn eyes and skin hours later: never look in, never run one open."
        )
    do = [
        f"Read a data sheet of the {part.name} of your specimen's maker. A type number is not an identity.",
        "Photograph both sides of the specimen and its board, with the pin 1 mark.",
    ]
    cautions += [item.text for item in part.cautions]
    return Step("before", "Before anything is touched", tuple(do), cautions=tuple(cautions))


def _wiring(part: Part) -> Step:
    return Step(
        "wiring",
        "Wire the socket",
        (
            f"Wire an empty {part.package} socket as the table says; the specimen stays in its foam.",
            "0.1 µF from each supply pin to ground, close to the socket.",
        ),
        cautions=(
            "Solder holds lead, its smoke irritates: air the room, do not eat there, wash your hands.",
            "Solder near the specimen, never on it.",
        ),
    )


def _power_off() -> Step:
    return Step(
        "power-off",
        "Probe it with the power off",
        ("Go through the checklist from top to bottom. Stop at the first line that is not as it says.",),
        cautions=("A continuity tester of more than 3 V, or a lamp, harms MOS chips: only with the socket empty.",),
    )


def _empty(rig: Rig, seen: Coverage, power: Power) -> Step:
    order = ", then ".join(f"{item.volts:+g} V ({item.pin})" for item in power.rails)
    return Step(
        "empty-socket",
        "Power on with the socket empty, and the first control reading",
        (
            f"Set each current limit as it stands under Supply. Switch on: {order}.",
            "Do the powered lines of the checklist.",
            "Read the window once without a specimen: what the bus says by itself.",
        ),
        _typed(rig, seen),
        "empty-socket.log",
        cautions=("Every voltage is measured at the socket before a specimen sees it.",),
    )


def _practice(rig: Rig, names: Names, seen: Coverage) -> Iterator[Step]:
    stand_in = f" Parts with the same pins: {', '.join(names.stand_ins)}." if names.stand_ins else ""
    yield Step(
        "practice",
        "Try it with a part that may be lost",
        (
            f"Power off. Put in another chip of the type whose loss you can bear.{stand_in}",
            "Read it, and see that the assay finds what it holds.",
            "No such chip? Rehearse with 'romassay twin', and go on with twice the care.",
        ),
        _typed(rig, seen),
        "practice-1.log",
        f"romassay assay practice-1.log --empty-socket empty-socket.log --rig {names.rig} -o practice",
    )


def _insert(power: Power) -> Step:
    off = ", ".join(power.off)
    cautions = [
        "Never put in or take out a part with the power on, and never drive a chip that has no power.",
        "Wrist strap on, mat grounded, specimen held by its ends; no plastic, wool or carpet near it.",
        "Pin 1 to pin 1: the notch up in the drawing. The wrong way round is the end of it.",
        "Tarnished legs: clean them with a fibre pen, away from the board, never with a file; bend none twice.",
        *_rail_order(power),
    ]
    off_at_once = [
        *(_watch(item.pin, item.maximum, item.limit) for item in power.rails),
        "a rail falls below its least voltage, or the current goes on rising",
        "the chip is too hot to leave a finger on after ten seconds, or anything smells",
    ]
    return Step(
        "insertion",
        "Put the specimen in",
        (
            f"Power off ({off or 'all rails'}). Wait until every rail is under 0.1 V. Discharge yourself.",
            "Put it in, look at every leg, look again at pin 1.",
            f"Power on, eyes on the current. Switch off at once when {'; when '.join(off_at_once)}.",
        ),
        cautions=tuple(cautions),
    )


def _rail_order(power: Power) -> list[str]:
    if len(power.rails) < 2:
        return []
    return [f"{power.rails[0].pin} on first and off last; the others never without it: that can destroy the chip."]


def _watch(pin: str, most: float | None, limit: float) -> str:
    if most is None:
        return f"{pin} draws {limit:g} mA (what it may draw is not known, so that is where the limit stands)"
    return f"{pin} draws more than {most:g} mA (the most it may; its limit is set at {limit:g} mA)"


def _numbered(stem: str, count: int) -> list[str]:
    return [f"{stem}-{number}.log" for number in range(1, count + 1)]


def _first(rig: Rig, names: Names, seen: Coverage, readings: int) -> Step:
    files = _numbered("session-1-pass", readings)
    command = _assay(names, *files, "--empty-socket empty-socket.log", "--session 1")
    do = (
        f"Read the window {readings} times, each into a file of its own.",
        "Have the terminal put the time before each line: files that are equal byte for byte count once.",
        *_short(seen),
        *([_CAPTURE] if rig.host.dialogue else []),
    )
    return Step("readings", "First session", do, _typed(rig, seen), ", ".join(files), command)


_CAPTURE = (
    "On a serial port of this computer, 'romassay capture' asks, checks each line, and files the readings by itself; "
    "control readings too, with --empty-socket, --pulled-up or --pulled-down."
)


def _short(seen: Coverage) -> Iterator[str]:
    if seen.enough and seen.enough != seen.free:
        ranges = ", ".join(str(item) for item in seen.enough)
        yield f"In a hurry: {ranges} is enough to tell every mask option from every other."


def _second(rig: Rig, names: Names, seen: Coverage, readings: int) -> Step:
    files = _numbered("session-2-pass", readings)
    return Step(
        "readings",
        "Second session: power cycle and reseat",
        (
            "Power off, take the specimen out, put it in again, power on. RAM forgets, contacts move.",
            f"Read the window {readings} times again.",
        ),
        _typed(rig, seen),
        ", ".join(files),
        _assay(names, *files, "--session 2"),
        ("Power off before you touch it; discharge yourself; pin 1 again.",),
    )


def _pulled(rig: Rig, part: Part, names: Names, seen: Coverage) -> Iterator[Step]:
    for role, value, to in zip(("pulled-up", "pulled-down"), weak_pulls(rig, part), ("+5 V", "ground"), strict=True):
        direction = role.removeprefix("pulled-")
        if value is None:
            text = (
                f"No resistor does it on this bus: what moves an undriven line to {to} is more than the specimen can "
                "drive, or its drive is not known. Leave this reading out, or put an HCT buffer between."
            )
            yield Step("readings", f"Weak pull-{direction}s: not on this bus", (text,))
            continue
        yield Step(
            "readings",
            f"A reading with weak pull-{direction}s",
            (
                f"Power off. {ohms(value)} from each data pin of the specimen to {to}. Power on, read once.",
                "What changes is floating bus; what stays is driven.",
            ),
            _typed(rig, seen),
            f"{role}.log",
            _assay(names, f"--{role} {role}.log"),
        )


def _rated_ends(rig: Rig, part: Part, names: Names, seen: Coverage) -> Iterator[Step]:
    rail = next((item for item in live_rails(part) if 4 < item.nominal < 6 and item.minimum and item.maximum), None)
    if rail is None:
        return
    if part.clock is None and rig.host.levels and rig.host.levels.supply >= 4.5:
        note = "The specimen alone, not the host: a supply of its own, grounds joined."
    else:
        note = "The specimen's supply alone; the host stays as it is."
    for number, (word, volts) in enumerate((("low", rail.minimum), ("high", rail.maximum)), 3):
        file = f"session-{number}-{word}-supply.log"
        yield Step(
            "readings",
            f"A reading at the {word} end of the rated supply",
            (f"Power off, set {rail.name} to {volts:g} V, power on, read once. {note}",),
            _typed(rig, seen),
            file,
            _assay(names, file, f"--session {number}"),
            ("Never beyond the rated ends: set the supply before the specimen is on it.",),
        )


def _after(power: Power) -> Step:
    order = ", then ".join(power.off)
    return Step(
        "afterwards",
        "Afterwards",
        (
            f"Power off: {order}. Wait, discharge yourself, take the specimen out, back into its foam.",
            "Read the summary's last block: it says what is still open, as commands.",
        ),
        command=f"romassay assay -o {DOCKET}",
    )
