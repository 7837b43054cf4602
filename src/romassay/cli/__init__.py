"""The command line: one module a verb, loaded when it is called. Start-up counts, so this module imports nothing heavy.

A verb's module is named like the verb and holds `command`, a `click.Command`. It parses, calls a use case and prints;
it returns its exit status, or None for 0. The context's object is the tuple of the arguments as typed.
"""

from __future__ import annotations

import sys
from importlib import import_module
from typing import TYPE_CHECKING

from romassay.errors import BadValue, did_you_mean
from romassay.version import VERSION

if TYPE_CHECKING:
    import click

VERBS: dict[str, str] = {
    "assay": "find the ROM in dumps of a bus, settle it, and say how sure that is",
    "demo": "watch it work on an invented specimen, in the current folder",
    "report": "write the evidence of a docket as one page, to print or hand on",
    "bench": "work with dockets on a page in the browser, on this machine",
    "capture": "ask a host for its memory over a serial line, until readings agree",
    "firmware": "make a reader: a microcontroller, or a routine to key into a host",
    "convert": "turn one image format into another",
    "listing": "read the code of an image: source to assemble again, and pictures",
    "parts": "show the known chip types, or find what a house-marked one may be",
    "plan": "work out wiring, supply and times, and print the sheet for the bench",
    "twin": "rehearse: print the logs that a simulated specimen would give",
}
"""Every verb, in the order in which a newcomer meets them, with one line of help."""

_HELP = ("--help", "-h", "help")

EXIT_OK = 0
EXIT_BAD_INPUT = 2
EXIT_BUG = 70
EXIT_INTERRUPTED = 130
EXIT_BROKEN_PIPE = 141


def help_text() -> str:
    """Return what `romassay --help` prints."""
    width = max(map(len, VERBS))
    verbs = "\n".join(f"  {name:<{width}}  {text}" for name, text in VERBS.items())
    return f"""\
Usage: romassay VERB ...

From bus dumps of an obsolete mask-programmed chip to a ROM image that others
can trust.

{verbs}

  romassay VERB --help   tells what a verb takes
  romassay --version     prints the version

Exit status: 0 done, 2 bad input. Of 'assay': 0 confirmed, 3 provisional,
4 nothing found, 2 bad input.
"""


def load_verb(name: str) -> click.Command:
    """Return a verb's command; BadValue where there is no such verb."""
    if name.startswith("-"):
        raise BadValue("an option stands behind its verb", place=name, advice=f"the verbs are {', '.join(VERBS)}")
    if name not in VERBS:
        raise BadValue(f"'{name}' is no verb", advice=_suggestion(name))
    command: click.Command = import_module(f"romassay.cli.{name}").command
    return command


def _suggestion(name: str) -> str:
    return did_you_mean(name, VERBS) or f"the verbs are {', '.join(VERBS)}"


def run(arguments: list[str]) -> int:
    """Do what the arguments say; return the exit status. Errors go up."""
    if not arguments or arguments[0] in _HELP:
        if arguments[1:] and not arguments[1].startswith("-"):
            arguments = [arguments[1], "--help"]
        else:
            sys.stdout.write(help_text())
            return EXIT_OK
    if arguments[0] in ("--version", "-V"):
        sys.stdout.write(f"romassay {VERSION}\n")
        return EXIT_OK
    command = load_verb(arguments[0])
    with command.make_context(f"romassay {arguments[0]}", arguments[1:], obj=tuple(arguments)) as context:
        return command.invoke(context) or EXIT_OK
