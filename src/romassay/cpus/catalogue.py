"""The instruction sets by name."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from importlib import import_module
from typing import get_args

from romassay.cpus.model import Cpu, Name
from romassay.errors import BadValue

NAMES: tuple[Name, ...] = get_args(Name)
"""Every instruction set; one that is contained in another comes before it."""

_FAMILIES = ("6500", "6800", "6809", "8080", "8048", "8051", "1802")


@cache
def _all() -> dict[str, Cpu]:
    found: dict[str, Cpu] = {}
    for family in _FAMILIES:
        cpus: Iterable[Cpu] = import_module(f"romassay.cpus.family_{family}").CPUS
        found |= {cpu.name: cpu for cpu in cpus}
    return found


def cpu_of(name: str) -> Cpu:
    """Return an instruction set by its type number, in either case; BadValue where there is none."""
    for known in NAMES:
        if known.casefold() == name.casefold():
            return _all()[known]
    raise BadValue(f"'{name}' is no CPU that is known here", advice=f"the CPUs are {', '.join(NAMES)}")
