"""The errors that a person may see: each says where, what is wrong and what to do, in one line."""


class RomassayError(Exception):
    """Base of all errors that are the input's or the user's, not the program's.

    Attributes:
        place: the file, the key or `file:line` that the error is about, or None.
        problem: what was found there.
        advice: what the person can do about it, or None.
    """

    def __init__(self, problem: str, *, place: str | None = None, advice: str | None = None) -> None:
        super().__init__(problem, place, advice)
        self.problem = problem
        self.place = place
        self.advice = advice

    def __str__(self) -> str:
        where = f"{self.place}: " if self.place else ""
        what_to_do = f"; {self.advice}" if self.advice else ""
        return " ".join(f"{where}{self.problem}{what_to_do}".split())


class BadInput(RomassayError):
    """A named file that is missing, unreadable, or holds nothing that can be used."""


class BadValue(RomassayError):
    """A value given by the person (an address, a range, a size, an option) that cannot be meant."""


class BadCatalogue(RomassayError):
    """A part, host or rig file that breaks its rules; `place` names the file and the key."""
