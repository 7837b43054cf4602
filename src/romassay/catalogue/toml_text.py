"""Tables written as TOML, which the standard library only reads: a docket keeps the rig that it was given."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence

import msgspec

from romassay.rig import Rig


def rig_text(rig: Rig) -> str:
    """Return a rig as TOML: loading it gives the same rig."""
    return toml_text(msgspec.to_builtins(rig))


def toml_text(table: Mapping[str, object]) -> str:
    """Return a table of strings, numbers, truths, lists and tables as TOML."""
    return "\n".join(_toml(table, "")).lstrip("\n") + "\n"


def _toml(table: Mapping[str, object], name: str) -> Iterator[str]:
    """Yield the lines of a table: plain values first, then tables, then arrays of tables."""
    tables = {key: value for key, value in table.items() if isinstance(value, dict)}
    arrays = {key: value for key, value in table.items() if isinstance(value, list | tuple) and _all_tables(value)}
    for key, value in table.items():
        if key not in tables and key not in arrays:
            yield f"{_key(key)} = {_value(value)}"
    for key, value in tables.items():
        path = f"{name}.{_key(key)}" if name else _key(key)
        if not value or not all(isinstance(item, dict) for item in value.values()):
            yield f"\n[{path}]"
        yield from _toml(value, path)
    for key, value in arrays.items():
        path = f"{name}.{_key(key)}" if name else _key(key)
        for item in value:
            yield f"\n[[{path}]]"
            yield from _toml(item, path)


def _all_tables(items: Sequence[object]) -> bool:
    return bool(items) and all(isinstance(item, dict) for item in items)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _value(key)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    return repr(value)
