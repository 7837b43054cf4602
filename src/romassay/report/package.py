"""A package in plain characters, seen from above, as a pin-out; pin by pin where the screen is too narrow for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romassay.part import Part
from romassay.report.pins import Place, name_of
from romassay.report.text import Line, Segment, paragraph

_LEAST_MARGIN = 2
"""Columns before a package that would be too wide with more: there is room for the sign of what has no source."""

_BODY = 11
"""Columns of a package, with both its edges."""


def package_lines(
    part: Part, left: Sequence[Place], right: Sequence[Place], *, width: int, margin: int
) -> Iterator[Line]:
    """Yield the package seen from above, as far to the left as it must stand; pin by pin where it is too wide."""
    role = max(len(item.role) for item in left)
    name = max(len(name_of(item.pin)) for item in left)
    other = max(len(name_of(item.pin)) for item in right)
    roles = max(len(item.role) + (2 if item.unsure else 0) for item in right)
    across = role + 2 + name + 4 + _BODY + 4 + other + 2 + roles
    margin = max(_LEAST_MARGIN, min(margin, width - across))
    title = "Pins".ljust(margin)
    if margin + across > width:
        yield (Segment("Pins"),)
        yield from _pin_by_pin((*left, *reversed(right)), width)
        return
    blank = " " * (role + name + 6)
    yield (Segment(title), Segment(f"{blank[len(title) - margin :]}┌────∪────┐", "faint"))
    for row, (one, two) in enumerate(zip(left, right, strict=True)):
        middle = part.type.center(_BODY - 2) if row == len(left) // 2 else " " * (_BODY - 2)
        yield (
            Segment("? ".rjust(margin) if one.unsure else " " * margin, "care"),
            Segment(f"{one.role.rjust(role)}  "),
            Segment(name_of(one.pin).rjust(name), "strong"),
            Segment(f" {one.pin.n:>2} "),
            Segment(f"┤{middle}├", "faint"),
            Segment(f" {two.pin.n:<2} "),
            Segment(name_of(two.pin).ljust(other), "strong"),
            Segment(f"  {two.role}"),
            Segment(" ?" if two.unsure else "", "care"),
        )
    yield (Segment(" " * margin), Segment(f"{blank}└─────────┘", "faint"))


def _pin_by_pin(places: Sequence[Place], width: int) -> Iterator[Line]:
    """Yield pins by their numbers, one after the other."""
    name = max(len(name_of(place.pin)) for place in places)
    for place in places:
        first = f"{'?' if place.unsure else ' '} {place.pin.n:>2} {name_of(place.pin):<{name}}  "
        yield from paragraph(place.role, width=width, first=first, rest=" " * len(first))
