"""Logs that hold a relay's state at the moment of each sample: whether they tell how long it was closed.

A relay that heats for 40 % of a cycle of 24 s is found closed in 40 % of the samples, if they fall anywhere in the
cycle. A controller that notes its own relay once a minute finds it at the same two places of the cycle for ever: the
states then alternate, and half of them are "closed" whatever the share is. Where the samples keep to one place it is
found open for hours while the kiln climbs, then closed for hours. No more can be learned from those than from no output
at all.
"""

from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.grid import BoolArray, FloatArray, runs_of
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

_LEAST_PAIRS, _REPEATS, _KEPT_FOR_S = 20, 0.85, 1800.0
"""Share of samples that are as the one two to six before, and as the one half an hour of such steps before: of such as
fall anywhere in the cycle 0.5 to 0.7 are. The second because regular samples often come back *near* the same places
after a few; but then they move on through the whole cycle in minutes, and counting them tells the share well."""

_LONG_S, _HOUR_S, _MUCH_OF_IT = 600.0, 3600.0, 0.4
_CLIMB_C_PER_H, _WARM_C = 20.0, 150.0
"""A state that lasts for ten minutes on end, while a warm kiln climbs: at one place of the cycle that is much of the
heating. Without any heat a kiln does not climb for an hour; with a contact that stays closed it does, but is then not
found closed for long any more, unless the contact frees itself."""


Sampled = Literal["in step", "at one place", "anywhere", "unclear"]
"""Where the samples of a relay's state fall in its cycle: on the same few places for hours, on one, or anywhere."""

_KNOWN, _MOST_KNOWN = 2, 3
"""Logs in step from which on one that does not show it is taken to be so too, and how many are remembered at most. As
many that fall anywhere, counted below nought: at such a kiln a relay open for an hour of a climb has stuck, the first
time it is seen. One alone proves little: samples at one place look random while the closed share passes it."""


def sampled(log: FiringLog) -> Sampled | None:
    """Return how a relay's state was sampled; None where the log holds none, or not at even steps.

    An output that is never anything but all or nothing is a state too, whatever else it is taken for.
    """
    if log.output is None or not (log.output_kind == "on-off" or _only_states(log.output)):
        return None
    closed = np.nan_to_num(log.output) > 0.5
    apart_s = np.diff(log.elapsed_s)
    if apart_s.size < _LEAST_SAMPLES or np.mean(np.abs(apart_s / np.median(apart_s) - 1.0) < _REGULAR) < _MOSTLY:
        return None
    step_s = float(np.median(apart_s))
    zones = range(closed.shape[1])
    each = [_in_step(closed[:, zone].astype(np.float64), step_s) for zone in zones]
    if "in step" in each:
        return "in step"
    # most zones must show it: one that rests is heated by the others
    last = log.zone_c.shape[1] - 1
    at_one = [_at_one_place(closed[:, zone], log.elapsed_s, log.zone_c[:, min(zone, last)]) for zone in zones]
    if 2 * sum(at_one) > len(at_one):
        return "at one place"
    return "anywhere" if "anywhere" in each else "unclear"


def _only_states(output: FloatArray) -> bool:
    for some in (output[:: output.shape[0] // 200 + 1], output):  # a few rows mostly tell
        if not ((some == 0.0) | (some == 1.0) | ~np.isfinite(some)).all():
            return False
    return True


def remembered(before: int, how: Sampled | None) -> int:
    """Return how many more of a kiln's logs are remembered as in step than anywhere, from the number ``before``."""
    if how in ("in step", "at one place"):
        return min(before + 1, _MOST_KNOWN)
    return max(before - 1, -_MOST_KNOWN) if how == "anywhere" else before


def without_locked_output(log: FiringLog, how: Sampled | None, before: int = 0) -> FiringLog:
    """Return the log, without its output if that is a relay's state sampled in step with its cycle.

    A relay that happens to be found closed or open all the time shows no pattern, and one whose closed share passes the
    place of the samples a random one: then the kiln's logs ``before`` tell.
    """
    least = {"in step": -_MOST_KNOWN, "at one place": 1 - _KNOWN, "unclear": _KNOWN, "anywhere": _KNOWN}
    if how is None or before < least[how]:
        return log
    note = (
        "The output column holds a relay's state, always sampled at the same few places of its cycle: it does not tell "
        "how long the relay was closed and was not used."
    )
    return replace(log, output=None, output_kind=None, problems=(*log.problems, note))


def _in_step(closed: FloatArray, step_s: float) -> Sampled:
    """Whether the states (n,) of a relay, 0 or 1, repeat themselves after few samples, and for long, where they change.

    ``step_s`` is the time from sample to sample.
    """
    if closed.size < _LEAST_SAMPLES + _WINDOW:
        return "unclear"
    total = np.concatenate(([0.0], np.cumsum(closed)))
    share = (total[_WINDOW:] - total[:-_WINDOW]) / _WINDOW
    mixed = np.zeros(closed.size, dtype=np.bool_)
    mixed[_WINDOW // 2 : _WINDOW // 2 + share.size] = (share > _MIXED[0]) & (share < _MIXED[1])
    if np.count_nonzero(mixed) < max(_LEAST_SAMPLES, _LEAST_MIXED * np.count_nonzero(share > 0.0)):
        return "unclear"

    def alike(apart: int) -> bool:
        same = (closed[apart:] == closed[:-apart])[mixed[apart:]]
        return same.size >= _LEAST_PAIRS and bool(np.mean(same) > _REPEATS)

    most = closed.size - _LEAST_SAMPLES
    for places in range(2, _MOST_PLACES + 1):
        often = max(min(round(_KEPT_FOR_S / (places * step_s)), most // places), 1)
        if alike(places) and alike(places * often):
            return "in step"
    return "anywhere"


def _at_one_place(closed: BoolArray, elapsed_s: FloatArray, zone_c: FloatArray) -> bool:
    """Whether a relay (n,) was found open for an hour or more of a climb (n,), and closed on end later on."""

    def long_runs(flags: BoolArray) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
        starts, stops = runs_of(flags)
        lasts_s = elapsed_s[stops - 1] - elapsed_s[starts]
        long = lasts_s >= _LONG_S
        return starts[long], stops[long] - 1, lasts_s[long]

    shut, _, shut_s = long_runs(closed)
    begin, end, open_s = long_runs(~closed)
    if not shut.size or not begin.size:
        return False
    climbs = (zone_c[end] - zone_c[begin] > _CLIMB_C_PER_H / 3600.0 * open_s) & (zone_c[end] > _WARM_C)
    climbing_s = float(open_s[climbs & (begin < shut[-1])].sum())
    heating_s = float(elapsed_s[np.flatnonzero(closed)[-1]] - elapsed_s[0])
    return climbing_s >= _HOUR_S and climbing_s + float(shut_s.sum()) > _MUCH_OF_IT * heating_s
