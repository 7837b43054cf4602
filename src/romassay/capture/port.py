"""The line itself: a serial device, `socket://host:port`, `rfc2217://host:port` (RFC 2217), or a pseudo-terminal.

All but one are opened by serialx, which is typed and small. RFC 2217 goes through pyserial: serialx 1.15 waits for an
answer to SET-MODEMSTATE-MASK that neither ser2net 4.3 nor pyserial's own server gives, and never opens the line.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import TracebackType
from typing import Any, Protocol, Self

from romassay.errors import BadInput, reason_of
from romassay.rig import Serial

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
    """A line that is open.

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
            self._line.reconfigure_port(**_settings(settings))
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


class _Line(Protocol):
    """What is used of serialx."""

    def readinto(self, buffer: bytearray, *, timeout: float) -> int: ...
    def write(self, data: memoryview, *, timeout: float) -> int: ...
    def reconfigure_port(self, **settings: Any) -> None: ...
    def close(self) -> None: ...


class _Remote:
    """A line of RFC 2217, opened by pyserial, with the methods of serialx's."""

    def __init__(self, url: str, settings: Mapping[str, Any]) -> None:
        import serial

        url += "" if "?" in url else "?ign_set_control"  # a server on a line without modem pins answers nothing to it
        self._line = serial.serial_for_url(url, timeout=0, **_as_pyserial(settings))

    def readinto(self, buffer: bytearray, *, timeout: float) -> int:
        self._line.timeout = timeout
        data = self._line.read(1)
        if data:
            data += self._line.read(min(self._line.in_waiting, len(buffer) - 1))
        buffer[: len(data)] = data
        return len(data)

    def write(self, data: memoryview, *, timeout: float) -> int:  # noqa: ARG002 - pyserial has none there
        self._line.write(bytes(data))
        return len(data)

    def reconfigure_port(self, **settings: Any) -> None:
        for name, value in _as_pyserial(settings).items():
            setattr(self._line, name, value)

    def close(self) -> None:
        self._line.close()


def _as_pyserial(settings: Mapping[str, Any]) -> dict[str, Any]:
    return {"bytesize" if name == "byte_size" else name: value for name, value in settings.items()}


def _settings(settings: Serial) -> dict[str, Any]:
    return {
        "baudrate": settings.baud,
        "parity": settings.parity[0].upper(),
        "byte_size": settings.data_bits,
        "stopbits": settings.stop_bits,
    }


def _open(url: str, settings: Serial) -> _Line:
    import serialx

    try:
        if url.startswith("rfc2217://"):
            return _Remote(url, _settings(settings))
        line: Any = serialx.serial_for_url(url, **_settings(settings))
        line.open()
    except (OSError, ValueError, KeyError, serialx.SerialException) as e:
        reason = reason_of(e)
        raise BadInput(
            f"cannot be opened ({reason})",
            place=url,
            advice="name a serial device, socket://HOST:PORT or rfc2217://HOST:PORT, and see that nothing else has it",
        ) from e
    opened: _Line = line
    return opened


def _gone(url: str, e: OSError) -> Unplugged:
    reason = reason_of(e)
    return Unplugged(
        f"the line is gone ({reason})", place=url, advice="what came in is kept; go on with 'romassay capture --resume'"
    )
