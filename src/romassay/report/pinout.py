"""A package as a drawing, seen from above: numbers, names and roles, for print and for whoever sees few colours.

Each role has a shape and a pattern of its own, and its word beside the pin; colour only goes with them. A pin whose
place has no source has a broken outline and a question mark.
"""

from __future__ import annotations

from romassay.part import Part, PinRole
from romassay.report.pins import ROLES_TOLD, Place, name_of, sides
from romassay.report.svg import drawing, element, label, rect, wire
from romassay.report.text import clean

_STEP = 26
_TOP = 88
_BODY = 170
_LEG = 26
_SIGN = 30
_CHARACTER = 7.4
_FILLS: dict[PinRole, str] = {
    "address": "#dbe9f6",
    "data": "#1b4f8a",
    "address-data": "url(#stripes)",
    "select": "#f6c445",
    "control": "#ffffff",
    "clock": "#ffffff",
    "io": "#d9d9d9",
    "power": "#b3261e",
    "program": "url(#hatch)",
    "ground": "#000000",
    "no-connect": "#ffffff",
}
_STYLE = (
    "text{font-family:'DejaVu Sans',Verdana,sans-serif;fill:#111}"
    ".n{font-size:13px}.name{font-size:15px;font-weight:bold}.role{font-size:12px}"
    ".type{font-size:20px;font-weight:bold}.small{font-size:12px}"
    ".body{fill:#fff;stroke:#111;stroke-width:2}.leg{fill:#fff;stroke:#111;stroke-width:1.2}"
    ".unsure{stroke-dasharray:4 3}.sign{stroke:#111;stroke-width:1.4;stroke-linejoin:round}"
    ".line{fill:none;stroke:#111;stroke-width:1.6}"
)
_PATTERNS = (
    '<defs><pattern id="stripes" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="6" fill="#dbe9f6"/><rect width="6" height="2.6" fill="#1b4f8a"/></pattern>'
    '<pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="5" height="5" fill="#fff"/><rect width="2" height="5" fill="#b3261e"/></pattern></defs>'
)


def pin_out(part: Part) -> str:
    """Return the pin-out of a part as an SVG document of its own."""
    left, right = sides(part)
    wings = [max(_width(item) for item in side) for side in (left, right)]
    middle = wings[0] + _SIGN + _LEG
    height = _TOP + len(left) * _STEP
    body = [
        rect(middle, _TOP - 14, _BODY, len(left) * _STEP + 12, class_="body"),
        element("path", d=f"M{middle + _BODY / 2 - 14:g} {_TOP - 14} a14 14 0 0 0 28 0", class_="body"),
    ]
    pins = [
        _pin(part, item, _TOP + row * _STEP + 10, middle, side)
        for side, places in (("left", left), ("right", right))
        for row, item in enumerate(places)
    ]
    roles = list(dict.fromkeys(item.pin.kind for item in (*left, *right)))
    legend, deep = _legend(roles, any(item.unsure or "?" in item.role for item in (*left, *right)), 20, height + 34)
    width = max(middle + _BODY + _LEG + _SIGN + wings[1], 40 + 9.6 * len(part.title), 720.0)
    shift = (width - middle - _BODY - _LEG - _SIGN - wings[1]) / 2
    says = f"pin-out of the {clean(part.name)}, {part.package}, seen from above: " + ", ".join(
        f"{item.pin.n} {item.pin.name}" for item in (*left, *reversed(right))
    )
    centre = middle + _BODY / 2
    words = [
        label(clean(part.type), centre, height / 2 + 30, class_="type", text_anchor="middle"),
        label(clean(part.variant), centre, height / 2 + 50, class_="small", text_anchor="middle"),
        label(clean(part.title), 20, 24, class_="name"),
        label(clean(_package(part)), 20, 44, class_="small"),
        label(
            "Notch at the top, pin 1 at the top left. A leading / is active low. Levels and volts are for reading.",
            20,
            61,
            class_="small",
        ),
    ]
    package = element("g", (*body, *pins, *words[:2]), transform=f"translate({shift:g} 0)")
    parts = [_PATTERNS, element("style", (_STYLE,)), *words[2:], package, *legend]
    text = drawing(parts, width, deep, says)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _package(part: Part) -> str:
    row = f", rows {part.row:g} inch apart" if part.row else ""
    return f"{part.name}, {part.package}{row}, seen from above."


def _width(place: Place) -> float:
    return 14 + _CHARACTER * (len(place.role) + 1.28 * len(name_of(place.pin)) + 1)


