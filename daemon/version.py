"""Which Coilwatch this is."""

from functools import cache


@cache
def program_version() -> str:
    """Return the installed version of Coilwatch."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("coilwatch")
    except PackageNotFoundError:
        return "unknown"
