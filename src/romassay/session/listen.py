"""Recording without asking: a line listened to while the person types at the host, and its settings found."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from romassay.capture.port import SerialPort, Unplugged
from romassay.capture.probe import Tried, probe
from romassay.docket.folder import hold
from romassay.docket.growing import GrowingFile, make_ready, new_name
from romassay.docket.manifest import Said
from romassay.errors import BadInput
from romassay.reading import Role
from romassay.rig import Serial
from romassay.session.assay import Outcome, Request, assay_or_keep
from romassay.session.loading import Input

_STEM = "listen"
_SUFFIX = ".log"
_TICK = 0.25


def listen_to(
    port: str,
    serial: Serial,
    docket: Path,
    *,
    settings: Mapping[str, Any],
    session: str | None = None,
    role: Role = "specimen",
    command: str = "",
    silence: float | None = None,
    watch: Callable[[int], None] = lambda _: None,
    clock: Callable[[], float] = time.monotonic,
) -> Outcome | None:
    """Record all that comes in, byte for byte, until Ctrl-C, silence, or the end of the line; then assay it.

    The log is an ordinary text dump: its passes are told apart as those of any other.

    Args:
        port: the line.
        serial: its settings.
        docket: keeps the log and the result.
        settings: of the docket.
        session: the power-up.
        role: what is in the socket.
        command: what was typed, for the history.
        silence: seconds without a character after which to stop, once something came; None to go on until Ctrl-C.
        watch: is told how many bytes came in.
        clock: seconds.

    Returns:
        The outcome; None where the docket holds no reading of the specimen yet.

    Raises:
        BadInput: nothing came in, or nothing of it is a dump; the log is kept.
    """
    with hold(docket), SerialPort(port, serial) as line:
        make_ready(docket)
        name = new_name(docket, _STEM, _SUFFIX)
        with contextlib.closing(GrowingFile(docket, name, clock)) as file:
            count = 0
            last = clock()
            with contextlib.suppress(KeyboardInterrupt, Unplugged):
                while silence is None or not count or clock() - last < silence:
                    data = line.read(_TICK)
                    if data:
                        file.append(data)
                        count += len(data)
                        last = clock()
                        watch(count)
            path = file.path
    if not count:
        path.unlink()
        raise BadInput("nothing came in", place=port, advice="check cable and settings, or find them with --probe")
    given = Input(path, role, Said(session=session))
    return assay_or_keep(Request(inputs=(given,), settings=settings, docket=docket, command=command))


def probe_line(port: str, *, tell: Callable[[Tried], None] = lambda _: None) -> Tried:
    """Find rate, parity and word length of a line from what comes in.

    Raises:
        BadInput: nothing came in, or nothing that reads as text, or the line is a raw socket, which can't be set.
    """
    if port.startswith("socket://"):
        raise BadInput(
            "a raw socket has the rate that is set at its other end",
            place=port,
            advice="probe there, or by rfc2217:// where the other end knows it",
        )
    with SerialPort(port, Serial(kind="rs-232", baud=9600)) as line:
        return probe(line, time.monotonic, tell=tell)
