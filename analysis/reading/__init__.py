"""Reading: bytes of any plain-text firing log -> ``FiringLog``, with an account of how it was understood."""

from analysis.reading.firing_log import Event, FiringLog, Spike, UnreadableLog

__all__ = ["Event", "FiringLog", "Spike", "UnreadableLog"]
