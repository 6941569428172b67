"""Loading sqlite-utils without pandas: it loads pandas whenever that is installed, which costs 45 MB for nothing here.

The service itself never touches a table of numbers; reading and judging happen in a process of their own. Loading
pandas would also cost every command half a second.
"""

import importlib
import sys


def load_store_lightly() -> None:
    """Load sqlite-utils while pandas looks absent. Does nothing if either is loaded already."""
    if "pandas" in sys.modules or "sqlite_utils" in sys.modules:
        return
    sys.modules["pandas"] = None  # type: ignore[assignment]  # how the import system is told "not there"
    try:
        importlib.import_module("sqlite_utils")
    finally:
        del sys.modules["pandas"]
