"""TOML to a value, strictly: whatever is misspelt, missing or of the wrong kind is named with its file, line and key.

The values' own types are the schema (msgspec). This module adds where it is, what is allowed and what was meant.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from types import UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

import msgspec

from romassay.errors import BadCatalogue, did_you_mean, reason_of

T = TypeVar("T", bound=msgspec.Struct)

Step = str | int
Table = dict[str, Any]

_AT = re.compile(r" - at `(?:key in )?\$(?P<path>[^`]*)`")
_STEP = re.compile(r"\.(?P<key>[A-Za-z_][A-Za-z0-9_]*)|\[(?P<index>\d+)\]|\[\.\.\.\]|\[(?P<any>[^\]]+)\]")
_UNKNOWN = re.compile(r"Object contains unknown field `(?P<key>[^`]*)`")
_MISSING = re.compile(r"Object missing required field `(?P<key>[^`]*)`")
_WORDS = {
    "str": "text",
    "int": "a whole number",
    "float": "a number",
    "bool": "true or false",
    "array": "a list",
    "object": "a table",
    "null": "nothing",
}


def read_text(path: Path, what: str) -> str:
    """Return a file's text, without a mark of its byte order; BadCatalogue where it cannot be read."""
    try:
        return path.read_text("utf-8-sig")
    except UnicodeDecodeError as e:
        raise BadCatalogue(
            f"is no UTF-8 text, so no {what} file", place=str(path), advice="save it as UTF-8 in your editor"
        ) from e
    except FileNotFoundError as e:
        raise BadCatalogue("there is no such file", place=str(path), advice=f"name a {what} file") from e
    except OSError as e:
        advice = f"name a {what} file"
        raise BadCatalogue(f"cannot be read ({reason_of(e)})", place=str(path), advice=advice) from e


def parse(text: str, kind: type[T], place: str, prepare: Callable[[Table], Table] | None = None) -> T:
    """Return the value that a TOML text describes.

    Args:
        text: of the file.
        kind: what it should be.
        place: the file's name, for messages.
        prepare: puts in what the text only names, before it is converted.

    Raises:
        BadCatalogue: with file and line, the key, and what is allowed there.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        raise _syntax_error(e, text, place) from e
    if prepare is not None:
        raw = prepare(raw)
    try:
        return msgspec.convert(raw, kind)
    except msgspec.ValidationError as e:
        raise _explained(str(e), text, raw, kind, place) from e


def blame(text: str, place: str, steps: Iterable[Step], problem: str, advice: str | None = None) -> BadCatalogue:
    """Return the error for a value that is well-formed and yet cannot be: with its line, where that can be found."""
    path = list(steps)
    where = spelt(path)
    return BadCatalogue(f"{where}: {problem}" if where else problem, place=_placed(place, text, path), advice=advice)


@dataclass(frozen=True, slots=True)
class Slip:
    """What is wrong in a file: the path of keys to it, the problem, and what to do."""

    steps: tuple[Step, ...]
    problem: str
    advice: str | None = None

    def blamed(self, text: str, place: str) -> BadCatalogue:
        """Return it as an error with its line."""
        return blame(text, place, self.steps, self.problem, self.advice)


def meant(word: str, allowed: Iterable[str]) -> str:
    """Return advice for a word that is not allowed: what it resembles, and all that is allowed."""
    words = [str(item) for item in allowed]
    return f"{did_you_mean(word, words)} allowed: {', '.join(words)}".strip() if words else "nothing is allowed here"


def spelt(steps: Iterable[Step]) -> str:
    """Return a path as people read it: the second of `functions` and its `size` is 'functions 2: size'."""
    parts: list[str] = []
    for step in steps:
        if isinstance(step, int):
            parts[-1:] = [f"{parts[-1]} {step + 1}" if parts else str(step + 1)]
        else:
            parts.append(step)
    return ": ".join(parts)


def _syntax_error(e: tomllib.TOMLDecodeError, text: str, place: str) -> BadCatalogue:
    found = re.search(r"\(at line (\d+), column \d+\)|\(at end of document\)", str(e))
    reason = str(e).replace(found.group(), "").strip() if found else str(e)
    line = int(found[1]) if found and found[1] else text.count("\n") + 1
    return BadCatalogue(f"is no valid TOML ({reason})", place=f"{place}:{line}", advice="correct this line")


def _steps(message: str, raw: object) -> list[Step]:
    """Return the path in a message of msgspec; where it says [...] for a table's key, the path ends there."""
    found = _AT.search(message)
    steps: list[Step] = []
    here = raw
    for match in _STEP.finditer(found["path"]) if found else ():
        if match["key"]:
            steps.append(match["key"])
            here = here.get(match["key"]) if isinstance(here, dict) else None
        elif match["index"]:
            steps.append(int(match["index"]))
            here = here[int(match["index"])] if isinstance(here, list) else None
        else:
            break
    return steps


def _inner(kind: Any) -> Any:
    """Return a type without the optional around it."""
    if get_origin(kind) in (Union, UnionType):
        return next((item for item in get_args(kind) if item is not type(None)), kind)
    return kind


