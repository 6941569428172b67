"""What the outside checks share: the general methods of the accuracy benchmark, which are checked here too."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

GENERAL = Path(__file__).resolve().parents[1] / "benchmarks" / "accuracy_general.py"


@pytest.fixture(scope="session")
def general() -> ModuleType:
    """The module of general methods (the benchmarks are scripts, so it is loaded from its file)."""
    spec = importlib.util.spec_from_file_location("accuracy_general", GENERAL)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module
