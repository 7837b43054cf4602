"""Outside programs that tests are held against: a missing one skips the test, or fails it where all must be there."""

from __future__ import annotations

import os
import shutil
from importlib import import_module
from types import ModuleType

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


def need_module(name: str) -> ModuleType:
    """Return a library; skip the test where it is missing, or fail it under ROMASSAY_REQUIRE_ALL=1."""
    try:
        return import_module(name)
    except ImportError:
        message = f"the library {name} is not installed"
    if os.environ.get("ROMASSAY_REQUIRE_ALL") == "1":
        pytest.fail(message)
    pytest.skip(message)
