"""The verdict, and the doubts of readings, of images and of what they may be that it rests on: a module each."""

from romassay.judge.evidence import ENOUGH, is_settled
from romassay.judge.verdict import Judgement, Verdict, judge

__all__ = ["ENOUGH", "Judgement", "Verdict", "is_settled", "judge"]
