"""A bounded sample of a file, and how much of it is good records."""

from __future__ import annotations

from romassay.formats.records.model import Grammar
from romassay.formats.records.scan import scan
from romassay.formats.text.plain import plain
from romassay.formats.text.sampling import sample_of


def share_of_records(source: bytes, grammar: Grammar) -> float:
    """Tell how surely a file consists of a grammar's records, 0 to 1.

    Half is for one good record, the rest for the share of the printed characters that stand in records. Torn ones count
    a little less there; where there is no good one, they count for less than a good one would. Their lengths are right,
    which no other text has by chance.
    """
    found = scan(plain(sample_of(source)), grammar, brief=True)
    ink = max(found.ink, 1)
    if len(found.line):
        return 0.5 + 0.5 * (found.taken + 0.9 * found.torn) / ink
    return 0.7 * found.torn / ink
