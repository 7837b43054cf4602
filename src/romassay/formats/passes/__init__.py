"""Rows of a dump to readings: which addresses are certain, where a pass ends, what is missing."""
