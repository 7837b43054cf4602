"""Findings as a person reads them: what stands against the result first, what concerns other ROMs in one line each."""

from __future__ import annotations

from collections.abc import Sequence

from romassay.chain import Assay
from romassay.finding import Finding, Kind
from romassay.report.picture import name_of
from romassay.report.places import span
from romassay.report.text import Line, Segment, Style, paragraph
from romassay.report.words import FINDINGS, listed, some

_SHOWN_PLACES = 8
_READ_NEXT: frozenset[Kind] = frozenset({"short-window"})
"""Kinds whose ranges are those to read next: the advice names them, they are not where the finding is."""


def finding_lines(assay: Assay, room: int) -> list[Line]:
    """Return the findings in at most `room` columns: '!' marks those that keep the result from being confirmed."""
    lines: list[Line] = []
    for finding in assay.findings:
        if _in_full(assay, finding):
            lines += _finding(assay, finding, room)
    for kind, names in _in_short(assay).items():
        lines += paragraph(f"{FINDINGS[kind]}: {listed(names)}", width=room, first="- ")
    if any(finding.blocks for finding in assay.findings):
        lines.append((Segment("! stands against 'confirmed'", "faint"),))
    return lines


def _in_full(assay: Assay, finding: Finding) -> bool:
    """Tell whether a finding bears on the verdict: it blocks, or is about the first ROM, or about no single one."""
    first = assay.image
    return finding.blocks or finding.function is None or first is None or finding.function == first.function


def _in_short(assay: Assay) -> dict[Kind, list[str]]:
    found: dict[Kind, list[str]] = {}
    for finding in assay.findings:
        if not _in_full(assay, finding) and finding.function is not None:
            name = name_of(assay.survey, finding.function)
            if name not in found.setdefault(finding.kind, []):
                found[finding.kind].append(name)
    return found


def _finding(assay: Assay, finding: Finding, room: int) -> list[Line]:
    style: Style = "care" if finding.blocks else "plain"
    lines = paragraph(title_of(assay, finding), width=room, first="! " if finding.blocks else "- ", style=style)
    lines += paragraph(sentence(finding.evidence), width=room, first="  ")
    if finding.advice:
        lines += paragraph(sentence(finding.advice), width=room, first="  To do: ", rest="  ")
    return lines


def findings_in_words(assay: Assay) -> list[dict[str, str | bool]]:
    """Return each finding as a page shows it: its title, whether it blocks, the evidence and what to do."""
    return [
        {
            "title": title_of(assay, finding),
            "blocks": finding.blocks,
            "evidence": sentence(finding.evidence),
            "advice": sentence(finding.advice) if finding.advice else "",
        }
        for finding in assay.findings
    ]


def title_of(assay: Assay, finding: Finding) -> str:
    """Return the kind of a finding with its place, and how likely it is where that is not certain."""
    return f"{FINDINGS[finding.kind]}{_place_of(assay, finding)}{_likelihood(finding)}"


def sentence(text: str) -> str:
    """Return a text with a capital and a full stop."""
    text = text.strip()
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"


def _place_of(assay: Assay, finding: Finding) -> str:
    places = [some(finding.lines, _SHOWN_PLACES)] if finding.lines and not finding.mapping else []
    if finding.offsets:
        noun = "offset" if len(finding.offsets) == 1 else "offsets"
        places.append(f"{noun} {some(_offset_runs(finding.offsets), _SHOWN_PLACES)}")
    if finding.where and finding.kind not in _READ_NEXT:
        places.append(some([span(assay, item.first, item.last) for item in finding.where], _SHOWN_PLACES))
    if finding.mapping:
        places.append(some([f"{wired} is {meant}" for wired, meant in finding.mapping], _SHOWN_PLACES))
    if finding.function is not None and len(assay.images) > 1:
        places.insert(0, name_of(assay.survey, finding.function))
    return f": {', '.join(places)}" if places else ""


def _offset_runs(offsets: Sequence[int]) -> list[str]:
    """Return offsets in hex, those that follow each other as one range."""
    runs: list[list[int]] = []
    for offset in sorted(offsets):
        if runs and offset == runs[-1][1] + 1:
            runs[-1][1] = offset
        else:
            runs.append([offset, offset])
    return [f"{first:04X}" if first == last else f"{first:04X}-{last:04X}" for first, last in runs]


def _likelihood(finding: Finding) -> str:
    likely = "" if finding.probability >= 1 else f" (probability {finding.probability:.0%})"
    return likely + (f", or instead: {FINDINGS[finding.alternative_to]}" if finding.alternative_to else "")
