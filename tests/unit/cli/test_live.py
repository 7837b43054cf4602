from __future__ import annotations

from romassay.address import Range
from romassay.capture import AnswerBegan, Answered, Ask, Asked, Received
from romassay.cli.live import UnderWay
from romassay.formats.answers import Heard


def test_an_answer_that_comes_in_slowly_counts_by_the_characters_of_the_one_before() -> None:
    way = UnderWay()
    ask = Ask(Range(0x4000, 0x403F), 1)
    for event in (Asked(0, ask), Received(0, b"echo of the command"), AnswerBegan(0)):
        way.watch(event)
    way.watch(Received(1, b"x" * 80))
    assert way.bytes == 20  # four characters for a byte, where no answer was over yet
    way.watch(Received(2, b"x" * 48))
    way.watch(Answered(3, ask, (Heard(0x4000, bytes(64)),), "the prompt came"))
    assert way.bytes == 0
    for event in (Asked(4, ask), Received(4, b"echo"), AnswerBegan(4), Received(5, b"x" * 64)):
        way.watch(event)
    assert way.bytes == 32  # two for a byte, as the answer before took
    way.watch(Received(6, b"x" * 1000))
    assert way.bytes == 64  # never more than was asked for
