"""The catalogue: parts and rigs from TOML files, strictly loaded. The facts are data, each with its source."""

from romassay.catalogue.parts import load_part, part_of, part_types
from romassay.catalogue.rigs import RigFile, load_rig, rig_of, rig_text

__all__ = ["RigFile", "load_part", "load_rig", "part_of", "part_types", "rig_of", "rig_text"]
