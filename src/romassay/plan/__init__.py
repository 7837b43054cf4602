"""The sums before the iron: wiring, coverage, power, time and levels, and the run sheet of the evening. Pure."""

from romassay.plan.make import make_plan, planned
from romassay.plan.model import Plan, Problem
from romassay.plan.sheet import Names

__all__ = ["Names", "Plan", "Problem", "make_plan", "planned"]
