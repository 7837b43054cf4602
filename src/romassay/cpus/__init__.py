"""Instruction sets: tables, a decoder, an assembler, and how likely bytes are as code. Values and pure functions."""
