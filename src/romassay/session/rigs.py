"""Rig files as a docket keeps them: with everything in them that the file of the person only names."""

from __future__ import annotations

import msgspec

from romassay.catalogue import RigFile, rig_text
from romassay.docket.manifest import PART_FILE, RIG_FILE


def kept_rig(found: RigFile) -> dict[str, bytes]:
    """Return the files that stand for a rig in a docket: the rig, complete, and its part where that is one's own."""
    rig, files = found.rig, {}
    if found.part_file is not None:
        files[PART_FILE] = found.part_file.read_bytes()
        rig = msgspec.structs.replace(rig, part=PART_FILE)
    files[RIG_FILE] = rig_text(rig).encode()
    return files
