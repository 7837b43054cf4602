"""The worked example of IEEE Std 1364-2005, clause 18.2.4, as it is quoted in several public test suites.

Its counts (3 scopes, 5 variables, 10 time marks, 20 scalar and 11 vector changes) were also taken with the tokenizer of
pyvcd 0.5.1, which `test_a_second_reader_counts_the_same` does again.
"""

from __future__ import annotations

import io

import numpy as np

from romassay.formats.traces.vcd import blocks, changes_of, header_of

EXAMPLE = b"""$date June 26, 1989 10:05:41
$end
$version VERILOG-SIMULATOR 1.0a
$end
$timescale 1 ns
$end
$scope module top $end
$scope module m1 $end
$var trireg 1 *@ net1 $end
$var trireg 1 *# net2 $end
$var trireg 1 *$ net3 $end
$upscope $end
$scope task t1 $end
$var reg 32 (k accumulator[31:0] $end
$var integer 32 {2 index $end
$upscope $end
$upscope $end
$enddefinitions $end
$comment
Note: $dumpvars was executed at time '#500'.
All initial values are dumped at this time.
$end
#500
$dumpvars
x*@
x*#
x*$
bx (k
bx {2
$end
#505
0*@
1*#
1*$
b10zx1110x11100 (k
b1111000101z01x {2
#510
0*$
#520
1*$
#530
0*$
bz (k
#535
$dumpall 0*@ 1*# 0*$
bz (k
b1111000101z01x {2
$end
#540
1*$
#1000
$dumpoff
x*@
x*#
x*$
bx (k
bx {2
$end
#2000
$dumpon
z*@
1*#
0*$
b0 (k
bx {2
$end
#2010
1*$
"""


def test_the_standards_example_has_the_standards_counts() -> None:
    header = header_of(EXAMPLE)
    assert (header.scopes, len(header.variables), header.tick) == (3, 5, 1e-9)
    assert [(v.name, v.width) for v in header.variables] == [
        ("top.m1.net1", 1), ("top.m1.net2", 1), ("top.m1.net3", 1), ("top.t1.accumulator", 32), ("top.t1.index", 32),
    ]  # fmt: skip
    found = list(blocks(io.BytesIO(EXAMPLE[header.end :])))
    marks = np.concatenate([block.marks for block in found])
    assert marks.tolist() == [500, 505, 510, 520, 530, 535, 540, 1000, 2000, 2010]
    assert sum(int((~block.vector).sum()) for block in found) == 20
    assert sum(int(block.vector.sum()) for block in found) == 11


def test_values_are_extended_on_the_left_as_clause_18_2_1_says() -> None:
    header = header_of(EXAMPLE)
    (block,) = blocks(io.BytesIO(EXAMPLE[header.end :]))
    accumulator = changes_of(block, header.by_name()["accumulator"])
    assert accumulator.time.tolist() == [500, 505, 530, 535, 1000, 2000]
    all_bits = (1 << 32) - 1
    assert accumulator.unknown.tolist() == [all_bits, 0b00110000100000, all_bits, all_bits, all_bits, 0]
    assert accumulator.value.tolist()[1] == 0b10001110011100
    net3 = changes_of(block, header.by_name()["net3"])
    assert net3.time.tolist() == [500, 505, 510, 520, 530, 535, 540, 1000, 2000, 2010]
    assert net3.value.tolist() == [0, 1, 0, 1, 0, 0, 1, 0, 0, 1]


def test_a_second_reader_counts_the_same() -> None:
    from vcd.reader import TokenKind, tokenize

    kinds = [token.kind for token in tokenize(io.BytesIO(EXAMPLE))]
    assert kinds.count(TokenKind.CHANGE_SCALAR) == 20
    assert kinds.count(TokenKind.CHANGE_VECTOR) == 11
    assert kinds.count(TokenKind.CHANGE_TIME) == 10
    assert kinds.count(TokenKind.SCOPE) == 3
    assert kinds.count(TokenKind.VAR) == 5
