"""Serving the bench: the port, the names it may be called by, the token where it leaves the machine."""

from __future__ import annotations

import ipaddress
import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from romassay.errors import BadValue, reason_of


@dataclass(frozen=True, slots=True)
class Place:
    """Where the bench listens.

    Attributes:
        address: to open in a browser, with the token where one is needed.
        loopback: True where no other machine can reach it.
    """

    address: str
    loopback: bool


def serve(
    folder: Path,
    dockets: tuple[Path, ...],
    host: str,
    port: int,
    announce: Callable[[Place], None],
    host_files: tuple[Path, ...] = (),
) -> None:
    """Serve until interrupted.

    Args:
        folder: where new dockets are made.
        dockets: others, by their places.
        host: address to listen on; anything but the loopback needs the token that is announced.
        port: to listen on; 0 for any that is free.
        announce: told once where the bench is.
        host_files: hosts of the person's own, to be read over a line.

    Raises:
        BadValue: the address can't be listened on.
        BadCatalogue: a host file breaks its rules.
    """
    import uvicorn

    from romassay.bench.app import create_app
    from romassay.bench.desk import Desk

    desk = Desk.of(folder, dockets, host_files)
    listening = _listen(host, port)
    number = int(listening.getsockname()[1])
    loopback = _is_loopback(host)
    token = None if loopback else secrets.token_urlsafe(24)
    names = {"127.0.0.1", "localhost", "[::1]"} if loopback else {_in_address(host), *_own_names(host)}
    app = create_app(desk, frozenset(f"{name.lower()}:{number}" for name in names), token)
    shown = "127.0.0.1" if host == "localhost" else _in_address(next(iter(_own_names(host)), host))
    announce(Place(f"http://{shown}:{number}/" + (f"?token={token}" if token else ""), loopback))
    config = uvicorn.Config(app, log_level="error", access_log=False, lifespan="off", server_header=False)
    uvicorn.Server(config).run(sockets=[listening])


def _listen(host: str, port: int) -> socket.socket:
    try:
        family, kind, protocol, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        made = socket.socket(family, kind, protocol)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind(place)
    except (OSError, OverflowError) as e:
        reason = reason_of(e)
        raise BadValue(
            f"cannot listen on {host}:{port} ({reason})", advice="give another --port, or 0 for any that is free"
        ) from e
    return made


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _in_address(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _own_names(host: str) -> list[str]:
    """Return the names of this machine, where the bench listens on all of its addresses."""
    if host not in ("0.0.0.0", "::"):  # noqa: S104 - compared, not listened on
        return []
    name = socket.gethostname()
    try:
        found = {item[4][0] for item in socket.getaddrinfo(name, None, type=socket.SOCK_STREAM)}
    except OSError:
        found = set()
    return [name, *sorted(_in_address(str(item)) for item in found)]
