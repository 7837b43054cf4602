"""Following the flow: what is reached, what is not, and where it breaks."""

from __future__ import annotations

from romassay.code.flow import follow
from romassay.code.listing import listing
from romassay.code.source import source
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of


def followed(cpu: str, *lines: str) -> tuple[list[int], tuple[int, ...], list[int]]:
    made = assemble(cpu_of(cpu), lines)
    found = follow(cpu_of(cpu), made.data, made.first, [made.first])
    return list(found.instructions), found.broken, list(found.leaving)


def test_both_ways_of_a_branch_and_the_way_back_from_a_call_are_followed() -> None:
    lines = [" org $1000", " jsr sub", " bne end", " jmp $2000", " db 2,2", "end: rts", "sub: rts"]
    assert followed("6502", *lines) == ([0, 3, 5, 10, 11], (), [0x2000])


def test_a_skip_goes_on_at_both_places() -> None:
    assert followed("1802", " lsz", " db 68h,68h", " idl", " br $")[0] == [0, 3, 4]


def test_data_behind_a_jump_are_not_code() -> None:
    assert followed("8080", " jmp over", ' db "text"', "over: hlt", " jmp over")[0] == [0, 7, 8]


def test_running_into_no_instruction_is_told() -> None:
    assert followed("6502", " nop", " db $02")[1] == (1,)


def test_instructions_do_not_overlap() -> None:
    made = assemble(cpu_of("6502"), [" bit $ea", " bne inner", "inner = 1", " rts"])
    found = follow(cpu_of("6502"), made.data, 0, [0])
    ends = [offset + each.size for offset, each in found.instructions.items()]
    assert all(a <= b for a, b in zip(ends, list(found.instructions)[1:], strict=False))
    assert found.broken == (1,)


def test_an_address_behind_a_call_of_the_1802_is_no_instruction() -> None:
    # MPM-201 (1976), standard call and return technique: SEP R4, then the address of the routine; SEP R5 returns
    lines = ["go: sep r4", " dw one", " sep r4", " dw two", " ldi 7", " sep r4", " dw one", " br go"]
    lines += ["one: inc r8", " sep r5", "two: sep r4", " dw one", " sep r5"]
    code = assemble(cpu_of("1802"), lines, origin=0x400)
    followed = follow(cpu_of("1802"), code.data, 0x400, [0x400])
    assert [0x400 + at for at in followed.instructions] == list(code.instructions)
    assert followed.inline == {1: 13, 4: 15, 9: 13, 16: 13}
    assert not followed.broken
    text = source(listing(cpu_of("1802"), code.data, 0x400, [("", 0x400)]))
    assert "dw S040D" in text
    assert assemble(cpu_of("1802"), text).data == code.data
