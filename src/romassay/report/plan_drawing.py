"""The wiring as a drawing: the socket from above, and at each pin where its wire goes. Pure.

What a wire goes to is told by the shape of its end and its letter: a box for an address line, a rounded box for data, a
pointed one for other signals of the host, a bar for a supply, three bars for ground, a cross for nothing.
"""

from __future__ import annotations

from collections.abc import Iterator

from romassay.plan.model import Net, Plan, Wire
from romassay.report.svg import drawing, element, label, rect, wire

_STEP, _TOP, _BODY, _LEG, _RUN, _BOX = 30.0, 46.0, 190.0, 34.0, 116.0, 88.0
_MARGIN = 8.0

LEGEND: dict[Net, str] = {
    "address": "address line of the host",
    "data": "data line of the host",
    "control": "other signal of the host",
    "rail": "supply or ground",
    "high": "held high",
    "low": "held low",
    "raised": "raised above the supply",
    "open": "joined to nothing",
}


def wiring_drawing(plan: Plan) -> str:
    """Return the drawing of a plan's wiring."""
    wires = sorted(plan.wires, key=lambda item: item.n)
    half = len(wires) // 2
    width = 2 * (_MARGIN + _BOX + _RUN + _LEG) + _BODY
    height = _TOP + half * _STEP + 26
    parts = [*_body(plan, half, width)]
    for place, item in enumerate(wires[:half]):
        parts += _pin(item, _TOP + place * _STEP + _STEP / 2, width, left=True)
    for place, item in enumerate(reversed(wires[half:])):
        parts += _pin(item, _TOP + place * _STEP + _STEP / 2, width, left=False)
    return drawing(parts, width, height, f"Wiring of the {plan.part}, seen from above")


def sample(net: Net) -> str:
    """Return the end of one kind of wire, for a legend."""
    to = {"rail": "+5 V", "high": "+5 V", "low": "ground", "open": "", "raised": "+12 V"}.get(net, "A0")
    to = {"data": "D0", "control": "CLK"}.get(net, to)
    return drawing(_end(Wire(1, "", "", net, to), 4, 12, left=False), 72, 24, LEGEND[net])


def _body(plan: Plan, half: int, width: float) -> Iterator[str]:
    left = (width - _BODY) / 2
    yield rect(left, _TOP, _BODY, half * _STEP, class_="box")
    middle = width / 2
    yield element("path", (), d=f"M{middle - 13} {_TOP} a13 13 0 0 0 26 0", class_="box")
    yield label(plan.part, middle, _TOP - 26, text_anchor="middle", class_="what")
    yield label("seen from above, notch up: pin 1 top left", middle, _TOP - 9, text_anchor="middle", class_="small")


def _pin(item: Wire, y: float, width: float, *, left: bool) -> list[str]:
    side = -1 if left else 1
    edge = width / 2 + side * _BODY / 2
    leg, end = edge + side * _LEG, edge + side * (_LEG + _RUN)
    inside, outside = ("start", "end") if left else ("end", "start")
    first, last = sorted((edge, leg))
    style = "wire idle" if item.net == "open" else "wire"
    return [
        rect(first, y - 8, last - first, 16, class_="bubble"),
        label(str(item.n), (first + last) / 2, y + 4, text_anchor="middle"),
        label(item.pin, edge - side * 8, y + 4, text_anchor=inside, class_="what"),
        wire((leg, y), (end, y), class_=style) if item.net != "open" else "",
        *_resistor(item, (leg + end) / 2, y),
        *_end(item, end if item.net != "open" else leg, y, left=left),
        *([label("proposed", leg + side * 5, y - 5, text_anchor=outside, class_="small")] if _offer(item) else []),
    ]


def _offer(item: Wire) -> bool:
    return item.proposed and item.net not in ("open", "rail") and not item.via


def _resistor(item: Wire, x: float, y: float) -> Iterator[str]:
    """What stands in the line: a box with its value or its name."""
    if not item.via or item.net == "open":
        return
    text = item.via.replace(" in series", "").replace("; ", ", ")
    wide = max(44.0, 7.3 * len(text) + 8)
    if wide > _RUN - 8:
        yield label(text, x, y - 5, text_anchor="middle", class_="small")
        return
    yield rect(x - wide / 2, y - 9, wide, 18, class_="bubble")
    yield label(text, x, y + 4, text_anchor="middle", font_size=11)


def _end(item: Wire, x: float, y: float, *, left: bool) -> list[str]:
    side = -1 if left else 1
    if item.net == "open":
        at = x + side * 10
        return [wire((x, y), (at, y), class_="wire"), wire((at - 5, y - 5), (at + 5, y + 5), class_="wire"),
                wire((at - 5, y + 5), (at + 5, y - 5), class_="wire")]  # fmt: skip
    if item.to == "ground":
        bars = [(9.0, 0.0), (6.0, 4.0), (3.0, 8.0)]
        text = label("ground", x + side * 22, y + 4, text_anchor="end" if left else "start")
        return [*(wire((x + side * d, y - h), (x + side * d, y + h), class_="wire") for h, d in bars), text]
    if item.net in ("rail", "high", "raised"):
        text = label(item.to, x + side * 10, y + 4, text_anchor="end" if left else "start", class_="what")
        return [wire((x, y - 9), (x, y + 9), class_="wire", stroke_width=3), text]
    return [*_box(item, x, y, side), label(item.to, x + side * 30, y + 4, text_anchor="middle", class_="what")]


def _box(item: Wire, x: float, y: float, side: int) -> Iterator[str]:
    first = min(x, x + side * 60)
    if item.net == "control":
        tip = x + side * 60
        points = [(x, y - 10), (x + side * 50, y - 10), (tip, y), (x + side * 50, y + 10), (x, y + 10), (x, y - 10)]
        yield wire(*points, class_="box")
        return
    yield rect(first, y - 10, 60, 20, rx=10 if item.net == "data" else 0, class_="box")
