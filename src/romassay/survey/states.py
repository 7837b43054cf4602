"""What a granule can hold, and what is known of each: the vocabulary of the survey's steps. Values only."""

from __future__ import annotations

from dataclasses import dataclass

from romassay.reading import Bytes
from romassay.survey.bus import BusModel
from romassay.survey.consensus import Consensus
from romassay.survey.stack import Bools

BUS, STRUCTURED, CONTENT, VOLATILE, HOST, UNSEEN, CONTENDED = range(7)
"""What a granule holds: the floating bus; something as regular that is not this bus (a blank tail, a table of zeros);
something that a memory said; something that changes from reading to reading; host memory; nothing known; host memory
against which something drives."""

FILLINGS = (0x00, 0xFF)
"""What unused bytes of a ROM hold: the erased or the unprogrammed state. Common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Each granule's state and what the bus would say there.

    Attributes:
        state: uint8[G], BUS … UNSEEN.
        prediction: uint8[G, 16], what the floating bus (or the empty socket) says at each address.
        predicted: bool[G, 16], False where no prediction exists.
        model: the rule of the bus; None where a control reading took its place.
        rate: chance that noise flips a bit of the bus.
    """

    state: Bytes
    prediction: Bytes
    predicted: Bools
    model: BusModel | None
    rate: float = 0.0

    def told(self, said: Consensus) -> Bools:
        """Return the bytes that say more than the bus would, bool[G, 16]."""
        speaks = (self.state == CONTENT) | (self.state == STRUCTURED)
        differs: Bools = said.sure & ~(self.predicted & (said.value == self.prediction)) & speaks[:, None]
        return differs
