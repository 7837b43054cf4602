"""Which format a file is taken for: one garbled character must not turn it into another."""

from __future__ import annotations

import random

import pytest

from romassay.formats import read
from romassay.formats.model import Hints


@pytest.mark.parametrize("sign", "@:S%/;q")
@pytest.mark.parametrize("line", [0, 40, 255])
def test_one_garbled_digit_leaves_a_dump_a_dump(sign: str, line: int) -> None:
    data = random.Random(5).randbytes(4096)
    lines = [f"{0x4000 + i:04X} {data[i : i + 16].hex(' ').upper()}" for i in range(0, len(data), 16)]
    lines[line] = sign + lines[line][1:]
    found = read("\n".join(lines).encode(), "a.log", Hints())
    assert found.format == "text-dump"
    (reading,) = found.readings
    assert len(reading) >= len(data) - 16
    assert all(v == data[a - 0x4000] for a, v in zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))
