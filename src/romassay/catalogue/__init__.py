"""The catalogue: parts and rigs from TOML files, strictly loaded. The facts are data, each with its source."""

from romassay.catalogue.parts import load_part, part_of, part_types

__all__ = ["load_part", "part_of", "part_types"]
