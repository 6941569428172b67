"""Causes: one small module for each family, and the odds over all of them."""

from analysis.causes.memory import CausesMemory

__all__ = ["CausesMemory"]
