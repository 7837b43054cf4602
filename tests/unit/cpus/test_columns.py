"""Columns say at every offset what the decoder says there."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.columns import FLOWS, ILLEGAL, columns, ident_of
from romassay.cpus.decode import decode

NEAR = ("near", "far", "page", "block")


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 1 << 30), origin=st.integers(0, 0xF000))
def test_columns_agree_with_the_decoder(name: str, seed: int, origin: int) -> None:
    cpu = cpu_of(name)
    data = random.Random(seed).randbytes(200)
    found = columns(cpu, data, origin)
    for offset in range(len(data)):
        one = decode(cpu, data, offset, origin + offset)
        if one is None:
            assert found.ident[offset] == ILLEGAL
            continue
        assert found.ident[offset] == ident_of(cpu, one.form)
        assert found.size[offset] == one.size
        assert FLOWS[found.flow[offset]] == one.flow
        for value in one.values:
            if value.kind in NEAR:
                assert (found.near[offset] + origin) & 0xFFFF == value.number
            if value.kind == "code":
                assert found.absolute[offset] == value.number
            if value.kind in ("data", "word") and not any(o.kind == "indexed" for o in one.form.operands):
                assert found.data[offset] == value.number


def test_no_bytes_give_empty_columns() -> None:
    assert len(columns(cpu_of("Z80"), b"").ident) == 0
