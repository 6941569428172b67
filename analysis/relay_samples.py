"""Logs that hold a relay's state at the moment of each sample: whether they tell how long it was closed.

A relay that heats for 40 % of a cycle of 24 s is found closed in 40 % of the samples, if they fall anywhere in the
cycle. A controller that notes its own relay once a minute finds it at the same two places of the cycle for ever: the
states then alternate, and half of them are "closed" whatever the share is. No more can be learned from those than from
no output at all.
"""

from dataclasses import replace

import numpy as np

from analysis.grid import FloatArray
from analysis.reading.firing_log import FiringLog

_MOST_PLACES = 6
"""Places of the cycle, if the samples keep to so few of them, from which its closed share cannot be told: it is then
known to within a sixth or worse, and leans the same way for hours."""

_WINDOW = 12
_MIXED = (0.2, 0.8)
_LEAST_SAMPLES, _LEAST_MIXED = 60, 0.25
"""Only where a relay is found open and closed in turn does its pattern show: in so many samples, and in such a share of
those in which it works at all."""

_REGULAR, _MOSTLY = 0.2, 0.9
"""Samples keep step only if they are evenly spaced: nine in ten to within a fifth."""

_REPEATS, _KEPT_FOR_S = 0.85, 1800.0
"""Share of samples that are as the one two to six before, and as the one half an hour of such steps before: of such as
fall anywhere in the cycle 0.5 to 0.7 are. The second because regular samples often come back *near* the same places
after a few; but then they move on through the whole cycle in minutes, and counting them tells the share well."""


def without_locked_output(log: FiringLog) -> FiringLog:
    """Return the log, without its output if that is a relay's state sampled in step with its cycle."""
    if log.output is None or log.output_kind != "on-off":
        return log
    closed = np.nan_to_num(log.output) > 0.5
    apart_s = np.diff(log.elapsed_s)
    if apart_s.size < _LEAST_SAMPLES or np.mean(np.abs(apart_s / np.median(apart_s) - 1.0) < _REGULAR) < _MOSTLY:
        return log
    step_s = float(np.median(apart_s))
    if not any(_in_step(closed[:, zone].astype(np.float64), step_s) for zone in range(closed.shape[1])):
        return log
    note = (
        "The output column holds a relay's state, always sampled at the same few places of its cycle: it does not tell "
        "how long the relay was closed and was not used."
    )
    return replace(log, output=None, output_kind=None, problems=(*log.problems, note))


def _in_step(closed: FloatArray, step_s: float) -> bool:
    """Whether the states (n,) of a relay, 0 or 1, repeat themselves after few samples, and for long, where they change.

    ``step_s`` is the time from sample to sample.
    """
    if closed.size < _LEAST_SAMPLES + _WINDOW:
        return False
    total = np.concatenate(([0.0], np.cumsum(closed)))
    share = (total[_WINDOW:] - total[:-_WINDOW]) / _WINDOW
    mixed = np.zeros(closed.size, dtype=np.bool_)
    mixed[_WINDOW // 2 : _WINDOW // 2 + share.size] = (share > _MIXED[0]) & (share < _MIXED[1])
    if np.count_nonzero(mixed) < max(_LEAST_SAMPLES, _LEAST_MIXED * np.count_nonzero(share > 0.0)):
        return False

    def alike(apart: int) -> bool:
        return bool(np.mean((closed[apart:] == closed[:-apart])[mixed[apart:]]) > _REPEATS)

    most = closed.size - _LEAST_SAMPLES
    for places in range(2, _MOST_PLACES + 1):
        often = max(min(round(_KEPT_FOR_S / (places * step_s)), most // places), 1)
        if alike(places) and alike(places * often):
            return True
    return False
