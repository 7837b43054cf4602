"""The catalogue: parts, hosts and rigs from TOML files, strictly loaded. The facts are data, each with its source."""

from romassay.catalogue.hosts import host_names, host_of, load_host
from romassay.catalogue.parts import load_part, part_of, part_types
from romassay.catalogue.rigs import RigFile, load_rig, rig_of, rig_text

__all__ = [
    "RigFile",
    "host_names",
    "host_of",
    "load_host",
    "load_part",
    "load_rig",
    "part_of",
    "part_types",
    "rig_of",
    "rig_text",
]
