"""Cube algebra against sympy's Boolean algebra, a general-purpose library."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from sympy import And, Not, Or, Symbol, false, true
from sympy.logic.boolalg import Boolean
from sympy.logic.inference import satisfiable

from romassay.address import Cube

BITS = 5
LINES = [Symbol(f"A{i}") for i in range(BITS)]


def formula(cube: Cube | None) -> Boolean:
    """Return the cube as a product of lines."""
    if cube is None:
        return false
    return And(*(line if cube.value >> i & 1 else Not(line) for i, line in enumerate(LINES) if cube.care >> i & 1))


def equivalent(one: Boolean, other: Boolean) -> bool:
    return satisfiable(Or(And(one, Not(other)), And(other, Not(one)))) is False


def cubes() -> st.SearchStrategy[Cube]:
    space = st.integers(0, (1 << BITS) - 1)
    return st.builds(lambda care, value: Cube(BITS, care, value & care), space, space)


@settings(max_examples=60)
@given(cubes(), cubes())
def test_intersection_and_cover(one: Cube, other: Cube) -> None:
    assert equivalent(formula(one.intersect(other)), And(formula(one), formula(other)))
    assert one.covers(other) == equivalent(And(formula(one), formula(other)), formula(other))


def test_a_cube_without_lines_is_true() -> None:
    assert formula(Cube(BITS, 0, 0)) == true