def _kind_at(kind: Any, steps: Iterable[Step]) -> Any:
    """Return the type that stands at a path of a value, or None."""
    for step in steps:
        kind = _inner(kind)
        if isinstance(step, int) or get_origin(kind) is dict:
            arguments = get_args(kind)
            kind = (arguments[1] if get_origin(kind) is dict else arguments[0]) if arguments else None
        elif isinstance(kind, type) and issubclass(kind, msgspec.Struct):
            kind = {f.encode_name: f.type for f in msgspec.structs.fields(kind)}.get(step)
        else:
            return None
    return _inner(kind)


def _keys(kind: Any) -> list[str]:
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        return [field.encode_name for field in msgspec.structs.fields(kind)]
    return []


def _value_at(raw: object, steps: Iterable[Step]) -> object:
    for step in steps:
        if isinstance(raw, dict):
            raw = raw.get(step)
        elif isinstance(raw, list) and isinstance(step, int):
            raw = raw[step]
    return raw


def _pinned(message: str, raw: object, kind: Any) -> tuple[str, list[Step]]:
    """Return the message and the whole path: where the library says only that some key of a table is wrong, which."""
    steps = _steps(message, raw)
    table, within = _value_at(raw, steps), _kind_at(kind, steps)
    if isinstance(table, dict) and get_origin(within) is dict:
        for key, value in table.items():
            try:
                msgspec.convert(value, get_args(within)[1])
            except msgspec.ValidationError as e:
                inner, rest = _pinned(str(e), value, get_args(within)[1])
                return inner, [*steps, key, *rest]
    return message, steps


def _explained(message: str, text: str, raw: object, kind: type, place: str) -> BadCatalogue:
    message, steps = _pinned(message, raw, kind)
    here = _kind_at(kind, steps)
    if found := _UNKNOWN.match(message):
        key = found["key"]
        return blame(text, place, [*steps, key], "unknown key", meant(key, _keys(here)))
    if found := _MISSING.match(message):
        return blame(text, place, steps, f"the key '{found['key']}' is missing", f"allowed: {', '.join(_keys(here))}")
    value = _value_at(raw, steps)
    if get_origin(here) is Literal and isinstance(value, str):
        return blame(text, place, steps, f"'{value}' is not allowed", meant(value, map(str, get_args(here))))
    plain = re.sub(r"`([a-z |]+)`", _in_words, _AT.sub("", message))
    return blame(text, place, steps, plain[0].lower() + plain[1:], "correct the value")


def _in_words(match: re.Match[str]) -> str:
    return " or ".join(_WORDS.get(name, name) for name in match[1].split(" | "))


def _placed(place: str, text: str, steps: list[Step]) -> str:
    line = _line_of(text, steps)
    return f"{place}:{line}" if line else place


def _line_of(text: str, steps: list[Step]) -> int | None:
    """Return the line at which a path stands, as far as a look at headers and keys tells; None where it does not."""
    lines = text.splitlines()
    first, last = 0, len(lines)
    found: int | None = None
    trail: list[str] = []
    for step in steps:
        if isinstance(step, int):
            place = _item(lines, first, last, trail, step)
        else:
            trail.append(step)
            place = _header(lines, trail) or _key(lines, first, last, step)
        if place:
            first, last = place
            found = first
    return None if found is None else found + 1


def _header(lines: list[str], trail: list[str]) -> tuple[int, int] | None:
    """Return where the table of that name stands, or, where it has no header of its own, the first within it."""
    name = r"\s*\.\s*".join(rf'"?{re.escape(part)}"?' for part in trail)
    for ending in (r"\s*\]", r"\s*\."):
        pattern = re.compile(rf"\s*\[\[?\s*{name}{ending}")
        for number, line in enumerate(lines):
            if pattern.match(line):
                return number, _next_header(lines, number + 1) if "[[" not in line else len(lines)
    return None


def _next_header(lines: list[str], start: int) -> int:
    return next((n for n in range(start, len(lines)) if re.match(r"\s*\[\[?\s*[A-Za-z\"]", lines[n])), len(lines))


def _key(lines: list[str], first: int, last: int, key: str) -> tuple[int, int] | None:
    pattern = re.compile(rf'(?:^|[\s{{,."])(?:{re.escape(key)})"?\s*(?:=|\.[A-Za-z"])')
    for number in range(first, last):
        if pattern.search(lines[number]):
            return number, last
    return None


def _item(lines: list[str], first: int, last: int, trail: list[str], index: int) -> tuple[int, int] | None:
    """Return where the n-th item of an array of tables, or of a list with an item on each line, stands."""
    name = re.escape(trail[-1]) if trail else ""
    headers = [n for n in range(len(lines)) if re.match(rf"\s*\[\[\s*(?:[^\]]*\.)?{name}\s*\]\]", lines[n])]
    if headers:
        if index >= len(headers):
            return None
        return headers[index], _next_header(lines, headers[index] + 1)
    items = [n for n in range(first, last) if re.match(r"\s*[{\"']", lines[n])]
    return (items[index], items[index] + 1) if index < len(items) else (first, last)
