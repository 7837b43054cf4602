"""The layout of one log lent to another: only where learning could have found nothing else."""

import random

import pytest

from romassay.formats import read
from romassay.formats.model import Hints

IMAGE = random.Random(4).randbytes(512)


def log(form: str, first: int = 0xE000) -> bytes:
    """A dump of the image, each line by a form of the address, the bytes in hex and the bytes as they are."""
    lines = (
        form.format(at=first + i, hex=IMAGE[i : i + 16].hex(" "), dec=" ".join(map(str, IMAGE[i : i + 16])))
        for i in range(0, len(IMAGE), 16)
    )
    return ("READY\n" + "\n".join(lines) + "\nREADY\n").encode()


HEX = "{at:04X}: {hex}"


def test_a_log_of_the_same_layout_is_read_as_if_it_had_been_learnt() -> None:
    learnt = read(log(HEX), "one.log")
    lent = read(log(HEX), "two.log", Hints(likely=(learnt.layout,)))
    assert lent.layout == learnt.layout
    assert bytes(lent.readings[0].value) == IMAGE
    assert lent.readings[0].holes == ()
    assert lent.readings[0].source.hints == ()


def test_a_noisy_log_is_read_with_the_layout_lent() -> None:
    rng = random.Random(9)
    noisy = bytes(c ^ 1 << rng.randrange(7) if rng.random() < 0.005 else c for c in log(HEX))
    alone, lent = read(noisy, "a.log"), read(noisy, "b.log", Hints(likely=(read(log(HEX), "one.log").layout,)))
    assert bytes(lent.readings[0].value) == bytes(alone.readings[0].value)
    assert lent.readings[0].holes == alone.readings[0].holes


@pytest.mark.parametrize("form", ["{at:05d}: {hex}", "{at:06o}: {hex}", "{at:04X}: {dec}", "{at:04X}- {hex}"])
def test_a_log_of_another_layout_is_learnt(form: str) -> None:
    lender = read(log(HEX), "one.log").layout
    other = read(log(form), "two.log", Hints(likely=(lender,)))
    assert other.layout == read(log(form), "two.log").layout != lender
    assert bytes(other.readings[0].value) == IMAGE


def test_a_decimal_address_that_looks_like_a_hex_one_is_learnt() -> None:
    lender = read(log(HEX), "one.log").layout
    other = read(log("{at:04d}: {hex}", 1024), "two.log", Hints(likely=(lender,)))
    assert other.readings[0].spans()[0].first == 1024


def test_an_open_layout_is_not_lent() -> None:
    opened = 'where=line address=hex4 after=": " cells=8 cell=hex2 gap=" " tail=any'
    assert len(read(log(HEX), "one.log", Hints(likely=(opened,))).readings[0].value) == len(IMAGE)
