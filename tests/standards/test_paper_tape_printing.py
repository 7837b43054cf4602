"""The worked paper-tape block of a 6502 board's manual, as the twin prints it.

User manual of a 6502 single-board microcomputer, second edition, August 1976 (publication 6500-15B), Appendix F.
"""

from __future__ import annotations

from romassay.twin import LAYOUTS, Terminal, print_log

BLOCK = bytes.fromhex("FFEEDDCCBBAA0099887766554433221122334455667788 99")


def test_appendix_f_the_worked_block_at_0000() -> None:
    log = print_log([[(0, BLOCK)]], LAYOUTS["paper-tape"], terminal=Terminal(nuls=6))
    assert log.split(b"\r\n\0\0\0\0\0\0") == [
        b";180000FFEEDDCCBBAA0099887766554433221122334455667788990AFC",
        b";0000010001",
        b"",
    ]
