"""Record formats printed from their published descriptions, by hand, one reading a file."""

import numpy as np

from .layouts import Layout
from .sheet import FRAME, OUTSIDE, Sheet

FORMATS = ("intel-hex", "s-record", "paper-tape", "ti-txt", "tek-hex", "verilog")


def render_records(
    rng: np.random.Generator, form: str, address: np.ndarray, value: np.ndarray, layout: Layout
) -> Sheet:
    """Runs of rising addresses as records of `layout.per_line` bytes, lines ended by `layout.eol`."""
    sheet = Sheet()
    size = int(rng.choice([8, 16, 16, 24, 32]))
    breaks = np.flatnonzero(np.diff(address) != 1) + 1
    upper = -1
    records = 0
    if form == "s-record":
        _end(sheet, layout, "S0030000FC")
    for part in np.split(np.arange(len(address)), breaks):
        for start in range(0, len(part), size):
            rows = part[start : start + size]
            first = int(address[rows[0]])
            if form == "intel-hex":
                room = 0x10000 - (first & 0xFFFF)
                rows = rows[:room] if room < len(rows) else rows
                if first >> 16 != upper and (first >> 16 or upper > 0):
                    upper = first >> 16
                    body = [2, 0, 0, 4, upper >> 8, upper & 0xFF]
                    _end(sheet, layout, ":" + "".join(f"{b:02X}" for b in [*body, -sum(body) & 0xFF]))
            if form == "ti-txt" and (start == 0):
                _end(sheet, layout, f"@{first:04X}")
            if form == "verilog" and (start == 0):
                _end(sheet, layout, f"@{first:08X}")
            _record(sheet, form, address[rows], value[rows])
            _end(sheet, layout, "")
            records += 1
    if form == "intel-hex":
        _end(sheet, layout, ":00000001FF")
    elif form == "s-record":
        wide = int(address.max()) > 0xFFFF
        _end(sheet, layout, "S804000000FB" if wide else "S9030000FC")
    elif form == "paper-tape":
        count = f"{records:04X}"
        total = (records >> 8) + (records & 0xFF)
        _end(sheet, layout, f";00{count}{total:04X}")
    elif form == "ti-txt":
        _end(sheet, layout, "q")
    elif form == "tek-hex":
        _end(sheet, layout, "/00000000")
    return sheet


def _end(sheet: Sheet, layout: Layout, text: str) -> None:
    sheet.put(text, OUTSIDE)
    sheet.put(layout.eol, FRAME)
    sheet.row += 1


def _data(sheet: Sheet, address: np.ndarray, value: np.ndarray, gap: str = "") -> None:
    for number, (a, v) in enumerate(zip(address.tolist(), value.tolist(), strict=True)):
        if number:
            sheet.put(gap, FRAME)
        sheet.put(f"{v:02X}", sheet.observe(a, v, 0))


def _record(sheet: Sheet, form: str, address: np.ndarray, value: np.ndarray) -> None:
    first, count = int(address[0]), len(value)
    total = int(value.astype(np.int64).sum())
    if form == "intel-hex":
        body = count + (first >> 8 & 0xFF) + (first & 0xFF)
        sheet.put(f":{count:02X}{first & 0xFFFF:04X}00", FRAME)
        _data(sheet, address, value)
        sheet.put(f"{-(body + total) & 0xFF:02X}", FRAME)
    elif form == "s-record":
        wide = first > 0xFFFF
        length = count + (4 if wide else 3)
        body = length + (first >> 16) + (first >> 8 & 0xFF) + (first & 0xFF)
        sheet.put(f"S2{length:02X}{first:06X}" if wide else f"S1{length:02X}{first:04X}", FRAME)
        _data(sheet, address, value)
        sheet.put(f"{~(body + total) & 0xFF:02X}", FRAME)
    elif form == "paper-tape":
        body = count + (first >> 8) + (first & 0xFF)
        sheet.put(f";{count:02X}{first:04X}", FRAME)
        _data(sheet, address, value)
        sheet.put(f"{(body + total) & 0xFFFF:04X}", FRAME)
    elif form == "tek-hex":
        head = sum(int(c, 16) for c in f"{first:04X}{count:02X}") & 0xFF
        nibbles = int((value >> 4).astype(np.int64).sum() + (value & 15).astype(np.int64).sum())
        sheet.put(f"/{first:04X}{count:02X}{head:02X}", FRAME)
        _data(sheet, address, value)
        sheet.put(f"{nibbles & 0xFF:02X}", FRAME)
    else:
        _data(sheet, address, value, " ")
