"""Outside programs that tests are held against: a missing one skips the test, or fails it where all must be there."""

from __future__ import annotations

import os
import shutil

import pytest


def need(program: str) -> str:
    """Return the path of a program; skip the test where it is missing, or fail it under ROMASSAY_REQUIRE_ALL=1."""
    path = shutil.which(program)
    if path:
        return path
    message = f"{program} is not installed"
    if os.environ.get("ROMASSAY_REQUIRE_ALL") == "1":
        pytest.fail(message)
    pytest.skip(message)
