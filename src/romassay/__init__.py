"""romassay: from bus dumps of an obsolete mask-programmed chip to a ROM image that others can trust.

In a notebook::

    import romassay as ra

    ra.assay(ra.load("pass-1.log"))
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from romassay.version import VERSION

if TYPE_CHECKING:  # so that a user's type checker and editor know what the doors lead to
    from romassay.address import Range
    from romassay.catalogue import load_part
    from romassay.chain import Assay, Options, assay, gather
    from romassay.errors import RomassayError
    from romassay.formats import Hints, load
    from romassay.reading import Reading

__version__ = VERSION

_DOORS = {
    "assay": "romassay.chain",
    "gather": "romassay.chain",
    "Options": "romassay.chain",
    "Assay": "romassay.chain",
    "load": "romassay.formats",
    "load_part": "romassay.catalogue",
    "Hints": "romassay.formats",
    "Range": "romassay.address",
    "Reading": "romassay.reading",
    "RomassayError": "romassay.errors",
}

__all__ = ["Assay", "Hints", "Options", "Range", "Reading", "RomassayError", "assay", "gather", "load", "load_part"]


def __getattr__(name: str) -> Any:
    """Load a door when it is first used: start-up counts."""
    if name not in _DOORS:
        raise AttributeError(f"module 'romassay' has no attribute '{name}'")
    return getattr(import_module(_DOORS[name]), name)


def __dir__() -> list[str]:
    """Return what a notebook offers: the doors, whether they were used yet or not."""
    return sorted([*__all__, "__version__", "load_ipython_extension"])


def load_ipython_extension(shell: Any) -> None:
    """Show assays, surveys and parts as pictures in a notebook: `%load_ext romassay`."""
    from romassay.report.notebook import register

    register(shell)
