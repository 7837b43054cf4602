"""The numbers that an assembler's operand may be: symbols, the usual notations, and a few operators."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from romassay.errors import BadValue

_TOKEN = re.compile(
    r"\s*(?:(?P<hex>\$[0-9a-fA-F]+|0x[0-9a-fA-F]+|\d[0-9a-fA-F]*[hH]\b)|(?P<bin>%[01]+)|(?P<dec>\d+)"
    r"|(?P<char>'.'|\".\")|(?P<name>[A-Za-z_.@][\w.@]*)|(?P<op>[-+*/&|^()<>~$]))"
)

_BINARY: tuple[Mapping[str, Callable[[int, int], int]], ...] = (
    {"|": lambda a, b: a | b, "^": lambda a, b: a ^ b},
    {"&": lambda a, b: a & b},
    {"+": lambda a, b: a + b, "-": lambda a, b: a - b},
    {"*": lambda a, b: a * b, "/": lambda a, b: a // b if b else 0},
)
"""Operators, the weakest first."""

_UNARY: Mapping[str, Callable[[int], int]] = {
    "-": lambda a: -a,
    "+": lambda a: a,
    "~": lambda a: ~a,
    "<": lambda a: a & 0xFF,
    ">": lambda a: a >> 8 & 0xFF,
}


class Unknown(BadValue):
    """A symbol that has no value, or not yet."""


def evaluate(text: str, symbols: Mapping[str, int], here: int) -> int:
    """Return the number that an expression stands for.

    Args:
        text: such as `table+2`, `<table`, `$1F`, `1Fh`, `%101`, `'A'`; '$' alone is this instruction's address.
        symbols: by name, in lower case.
        here: the address of this instruction.

    Raises:
        Unknown: a symbol has no value.
        BadValue: this is no expression.
    """
    tokens: list[tuple[str, str]] = []
    at = 0
    text = text.strip()
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None or match.lastgroup is None:
            raise BadValue(f"'{text}' is no number and no symbol")
        tokens.append((match.lastgroup, match.group(match.lastgroup)))
        at = match.end()
    value, rest = _weak(tokens, 0, symbols, here, text)
    if rest:
        raise BadValue(f"'{text}' is no number and no symbol")
    return value


_Tokens = list[tuple[str, str]]


def _weak(tokens: _Tokens, level: int, symbols: Mapping[str, int], here: int, text: str) -> tuple[int, _Tokens]:
    if level == len(_BINARY):
        return _single(tokens, symbols, here, text)
    value, tokens = _weak(tokens, level + 1, symbols, here, text)
    while tokens and tokens[0][0] == "op" and tokens[0][1] in _BINARY[level]:
        sign = tokens[0][1]
        other, tokens = _weak(tokens[1:], level + 1, symbols, here, text)
        value = _BINARY[level][sign](value, other)
    return value, tokens


def _single(tokens: _Tokens, symbols: Mapping[str, int], here: int, text: str) -> tuple[int, _Tokens]:
    if not tokens:
        raise BadValue(f"'{text}' breaks off")
    (kind, word), rest = tokens[0], tokens[1:]
    if kind == "op" and word == "(":
        value, rest = _weak(rest, 0, symbols, here, text)
        if not rest or rest[0][1] != ")":
            raise BadValue(f"'{text}' lacks a ')'")
        return value, rest[1:]
    if kind == "op" and word in ("$", "*"):
        return here, rest
    if kind == "op" and word in _UNARY:
        value, rest = _single(rest, symbols, here, text) if word not in "<>" else _weak(rest, 0, symbols, here, text)
        return _UNARY[word](value), rest
    if kind == "name":
        if word.lower() not in symbols:
            raise Unknown(f"'{word}' has no value")
        return symbols[word.lower()], rest
    return _number(kind, word, text), rest


def _number(kind: str, word: str, text: str) -> int:
    if kind == "hex":
        return int(word.lstrip("$").removesuffix("h").removesuffix("H").removeprefix("0x"), 16)
    if kind == "bin":
        return int(word[1:], 2)
    if kind == "dec":
        return int(word)
    if kind == "char":
        return ord(word[1])
    raise BadValue(f"'{text}' is no number and no symbol")
