"""A zoo of dump layouts as monitors, interpreters and terminals print them, drawn at random.

`draw(rng, bits, ...)` gives a Layout; `render(rng, layout, readings)` prints readings (address list, values)
to a Sheet.
`encode(log, layout, rng)` turns characters into the bytes of a file.
"""

from dataclasses import dataclass, field

import numpy as np

from .sheet import ADDRESS, FRAME, GUTTER, OUTSIDE, Log, Sheet

BANNERS = [
    "HARBOUR MONITOR V2.1",
    "READY",
    "64K RAM SYSTEM  38911 BYTES FREE",
    "Connected at 9600 8N1",
    "*** SYSTEM MONITOR 1.3 (C) 1979 ***",
    "-- log opened 2024-11-03 10:22:14 --",
    "A=00 X=FD Y=02 S=F7 P=24 PC=C3A1",
    "Break at E0A4",
    "Port /dev/ttyUSB0, 2400 baud, 7E1",
    "specimen no. 3, socket 2, taken by hand",
    "OK",
    "",
    "READING THE BUS, PLEASE WAIT ...",
    "BEEF CAFE DEAD FACE ADD BAD",
    "Tue Nov  5 18:02:11 2024",
]


@dataclass
class Layout:
    name: str = "plain"
    base: str = "hex"  # hex, oct, dec
    digits: int = 4
    upper: bool = True
    before: str = ""
    after: str = ": "
    pad: str = "0"
    per_line: int = 16
    unit: str = "byte"  # byte, dec, oct, word-be, word-le, oword
    mark: str = ""  # in front of each unit: $ 0x &
    tail: str = ""  # behind each unit: h
    lead: str = ""  # between address and the first unit: .byte, DB
    gap: str = " "
    group: int = 0  # units a group
    group_gap: str = "  "
    sums: str = ""  # add8 neg8 xor8 add16 cpl8
    sum_address: bool = False
    sum_gap: str = "  "
    gutter: str = ""  # "", and a pair of delimiters "||" '""' "**" "  "
    dot: str = "."
    strip7: bool = True
    align: bool = True
    row_start: str = ""
    eol: str = "\r\n"
    nuls: int = 0
    ansi: bool = False
    spinner: bool = False
    rubout: bool = False
    page: int = 0
    blank: int = 0
    heading: bool = False
    pager: bool = False
    chunk: int = 0
    sparse: int = 0  # address on every nth row only
    page_address: bool = False
    banner: tuple[str, ...] = ()
    encoding: str = "ascii"
    cut_start: int = 0
    cut_end: int = 0
    resend: int = 0
    star: bool = False
    stamp: bool = False
    flags: set[str] = field(default_factory=set)


