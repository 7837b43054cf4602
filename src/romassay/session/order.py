"""What is to be captured, said in a call or read from the note that a capture keeps of itself."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from romassay.address import Range
from romassay.dialogue import Dialogue
from romassay.docket.growing import Plan
from romassay.docket.manifest import Settings, Span
from romassay.errors import BadValue
from romassay.formats.layout import parse_layout
from romassay.reading import Role
from romassay.rig import Host, Serial


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be captured.

    Attributes:
        port: a serial device, socket:// or rfc2217://.
        host: name of the host, for people.
        dialogue: with it.
        serial: settings of the line.
        window: ranges to read.
        passes: over all of them.
        docket: the folder that keeps everything.
        until_target: go on until the bound of the docket's target is met, as far as readings can meet it.
        session: the power-up.
        role: what is in the socket.
        settings: of the docket, as `Request` takes them.
        part_folders: directories of part files of one's own.
        command: what was typed, for the history.
    """

    port: str
    host: str
    dialogue: Dialogue
    serial: Serial
    window: tuple[Range, ...]
    passes: int
    docket: Path
    until_target: bool = False
    session: str | None = None
    role: Role = "specimen"
    settings: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    part_folders: tuple[Path, ...] = ()
    command: str = ""


def dialogue_of(host: Host, name: str) -> Dialogue:
    """Return a host's dialogue; BadValue where it has none, or one with a layout that breaks its notation."""
    if host.dialogue is None:
        raise BadValue(
            f"the host '{name}' has no dialogue: it can't be asked",
            place="--host",
            advice="type at it yourself and record with --listen, or add a [dialogue] table to a host file of your own",
        )
    if host.dialogue.layout:
        parse_layout(host.dialogue.layout)
    return host.dialogue


def order_of_plan(plan: Plan, docket: Path, *, command: str = "") -> Order:
    """Return the order that a capture's note was left by, as it stands there."""
    settings = msgspec.convert(plan.settings, Settings)
    return Order(
        port=plan.port,
        host=plan.host,
        dialogue=plan.dialogue,
        serial=plan.serial,
        window=tuple(Range(item.first, item.last) for item in plan.window),
        passes=plan.passes,
        docket=docket,
        session=plan.session,
        role=plan.role,
        until_target="target" in plan.settings,
        settings={name: getattr(settings, name) for name in plan.settings},
        part_folders=tuple(Path(name) for name in plan.part_folders),
        command=command,
    )


def plan_of(order: Order) -> Plan:
    """Return the note that a capture keeps of itself: enough to go on with it."""
    return Plan(
        host=order.host,
        port=order.port,
        dialogue=order.dialogue,
        serial=order.serial,
        window=tuple(Span(item.first, item.last) for item in order.window),
        passes=order.passes,
        session=order.session,
        role=order.role,
        settings={name: msgspec.to_builtins(_found_from_anywhere(said)) for name, said in order.settings.items()},
        part_folders=tuple(str(folder.absolute()) for folder in order.part_folders),
    )


def _found_from_anywhere(said: Any) -> Any:
    """Return a setting; the name of a file of one's own in full, for a capture may go on from another folder."""
    return str(Path(said).absolute()) if isinstance(said, str) and Path(said).suffix and Path(said).is_file() else said
