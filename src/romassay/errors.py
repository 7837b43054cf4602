"""The errors that a person may see: each says where, what is wrong and what to do, in one line."""

from collections.abc import Iterable

_LEAST = 3
"""Characters of a known word that counts as contained in another."""


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


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that was probably meant, or None.

    First one whose characters stand in another order (6350 for 6530), then the longest that stands inside the word
    (6530A), then the most alike. Case does not matter.
    """
    from difflib import get_close_matches

    folded = {item.lower(): item for item in known}
    low = word.lower()
    turned = [item for item in folded if item != low and sorted(item) == sorted(low)]
    within = sorted((item for item in folded if len(item) >= _LEAST and item in low), key=len)
    close = get_close_matches(low, turned, 1, 0) or within[-1:] or get_close_matches(low, folded, 1)
    return folded[close[0]] if close else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return a question that names the known word that was probably meant, or nothing."""
    found = nearest(word, known)
    return f"did you mean '{found}'?" if found else ""


def reason_of(error: BaseException) -> str:
    """Return why the system, or a library in its place, refused something, in words that go on in a sentence."""
    reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return str(reason).lower()
