"""Firmware for an 8-bit AVR that reads one specimen: C, a Makefile and a table of the wires, made from a rig.

Pins and alternate functions are those of the data sheets, section 'Pin Configurations': ATmega2560 (2549), ATmega328P
(DS40002061); from memory. Data pins are inputs and stay so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files

from romassay.errors import BadValue
from romassay.rig import Rig, line_number

MCUS = ("atmega2560", "atmega328p")
F_CPU = 16_000_000
_SETTLE_US = 1
_ACCESS_US = 4


@dataclass(frozen=True, slots=True)
class _Lines:
    """What a rig needs of the reader.

    Attributes:
        address: numbers of the address lines, rising.
        data: numbers of the data lines, rising.
        clock: MHz of a free-running clock, or 0.
        read: True where there is a read strobe, low while reading.
        high: True where there is a read/write line, high all the while.
        reset: True where there is a reset, low at first.
    """

    address: tuple[int, ...]
    data: tuple[int, ...]
    clock: float
    read: bool
    high: bool
    reset: bool


def firmware_for(rig: Rig, mcu: str, *, title: str = "") -> dict[str, str]:
    """Return the files of a reader: name -> text.

    Args:
        rig: checked against its part.
        mcu: one of `MCUS`.
        title: for the head of the table of wires.

    Raises:
        BadValue: no such controller, a line that a reader does not have, or more lines than pins.
    """
    if mcu not in MCUS:
        raise BadValue(f"there is no reader for '{mcu}'", place="--mcu", advice=f"choose {' or '.join(MCUS)}")
    lines = _lines(rig)
    pins = _PINS[mcu](lines)
    source = (files("romassay.firmware") / "reader.c").read_text("utf-8")
    return {
        "reader.c": source,
        "pins.h": pins.header,
        "Makefile": _makefile(mcu),
        "wires.txt": _wires(rig, mcu, pins, title),
    }


def _lines(rig: Rig) -> _Lines:
    signals = rig.host.signals
    named = {"clock": signals.clock, "read": signals.read, "high": signals.read_write, "reset": signals.reset}
    address: set[int] = set()
    data: set[int] = set()
    used: set[str] = set()
    for pin, line in rig.wiring.items():
        if (number := line_number(line, "A")) is not None:
            address.add(number)
        elif (number := line_number(line, "D")) is not None:
            data.add(number)
        elif kind := next((kind for kind, name in named.items() if name and name == line), None):
            used.add(kind)
        else:
            raise BadValue(
                f"pin {pin} is on '{line}', and a reader has no such line",
                advice=f"its lines are {', '.join(['A0-A15', 'D0-D7', *filter(None, named.values())])}: name the host "
                "reader-5v in the rig, which has a clock and strobes",
            )
    if not address or not data:
        raise BadValue("the rig wires no address or no data lines", advice="add them to [wiring]")
    if max(address) > 15 or max(data) > 7:
        raise BadValue("a reader has 16 address lines and 8 data lines", advice="wire A0-A15 and D0-D7 only")
    cycle = rig.host.cycle
    mhz = (cycle.clock_mhz if cycle else 0.0) or 0.5
    return _Lines(
        tuple(sorted(address)),
        tuple(sorted(data)),
        mhz if "clock" in used else 0.0,
        "read" in used,
        "high" in used,
        "reset" in used,
    )


@dataclass(frozen=True, slots=True)
class _Pins:
    """The pins of a controller: the header that the firmware includes, and what each line is on, for people."""

    header: str
    table: tuple[tuple[str, str], ...]
    note: str = ""


def _mega2560(lines: _Lines) -> _Pins:
    table = [(f"A{n}", f"P{'A' if n < 8 else 'C'}{n % 8}") for n in lines.address]
    table += [(f"D{n}", f"PL{n}") for n in lines.data]
    body = [
        "static inline void address_put(uint16_t a) { PORTA = a & 0xFF; PORTC = a >> 8; }",
        "static inline uint8_t data_get(void) { return PINL; }",
    ]
    begin = ["DDRA = 0xFF; DDRC = 0xFF;"]
    table += _control(lines, body, begin, clock="B5", read="G1", high="G0", reset="G2")
    return _Pins(_header("0x1E", body, begin), tuple(table))


_DATA_328 = ("PC0", "PC1", "PC2", "PC3", "PC4", "PC5", "PD2", "PD3")
_PINS_328 = 18
"""Free pins of an ATmega328P on a board with crystal, reset button and a lamp on PB4: 20, less two for the line."""


def _mega328p(lines: _Lines) -> _Pins:
    """Return the pins of the small controller: its address goes through shift registers, for it has too few pins."""
    controls = sum((bool(lines.clock), lines.read, lines.high, lines.reset))
    direct = len(lines.address) + len(lines.data) + controls
    registers = 1 if max(lines.address) < 8 else 2
    needed = 3 + 8 + controls
    if needed > _PINS_328:
        raise BadValue(f"an ATmega328P has {_PINS_328} free pins, {needed} are needed", advice="choose atmega2560")
    table = [(f"A{n}", f"register {n // 8 + 1}, Q{'ABCDEFGH'[n % 8]}") for n in lines.address]
    table += [(f"D{n}", _DATA_328[n]) for n in lines.data]
    table += [("register 1, serial in", "PB3"), ("registers, shift clock", "PB5"), ("registers, storage clock", "PB2")]
    if registers == 2:
        table.append(("register 2, serial in", "register 1, QH'"))
    send = "SPDR = a >> 8; while (!(SPSR & 1 << SPIF)) ; " if registers == 2 else ""
    body = [
        f"static inline void address_put(uint16_t a) {{ {send}SPDR = a & 0xFF; while (!(SPSR & 1 << SPIF)) ; "
        "PORTB |= 1 << 2; PORTB &= ~(1 << 2); }",
        "static inline uint8_t data_get(void) { return (PINC & 0x3F) | (PIND & 0x0C) << 4; }",
    ]
    begin = ["DDRB |= 1 << 2 | 1 << 3 | 1 << 5;", "SPCR = 1 << SPE | 1 << MSTR;", "SPSR = 1 << SPI2X;"]
    table += _control(lines, body, begin, clock="B1", read="B0", high="D5", reset="D4")
    note = f"{direct} lines, {_PINS_328} free pins: the address goes through {registers} shift register(s) 74HC595."
    return _Pins(_header("0x0E", body, begin), tuple(table), note)


_PINS: dict[str, Callable[[_Lines], _Pins]] = {"atmega2560": _mega2560, "atmega328p": _mega328p}


def _control(
    lines: _Lines, body: list[str], begin: list[str], *, clock: str, read: str, high: str, reset: str
) -> list[tuple[str, str]]:
    """Add clock, strobe, read/write line and reset; return their rows of the table."""
    table = []
    if lines.reset:
        table.append(("reset", f"P{reset}"))
        begin.append(f"DDR{reset[0]} |= 1 << {reset[1]};")
    if lines.high:
        table.append(("read/write, high", f"P{high}"))
        begin.append(f"PORT{high[0]} |= 1 << {high[1]}; DDR{high[0]} |= 1 << {high[1]};")
    if lines.read:
        table.append(("read strobe, low while reading", f"P{read}"))
        begin.append(f"PORT{read[0]} |= 1 << {read[1]}; DDR{read[0]} |= 1 << {read[1]};")
        body.append(f"static inline void strobe_begin(void) {{ PORT{read[0]} &= ~(1 << {read[1]}); }}")
        body.append(f"static inline void strobe_end(void) {{ PORT{read[0]} |= 1 << {read[1]}; }}")
    else:
        body += ["static inline void strobe_begin(void) { }", "static inline void strobe_end(void) { }"]
    if lines.clock:
        table.append((f"clock, {lines.clock:g} MHz", f"P{clock}"))
        top = max(3, round(F_CPU / (2e6 * lines.clock)) - 1)
        begin.append(f"DDR{clock[0]} |= 1 << {clock[1]};")
        begin.append(f"OCR1A = {top}; TCCR1A = 1 << COM1A0; TCCR1B = 1 << WGM12 | 1 << CS10;")
        body.append(f"#define CLOCK_PIN PIN{clock[0]}\n#define CLOCK_BIT {clock[1]}")
    if lines.reset:
        begin.append(f"_delay_ms(10); PORT{reset[0]} |= 1 << {reset[1]}; _delay_ms(10);")
    return table


def _header(bandgap: str, body: list[str], begin: list[str]) -> str:
    inner = "\n".join(f"    {line}" for line in begin)
    text = "\n".join(body)
    return f"""/* Made from the rig: which pin is what. Data pins are in no direction register here. */
