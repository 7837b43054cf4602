"""Readers of our own: dump routines to key into a host, and firmware. Text and bytes; no disk."""

from romassay.firmware.routine import CPUS, Routine, routine_for

__all__ = ["CPUS", "Routine", "routine_for"]
