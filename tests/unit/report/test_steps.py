"""What to do next: the faults first, and nothing that would spoil what is there."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

import examples
from romassay.chain import Assay
from romassay.finding import KINDS, Finding, Kind
from romassay.report.steps import Step, steps
from romassay.settle.model import Doubt

IN_DOCKET = "romassay assay -o bag"


def blamed(kind: Kind) -> Assay:
    finding = Finding(kind, blocks=True, evidence="seen", advice="look at the wires")
    return dataclasses.replace(examples.confirmed(), findings=(finding,), verdict="provisional")


@pytest.mark.parametrize("kind", ["data-line-stuck", "address-lines-swapped", "select-tied", "contention"])
def test_readings_through_mended_wires_go_into_a_docket_of_their_own(kind: Kind) -> None:
    """Added to the old ones they contradict them, and nothing is found any more."""
    first = steps(blamed(kind), IN_DOCKET, keeps=True)[0]
    assert "into a docket of its own" in first.text
    assert first.command == "romassay assay NEW-1.log NEW-2.log -o NEW-DIR"


@pytest.mark.parametrize(
    ("kind", "offered"), [("data-lines-swapped", True), ("data-inverted", True), ("data-line-stuck", False)]
)
def test_what_can_be_put_right_as_it_is_is_offered(kind: Kind, offered: bool) -> None:
    commands = [step.command for step in steps(blamed(kind), IN_DOCKET, keeps=True)]
    assert (f"{IN_DOCKET} --apply-findings" in commands) is offered


def test_readings_of_two_specimens_are_parted() -> None:
    assert steps(blamed("mixed-specimens"), IN_DOCKET, keeps=True)[0].command.endswith("-o NEW-DIR")


def test_cells_that_move_are_read_again_into_the_same_docket() -> None:
    first = steps(blamed("supply-sag"), IN_DOCKET, keeps=True)[0]
    assert (first.text, first.command) == ("Look at the wires.", f"{IN_DOCKET} NEW.log")


def test_one_reading_asks_for_a_second() -> None:
    image = examples.image(readings=np.ones(1024, np.uint16))
    alone = dataclasses.replace(examples.confirmed(), images=(image,))
    text = steps(alone, IN_DOCKET, keeps=True)[0].text
    assert text == "Read 8400-87FF again into a new file, best after switching off and on: two readings must agree."


def test_bytes_in_doubt_ask_for_another_reading() -> None:
    image = examples.image(doubtful=(Doubt(7, ((0x53, 5, 0.9), (0xD3, 1, 0.1))),))
    doubted = dataclasses.replace(examples.confirmed(), images=(image,), verdict="provisional")
    assert steps(doubted, IN_DOCKET, keeps=True)[0] == Step(
        "Read 8400-87FF again: 1 byte in doubt.", f"{IN_DOCKET} NEW.log"
    )


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_not_confirmed_is_never_told_to_need_nothing(kind: Kind) -> None:
    everything_had = dataclasses.replace(blamed(kind), limits=())
    assert steps(everything_had, IN_DOCKET, keeps=True)


@pytest.mark.parametrize("name", examples.ALL)
def test_every_step_is_a_sentence_with_a_command(name: str) -> None:
    for step in steps(examples.ALL[name](), IN_DOCKET, keeps=True):
        assert step.text.endswith(".")
        assert step.command.startswith("romassay assay ")
