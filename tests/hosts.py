"""Boards unlike one another, each with the host file that a person would write for it by the guide. All invented.

A board takes characters and gives characters; a `Wire` carries them both ways at a rate, with noise, and keeps time by
a clock that costs no waiting, or by the real one. A board notes what was run on it, and what of that did harm.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from tests.monitors import Clock

from romassay.capture.port import Unplugged

ROM = random.Random(17).randbytes(512)
FIRST = 0x4000


def memory(address: int) -> int:
    """A ROM of 512 bytes at 4000-41FF, and what was left on the lines elsewhere."""
    return ROM[address & 0x1FF] if address & 0xFE00 == FIRST else address >> 8


class Host:
    """A monitor that edits a line, runs it at the return, and prompts.

    Attributes:
        prompt: as it is printed, behind a new line.
        cancel: the character that forgets the line, and what it prints.
        delay: seconds of thought before it prints anything.
        deaf: what comes while it prints is lost.
        stops: characters that end what it prints.
        commands: that were run.
        harm: of those, what wrote or jumped.
    """

    prompt = "*"
    cancel = 0x1B
    erased = ""
    delay = 0.0
    deaf = False
    stops = b"\x1b"
    echoes = True
    folds = False

    def __init__(self, read: Callable[[int], int] = memory) -> None:
        self.memory = read
        self.line = ""
        self.commands: list[str] = []
        self.harm: list[str] = []

    def hear(self, byte: int) -> bytes:
        byte &= 0x7F
        if byte == self.cancel:
            self.line = ""
            return f"{self.erased}{self.prompts()}".encode()
        if byte == 13:
            line, self.line = self.line, ""
            return b"\r\n" + self.run(line) + self.prompts().encode() if line else self.prompts().encode()
        sign = chr(byte).upper() if self.folds else chr(byte)
        self.line += sign
        return sign.encode() if self.echoes else b""

    def prompts(self) -> str:
        return "\r\n" + self.prompt

    def run(self, line: str) -> bytes:
        self.commands.append(line)
        if line[:1] in "MGSW!":
            self.harm.append(line)
            return b"?"
        try:
            first, last = self.asked(line)
        except (ValueError, IndexError):
            return b"?"
        return self.dump(first, last) if 0 <= first <= last < 1 << 16 else b"?"

    def asked(self, line: str) -> tuple[int, int]:
        """Return the range that a command names; ValueError where it is none."""
        first, last = line.removeprefix("D ").split(",")
        return int(first, 16), int(last, 16)

    per_line = 8

    def dump(self, first: int, last: int) -> bytes:
        rows, at = [], first
        while at <= last:
            end = min(last, at - at % self.per_line + self.per_line - 1)
            rows.append(self.row(at, bytes(map(self.memory, range(at, end + 1)))))
            at = end + 1
        return "\r\n".join(rows).encode()

    def row(self, at: int, cells: bytes) -> str:
        return f"{at:04X}  " + " ".join(f"{cell:02X}" for cell in cells)


class Columns(Host):
    """Sixteen bytes a line with their characters beside them; control-X forgets."""

    prompt, cancel, erased, per_line = "> ", 0x18, "\\", 16

    def asked(self, line: str) -> tuple[int, int]:
        if line[:2] != "E ":
            raise ValueError
        first, last = line[2:].split()
        return int(first, 16), int(last, 16)

    def row(self, at: int, cells: bytes) -> str:
        text = "".join(chr(c) if 0x20 <= c < 0x7F else "." for c in cells)
        return f"{at:04x}: {cells.hex(' '):<47}  |{text}|"


class Octal(Host):
    """All in octal, the command too."""

    prompt, cancel, erased = "@", 0x15, "^U"

    def asked(self, line: str) -> tuple[int, int]:
        first, last = line.split("/")
        return int(first, 8), int(last, 8)

    def row(self, at: int, cells: bytes) -> str:
        return f"{at:06o}  " + " ".join(f"{cell:03o}" for cell in cells)


class SplitOctal(Octal):
    """Octal by bytes, the address too: 100.377."""

    prompt = "H:"

    def asked(self, line: str) -> tuple[int, int]:
        ends = [part.split(".") for part in line.removeprefix("P").split("-")]
        (a, b), (c, d) = ends
        return int(a, 8) << 8 | int(b, 8), int(c, 8) << 8 | int(d, 8)

    def row(self, at: int, cells: bytes) -> str:
        return f"{at >> 8:03o}.{at & 255:03o}  " + " ".join(f"{cell:03o}" for cell in cells)


class Decimal(Host):
    """An interpreter's loop prints what it peeks, in plain numbers; it is ready on a line of its own."""

    cancel, erased = 3, "\r\nBREAK"

    def prompts(self) -> str:
        return "\r\nREADY.\r\n"

    def asked(self, line: str) -> tuple[int, int]:
        if not line.startswith("PRINT "):
            raise ValueError
        first, last = line[6:].split(",")
        return int(first), int(last)

    def row(self, at: int, cells: bytes) -> str:
        return f" {at} " + " ".join(f"{cell} " for cell in cells)


