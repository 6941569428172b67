"""Damaged and hostile bytes: a short run of the fuzzing script (the long one is tests/faults/reading_fuzz.py)."""

import importlib.util
import sys
from pathlib import Path

FUZZ = Path(__file__).parents[2] / "faults" / "reading_fuzz.py"


def test_five_hundred_damaged_logs_raise_nothing_but_the_typed_error_and_hold_together():
    spec = importlib.util.spec_from_file_location("reading_fuzz", FUZZ)
    fuzz = importlib.util.module_from_spec(spec)
    sys.modules["reading_fuzz"] = fuzz
    spec.loader.exec_module(fuzz)
    assert fuzz.run(500, seed=5, keep=None) == 0
