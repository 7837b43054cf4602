"""Assays made by hand, for everything that shows, stores or passes them on. Invented bytes, realistic shapes.

They are built from the value types alone, so that what is tested with them does not lean on survey and settle.
"""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Sequence
from typing import Any

import numpy as np

from romassay.address import Cube, Range
from romassay.chain import Assay, Options
from romassay.finding import Finding, ranked
from romassay.reading import Conditions, Hole, Reading, ReadingSet, Source, reading_of
from romassay.settle.model import Confidence, Decision, Doubt, Image
from romassay.survey.model import Copy, Function, ReadNext, Region, Survey

SIZE = 0x400
COPIES = (0x8400, 0x8C00, 0x9400, 0x9C00)
CONTENT = random.Random(6530).randbytes(SIZE)

WEAK = Finding(
    kind="weak-bits",
    blocks=True,
    evidence="Bit 3 at offsets 0123 and 0145 read 0 in 7 and 1 in 5 of 12 observations, in every mirror alike.",
    advice="Read again at a lower and a higher supply within the rating, and warm; note which way the bits go.",
    function=0,
    lines=("D3",),
    offsets=(0x123, 0x145),
)
LINK = Finding(
    kind="link-corruption",
    blocks=False,
    evidence="7 characters of 3 readings differ from the others; each was outvoted.",
    advice="Nothing: repetition put it right. A slower line would make fewer.",
    function=0,
    offsets=(3, 77, 78, 500),
)
SINGLE = Finding(
    kind="single-reading",
    blocks=True,
    evidence="One reading only: an error of the line that hits every mirror alike could not be seen.",
    advice="Read the same range again.",
)
SHORT = Finding(
    kind="short-window",
    blocks=False,
    evidence="The readings end at 9FFF: they do not tell whether A13 counts.",
    advice="Read A400-A7FF.",
    function=0,
    lines=("A13",),
    where=(Range(0xA400, 0xA7FF),),
)


def readings(count: int = 3, *, sessions: Sequence[str | None] = (None,)) -> tuple[Reading, ...]:
    """Readings of 8000-9FFF in which the ROM stands at four places between pages of FF."""
    window = b"".join(bytes([0xFF]) * SIZE + CONTENT for _ in COPIES)
    return tuple(
        dataclasses.replace(
            reading_of([(0x8000, window)], unit="hex-digit"),
            conditions=Conditions(session=sessions[i % len(sessions)]),
            source=Source(
                name=f"pass-{i + 1}.log",
                sha256=f"{i + 1:064x}",
                format="text-dump",
                layout="hex4 16x byte",
                lines=(2, 513),
                bad_lines=i,
            ),
            holes=tuple(Hole(0x8410 + n, 0x8410 + n, 70 + n, "a character that is no digit") for n in range(i)),
        )
        for i in range(count)
    )


def function(*, unknown: int = 1 << 13, care: int = 0xCC00, **changes: Any) -> Function:
    """A ROM of 1 KiB at 8400 whose A12 does not count and whose A13 was not exercised."""
    fields: dict[str, Any] = {
        "kind": "rom",
        "name": "ROM",
        "size": SIZE,
        "width": 8,
        "own": SIZE - 1,
        "cube": Cube(16, care, 0x8400 & care),
        "unknown": unknown,
        "copies": tuple(Copy(first, SIZE, 1.0) for first in COPIES),
        "read_next": (ReadNext(Range(0xA400, 0xA7FF), ("A13",)),) if unknown else (),
    }
    return Function(**{**fields, **changes})


def regions() -> tuple[Region, ...]:
    """The regions that go with `readings` and `function`."""
    found = []
    for number, first in enumerate(COPIES):
        found.append(Region(first - SIZE, first - 1, "open-bus"))
        found.append(Region(first, first + SIZE - 1, "rom", 0, number))
    return tuple(found)


def image(**changes: Any) -> Image:
    """The settled bytes of `CONTENT`, seen twelve times each."""
    fields: dict[str, Any] = {
        "function": 0,
        "value": np.frombuffer(CONTENT, np.uint8).copy(),
        "seen": np.full(SIZE, 0xFF, np.uint8),
        "posterior": np.full(SIZE, 1 - 1e-7, np.float32),
        "observations": np.full(SIZE, 12, np.int32),
        "readings": np.full(SIZE, 3, np.int32),
        "doubtful": (),
        "flipped": (),
        "link_errors": (),
        "decided": (),
        "confidence": Confidence(
            readings=3,
            sessions=1,
            copies=4,
            observations_min=12,
            disagreements=0,
            wrong_bytes_upper_bound=0.00042,
            level=0.95,
            more_readings_for_target=0,
        ),
    }
    return Image(**{**fields, **changes})