class Keys(Host):
    """Acts on each key: D, four digits, four more, and the dump begins. It adds what stands between."""

    prompt, needs = "-", {"D": 8, "M": 6, "G": 4}

    def hear(self, byte: int) -> bytes:
        byte &= 0x7F
        sign = chr(byte).upper()
        if byte == self.cancel:
            self.line = ""
            return self.prompts().encode()
        if not self.line:
            if sign not in self.needs:
                return (("?" + self.prompts()) if byte >= 0x20 else "").encode()
            self.line = sign
            return f"{sign} ".encode()
        if sign not in "0123456789ABCDEF":
            self.line = ""
            return ("?" + self.prompts()).encode()
        self.line += sign
        if len(self.line) == 1 + self.needs[self.line[0]]:
            line, self.line = self.line, ""
            return sign.encode() + b"\r\n" + self.run(line) + self.prompts().encode()
        return (sign + ("-" if self.line[0] == "D" and len(self.line) == 5 else "")).encode()

    def asked(self, line: str) -> tuple[int, int]:
        return int(line[1:5], 16), int(line[5:9], 16)


class Mute(Host):
    """Echoes nothing; it can but read."""

    prompt, echoes, cancel = "?", False, 0x18

    def run(self, line: str) -> bytes:
        self.commands.append(line)
        try:
            return self.dump(int(line[1:5], 16), int(line[1:5], 16) + int(line[5:9], 16) - 1)
        except ValueError:
            return b"?"


class RubOut(Host):
    """Knows no cancel key, only a rub-out that takes one character back: backspace, blank, backspace."""

    prompt, cancel, stops = ":", -1, b""

    def hear(self, byte: int) -> bytes:
        if byte & 0x7F == 0x7F:
            had, self.line = bool(self.line), self.line[:-1]
            return b"\b \b" if had else b""
        return super().hear(byte)


class Paging(Host):
    """Waits after each eight lines, and wipes the text of its question when it goes on."""

    cancel, asking = 3, b"--more--"
    stops = b"\x03"

    def __init__(self, read: Callable[[int], int] = memory) -> None:
        super().__init__(read)
        self.held: list[bytes] = []

    def hear(self, byte: int) -> bytes:
        if not self.held:
            return super().hear(byte)
        if byte & 0x7F == self.cancel:
            self.held = []
            return super().hear(byte)
        page = self.held.pop(0)
        wiped = b"\r" + b" " * len(self.asking) + b"\r"
        return wiped + page + (b"\r\n" + self.asking if self.held else self.prompts().encode())

    def hear_all(self, line: str) -> bytes:
        return super().run(line)

    def run(self, line: str) -> bytes:
        text = super().run(line)
        rows = text.split(b"\r\n")
        pages = [b"\r\n".join(rows[i : i + 8]) for i in range(0, len(rows), 8)]
        if len(pages) == 1:
            return text
        self.held = pages[1:]
        return pages[0] + b"\r\n" + self.asking

    def prompts(self) -> str:
        return "" if self.held else super().prompts()


