from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.address import Range
from romassay.capture import Asking
from romassay.errors import BadInput
from romassay.formats.answers import Heard

WINDOW = [Range(0x1003, 0x10F0), Range(0x4000, 0x43FF)]
SIZE = 0xEE + 0x400


def contents(address: int) -> int:
    return (address * 7 + address // 256) & 0xFF


def finish(account: Asking, answer: object, limit: int = 100_000) -> list[Range]:
    asked = []
    while (ask := account.next()) is not None:
        asked.append(ask.asked)
        account.take(answer(ask.asked))  # type: ignore[operator]
        assert len(asked) < limit
    return asked


def whole(asked: Range) -> list[Heard]:
    return [Heard(asked.first, bytes(contents(a) for a in range(asked.first, asked.last + 1)))]


@given(st.integers(1, 4), st.sampled_from([16, 64, 256]), st.sampled_from([1, 8, 16]))
def test_a_host_that_answers_well_is_asked_for_no_byte_more_than_it_must(passes: int, piece: int, line: int) -> None:
    account = Asking(WINDOW, passes=passes, piece=piece)
    account.line = line
    asked = finish(account, whole)
    assert account.bytes_asked == SIZE * passes == account.needed == account.got
    assert all(any(r.first >= w.first and r.last <= w.last for w in WINDOW) and r.size <= piece for r in asked)


def test_a_host_of_fixed_pieces_is_asked_at_their_multiples() -> None:
    account = Asking([Range(0x4010, 0x41FF)], passes=1, piece=128, fixed=True)
    asked = finish(account, whole)
    assert [item.first for item in asked] == [0x4010, 0x4080, 0x4100, 0x4180]


@given(st.integers(0, 1000), st.floats(0, 0.6))
def test_holes_are_asked_again_in_whole_lines_until_they_are_heard_or_given_up(seed: int, loss: float) -> None:
    chance = random.Random(seed)
    in_vain: dict[int, int] = {}

    def lossy(asked: Range) -> list[Heard]:
        data = whole(asked)[0].values
        heard = []
        for i in range(0, len(data), 8):
            lost = chance.random() < loss
            in_vain[asked.first + i] = in_vain.get(asked.first + i, 0) + 1 if lost else 0
            heard += [] if lost else [Heard(asked.first + i, data[i : i + 8])]
        return heard

    account = Asking([Range(0x4000, 0x40FF)], passes=2)
    account.line = 8
    asked = finish(account, lossy)
    assert all(item.first % 8 == 0 and item.last % 8 == 7 for item in asked)
    address, heard, _ = account.picture()
    missing = {int(at) for at, count in zip(address, heard, strict=True) if count < 2}
    assert all(in_vain[at - at % 8] >= 8 for at in missing)


def test_what_disagrees_is_asked_again_until_one_value_is_two_ahead_and_what_is_never_the_same_is_left() -> None:
    times: dict[int, int] = {}

    def answer(asked: Range) -> list[Heard]:
        values = []
        for address in range(asked.first, asked.last + 1):
            times[address] = times.get(address, 0) + 1
            flipped = address == 0x4021 and times[address] == 1
            restless = 0x4080 <= address < 0x4088
            values.append(times[address] if restless else contents(address) ^ flipped)
        return [Heard(asked.first, bytes(values))]

    account = Asking([Range(0x4000, 0x40FF)], passes=2)
    account.line = 8
    finish(account, answer)
    assert times[0x4021] == 4  # once wrong, three times right: two ahead
    assert times[0x4020] == 4  # of the same line
    assert times[0x4000] == 2
    assert times[0x4080] == 3  # a line that is never the same gets one more try, not four
    assert account.bytes_asked == 2 * 256 + 8 + 8 + 8


def test_a_former_capture_counts_and_what_lies_beside_the_window_does_not() -> None:
    account = Asking([Range(0x4000, 0x401F)], passes=2)
    account.line = 8
    account.enter(whole(Range(0x3FF8, 0x4007)) + whole(Range(0x4018, 0x4027)))
    asked = finish(account, whole)
    assert sum(item.size for item in asked) == account.bytes_asked == 64 - 16


def test_bytes_beside_those_that_were_missing_count_as_heard_again() -> None:
    account = Asking([Range(0x4000, 0x400F)], passes=2)
    account.line = 8
    first = account.next()
    assert first is not None
    data = whole(first.asked)[0].values
    account.take([Heard(0x4000, data[:3]), Heard(0x4004, data[4:])])
    asked = [first.asked, *finish(account, whole)]
    assert [(item.first, item.last) for item in asked] == [(0x4000, 0x400F), (0x4000, 0x4007), (0x4000, 0x400F)]


def test_a_host_whose_answers_hold_nothing_is_given_up_in_one_line() -> None:
    account = Asking(WINDOW)
    with pytest.raises(BadInput, match="the last 16 answers of the host hold nothing that can be read"):
        finish(account, lambda _: [])


def test_more_is_asked_where_the_result_wants_it() -> None:
    account = Asking([Range(0x4000, 0x40FF)], passes=2)
    account.line = 8
    finish(account, whole)
    account.again([Range(0x4010, 0x4010)])
    assert [(r.first, r.last) for r in finish(account, whole)] == [(0x4010, 0x4017)]
