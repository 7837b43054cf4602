"""Bytes typed in twice, as a use case: two entries and what was looked at again, kept as readings, and an assay."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from romassay.address import Range
from romassay.capture.keyed import HEX, NUMBERS, Entry, Numbers, differences, entry_of, lines_in, rendered, typed_bytes
from romassay.docket.files import write_atomically
from romassay.docket.folder import hold, reading_path
from romassay.docket.growing import make_ready
from romassay.docket.manifest import Manifest, Said
from romassay.errors import BadValue
from romassay.session.assay import Outcome, Request, assay_files
from romassay.session.loading import Input

_ENTRIES = ("keyed-{0}-first.log", "keyed-{0}-second.log", "keyed-{0}-again.log")
_BACK = "back"

AskLine = Callable[[str], str | None]
"""Shows a prompt and returns the line typed; None at the end of the input."""
Say = Callable[[str], None]


def key_in(
    window: Sequence[Range],
    docket: Path,
    ask: AskLine,
    say: Say,
    *,
    settings: Mapping[str, Any],
    numbers: Numbers = HEX,
    session: str | None = None,
    command: str = "",
) -> Outcome | None:
    """Take the window twice, show where the two differ, have those lines looked at again, and assay all of it.

    Every line is kept as soon as it is typed: a call that was broken off is gone on with by the next one.

    Args:
        window: what is to be typed.
        docket: keeps the entries.
        ask: shows a prompt and returns what is typed.
        say: shows a line.
        settings: of the docket.
        numbers: that the display shows; an entry that was begun in others is gone on with in those.
        session: the power-up.
        command: what was typed, for the history.

    Returns:
        The outcome; None where the input ended before both entries were whole.
    """
    with hold(docket) as former:
        make_ready(docket)
        paths = _paths(docket, former or Manifest())
        entries: list[Entry] = []
        for path, what in zip(paths[:2], ("first", "second"), strict=True):
            numbers = _begun_in(paths[0]) or numbers
            say(f"the {what} entry: {_INSTRUCTION.format(numbers.name)}")
            entry, whole = _take(path, lines_in(window), ask, say, f"entry, {what}, in {numbers.name}", numbers)
            if not whole:
                say("kept; the same command goes on from here")
                return None
            entries.append(entry)
        differ = differences(*entries)
        _tell(differ, entries, say, numbers)
        lines = [line for line in lines_in(window) if any(address in line for address in differ)]
        again = (
            _take(paths[2], lines, ask, say, f"entry, looked at again, in {numbers.name}", numbers) if lines else None
        )
        if again and not again[1]:
            say("kept; the same command goes on from here")
            return None
    files = [*paths[:2], *(paths[2:] if lines else ())]
    inputs = tuple(Input(path, said=Said(layout=numbers.layout, session=session)) for path in files)
    return assay_files(Request(inputs=inputs, settings=settings, docket=docket, command=command))


_INSTRUCTION = "type the bytes of each line in {}, '?' for one that can't be made out, 'back' to mend the line before"


def _paths(docket: Path, former: Manifest) -> list[Path]:
    """Return the files of the first set of entries that the manifest does not name yet."""
    known = {entry.file for entry in former.readings}
    number = 1
    while any(name.format(number) in known for name in _ENTRIES):
        number += 1
    return [reading_path(docket, name.format(number)) for name in _ENTRIES]


def _begun_in(path: Path) -> Numbers | None:
    """Return the numbers of an entry that was begun, by its heading; None where none was."""
    if not path.exists():
        return None
    heading = path.read_bytes().decode("ascii", "replace").partition("\n")[0]
    return next((numbers for name, numbers in NUMBERS.items() if f", in {name}," in heading), HEX)


def _take(
    path: Path, lines: Sequence[Range], ask: AskLine, say: Say, what: str, numbers: Numbers
) -> tuple[Entry, bool]:
    """Take an entry line by line; return it and whether it is whole."""
    heading = f"{what}, begun {datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
    entry: Entry = {}
    if path.exists():
        data = path.read_bytes()
        heading, entry = data.decode("ascii", "replace").splitlines()[0], entry_of(data, numbers)
    done = [line for line in lines if all(address in entry for address in range(line.first, line.last + 1))]
    at = len(done)
    while at < len(lines):
        line = lines[at]
        text = ask(f"{numbers.address(line.first)}  ")
        if text is None:
            return entry, False
        if text.strip().lower() == _BACK:
            at = max(0, at - 1)
            continue
        try:
            values = typed_bytes(text, line.size, numbers)
        except BadValue as e:
            say(str(e))
            continue
        entry |= dict(zip(range(line.first, line.last + 1), values, strict=True))
        write_atomically(path, rendered(heading, entry, numbers))
        at += 1
    return entry, True


def _tell(differ: Sequence[int], entries: Sequence[Entry], say: Say, numbers: Numbers) -> None:
    if not differ:
        say("the two entries agree in every byte")
        return
    say(f"the two entries differ in {len(differ)} bytes; look at these lines again:")
    for address in differ:
        first, second = (numbers.byte(entry[address]) for entry in entries)
        say(f"  {numbers.address(address)}  {first} first, {second} second")
