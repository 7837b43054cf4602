"""A plan as one page to print and take to the bench: nothing but it is needed to wire from. Pure.

No script, nothing from outside the page. Boxes to tick stand at each step; kinds are told apart by shape and word.
"""

from __future__ import annotations

from typing import Any

from romassay.plan.model import Plan, Step
from romassay.report.plan import (
    check_rows,
    coverage_words,
    duration,
    headline,
    margin_row,
    power_words,
    readings_words,
    role_words,
    setting_words,
    unchecked_words,
)
from romassay.report.plan_drawing import LEGEND, sample, wiring_drawing
from romassay.report.render import render_page, safe
from romassay.version import VERSION


def plan_page(plan: Plan) -> str:
    """Return a plan as an HTML page."""
    return render_page("plan.html", _content(plan), styles=("page.css", "plan.css"), patterns=False)


def _content(plan: Plan) -> dict[str, Any]:
    head, style = headline(plan)
    nets = {wire.net for wire in plan.wires}
    return {
        "name": f"Plan: {plan.part}",
        "head": head,
        "kind": "confirmed" if style == "good" else "not-found",
        "about": setting_words(plan),
        "problems": plan.problems,
        "drawing": safe(wiring_drawing(plan)) if plan.wires else "",
        "legend": [(safe(sample(net)), words) for net, words in LEGEND.items() if net in nets],
        "wires": plan.wires,
        "buffer_name": plan.buffer_name,
        "buffer": plan.buffer,
        "rules": plan.rules,
        "window": coverage_words(plan.coverage, plan.address_bits) if plan.coverage else [],
        "supply": power_words(plan.power) if plan.power else [],
        "timing": [margin_row(item) for item in plan.timing],
        "levels": [margin_row(item) for item in plan.levels],
        "level_notes": plan.level_notes,
        "line": plan.serial.notes if plan.serial else (),
        "rates": _rates(plan),
        "readings": readings_words(plan.serial) if plan.serial else [],
        "checks": check_rows(plan.checks),
        "steps": [_step(step) for step in plan.steps],
        "unchecked": unchecked_words(plan),
        "role_words": role_words,
        "version": VERSION,
    }


def _rates(plan: Plan) -> list[tuple[int, str, str, bool]]:
    if plan.serial is None:
        return []
    pairs = zip(plan.serial.rates, plan.serial.quick, strict=True)
    return [(whole.baud, duration(whole.seconds), duration(quick.seconds), whole.set_now) for whole, quick in pairs]


def _step(step: Step) -> dict[str, Any]:
    return {
        "title": step.title,
        "do": step.do,
        "typed": step.typed,
        "file": step.file,
        "command": step.command,
        "cautions": step.cautions,
    }
