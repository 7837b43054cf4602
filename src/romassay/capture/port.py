"""The line itself: a serial device, `socket://host:port`, `rfc2217://host:port` (RFC 2217), or a pseudo-terminal.

All of them are opened by serialx, which is typed and does without compiled parts of its own on most systems.
"""

from __future__ import annotations

from types import TracebackType
from typing import TYPE_CHECKING, Protocol, Self

from romassay.errors import BadInput
from romassay.rig import Serial

if TYPE_CHECKING:
    from serialx import BaseSerial

_CHUNK = 4096
_WRITE_TIMEOUT = 10.0


class Unplugged(BadInput):
    """The line is gone: the other end closed it, or the device was pulled."""


class Port(Protocol):
    """What a conversation needs of a line."""

    def read(self, timeout: float) -> bytes:
        """Return what has come in, waiting for it at most so many seconds; empty where nothing came."""

    def write(self, data: bytes) -> None:
        """Send bytes."""


class SerialPort:
    """A line opened by serialx.

    Raises:
        BadInput: it cannot be opened.
        Unplugged: on reading or writing, when it is gone.
    """

    def __init__(self, url: str, settings: Serial) -> None:
        self.url = url
        self.settings = settings
        self._line = _open(url, settings)
        self._buffer = bytearray(_CHUNK)

    def read(self, timeout: float) -> bytes:
        """Return what has come in, waiting for it at most so many seconds."""
        try:
            count = self._line.readinto(self._buffer, timeout=timeout)
        except OSError as e:
            raise _gone(self.url, e) from e
        return bytes(self._buffer[:count])

    def write(self, data: bytes) -> None:
        """Send bytes."""
        left = memoryview(data)
        try:
            while left:
                left = left[self._line.write(left, timeout=_WRITE_TIMEOUT) :]
        except OSError as e:
            raise _gone(self.url, e) from e

    def set(self, settings: Serial) -> None:
        """Change rate, parity and word length of the open line."""
        self.settings = settings
        try:
            self._line.reconfigure_port(
                baudrate=settings.baud,
                parity=settings.parity[0].upper(),
                byte_size=settings.data_bits,
                stopbits=settings.stop_bits,
            )
        except (OSError, ValueError) as e:
            raise BadInput(
                f"does not take {settings.baud} baud ({e})", place=self.url, advice="give another rate"
            ) from e

    def close(self) -> None:
        """Close the line; one that is gone already is no matter."""
        import contextlib

        with contextlib.suppress(OSError):
            self._line.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, e: BaseException | None, trace: TracebackType | None) -> None:
        self.close()


def _open(url: str, settings: Serial) -> BaseSerial:
    import serialx

    try:
        line = serialx.serial_for_url(
            url,
            baudrate=settings.baud,
            parity=settings.parity[0].upper(),
            byte_size=settings.data_bits,
            stopbits=settings.stop_bits,
        )
        line.open()
    except (OSError, ValueError, KeyError) as e:
        reason = getattr(e, "strerror", None) or str(e) or type(e).__name__
        raise BadInput(
            f"cannot be opened ({reason.lower()})",
            place=url,
            advice="name a serial device, socket://HOST:PORT or rfc2217://HOST:PORT, and see that nothing else has it",
        ) from e
    return line


def _gone(url: str, e: OSError) -> Unplugged:
    reason = (e.strerror or str(e) or type(e).__name__).lower()
    return Unplugged(
        f"the line is gone ({reason})", place=url, advice="what came in is kept; go on with 'romassay capture --resume'"
    )
