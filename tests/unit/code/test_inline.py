"""What stands behind calls: messages, parameters, tables of places to go on at; none of it is code."""

from __future__ import annotations

import pytest

from romassay.code.listing import Listing, listing, regions
from romassay.code.source import source
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of

PRINTERS = {
    "6502": "show: pla|sta $02|pla|sta $03|ldy #0|next: iny|lda ($02),y|beq done|jsr out|bne next|done: tya|clc|adc $02"
    "|tax|lda $03|adc #0|pha|txa|pha|rts",
    "6800": "show: tsx|ldx 0,x|next: ldaa 0,x|beq done|jsr out|inx|bra next|done: inx|ins|ins|jmp 0,x",
    "6809": "show: puls x|next: lda ,x+|beq done|jsr out|bra next|done: jmp ,x",
    "8080": "show: xthl|next: mov a,m|inx h|ora a|jz done|call out|jmp next|done: xthl|ret",
    "Z80": "show: pop hl|next: ld a,(hl)|inc hl|or a|jr z,done|call out|jr next|done: jp (hl)",
    "8051": "show: pop 83h|pop 82h|next: clr a|movc a,@a+dptr|inc dptr|jz done|lcall out|sjmp next|done: clr a"
    "|jmp @a+dptr",
}
CALLS = {"6502": "jsr", "6800": "jsr", "6809": "jsr", "8080": "call", "Z80": "call", "8051": "lcall"}
RETURNS = {"6502": "rts", "6800": "rts", "6809": "rts", "8080": "ret", "Z80": "ret", "8051": "ret"}


def listed(cpu: str, lines: str) -> tuple[Listing, bytes]:
    made = assemble(cpu_of(cpu), [f" {line}" if ":" not in line else line for line in lines.split("|")], origin=0x400)
    shown = listing(cpu_of(cpu), made.data, 0x400, [("start", 0x400)])
    assert assemble(cpu_of(cpu), source(shown)).data == made.data
    return shown, made.data


@pytest.mark.parametrize("cpu", PRINTERS)
def test_a_message_behind_a_call_is_text_and_the_code_goes_on_behind_it(cpu: str) -> None:
    call, back = CALLS[cpu], RETURNS[cpu]
    says = f'start: {call} show|db "TIDE IS HIGH",0|{call} show|db "OPEN",0|{call} last|{back}'
    shown, data = listed(cpu, f"{says}|{PRINTERS[cpu]}|last: {back}|out: {back}")
    texts = [data[each.first : each.end] for each in regions(shown) if each.kind == "text"]
    assert texts == [b"TIDE IS HIGH\0", b"OPEN\0"]
    assert not shown.followed.broken
    assert sum(each.kind != "code" for each in regions(shown)) == len(texts)


def test_messages_behind_calls_that_lead_outside_are_seen_where_there_are_several() -> None:
    lines = 'start: call 8000h|db "LAMP ON",0dh,0|call 8000h|db "LAMP OFF",0dh,0|ret'
    shown, _ = listed("8080", lines)
    assert [each.kind for each in regions(shown)] == ["code", "text", "code", "text", "code"]


def test_parameters_behind_a_call_are_data() -> None:
    takes = "take: xthl|mov e,m|inx h|mov d,m|inx h|xthl|ret"
    shown, _ = listed("8080", f"start: call take|dw 0c932h|mov a,e|call take|dw 0203h|ret|{takes}")
    assert [(each.first, each.end) for each in regions(shown) if each.kind != "code"] == [(3, 5), (9, 11)]


def test_a_table_behind_the_call_of_a_dispatcher_leads_on() -> None:
    case = "case: pop h|add a|mov e,a|mvi d,0|dad d|mov e,m|inx h|mov d,m|xchg|pchl"
    shown, _ = listed(
        "8080", f"start: ani 3|call case|dw one,two,three|one: inr b|ret|two: inr c|ret|three: ret|{case}"
    )
    assert sorted(shown.followed.inline) == [5, 7, 9]
    assert [each.kind for each in regions(shown)] == ["code", "pointers", "code"]
    assert "        dw L040B " in source(shown)


def test_a_routine_that_drops_its_return_address_takes_nothing() -> None:
    shown, _ = listed("Z80", "start: call quit|ld a,(hl)|ret|quit: pop hl|ret")
    assert [each.kind for each in regions(shown)] == ["code"]


def test_a_table_of_jumps_is_followed() -> None:
    # MCS-51 programmer's guide (1985), JMP @A+DPTR: its example branches into such a table
    lines = "start: mov dptr,#table|jmp @a+dptr|table: ajmp one|ajmp two|one: inc a|ret|two: dec a|ret"
    shown, _ = listed("8051", lines)
    assert [each.kind for each in regions(shown)] == ["code"]
    assert {"L0404", "L0406"} <= set(shown.labels.values())
