"""The survey: who answers where in the window, and what each bus line must be for it to answer.

Nothing is assumed about the chip. The floating bus is learnt, what says more than the bus is compared with itself
across every bus line, blocks grow as long as they behave as one thing, and every copy of a block is then found from
the lines across which it repeats.
"""

from romassay.survey.find import survey

__all__ = ["survey"]
