"""What happens during a capture, as values: for the transcript, the screen and the bench."""

from __future__ import annotations

import json
from dataclasses import dataclass

from romassay.address import Range
from romassay.formats.answers import Heard


@dataclass(frozen=True, slots=True)
class Ask:
    """What is to be asked next: a range, and the pass that it is for."""

    asked: Range
    number: int


@dataclass(frozen=True, slots=True)
class Asked:
    """A range is being asked for. `at` is in seconds since the start, here and below."""

    at: float
    ask: Ask


@dataclass(frozen=True, slots=True)
class Sent:
    """These bytes went out."""

    at: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Received:
    """These bytes came in."""

    at: float
    data: bytes


@dataclass(frozen=True, slots=True)
class AnswerBegan:
    """The echo was right: the return goes out, and what comes now is the answer."""

    at: float


@dataclass(frozen=True, slots=True)
class Learnt:
    """The layout of the host's lines, in the notation of `--layout`."""

    at: float
    layout: str


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer is over.

    Attributes:
        ask: what was asked.
        heard: the bytes of it that are certain.
        ended: what ended it, in words.
        said: how it began, as it came.
    """

    at: float
    ask: Ask
    heard: tuple[Heard, ...]
    ended: str
    said: bytes = b""


@dataclass(frozen=True, slots=True)
class Retried:
    """Something went wrong on the line and is tried again; `reason` is in words."""

    at: float
    reason: str


def printed(text: bytes) -> str:
    """Return what a host said as a host file spells it."""
    return json.dumps(text.decode("latin-1"))


Event = Asked | Sent | Received | AnswerBegan | Learnt | Answered | Retried