def confidence(**changes: Any) -> Confidence:
    """The confidence of `image`, changed."""
    return dataclasses.replace(image().confidence, **changes)


def confirmed() -> Assay:
    """Three clean readings of a ROM with four copies; A13 not exercised."""
    return Assay(
        readings=ReadingSet(readings(), 16),
        options=Options(),
        survey=Survey(16, regions(), (function(),)),
        images=(image(link_errors=(3, 77, 78, 500), confidence=confidence(disagreements=7)),),
        findings=ranked((SHORT, LINK)),
        limits=("no-power-cycle", "no-control-reading", "part-not-declared", "no-own-check"),
        verdict="confirmed",
    )


def provisional() -> Assay:
    """Three readings with weak bits, one offset in doubt."""
    return dataclasses.replace(
        confirmed(),
        images=(
            image(
                doubtful=(Doubt(0x123, ((0x4A, 7, 0.71), (0x42, 5, 0.29))),),
                flipped=(0x123, 0x145),
                confidence=confidence(
                    disagreements=9, wrong_bytes_upper_bound=1.3, more_readings_for_target=4, readings=3
                ),
            ),
        ),
        findings=ranked((SHORT, WEAK)),
        verdict="provisional",
    )


def single() -> Assay:
    """One reading only."""
    return dataclasses.replace(
        confirmed(),
        readings=ReadingSet(readings(1), 16),
        images=(
            image(
                observations=np.full(SIZE, 4, np.int32),
                readings=np.full(SIZE, 1, np.int32),
                confidence=confidence(readings=1, observations_min=4, more_readings_for_target=1),
            ),
        ),
        findings=ranked((SHORT, SINGLE)),
        verdict="provisional",
    )


def decided() -> Assay:
    """The weak byte decided by a person."""
    return dataclasses.replace(
        provisional(),
        images=(image(flipped=(0x123, 0x145), decided=(Decision(0x123, 0x4A, "the listing's branch ends there"),)),),
    )


def not_found() -> Assay:
    """Nothing but a floating bus."""
    blank = dataclasses.replace(
        reading_of([(0x8000, bytes([0xFF]) * 0x2000)], unit="hex-digit"),
        source=Source(name="pass-1.log", sha256="1" * 64, format="text-dump"),
    )
    return Assay(
        readings=ReadingSet((blank,), 16),
        options=Options(),
        survey=Survey(16, (Region(0x8000, 0x9FFF, "open-bus"),), ()),
        images=(),
        findings=(),
        limits=("no-control-reading", "part-not-declared", "no-own-check"),
        verdict="not-found",
    )


def two_roms() -> Assay:
    """A second, smaller ROM of which some bytes were never seen, and host memory left out."""
    small = function(
        size=0x100,
        own=0xFF,
        cube=Cube(16, 0xFF00, 0x7000),
        unknown=0,
        copies=(Copy(0x7000, 0xF8, 1.0),),
        name="ROM B",
        sizes=(0x200,),
    )
    seen = np.full(0x100, 0xFF, np.uint8)
    seen[0x80:0x88] = 0
    value = np.frombuffer(CONTENT[:0x100], np.uint8).copy()
    value[0x80:0x88] = 0xFF
    second = image(
        function=1,
        value=value,
        seen=seen,
        posterior=np.full(0x100, 0.999, np.float32),
        observations=np.where(seen, 3, 0).astype(np.int32),
        readings=np.where(seen, 3, 0).astype(np.int32),
        confidence=confidence(copies=1, observations_min=0, wrong_bytes_upper_bound=8.2, more_readings_for_target=None),
    )
    base = confirmed()
    return dataclasses.replace(
        base,
        readings=ReadingSet(readings(), 16, (Range(0, 0x1FFF),)),
        survey=Survey(
            16,
            (Region(0, 0x1FFF, "host"), Region(0x7000, 0x70FF, "rom", 1, 0), *regions()),
            (function(), small),
        ),
        images=(image(), second),
        verdict="provisional",
    )


ALL = {
    "confirmed": confirmed,
    "provisional": provisional,
    "single": single,
    "decided": decided,
    "not-found": not_found,
    "two-roms": two_roms,
}
