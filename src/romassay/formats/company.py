"""Text dumps in company: files of one evening were mostly printed by one program, so one file's layout may fit another.

Where a noisy line has spoilt a file so much that its layout was learnt wrongly, the layout of another file of the same
assay explains it better than its own.
"""

from __future__ import annotations

from collections.abc import Sequence

_CLEARLY = 0.98
"""Share of its own description at most that another's layout must bring."""


def better_layouts(files: Sequence[tuple[str, bytes]]) -> list[str | None]:
    """Return for each file the layout of another that explains it clearly better than its own, or None.

    Args:
        files: the layout that was learnt from each file, and the file's content.
    """
    from romassay.formats.layout import parse_layout
    from romassay.formats.learning.whole_log import cost_of, probe_of
    from romassay.formats.text.respelt import respelt
    from romassay.formats.text.terminal import clean

    layouts = list(dict.fromkeys(layout for layout, _ in files))
    if len(layouts) < 2:
        return [None] * len(files)
    result: list[str | None] = []
    for own, data in files:
        text = probe_of(respelt(clean(data)))
        costs = {layout: cost_of(parse_layout(layout), text) for layout in layouts}
        best = min(layouts, key=costs.__getitem__)
        result.append(best if costs[best] < _CLEARLY * costs[own] else None)
    return result
