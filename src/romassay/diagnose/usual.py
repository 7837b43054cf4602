"""What is usual of chips and rigs, where several diagnoses lean on the same: odds, sizes and shares, each once."""

from __future__ import annotations

from math import log

PRIOR = log(0.02)
"""Natural logarithm of the odds of one fault of a rig before anything is read. Common practice, no source."""

LARGEST = 13
"""log2 of the largest ROM that is looked for where no size is declared, and whose lines are put in order: 8 KiB."""

RAM = 128
"""Bytes of the largest RAM of a combination chip (6530, 6532: data sheets)."""

FILLINGS = (0x00, 0xFF)
"""What a pulled bus or an erased memory says. Common practice, no source."""

SAME = 0.95
"""Share of the bytes that must be equal for two blocks to be of one memory; the rest is line noise."""
