"""What every table of a rig file has in common."""

from __future__ import annotations

import msgspec


class Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    """A table of a rig file."""
