"""Addresses as a reader of one assay expects them: as many digits as its bus needs."""

from __future__ import annotations

from romassay.chain import Assay
from romassay.docket.record import first_address
from romassay.report.words import digits
from romassay.rig import Rig
from romassay.settle.model import Image
from romassay.survey.model import Function, ReadNext


def first_of(assay: Assay, image: Image) -> int:
    """Return the address at which an image is said to stand."""
    return first_address(assay.survey.functions[image.function])


def at(assay: Assay, address: int) -> str:
    """Return an address in hex digits."""
    return f"{address:0{digits(assay.survey.address_bits)}X}"


def span(assay: Assay, first: int, last: int) -> str:
    """Return a range in hex digits, both ends included; a single address as itself."""
    return at(assay, first) if first == last else f"{at(assay, first)}-{at(assay, last)}"


def extent(assay: Assay, image: Image) -> str:
    """Return the range in which an image stands."""
    first = first_of(assay, image)
    return span(assay, first, first + len(image) - 1)


def unseen_bytes(image: Image) -> int:
    """Return how many bytes of an image were never seen."""
    return int((image.seen == 0).sum())


def next_to_read(function: Function, rig: Rig | None) -> tuple[ReadNext, ...]:
    """Return what to read next of a function.

    A line that is on no pin of the specimen only says where the rig lets it through: nothing is to be learnt of that.
    """
    return tuple(item for item in function.read_next if rig is None or any(map(rig.reaches, item.lines)))
