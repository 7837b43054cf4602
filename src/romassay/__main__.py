"""The door of the command line: runs a verb and turns every way it can end into one line and an exit status."""

from __future__ import annotations

import codecs
import contextlib
import os
import re
import sys

from romassay.cli import EXIT_BAD_INPUT, EXIT_BROKEN_PIPE, EXIT_BUG, EXIT_INTERRUPTED, run
from romassay.errors import RomassayError, reason_of


def main() -> None:
    """Run the command line and leave with its exit status."""
    codecs.register_error("romassay", _in_ascii)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="romassay")
    sys.exit(_status(sys.argv[1:]))


_SIGNS = str.maketrans(
    {**dict.fromkeys("┌┐└┘", "+"), **dict.fromkeys("┤├│", "|"), "─": "-", "∪": "u", "·": "."}
    | {"…": "...", "Ω": "ohm", "µ": "u", "°": "deg "}
)


def _in_ascii(error: UnicodeError) -> tuple[str | bytes, int]:
    """Return what stands for signs that the terminal does not have: what looks like them, or their escapes."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    plain = error.object[error.start : error.end].translate(_SIGNS)
    return plain.encode("ascii", "backslashreplace").decode(), error.end


def _status(arguments: list[str]) -> int:
    try:
        status = run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        return _reader_left()
    except KeyboardInterrupt:
        return _complain("interrupted", EXIT_INTERRUPTED)
    except RomassayError as e:
        return _complain(str(e), EXIT_BAD_INPUT)
    except OSError as e:
        return _complain(_of_system(e), EXIT_BAD_INPUT)
    except MemoryError:
        return _complain("not enough memory for this input; give fewer or smaller files", EXIT_BAD_INPUT)
    except Exception as e:
        return _other(e)
    return status


def _reader_left() -> int:
    """Whoever read our output has gone: nothing more can be said there, nor at exit."""
    with contextlib.suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return EXIT_BROKEN_PIPE


def _of_system(error: OSError) -> str:
    reason = reason_of(error)
    return f"{error.filename}: {reason}" if error.filename is not None else reason


def _other(error: Exception) -> int:
    """Tell the ways in which click ends a command from a bug."""
    from click import ClickException, UsageError
    from click.exceptions import Abort, Exit

    if isinstance(error, Exit):
        return error.exit_code
    if isinstance(error, Abort):
        return _complain("interrupted", EXIT_INTERRUPTED)
    if isinstance(error, UsageError) and error.ctx is not None:
        message = _in_plain_words(error.format_message().rstrip("."))
        return _complain(f"{message}; see '{error.ctx.command_path} --help'", EXIT_BAD_INPUT)
    if isinstance(error, ClickException):
        return _complain(f"{_in_plain_words(error.format_message().rstrip('.'))}; see --help", EXIT_BAD_INPUT)
    if os.environ.get("ROMASSAY_TRACEBACK"):
        raise error
    return _complain(
        f"a fault of the program, not of the input ({type(error).__name__}: {error}); "
        "run it again with ROMASSAY_TRACEBACK=1 and report what that prints",
        EXIT_BUG,
    )


_WORDS = (
    (r"is not a valid (?:float|integer) range|is not a valid (?:float|integer)", "is no number"),
    (r"is not in the range x>=(\S+)", r"is too small: \1 or more"),
    (r"is not in the range x>(\S+)", r"is too small: more than \1"),
    (r"is not in the range (\S+?)<=x<=(\S+)", r"is out of range: \1 to \2"),
    (r"Got unexpected extra arguments? \((.*)\)", r"'\1' is one word too many"),
    (r"\.? \(Did you mean (.*)\)", r"; did you mean \1"),
    (r"Option '(.*)' requires an argument", r"\1: its value is missing"),
    (r"Missing argument '(.*)'", r"\1 is missing"),
)
"""What click says, and how it is said here."""


def _in_plain_words(message: str) -> str:
    for pattern, words in _WORDS:
        message = re.sub(pattern, words, message)
    return message


def _complain(message: str, status: int) -> int:
    """Print one line, safe to show, on stderr."""
    from romassay.report.text import clean

    with contextlib.suppress(OSError):
        sys.stderr.write(f"romassay: {clean(' '.join(message.split()))}\n")
        sys.stderr.flush()
    return status


if __name__ == "__main__":
    main()
