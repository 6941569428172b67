"""Reading: bytes of any plain-text firing log -> ``FiringLog``, with an account of how it was understood."""

from analysis.reading.account import Account, ColumnAccount, Reading, RowCount, Unknown
from analysis.reading.firing_log import Event, FiringLog, Spike, UnreadableLog
from analysis.reading.parts import join_logs
from analysis.reading.read import SIZE_LIMIT_BYTES, read_log

__all__ = [
    "SIZE_LIMIT_BYTES",
    "Account",
    "ColumnAccount",
    "Event",
    "FiringLog",
    "Reading",
    "RowCount",
    "Spike",
    "Unknown",
    "UnreadableLog",
    "join_logs",
    "read_log",
]