class Slow(Host):
    """A line in software, ten characters a second: deaf while it prints, and it takes its time before it does."""

    prompt, delay, deaf, cancel, stops = "?", 0.3, True, 0x7F, b""

    def asked(self, line: str) -> tuple[int, int]:
        first, last = line.split("-")
        return int(first, 16), int(last, 16)


class Resets(Host):
    """Is reset in the middle, prints rubbish, and then listens for a character to find its rate from."""

    prompt, every = "#", 9000

    def __init__(self, read: Callable[[int], int] = memory) -> None:
        super().__init__(read)
        self.asleep = True
        self.printed = 0

    def hear(self, byte: int) -> bytes:
        if self.asleep:
            if byte != 13:
                return b""
            self.asleep = False
            return b"\r\n\r\nMONITOR, 8K FREE\r\n#"
        out = super().hear(byte)
        self.printed += len(out)
        if self.printed > self.every:
            self.printed, self.asleep, self.line = 0, True, ""
            return out[: len(out) // 2] + bytes([0, 0xFF, 0x80, 0x1B, 0x3F, 0xC0, 0, 0xFE])
        return out


class HalfSpeed(Host):
    """Drops to half its rate after a while: what it prints then is rubbish here, and it hears nothing."""

    after = 5000

    def __init__(self, read: Callable[[int], int] = memory) -> None:
        super().__init__(read)
        self.printed = 0
        self.chance = random.Random(3)

    def hear(self, byte: int) -> bytes:
        if self.printed > self.after:
            return self.chance.randbytes(3)
        out = super().hear(byte)
        self.printed += len(out)
        left = self.after - (self.printed - len(out))
        return out[:left] + self.chance.randbytes(max(0, len(out) - left) * 2)


class Pages(Host):
    """Prints a page of 256 bytes, whatever is wanted."""

    def asked(self, line: str) -> tuple[int, int]:
        if line[0] != "P":
            raise ValueError
        page = int(line[1:], 16)
        return page << 8, page << 8 | 0xFF


class Endless(Host):
    """Is told where to begin, and prints until it is stopped."""

    prompt = "ok>"

    def asked(self, line: str) -> tuple[int, int]:
        if line[:1] != "T":
            raise ValueError
        first = int(line[1:], 16)
        return first, min(0xFFFF, first + 0x3FF)


class Steps(Host):
    """Shows one byte for each plus sign."""

    prompt = "."

    def __init__(self, read: Callable[[int], int] = memory) -> None:
        super().__init__(read)
        self.at: int | None = None

    def hear(self, byte: int) -> bytes:
        if self.at is None:
            return super().hear(byte)
        if byte & 0x7F != 0x2B:
            self.at = None
            return super().hear(self.cancel)
        self.at = (self.at + 1) & 0xFFFF
        return f"\r\n{self.at:04X} {self.memory(self.at):02X} ?".encode()

    def prompts(self) -> str:
        return "" if self.at is not None else super().prompts()

    def run(self, line: str) -> bytes:
        self.commands.append(line)
        if line[:1] in "MG":
            self.harm.append(line)
            return b"?"
        try:
            self.at = int(line.removeprefix("X"), 16) & 0xFFFF
        except ValueError:
            return b"error"
        return f"{self.at:04X} {self.memory(self.at):02X} ?".encode()


class Addressed(Host):
    """Prompts with the address that it is at."""

    def prompts(self) -> str:
        return f"\r\n{self.commands[-1][:4] if self.commands and len(self.commands[-1]) > 4 else '0000'}> "

    def asked(self, line: str) -> tuple[int, int]:
        return int(line[:4], 16), int(line[5:], 16)


class Capitals(Host):
    """Prints what is typed in capitals."""

    prompt, folds = "CMD?", True

    def asked(self, line: str) -> tuple[int, int]:
        if line[:5] != "DUMP ":
            raise ValueError
        first, last = line[5:].split()
        return int(first, 16), int(last, 16)


class Bare(Host):
    """Prints bytes without addresses, their digits run together."""

    per_line = 16

    def row(self, at: int, cells: bytes) -> str:
        return cells.hex().upper()


class Silent(Host):
    """Has no prompt at all: a dump is over when nothing more comes."""

    def prompts(self) -> str:
        return "\r\n"


@dataclass(frozen=True)
class Board:
    """A host, and the dialogue that a person would write for it: the lines of its `[dialogue]` table."""

    make: Callable[[], Host]
    dialogue: str
    baud: int = 9600

    @property
    def file(self) -> str:
        """The host file."""
        head = f'title = "invented"\naddress_bits = 16\n\n[serial]\nkind = "ttl"\nbaud = {self.baud}\n'
        return f"{head}\n[dialogue]\n{self.dialogue}\n"


_ESC = 'cancel = "\\u001b"\nstop = "\\u001b"\nwrites_or_runs = ["M", "G"]\n'
_RUB_OUT = "\\u007f"
BOARDS = {
    "plain": Board(Host, f'prompt = "*"\ndump = "D {{first:04X}},{{last:04X}}"\nwake = "\\r"\n{_ESC}'),
    "columns": Board(
        Columns, 'prompt = ">"\ndump = "E {first:04X} {last:04X}"\ncancel = "\\u0018"\nwrites_or_runs = ["M", "G"]'
    ),
    "octal": Board(
        Octal, 'prompt = "@"\ndump = "{first:06o}/{last:06o}"\ncancel = "\\u0015"\nwrites_or_runs = ["M", "G"]'
    ),
    "split octal": Board(
        SplitOctal,
        'prompt = "H:"\ndump = "P{first_page:03o}.{first_low:03o}-{last_page:03o}.{last_low:03o}"\n'
        'cancel = "\\u0015"\nwrites_or_runs = ["M", "G"]',
    ),
    "decimal": Board(
        Decimal, 'prompt = "READY."\ndump = "PRINT {first},{last}"\ncancel = "\\u0003"\nwrites_or_runs = ["S", "G"]'
    ),
    "keys": Board(
        Keys,
        'prompt = "-"\ndump = "D{first:04X}{last:04X}"\nshows = "D {first:04X}-{last:04X}"\nenter = ""\n' + _ESC,
    ),
    "mute": Board(
        Mute, 'prompt = "?"\ndump = "R{first:04X}{count:04X}"\necho = "none"\ncannot_write = true\ncancel = "\\u0018"'
    ),
    "rub-out": Board(
        RubOut,
        'prompt = ":"\ndump = "D {first:04X},{last:04X}"\nwake = "\\r"\ncancel_prompts = false\n'
        f'cancel = "{_RUB_OUT * 40}"\nwrites_or_runs = ["M", "G"]',
    ),
    "paging": Board(
        Paging,
        'prompt = "*"\ndump = "D {first:04X},{last:04X}"\ncancel = "\\u0003"\nstop = "\\u0003"\nmore = "--more--"\n'
        'writes_or_runs = ["M", "G"]',
    ),
    "slow": Board(
        Slow,
        'prompt = "?"\ndump = "{first:04X}-{last:04X}"\ncancel = "\\u007f"\nhalf_duplex = true\nsilence_s = 5.0\n'
        'writes_or_runs = ["M", "G"]\npiece = 128',
        baud=110,
    ),
    "resets": Board(Resets, f'prompt = "#"\ndump = "D {{first:04X}},{{last:04X}}"\nrate_key = "\\r"\n{_ESC}'),
    "pages": Board(Pages, f'prompt = "*"\ndump = "P{{first_page:02X}}"\npiece = 256\nfixed = true\n{_ESC}'),
    "endless": Board(Endless, f'prompt = "ok>"\ndump = "T{{first:04X}}"\n{_ESC}'),
    "steps": Board(Steps, f'prompt = "."\ndump = "X{{first:04X}}"\nmore = "?"\nmore_key = "+"\npiece = 64\n{_ESC}'),
    "addressed": Board(Addressed, f'prompt = "0000>"\nany_digits = true\ndump = "{{first:04X}}-{{last:04X}}"\n{_ESC}'),
    "capitals": Board(
        Capitals,
        f'prompt = "CMD?"\ndump = "dump {{first:04x}} {{last:04x}}"\nshows = "DUMP {{first:04X}} {{last:04X}}"\n{_ESC}',
    ),
    "bare": Board(
        Bare,
        'prompt = "*"\ndump = "D {first:04X},{last:04X}"\npiece = 64\n'
        "layout = 'where=none cells=16 cell=hex2 gap=\"\"'\n" + _ESC,
    ),
    "silent": Board(Silent, f'dump = "D {{first:04X}},{{last:04X}}"\nsilence_s = 0.5\n{_ESC}'),
}


class Noise:
    """What a line does to a character: another printable one in its place, or none."""

    def __init__(self, corrupt: float, drop: float, seed: int) -> None:
        self.corrupt, self.drop, self.chance = corrupt, drop, random.Random(seed)

    def __call__(self, byte: int) -> int | None:
        toss = self.chance.random()
        if toss < self.corrupt:
            return self.chance.randrange(0x20, 0x7F)
        return None if toss < self.corrupt + self.drop else byte


class Link:
    """A line of a rate with a host at its end: characters come and go at their times.

    Args:
        host: the board.
        baud: ten bit times a character.
        noise: what happens to each character, either way.
    """

    def __init__(self, host: Host, baud: int, noise: Noise) -> None:
        self.host, self.noise = host, noise
        self.character_s = 10 / baud
        self.going: deque[tuple[float, int]] = deque()
        self.sent_until = 0.0
        self.prints_until = 0.0

    def arrive(self, data: bytes, now: float) -> None:
        """Send characters to the host."""
        for byte in data:
            self.sent_until = max(now, self.sent_until) + self.character_s
            if (heard := self.noise(byte)) is not None:
                self._heard(heard, self.sent_until)

    def _heard(self, byte: int, at: float) -> None:
        if at < self.prints_until:
            if byte in self.host.stops:
                self.going = deque(item for item in self.going if item[0] <= at)
                self.prints_until = at
            elif self.host.deaf:
                return
        said = self.host.hear(byte)
        at = max(at, self.prints_until) + (self.host.delay if said else 0.0)
        for character in said:
            at += self.character_s
            if (seen := self.noise(character)) is not None:
                self.going.append((at, seen))
        self.prints_until = max(self.prints_until, at if said else 0.0)

    def due(self, now: float) -> bytes:
        """Return what has come by now."""
        data = bytearray()
        while self.going and self.going[0][0] <= now:
            data.append(self.going.popleft()[1])
        return bytes(data)


class Wire:
    """A port that leads to a board, and keeps time by a clock that costs no waiting."""

    def __init__(
        self, host: Host, clock: Clock, *, baud: int = 9600, corrupt: float = 0.0, drop: float = 0.0, seed: int = 0
    ) -> None:
        self.host, self.clock = host, clock
        self.link = Link(host, baud, Noise(corrupt, drop, seed))
        self.sent = bytearray()
        self.received = 0
        self.unplug_after: int | None = None

    def write(self, data: bytes) -> None:
        self.sent += data
        self.link.arrive(data, self.clock.now)

    def read(self, timeout: float) -> bytes:
        until = self.clock.now + max(timeout, 1e-4)
        going = self.link.going
        self.clock.now = min(until, max(self.clock.now, going[0][0])) if going else until
        data = self.link.due(self.clock.now)
        self.received += len(data)
        if self.unplug_after is not None and self.received > self.unplug_after:
            raise Unplugged("the line is gone", place="test")
        return data

    def close(self) -> None:
        pass

    def __enter__(self) -> Wire:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