def draw(rng: np.random.Generator, bits: int, *, plain: bool = False, span: int = 0) -> Layout:
    """A random layout that a person could read without doubt. `plain`: without the terminal's mischief."""
    style = str(rng.choice(["hex"] * 10 + ["word"] * 2 + ["oct", "oct", "dec", "dec", "basic", "basic", "source"]))
    out = Layout()
    least = -(-bits // 4)
    out.digits = int(max(3, least) if rng.random() < 0.75 else min(8, max(3, least) + rng.integers(0, 3)))
    out.upper = bool(rng.random() < 0.65)
    out.before, out.after = _brackets(rng)
    out.per_line = int(rng.choice([4, 8, 8, 8, 16, 16, 16, 16, 24, 32, 12, 10, 20, 64, 2, 5, 1]))
    out.gap = str(rng.choice([" ", " ", " ", " ", "  ", "", ","])) if out.per_line > 1 else " "
    out.align = bool(rng.random() < 0.6)
    if style == "hex":
        _hex_bytes(rng, out)
    elif style == "word":
        out.unit = str(rng.choice(["word-be", "word-le"]))
        out.per_line = int(rng.choice([8, 16, 16, 32]))
        out.gap = str(rng.choice([" ", "  "]))
        out.align = True
        if rng.random() < 0.5:
            out.gutter = str(rng.choice(["||", "  ", "**"]))
    elif style == "oct":
        out.base, out.digits, out.pad = "oct", max(6, -(-bits // 3)), "0"
        out.before, out.after = "", str(rng.choice([" ", ": ", "  ", "/ "]))
        out.unit = str(rng.choice(["oct", "oct", "oword"]))
        out.gap = str(rng.choice([" ", "  "]))
        out.per_line = int(rng.choice([8, 16])) if out.unit == "oct" else 16
        out.align = out.unit == "oword" or out.align
    elif style == "dec":
        _decimal(rng, out)
    elif style == "basic":
        out.base, out.pad, out.digits = "dec", "", 0
        out.per_line, out.unit, out.gap = 1, "dec", " "
        form = int(rng.integers(0, 4))
        out.before = ["", " ", "PEEK(", ""][form]
        out.after = [" ", "  ", ")= ", ", "][form]
    else:
        out.after = str(rng.choice([": ", "  ", " "]))
        out.before = str(rng.choice(["", "$"]))
        out.lead, out.mark, out.tail = [(".byte ", "$", ""), ("DB ", "", "h"), ("DEFB ", "0x", ""), ("FCB ", "$", "")][
            rng.integers(0, 4)
        ]
        out.gap = ","
        out.per_line = int(rng.choice([4, 8, 16]))
    if out.gap == "" and out.per_line > 1 and out.after.strip() == "" and len(out.after) < 1:
        out.after = " "
    if not plain:
        _mischief(rng, out, style, span)
    _decorate(rng, out)
    return out


def _brackets(rng: np.random.Generator) -> tuple[str, str]:
    before = str(rng.choice(["", "", "", "", "$", "0x", "&", "(", "["]))
    after = str(rng.choice([": ", " ", "  ", " - ", "- ", ":", "h: ", "h  ", "> ", "/ ", " | ", " = ", "\t", ".. "]))
    if before == "0x" and after.startswith("h"):
        after = ": "
    if before == "(":
        after = ") "
    if before == "[":
        after = "] "
    return before, after


def _hex_bytes(rng: np.random.Generator, out: Layout) -> None:
    if out.per_line == 1:
        out.after = str(rng.choice([" ", ": ", "/", " = ", "- "]))
        if rng.random() < 0.3:
            out.unit, out.gap = "dec", " "
        return
    roll = rng.random()
    if roll < 0.08:
        out.mark, out.gap = str(rng.choice(["$", "0x"])), str(rng.choice([" ", ", ", ","]))
    elif roll < 0.12:
        out.tail, out.gap = "h", str(rng.choice([" ", ","]))
    elif roll < 0.35 and out.per_line % 4 == 0 and out.gap == " ":
        out.group, out.group_gap = int(rng.choice([4, 8])), str(rng.choice(["  ", " - ", "-", " | "]))
        if out.group >= out.per_line:
            out.group = 0
    elif out.gap == "" and rng.random() < 0.5 and out.per_line % 4 == 0:
        out.group, out.group_gap = 4, " "
    if out.gap == "" and out.after in (":", "/"):
        out.after = ": "
    if rng.random() < 0.35:
        out.gutter = str(rng.choice(["||", "  ", "**", '""', "''", "[]", "<>", "::"]))
        out.dot = str(rng.choice([".", ".", "_", " "]))
        out.strip7 = bool(rng.random() < 0.5)
        if out.gutter == "  " and out.dot == " ":
            out.dot = "."
    if rng.random() < 0.25:
        out.sums = str(rng.choice(["add8", "neg8", "xor8", "add16", "cpl8"]))
        out.sum_address = bool(rng.random() < 0.3)
        out.sum_gap = str(rng.choice(["  ", " =", " *", ": ", " ", "   "]))
        if out.gap == "" and out.sum_gap == " " and out.group:
            out.sum_gap = "  "


def _decimal(rng: np.random.Generator, out: Layout) -> None:
    out.base, out.before = "dec", ""
    out.after = str(rng.choice([": ", " ", "  ", " - "]))
    out.digits, out.pad = (5, "0") if rng.random() < 0.4 else (5, " ") if rng.random() < 0.5 else (0, "")
    out.unit = "dec"
    out.gap = str(rng.choice([" ", "  ", ",", ", "]))
    out.per_line = int(rng.choice([8, 10, 16, 5, 20]))
    out.flags.add(str(rng.choice(["dec-right", "dec-zero", "dec-loose"])))
    if out.gap.startswith(","):
        out.flags.discard("dec-right")


def _mischief(rng: np.random.Generator, out: Layout, style: str, span: int) -> None:
    """Terminal effects, several at once now and then."""
    if rng.random() < 0.12:
        out.ansi = True
    if rng.random() < 0.06:
        out.spinner = True
    if rng.random() < 0.15:
        out.rubout = True
    if rng.random() < 0.12:
        out.nuls = int(rng.integers(1, 7))
    if rng.random() < 0.15 and out.per_line > 1:
        out.page = int(rng.choice([16, 20, 24, 32, 64]))
        out.heading = bool(rng.random() < 0.6) and out.unit == "byte" and out.gap == " " and not out.mark + out.tail
        out.pager = bool(rng.random() < 0.3)
    if rng.random() < 0.2:
        out.blank = int(rng.choice([4, 8, 16]))
    if rng.random() < 0.12:
        out.chunk = int(rng.choice([64, 128, 256])) // out.per_line or 1
    if style in ("hex", "oct") and rng.random() < 0.12 and out.per_line > 2 and not out.sums:
        out.sparse = int(rng.choice([2, 4, 8, 16]))
    if style == "hex" and rng.random() < 0.06 and out.per_line > 2 and not out.sums and not out.sparse:
        out.page_address = True
        out.align = True
    if rng.random() < 0.15:
        choices = ["utf-8", "utf-8-bom", "utf-16-le", "utf-16-be", "latin-1", "parity-even", "parity-odd", "mark"]
        out.encoding = str(rng.choice(choices))
    if rng.random() < 0.08 and span:
        out.cut_end = int(rng.integers(1, 20))
    if rng.random() < 0.06 and span and not out.sparse and not out.page_address:
        out.cut_start = int(rng.integers(1, 12))
    if rng.random() < 0.05:
        out.resend = int(rng.integers(5, 30))
    if rng.random() < 0.2 and out.per_line > 1:
        out.row_start = str(rng.choice([".:", ">", "; ", "* ", " ", "    ", "- ", "M ", ". ", "=> "]))
        if out.before == "(" and out.row_start.strip():
            out.before, out.after = "", ": "


def _decorate(rng: np.random.Generator, out: Layout) -> None:
    out.eol = str(rng.choice(["\r\n", "\r\n", "\n", "\n", "\r", "\n\r", "\r\r\n"]))
    count = int(rng.integers(0, 5))
    out.banner = tuple(str(rng.choice(BANNERS)) for _ in range(count))
    out.name = f"{out.base}/{out.unit}/{out.per_line}"


def say(rng: np.random.Generator, layout: Layout, sheet: Sheet, text: str) -> None:
    sheet.put(text, OUTSIDE)
    _end(layout, sheet, OUTSIDE)
    del rng


def _end(layout: Layout, sheet: Sheet, tag: int) -> None:
    if layout.ansi:
        sheet.put("\x1b[K", tag)
    sheet.put(layout.eol, tag)
    sheet.put("\0" * layout.nuls, OUTSIDE)
    sheet.row += 1


def command(rng: np.random.Generator, layout: Layout, first: int, last: int) -> str:
    """An echoed command in one of many habits."""
    a, b = f"{first:04X}", f"{last:04X}"
    forms = [f"M {a} {b}", f".{a},{b}", f"D{a}-{b}", f">MEM {first}", f"d {a.lower()} {b.lower()}", f"*{a}.{b}"]
    forms += [f"10 FOR I={first} TO {last}:PRINT I;PEEK(I):NEXT", "RUN", f"dump {a}+{last - first + 1:X}", f"${a}?"]
    text = str(rng.choice(forms))
    if layout.rubout and len(text) > 2:
        at = int(rng.integers(1, len(text)))
        text = text[:at] + str(rng.choice(["\b \b", "x\b", "7\b \b"])).replace("\b \b", "Q\b \b", 1) + text[at:]
    return text


def render(
    rng: np.random.Generator, layout: Layout, readings: list[tuple[np.ndarray, np.ndarray]], first_number: int = 0
) -> Sheet:
    """Print the readings one after another into one sheet."""
    sheet = Sheet()
    if layout.ansi:
        sheet.put("\x1b[2J\x1b[H")
    for line in layout.banner:
        say(rng, layout, sheet, line)
    for number, (address, value) in enumerate(readings):
        if rng.random() < 0.7:
            say(rng, layout, sheet, command(rng, layout, int(address[0]), int(address[-1])))
        _body(rng, layout, sheet, address, value, first_number + number)
        if rng.random() < 0.6:
            say(rng, layout, sheet, str(rng.choice(["", "OK", "READY.", ">", "*", "- end -"])))
    return sheet


def rows_of(layout: Layout, address: np.ndarray) -> list[tuple[int, int]]:
    """Slices (start, stop) of one line each: they end at gaps and, when aligned, at multiples of the line length."""
    breaks = np.flatnonzero(np.diff(address) != 1) + 1
    out = []
    for part in np.split(np.arange(len(address)), breaks):
        at, end = int(part[0]), int(part[-1]) + 1
        while at < end:
            room = layout.per_line
            if layout.align:
                room -= int(address[at]) % layout.per_line
            stop = min(end, at + room)
            out.append((at, stop))
            at = stop
    return out


def _body(
    rng: np.random.Generator, layout: Layout, sheet: Sheet, address: np.ndarray, value: np.ndarray, reading: int
) -> None:
    previous = None
    starred = False
    for count, (start, stop) in enumerate(rows_of(layout, address)):
        jump = previous is None or int(address[start]) != previous + 1
        previous = int(address[stop - 1])
        if count and layout.page and count % layout.page == 0:
            _page_break(rng, layout, sheet, count // layout.page)
        elif count and layout.chunk and count % layout.chunk == 0:
            say(rng, layout, sheet, command(rng, layout, int(address[start]), int(address[-1])))
        elif count and layout.blank and count % layout.blank == 0:
            say(rng, layout, sheet, "")
        if layout.heading and count == 0:
            _heading(layout, sheet)
        if layout.star and _same_as_above(layout, value, start, stop, jump=jump, last=stop == len(value)):
            if not starred:
                say(rng, layout, sheet, "*")
            starred = True
            for at, byte in zip(address[start:stop], value[start:stop], strict=True):
                sheet.observe(int(at), int(byte), reading)  # POSIX, od: lines like the one above
            continue
        shown = True
        if layout.page_address:
            shown = False
            if jump or int(address[start]) % 256 == 0 or count == 0:
                say(rng, layout, sheet, "")
                sheet.put(spell_address(layout, int(address[start])) + ":", ADDRESS)
                _end(layout, sheet, FRAME)
        elif layout.sparse:
            shown = jump or starred or count % layout.sparse == 0
        starred = False
        _row(layout, sheet, address[start:stop], value[start:stop], reading, shown=shown, rng=rng)
        if layout.resend and rng.random() < 1 / (8 * layout.resend):
            _row(layout, sheet, address[start:stop], value[start:stop], reading, shown=shown, rng=rng)


def _same_as_above(layout: Layout, value: np.ndarray, start: int, stop: int, *, jump: bool, last: bool) -> bool:
    above = start - layout.per_line
    if jump or last or above < 0 or stop - start != layout.per_line:
        return False
    return bool(np.array_equal(value[start:stop], value[above:start]))


def _page_break(rng: np.random.Generator, layout: Layout, sheet: Sheet, number: int) -> None:
    if layout.pager:
        sheet.put("-- MORE --")
        sheet.put("\r          \r")
        return
    say(rng, layout, sheet, str(rng.choice(["\f", "", ""])))
    say(rng, layout, sheet, f"PAGE {number + 1}")
    if layout.heading:
        _heading(layout, sheet)


def _heading(layout: Layout, sheet: Sheet) -> None:
    columns = " ".join(f"{i:2X}" if layout.upper else f"{i:2x}" for i in range(layout.per_line))
    sheet.put(" " * len(layout.row_start + spell_address(layout, 0)) + columns)
    _end(layout, sheet, OUTSIDE)


def spell_address(layout: Layout, address: int) -> str:
    if layout.base == "hex":
        text = f"{address:0{layout.digits}X}"
        text = text if layout.upper else text.lower()
    elif layout.base == "oct":
        text = f"{address:0{layout.digits}o}"
    else:
        text = f"{address}".rjust(layout.digits, layout.pad or " ")
    return layout.before + text


def _row(
    layout: Layout,
    sheet: Sheet,
    address: np.ndarray,
    value: np.ndarray,
    reading: int,
    *,
    shown: bool,
    rng: np.random.Generator,
) -> None:
    if layout.stamp:
        sheet.put(f"[10:{sheet.row // 60 % 60:02d}:{sheet.row % 60:02d}.{int(rng.integers(0, 1000)):03d}] ", FRAME)
    if layout.spinner:
        sheet.put(str(rng.choice(list("|/-\\"))) + "\b", FRAME)
    sheet.put(layout.row_start, FRAME)
    if layout.ansi:
        sheet.put("\x1b[32m", FRAME)
    head = spell_address(layout, int(address[0]))
    if shown:
        sheet.put(head, ADDRESS)
    elif not layout.page_address:
        sheet.put(" " * len(head), FRAME)
    if layout.ansi:
        sheet.put("\x1b[0m", FRAME)
    if shown or not layout.page_address:
        sheet.put(layout.after if shown else " " * len(layout.after), FRAME)
    else:
        sheet.put("  ", FRAME)
    sheet.put(layout.lead, FRAME)
    width = _units(layout, sheet, address, value, reading)
    if layout.sums:
        sheet.put(layout.sum_gap, FRAME)
        sheet.put(spell_sum(layout, address, value), FRAME)
    if layout.gutter:
        missing = layout.per_line - len(value)
        sheet.put(" " * (missing * width), GUTTER)
        sheet.put("  " + layout.gutter[0], GUTTER)
        shown_value = value & 0x7F if layout.strip7 else value
        sheet.put("".join(chr(v) if 32 <= v < 127 else layout.dot for v in shown_value), GUTTER)
        sheet.put(layout.gutter[1].rstrip(), GUTTER)
    _end(layout, sheet, FRAME)


def _units(layout: Layout, sheet: Sheet, address: np.ndarray, value: np.ndarray, reading: int) -> int:
    """Print the data columns; the width one byte takes."""
    if layout.unit in ("word-be", "word-le", "oword"):
        return _words(layout, sheet, address, value, reading)
    base = {"byte": 16, "dec": 10, "oct": 8}[layout.unit]
    for position, (a, v) in enumerate(zip(address.tolist(), value.tolist(), strict=True)):
        if position:
            split = layout.group and position % layout.group == 0
            sheet.put(layout.group_gap if split else layout.gap, FRAME)
        sheet.put(layout.mark, FRAME)
        if base == 16:
            text = f"{v:02X}" if layout.upper else f"{v:02x}"
            if layout.tail and text[0] in "ABCDEF":
                sheet.put("0", FRAME)
        elif base == 8:
            text = f"{v:03o}"
        else:
            text = f"{v:03d}" if "dec-zero" in layout.flags else f"{v}"
            if "dec-right" in layout.flags:
                sheet.put(" " * (3 - len(text)), FRAME)
        sheet.put(text, sheet.observe(a, v, reading, base))
        sheet.put(layout.tail, FRAME)
    return 2 + len(layout.gap) + len(layout.mark) + len(layout.tail)


def _words(layout: Layout, sheet: Sheet, address: np.ndarray, value: np.ndarray, reading: int) -> int:
    pairs = list(zip(address.tolist(), value.tolist(), strict=True))
    for position in range(0, len(pairs) - 1, 2):
        if position:
            sheet.put(layout.gap, FRAME)
        (a, v), (b, w) = pairs[position], pairs[position + 1]
        if layout.unit == "oword":
            # low byte first, as a 16-bit octal number: its digits belong to no single byte
            sheet.put(f"{v | w << 8:06o}", FRAME)
            sheet.observe(a, v, reading, 0)
            sheet.observe(b, w, reading, 0)
            continue
        order = [(a, v), (b, w)] if layout.unit == "word-be" else [(b, w), (a, v)]
        for where, what in order:
            text = f"{what:02X}" if layout.upper else f"{what:02x}"
            sheet.put(text, sheet.observe(where, what, reading, 16))
    return 2 + len(layout.gap) // 2


def spell_sum(layout: Layout, address: np.ndarray, value: np.ndarray) -> str:
    """A sum of the line's bytes, with the address bytes too where the layout says so."""
    terms = [int(v) for v in value]
    if layout.sum_address:
        terms += [int(address[0]) >> 8 & 0xFF, int(address[0]) & 0xFF]
    total = sum(terms)
    if layout.sums == "xor8":
        total = 0
        for term in terms:
            total ^= term
    if layout.sums == "neg8":
        total = -total
    if layout.sums == "cpl8":
        total = ~total
    wide = layout.sums == "add16"
    text = f"{total & (0xFFFF if wide else 0xFF):0{4 if wide else 2}X}"
    return text if layout.upper else text.lower()


def encode(log: Log, layout: Layout) -> bytes:
    """The file's bytes: cut ends, then character code or parity."""
    chars = log.chars[layout.cut_start : len(log.chars) - layout.cut_end]
    if layout.encoding in ("parity-even", "parity-odd", "mark"):
        low = chars & 0x7F
        odd = np.bitwise_count(low) & 1
        top = {"parity-even": odd == 1, "parity-odd": odd == 0, "mark": np.ones(len(low), bool)}[layout.encoding]
        return (low | np.where(top, 0x80, 0).astype(np.uint8)).tobytes()
    text = chars.tobytes().decode("latin-1")
    if layout.encoding == "latin-1":
        return ("Prüfstand Nº 4 £12" + layout.eol + text).encode("latin-1")
    if layout.encoding == "utf-8":
        return ("Prüfstand Nº 4 – Lesung" + layout.eol + text).encode("utf-8")
    if layout.encoding == "utf-8-bom":
        return text.encode("utf-8-sig")
    if layout.encoding == "utf-16-le":
        return b"\xff\xfe" + text.encode("utf-16-le")
    if layout.encoding == "utf-16-be":
        return b"\xfe\xff" + text.encode("utf-16-be")
    return text.encode("latin-1")


def lost_to_cuts(log: Log, layout: Layout) -> Log:
    """Observations on cut lines no longer arrive for certain."""
    touched = np.zeros(0, np.int64)
    if layout.cut_end:
        touched = np.union1d(touched, np.unique(log.row[len(log.chars) - layout.cut_end :]))
    if layout.cut_start:
        touched = np.union1d(touched, np.unique(log.row[: layout.cut_start]))
    if len(touched):
        where = (log.tag >= 0) & np.isin(log.row, touched)
        gone = np.unique(log.tag[where])
        log.good[gone] = False
        log.heard[gone] = -1
    return log