#define SETTLE_US {_SETTLE_US}
#define ACCESS_US {_ACCESS_US}
#define BANDGAP (1 << REFS0 | {bandgap})

{text}

static void pins_begin(void)
{{
{inner}
}}
"""


def _makefile(mcu: str) -> str:
    return f"""# Needs avr-gcc, avr-libc and binutils for the AVR. Load reader.hex with the programmer that you have.
MCU = {mcu}
CFLAGS = -std=c99 -Os -Wall -Wextra -Werror -mmcu=$(MCU) -DF_CPU={F_CPU}UL

reader.hex: reader.elf
\tavr-objcopy -O ihex -R .eeprom $< $@

reader.elf: reader.c pins.h
\tavr-gcc $(CFLAGS) -o $@ reader.c

clean:
\trm -f reader.elf reader.hex

.PHONY: clean
"""


def _wires(rig: Rig, mcu: str, pins: _Pins, title: str) -> str:
    where = dict(pins.table)
    rows = [f"{title or rig.title or 'A reader'}: {mcu}, {F_CPU // 1_000_000} MHz, 115200 baud 8N1", ""]
    signals = rig.host.signals
    names = {
        signals.clock: next((name for name in where if name.startswith("clock")), ""),
        signals.read: "read strobe, low while reading",
        signals.read_write: "read/write, high",
        signals.reset: "reset",
    }
    rows += ["pin of the specimen    line    pin of the reader"]
    for pin, line in rig.wiring.items():
        rows.append(f"{pin:22} {line:7} {where.get(line) or where.get(names.get(line, ''), '')}")
    rows += [f"{pin:22} tied {level}" for pin, level in rig.held.items()]
    rows += [f"{name:30} {place}" for name, place in pins.table if name.startswith("register")]
    if pins.note:
        rows += ["", pins.note]
    rows += [
        "",
        "Before the specimen goes in: power the reader alone and measure its supply and every line. Put the specimen",
        "in and out with the power off. Wear an earthed wrist strap. Both must run at the same supply voltage.",
    ]
    return "\n".join(rows) + "\n"
