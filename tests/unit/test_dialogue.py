from __future__ import annotations

import msgspec
import pytest

from romassay.catalogue import host_names, load_host
from romassay.dialogue import Dialogue
from romassay.formats.layout import parse_layout

GOOD = {"dump": "D {first:04X},{last:04X}", "cancel": "\x1b", "prompt": "*"}


def test_a_command_is_made_from_its_template() -> None:
    assert Dialogue(**GOOD).command(0xD000, 0xD0FF) == "D D000,D0FF"
    assert Dialogue(dump="X{first:06o} {count}", cancel="\x1b").command(0o17, 0o26) == "X000017 8"
    assert Dialogue(dump="{first:X} {after:X}", cancel="\x1b").command(0, 255) == "0 100"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"dump": "D {frist}"}, "field {frist}"),
        ({"dump": "D"}, "{first} is missing"),
        ({"dump": "D {first"}, "no template"),
        ({"dump": "D {first:Q}"}, "no template"),
        ({"dump": "D {first}\r"}, "no return"),
        ({"cancel": "x\r"}, "cancel holds a return"),
        ({"echo": "none"}, "cannot_write must be true"),
        ({"cancel": ""}, "cancel is missing"),
        ({"writes_or_runs": ["d"]}, "writes or runs"),
        ({"writes_or_runs": ["g"], "more_key": "G"}, "writes or runs"),
        ({"piece": 0}, "piece"),
        ({"silence_s": 0}, "silence_s"),
        ({"layout": "x", "format": "intel-hex"}, "not both"),
        ({"promt": "*"}, "unknown field"),
    ],
)
def test_what_could_write_or_is_misspelt_is_refused(change: dict[str, object], says: str) -> None:
    with pytest.raises(msgspec.ValidationError, match=".*".join(says.replace("{", r"\{").split())):
        msgspec.convert({**GOOD, **change}, Dialogue)


@pytest.mark.parametrize("name", host_names())
def test_the_hosts_of_the_catalogue_can_be_asked_or_say_nothing_of_it(name: str) -> None:
    host = load_host(name)
    if host.dialogue:
        assert host.dialogue.command(0, 1)
        if host.dialogue.layout:
            assert parse_layout(host.dialogue.layout).line_bytes == host.dump.bytes_a_line
