"""What every table of a part file has in common."""

from __future__ import annotations

import msgspec


class Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A table of a part file: whatever is misspelt in it is refused."""
