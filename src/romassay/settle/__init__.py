"""Settling: every bit decided from all its observations, readings × copies, with a stated confidence."""

from romassay.settle.images import settle

__all__ = ["settle"]
