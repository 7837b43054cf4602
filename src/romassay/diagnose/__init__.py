"""Diagnosis: what is wrong with the wiring, the specimen or the way it was read, told from the readings alone."""

from romassay.diagnose.correct import applicable, corrected
from romassay.diagnose.stage import diagnose

__all__ = ["applicable", "corrected", "diagnose"]
