"""The catalogue: parts, hosts and rigs from TOML files, strictly loaded. The facts are data, each with its source."""

from romassay.catalogue.hosts import host_names, host_of, load_host
from romassay.catalogue.parts import (
    FoundPart,
    catalogue_parts,
    find_part,
    load_part,
    part_complaints,
    part_files,
    part_of,
    part_types,
    parts_named,
)
from romassay.catalogue.rigs import RigFile, load_rig, rig_of
from romassay.catalogue.toml_text import rig_text

__all__ = [
    "FoundPart",
    "RigFile",
    "catalogue_parts",
    "find_part",
    "host_names",
    "host_of",
    "load_host",
    "load_part",
    "load_rig",
    "part_complaints",
    "part_files",
    "part_of",
    "part_types",
    "parts_named",
    "rig_of",
    "rig_text",
]
