"""Rig files: loaded and checked against the part that they wire up, and written back."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import msgspec

from romassay.catalogue.hosts import host_slips, load_host, number_slips, range_slips, share_slips
from romassay.catalogue.parts import FoundPart, find_part
from romassay.catalogue.strict import Slip, Step, Table, blame, meant, parse, read_text
from romassay.errors import BadCatalogue, BadValue
from romassay.part import Function, Part
from romassay.rig import Contents, Evening, Rehearsal, Rig, data_mask, line_number, spread
from romassay.wiring import Completed, completed, own_pins

_PATTERN = re.compile(r"[01aA_ -]+")
_MOST_BYTES = 1 << 25


@dataclass(frozen=True, slots=True)
class RigFile:
    """A rig file, loaded.

    Attributes:
        rig: complete: what the file leaves out is proposed.
        part: of it, or None where it has none.
        folder: that its file names start from.
        part_file: file of the part, where it is one's own.
        said: the rig as the file has it.
        loose: inputs for which nothing is said and nothing could be proposed.
    """

    rig: Rig
    part: Part | None
    folder: Path
    said: Rig
    part_file: Path | None = None
    loose: tuple[str, ...] = ()


def load_rig(path: str | Path, part_folders: Sequence[Path] = (), *, strict: bool = True) -> RigFile:
    """Return the rig in a TOML file, with its part.

    Args:
        path: of the file.
        part_folders: directories of part files of one's own.
        strict: False to load a wiring that cannot be, for a plan to say what is wrong with it.

    Raises:
        BadCatalogue: with file, line and key of whatever does not fit.
    """
    file = Path(path)
    return rig_of(read_text(file, "rig"), str(path), file.parent, part_folders, strict=strict)


def rig_of(
    text: str, place: str, folder: Path = Path(), part_folders: Sequence[Path] = (), *, strict: bool = True
) -> RigFile:
    """Return the rig that a TOML text describes; a part file is looked for from `folder`. See `load_rig`."""
    raw = parse(text, Rig, place, lambda table: _with_host(table, text, place, folder))
    found = _part(raw, text, place, folder, part_folders)
    part = found.part if found else None
    for slip in host_slips(raw.host, ("host",)):
        raise slip.blamed(text, place)
    said = msgspec.structs.replace(
        raw, wiring=_spread_wiring(raw, part, text, place), held=_spread_held(raw, part, text, place)
    )
    for slip in chain(_bench_slips(said, part), _mask_slips("known", said.known, part), _twin_slips(said, part)):
        raise slip.blamed(text, place)
    whole = completed(said, part)
    if strict:
        for slip in chain(_wiring_slips(whole.rig, part), _loose_pins(whole, part)):
            raise slip.blamed(text, place)
    return RigFile(whole.rig, part, folder, said, found.file if found else None, whole.loose)


def rig_text(rig: Rig) -> str:
    """Return a rig as TOML: loading it gives the same rig."""
    return "\n".join(_toml(msgspec.to_builtins(rig), "")).lstrip("\n") + "\n"


def _with_host(table: Table, text: str, place: str, folder: Path) -> Table:
    """Put in the host that a rig only names: host = 'NAME', or [host] with like = 'NAME' and what differs from it."""
    said = table.get("host")
    own = {"like": said} if isinstance(said, str) else said
    name = own.get("like") if isinstance(own, dict) else None
    if not isinstance(own, dict) or not isinstance(name, str):
        return table
    own_file = folder / name
    try:
        known = load_host(own_file if name.endswith(".toml") else name)
    except BadCatalogue as e:
        if own_file.is_file():
            raise
        steps = ("host",) if isinstance(said, str) else ("host", "like")
        raise blame(text, place, steps, e.problem, e.advice) from e
    rest = {key: value for key, value in own.items() if key != "like"}
    return {**table, "host": _over(msgspec.to_builtins(known), rest)}


def _over(known: Table, said: Table) -> Table:
    """Return a table with what is said in another one put over it, table by table; lists are replaced."""
    result = dict(known)
    for key, value in said.items():
        former = result.get(key)
        result[key] = _over(former, value) if isinstance(former, dict) and isinstance(value, dict) else value
    return result


def _part(rig: Rig, text: str, place: str, folder: Path, part_folders: Sequence[Path]) -> FoundPart | None:
    if not rig.part:
        return None
    own_file = folder / rig.part
    try:
        found = find_part(own_file if rig.part.endswith(".toml") else rig.part, part_folders)
    except BadCatalogue as e:
        if own_file.is_file():
            raise
        raise blame(text, place, ("part",), e.problem, e.advice) from e
    if not found.part.pins:
        problem = f"no pin table of the {found.part.name} was found, so it can't be wired"
        raise blame(text, place, ("part",), problem, "give a part file of your own with its pins")
    return found


def _spread_wiring(rig: Rig, part: Part | None, text: str, place: str) -> dict[str, str]:
    wiring: dict[str, str] = {}
    for key, value in rig.wiring.items():
        try:
            pins, lines = spread(key), spread(value)
        except BadValue as e:
            raise blame(text, place, ("wiring", key), e.problem, e.advice) from e
        if len(pins) != len(lines):
            problem = f"{len(pins)} pins on {len(lines)} lines"
            raise blame(text, place, ("wiring", key), problem, "write as many of each, like A0-A9 = 'A0-A9'")
        for pin, line in zip(pins, lines, strict=True):
            name = _pin_name(part, pin, ("wiring", key), text, place)
            if name in wiring:
                raise blame(text, place, ("wiring", key), f"{name} is wired twice", "keep one")
            wiring[name] = line
    return wiring


def _spread_held(rig: Rig, part: Part | None, text: str, place: str) -> dict[str, str]:
    held: dict[str, str] = {}
    for key, level in rig.held.items():
        try:
            pins = spread(key)
        except BadValue as e:
            raise blame(text, place, ("held", key), e.problem, e.advice) from e
        for pin in pins:
            held[_pin_name(part, pin, ("held", key), text, place)] = level
    return held


def _pin_name(part: Part | None, pin: str, steps: tuple[Step, ...], text: str, place: str) -> str:
    if part is None:
        raise blame(text, place, steps, "there is no part to wire", "name the part, or take the wiring away")
    try:
        return part.pin(pin).name
    except KeyError:
        names = sorted(name for item in part.pins for name in (item.name, item.also) if name)
        raise blame(text, place, steps, f"the {part.type} has no pin '{pin}'", meant(pin, names)) from None


def _wiring_slips(rig: Rig, part: Part | None) -> Iterator[Slip]:
    if part is None:
        return
    kinds = {pin.name: pin.kind for pin in part.pins}
    addressed = _addressed(part)
    for pin, line in rig.wiring.items():
        steps = ("wiring", pin)
        if kinds[pin] in ("power", "ground"):
            yield Slip(steps, f"{pin} is a {kinds[pin]} pin", "supplies are no part of the wiring")
        elif pin in addressed:
            number = line_number(line, "A")
            strobed = pin not in own_pins(part) and rig.steady(pin) is not None
            if not strobed and (number is None or number >= rig.address_bits):
                allowed = f"allowed: A0 to A{rig.address_bits - 1}, or hold the pin under [held]"
                yield Slip(steps, f"'{line}' is no address line of the host", allowed)
        elif kinds[pin] == "data":  # those that carry addresses too were looked at above
            number = line_number(line, "D")
            if number is None or number > 7:
                yield Slip(steps, f"'{line}' is no data line of the host", "allowed: D0 to D7")
    for pin in rig.held:
        if pin in rig.wiring:
            yield Slip(("held", pin), f"{pin} is wired to {rig.wiring[pin]} as well", "wire it or hold it")
        elif kinds[pin] in ("data", "address-data"):
            yield Slip(("held", pin), f"{pin} is a data pin", "wire it to the host, or leave it open")
    if rig.held.get("R/W") == "low":
        yield Slip(("held", "R/W"), "held low, the host's reads would write", "hold it high, or wire it to the host")


def _addressed(part: Part) -> set[str]:
    """Return the pins that functions are addressed and selected by."""
    return {part.pin(name).name for item in part.functions for name in (*item.own, *item.selects)}


def _loose_pins(found: Completed, part: Part | None) -> Iterator[Slip]:
    """Inputs that float make a reading worthless; outputs and port pins may stay open."""
    if part is None:
        return
    for name in found.loose:
        advice = f"add '{name} = …' under [wiring], or under [held]"
        yield Slip(("wiring",), f"{name} (pin {part.pin(name).n}) is neither wired nor held", advice)
    if not part.pins:
        yield Slip(("part",), f"no pin table of the {part.name} is known", "give a part file of your own that has one")


def _bench_slips(rig: Rig, part: Part | None) -> Iterator[Slip]:
    """Yield what cannot be in the tables beside the wiring."""
    for index, item in enumerate(rig.window):
        yield from range_slips(("window", index), item, rig.address_bits)
    for index, item in enumerate(rig.buffer.ranges if rig.buffer else ()):
        yield from range_slips(("buffer", "ranges", index), item, rig.address_bits)
    yield from _supply_slips(rig, part)
    names = {pin.name for pin in part.pins} if part else set()
    for table in ("pull_ups", "series"):
        for pin, ohms in getattr(rig, table).items():
            if pin not in names:
                yield Slip((table, pin), f"there is no pin '{pin}'", meant(pin, sorted(names)))
            yield from number_slips((table, pin), ohms, 1, 10_000_000)
    for index, pin in enumerate(rig.gated):
        if part is None or pin not in _addressed(part) - set(own_pins(part)):
            yield Slip(("gated", index), f"'{pin}' is no select pin", "name pins that only choose a function")


def _supply_slips(rig: Rig, part: Part | None) -> Iterator[Slip]:
    rails = (
        {pin.name for pin in part.pins if pin.kind in ("power", "program") or pin.hold == "raised"} if part else set()
    )
    for table in ("rails", "checked"):
        for pin in getattr(rig.supply, table):
            if pin not in rails:
                yield Slip(("supply", table, pin), f"'{pin}' is no supply pin", meant(pin, sorted(rails)))
    for pin, volts in rig.supply.rails.items():
        yield from number_slips(("supply", "rails", pin), volts, -100, 100)
    for index, pin in enumerate(rig.supply.order):
        if pin not in rails:
            yield Slip(("supply", "order", index), f"'{pin}' is no supply pin", meant(pin, sorted(rails)))
    regulator = rig.supply.regulator
    if regulator is not None:
        for name, most in (("input", 60), ("others", 10_000), ("ambient", 100), ("heat_sink", 1000)):
            yield from number_slips(("supply", "regulator", name), getattr(regulator, name), 0, most)


def _twin_slips(rig: Rig, part: Part | None) -> Iterator[Slip]:
    twin = rig.twin
    if twin is None:
        return
    bits = rig.address_bits
    if part is None and not twin.functions:
        yield Slip(("twin",), "neither a part nor functions to rehearse with", "name a part, or add [[twin.functions]]")
    yield from _mask_slips("mask", twin.mask, part, ("twin",))
    yield from _contents_slips(twin, part)
    yield from _free_slips(twin, bits)
    yield from _bus_slips(twin)
    for name in ("substitute", "digit", "flip", "drop", "burst"):
        yield from share_slips(("twin", "noise", name), getattr(twin.noise, name))
    yield from _count_slips(("twin", "noise", "burst_length"), twin.noise.burst_length, 1, 10_000)
    yield from _count_slips(("twin", "line", "nuls"), twin.line.nuls, 0, 100)
    yield from _count_slips(("twin", "cycles"), twin.cycles, 1, 1_000_000_000)
    yield from _evening_slips(twin.evening, bits)


def _count_slips(steps: tuple[Step, ...], value: int, least: int, most: int) -> Iterator[Slip]:
    if not least <= value <= most:
        yield Slip(steps, f"{value} of them", f"allowed: {least} to {most}")


def _evening_slips(evening: Evening, bits: int) -> Iterator[Slip]:
    if not re.fullmatch(r"(?:[A-Za-z0-9][A-Za-z0-9_.-]*)?", evening.prefix):
        advice = "begin with a letter or digit; letters, digits, '-', '_' and '.' may follow"
        yield Slip(("twin", "evening", "prefix"), f"'{evening.prefix}' cannot begin a file name", advice)
    for index, item in enumerate(evening.window):
        yield from range_slips(("twin", "evening", "window", index), item, bits)
    for name in ("readings", "sessions"):
        yield from _count_slips(("twin", "evening", name), getattr(evening, name), 1, 1000)
    passes = evening.readings * evening.sessions + len(set(evening.controls))
    total = passes * sum(item.size for item in evening.ranges)
    if total > _MOST_BYTES:
        advice = f"allowed: {_MOST_BYTES} in all; read less, or less often"
        yield Slip(("twin", "evening"), f"{passes} passes are {total} bytes to print", advice)


def _mask_slips(
    table: str, said: Mapping[str, Mapping[str, str]], part: Part | None, at: tuple[Step, ...] = ()
) -> Iterator[Slip]:
    functions = {item.name: item for item in part.functions} if part else {}
    for name, levels in said.items():
        if name not in functions:
            yield Slip((*at, table, name), f"there is no function '{name}'", meant(name, functions))
            continue
        yield from _level_slips((*at, table, name), part, functions[name], levels)


def _name(part: Part | None, pin: str) -> str:
    try:
        return part.pin(pin).name if part else pin
    except KeyError:
        return pin


def _level_slips(
    at: tuple[Step, ...], part: Part | None, function: Function, levels: Mapping[str, str]
) -> Iterator[Slip]:
    for pin, level in levels.items():
        steps = (*at, pin)
        name = _name(part, pin)
        if part is None or name not in function.selects:
            yield Slip(steps, f"'{pin}' does not select '{function.name}'", meant(pin, function.selects))
        elif level not in part.options(function.name, name):
            options = part.options(function.name, name)
            yield Slip(steps, f"the {part.type} cannot have it {level}", f"allowed: {', '.join(options)}")


def _contents_slips(twin: Rehearsal, part: Part | None) -> Iterator[Slip]:
    roms = {item.name: item for item in part.of_kind("rom")} if part else {}
    for name, contents in twin.contents.items():
        if name not in roms:
            yield Slip(("twin", "contents", name), f"there is no ROM '{name}'", meant(name, roms))
        yield from _one_source(("twin", "contents", name), contents)
    for index, cell in enumerate(twin.weak):
        steps: tuple[Step, ...] = ("twin", "weak", index)
        if cell.function not in roms:
            yield Slip((*steps, "function"), f"there is no ROM '{cell.function}'", meant(cell.function, roms))
            continue
        size = roms[cell.function].size
        if not 0 <= cell.offset < size:
            yield Slip((*steps, "offset"), f"{cell.offset} in a ROM of {size} bytes", f"allowed: 0 to {size - 1}")
        if not 0 <= cell.line < roms[cell.function].width:
            yield Slip((*steps, "line"), f"data line {cell.line}", "allowed: 0 to 7")
        if cell.to not in (0, 1):
            yield Slip((*steps, "to"), f"a level of {cell.to}", "allowed: 0, 1")
        yield from share_slips((*steps, "chance"), cell.chance)


def _one_source(steps: tuple[Step, ...], contents: Contents) -> Iterator[Slip]:
    if contents.file and contents.seed is not None:
        yield Slip(steps, "both a file and a seed", "keep one")


def _free_slips(twin: Rehearsal, bits: int) -> Iterator[Slip]:
    for index, item in enumerate(twin.functions):
        steps: tuple[Step, ...] = ("twin", "functions", index)
        length = len(re.sub(r"[ _]", "", item.pattern))
        if not _PATTERN.fullmatch(item.pattern) or length != bits:
            advice = f"write {bits} characters, highest line first: 1, 0, '-' where ignored, 'a' for its own lines"
            yield Slip((*steps, "pattern"), f"'{item.pattern}' is no pattern of {bits} lines", advice)
        yield from _mask_of(steps, item.lines)
        yield from _one_source((*steps, "contents"), item.contents)
        if item.kind != "rom" and (item.contents.file or item.contents.seed is not None):
            yield Slip((*steps, "contents"), f"a {item.kind} function holds nothing of its own", "take it away")


def _mask_of(steps: tuple[Step, ...], names: tuple[str, ...]) -> Iterator[Slip]:
    try:
        mask = data_mask(names)
    except BadValue as e:
        yield Slip((*steps, "lines"), e.problem, e.advice)
        return
    if not mask:
        yield Slip((*steps, "lines"), "no data lines", "write D0 to D7, or a span like D0-D3")


def _bus_slips(twin: Rehearsal) -> Iterator[Slip]:
    covered = 0
    for index, item in enumerate(twin.floating):
        steps: tuple[Step, ...] = ("twin", "floating", index)
        yield from _mask_of(steps, item.lines)
        if not 0 <= item.value <= 0xFF:
            yield Slip((*steps, "value"), f"{item.value} is no byte", "allowed: 0 to 0xFF")
        if not math.isfinite(item.rate) or item.rate < 0:
            yield Slip((*steps, "rate"), f"{item.rate} is no rate", "allowed: 0 and above")
        covered |= data_mask(item.lines)
    if twin.floating and covered != 0xFF:
        missing = ", ".join(f"D{line}" for line in range(8) if not covered >> line & 1)
        yield Slip(("twin", "floating"), f"nothing is said of {missing}", "cover D0 to D7")
    yield from share_slips(("twin", "unrest"), twin.unrest)


def _toml(table: Mapping[str, object], name: str) -> Iterator[str]:
    """Yield the lines of a table: plain values first, then tables, then arrays of tables."""
    tables = {key: value for key, value in table.items() if isinstance(value, dict)}
    arrays = {key: value for key, value in table.items() if isinstance(value, list | tuple) and _all_tables(value)}
    for key, value in table.items():
        if key not in tables and key not in arrays:
            yield f"{_key(key)} = {_value(value)}"
    for key, value in tables.items():
        path = f"{name}.{_key(key)}" if name else _key(key)
        if not value or not all(isinstance(item, dict) for item in value.values()):
            yield f"\n[{path}]"
        yield from _toml(value, path)
    for key, value in arrays.items():
        path = f"{name}.{_key(key)}" if name else _key(key)
        for item in value:
            yield f"\n[[{path}]]"
            yield from _toml(item, path)


def _all_tables(items: Sequence[object]) -> bool:
    return bool(items) and all(isinstance(item, dict) for item in items)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _value(key)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    return repr(value)