def _pin(part: Part, place: Place, y: float, middle: float, side: str) -> str:
    """Return a pin: its leg with the number beside it, its sign, and outward of that its name and its role."""
    pin = place.pin
    out = -1 if side == "left" else 1
    edge = middle if side == "left" else middle + _BODY
    leg_x = edge - _LEG if side == "left" else edge
    anchor = "end" if side == "left" else "start"
    sign = edge + out * (_LEG + 13)
    words = edge + out * (_LEG + _SIGN)
    doubt = " unsure" if place.unsure else ""
    called = f"{name_of(pin)} ?" if place.unsure else name_of(pin)
    name = element("tspan", (_escaped(called),), class_="name")
    role = element("tspan", (_escaped(place.role),), class_="role")
    text = f"{role}  {name}" if side == "left" else f"{name}  {role}"
    return "".join(
        (
            rect(leg_x, y - 7, _LEG, 14, class_=f"leg{doubt}", says=f"{pin.n} {called}: {place.role}"),
            label(str(pin.n), edge - out * 8, y + 5, class_="n", text_anchor="start" if side == "left" else "end"),
            _sign(pin.kind, sign, y, out, below=any(rail.pin == pin.n and rail.nominal < 0 for rail in part.rails)),
            element("text", (text,), x=words, y=y + 5, text_anchor=anchor, xml_space="preserve"),
        )
    )


def _escaped(text: str) -> str:
    from html import escape

    return escape(text)


def _sign(kind: PinRole, x: float, y: float, out: int, *, below: bool = False) -> str:
    """Return the sign of a role, pointing into the package (out is -1 on the left side) or out of it.

    `below` is said of a supply below ground.
    """
    fill = _FILLS[kind]
    inward = -out * 7
    if kind == "address":
        return _shape([(x - inward, y - 7), (x + inward, y), (x - inward, y + 7)], fill)
    if kind == "data":
        return _shape([(x + inward, y - 7), (x - inward, y), (x + inward, y + 7)], fill)
    if kind in ("address-data", "io"):
        points = [(x - 9, y), (x - 3, y - 7), (x + 3, y - 7), (x + 9, y), (x + 3, y + 7), (x - 3, y + 7)]
        return _shape(points if kind == "io" else [(x - 9, y), (x, y - 8), (x + 9, y), (x, y + 8)], fill)
    if kind == "select":
        return element("circle", cx=x, cy=y, r=7, fill=fill, class_="sign")
    if kind == "control":
        return rect(x - 7, y - 7, 14, 14, fill=fill, class_="sign")
    if kind == "clock":
        wave = wire(
            (x - 5, y + 4), (x - 5, y - 4), (x, y - 4), (x, y + 4), (x + 5, y + 4), (x + 5, y - 4), class_="line"
        )
        return rect(x - 8, y - 8, 16, 16, fill=fill, class_="sign") + wave
    if kind in ("power", "program"):
        plus = wire((x - 4, y), (x + 4, y), stroke="#fff", stroke_width=2.4)
        if not below:
            plus += wire((x, y - 4), (x, y + 4), stroke="#fff", stroke_width=2.4)
        square = rect(x - 8, y - 8, 16, 16, fill=fill, class_="sign", rx=4)
        return square + (plus if kind == "power" else "")
    if kind == "ground":
        bars = ((9, 0), (6, 4), (3, 8))
        lines = "".join(wire((x - half, y + down), (x + half, y + down), class_="line") for half, down in bars)
        return wire((x, y - 8), (x, y), class_="line") + lines
    return wire((x - 6, y - 6), (x + 6, y + 6), class_="line") + wire((x - 6, y + 6), (x + 6, y - 6), class_="line")


def _shape(points: list[tuple[float, float]], fill: str) -> str:
    return element("polygon", points=" ".join(f"{x:g},{y:g}" for x, y in points), fill=fill, class_="sign")


def _legend(roles: list[PinRole], unsure: bool, x: float, y: float) -> tuple[list[str], float]:
    """Return the legend in two columns, and how far down it reaches."""
    parts = []
    for number, kind in enumerate(roles):
        left, top = x + 350 * (number % 2), y + 24 * (number // 2)
        parts += [_sign(kind, left + 10, top, -1), label(ROLES_TOLD[kind], left + 28, top + 5, class_="small")]
    bottom = y + 24 * ((len(roles) + 1) // 2)
    if unsure:
        text = "? no source; with a broken outline, none for the pin itself: look it up before power"
        parts.append(label(text, x, bottom + 5, class_="small"))
        bottom += 24
    return parts, bottom
