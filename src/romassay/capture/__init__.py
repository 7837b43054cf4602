"""Live capture: the serial line and the host's monitor. It asks what it is told to ask, and yields what happens.

It knows neither survey nor docket: what to ask next comes from a callable, what was heard goes out as typed events.
"""

from romassay.capture.answers import LostLine
from romassay.capture.asking import Asking
from romassay.capture.converse import converse
from romassay.capture.events import AnswerBegan, Answered, Ask, Asked, Event, Learnt, Received, Retried, Sent

__all__ = [
    "AnswerBegan",
    "Answered",
    "Ask",
    "Asked",
    "Asking",
    "Event",
    "Learnt",
    "LostLine",
    "Received",
    "Retried",
    "Sent",
    "converse",
]
