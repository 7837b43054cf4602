"""The keyboard's side of `romassay capture --keyed`: prompts on standard error, lines from standard input."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from romassay.address import Range
from romassay.cli import screen
from romassay.cli.assay import settings_of

if TYPE_CHECKING:
    from romassay.session.assay import Outcome


def key_in(docket: Path, window: Sequence[Range], said: dict[str, Any], words: str) -> Outcome | None:
    """Take the window from the keyboard."""
    from romassay.capture.keyed import NUMBERS
    from romassay.session import keyed

    return keyed.key_in(
        window,
        docket,
        _ask,
        screen.note,
        settings=settings_of(said),
        numbers=NUMBERS[said["numbers"]],
        session=said["session"],
        command=words,
    )


def _ask(prompt: str) -> str | None:
    """Show a prompt and return the line typed; None at the end of the input."""
    sys.stderr.write(prompt)
    sys.stderr.flush()
    line = sys.stdin.readline()
    return line if line else None
