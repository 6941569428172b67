"""Commands are run in this process; what they set up for the program's whole life is taken back after each test."""

import logging
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def logging_as_before() -> Iterator[None]:
    """Take back the handlers and levels that a command gave the loggers."""
    root, ours = logging.getLogger(), logging.getLogger("coilwatch")
    handlers, levels, raising = list(root.handlers), (root.level, ours.level), logging.raiseExceptions
    yield
    for handler in [handler for handler in root.handlers if handler not in handlers]:
        root.removeHandler(handler)
        handler.close()
    root.setLevel(levels[0])
    ours.setLevel(levels[1])
    logging.raiseExceptions = raising
