"""What no file of a format lacks: without it the format is not asked about, and would have known nothing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.formats import FORMATS, MARKS

LINES = st.lists(st.text("0123456789ABCDEFabcdefSs:;/%@$#qnp \t\r", max_size=60), min_size=1, max_size=30)


@pytest.mark.parametrize("name", MARKS)
@given(lines=LINES)
def test_a_format_knows_nothing_in_a_text_without_its_mark(name: str, lines: list[str]) -> None:
    text = "\n".join(lines).encode().replace(MARKS[name], b"")
    assert FORMATS[name].sniff(text) == 0.0
