"""Which programme a firing follows, recognised across firings with or without a name."""

from dataclasses import dataclass, replace

from analysis.firing import Firing, Shape

MOST_PROGRAMMES = 10
"""Programmes remembered of a kiln; the least used makes room (its offset starts afresh if it comes back)."""

_PEAK_SCALE_C = 8.0
"""Peaks of one programme differ by the controller's overshoot and a cone's adjustment, a few degrees."""

_PACE_SCALE = 0.12
"""Paces of one programme differ where a heavy load drags, by about a tenth (log)."""

_SAME = 9.0
"""Sum of squared scaled distances (four features) beyond which two firings follow different programmes."""


@dataclass(frozen=True, slots=True)
class Programme:
    """A programme seen at this kiln: slot number in the state, name or made-up name, mean shape, times fired.

    Logs with and without the cooling are kept apart (``cooled``): without it the balance leans differently.
    """

    slot: int
    name: str
    shape: Shape
    fired: int
    last: int
    cooled: bool = True


def _distance(one: Shape, other: Shape) -> float:
    total = ((one.peak_c - other.peak_c) / _PEAK_SCALE_C) ** 2
    for a, b in zip(one.pace_h, other.pace_h, strict=True):
        if a is not None and b is not None and a > 0 and b > 0:
            # log of a ratio near one, bounded so that one odd stretch cannot decide alone
            total += min(((a - b) / (0.5 * (a + b)) / _PACE_SCALE) ** 2, 16.0)
    return total


def _blend(old: Shape, new: Shape, weight: float) -> Shape:
    def mix(a: float | None, b: float | None) -> float | None:
        if a is None or b is None:
            return a if b is None else b
        return a + weight * (b - a)

    pace = tuple(mix(a, b) for a, b in zip(old.pace_h, new.pace_h, strict=True))
    return Shape(old.peak_c + weight * (new.peak_c - old.peak_c), (pace[0], pace[1], pace[2]))


def _named(number: int, shape: Shape) -> str:
    return f"programme {number} to {shape.peak_c:.0f}"


@dataclass(frozen=True, slots=True)
class Match:
    """The programme a firing follows; ``new`` if it was never seen; ``short_c`` below its peak if it was cut short."""

    programme: Programme
    new: bool
    short_c: float | None


_CUT_SHORT_C = 60.0
"""A firing that ends this far below every known programme, on the pace of one of them, was stopped on the way."""

_LEAST_PEAK_C = 900.0
"""Hardly any ware is fired lower (cone 010 is about 900 deg C): a peak above may well be a new programme's own."""

_DIES_AWAY = 2.0
"""Over its last 150 deg C a full-output climb that fades takes several times as long as a programme does."""

_SHORT_C = 25.0


def recognise(
    known: tuple[Programme, ...], firing: Firing, index: int, *, cooled: bool
) -> tuple[tuple[Programme, ...], Match]:
    """Find the firing's programme among ``known``, or add it; returns the updated programmes and the match.

    A name in the log decides; without one the nearest shape does.
    """
    alike = [p for p in known if p.cooled == cooled]
    if firing.programme:
        found = next((p for p in alike if p.name == firing.programme), None)
        peaks = [p.shape.peak_c for p in known if p.name == firing.programme and p.fired >= 2]
    else:
        near = min(alike, key=lambda p: _distance(p.shape, firing.shape), default=None)
        found = near if near is not None and _distance(near.shape, firing.shape) <= _SAME else None
        peaks = []
        if found is None and _cut_short(known, firing):
            followed = min((p for p in known if p.fired >= 2), key=lambda p: _pace_distance(p.shape, firing.shape))
            peaks = [followed.shape.peak_c]
            found = followed if followed.cooled == cooled else None
    short = _short_of(firing, peaks)
    if found is None:
        return _added(known, firing, index, short, cooled=cooled)
    if short:
        # a firing cut short says nothing of the programme's shape
        updated = replace(found, last=index)
    else:
        weight = 1.0 / min(found.fired + 1, 10)
        updated = replace(found, shape=_blend(found.shape, firing.shape, weight), fired=found.fired + 1, last=index)
    kept = tuple(updated if p.slot == found.slot else p for p in known)
    return kept, Match(updated, new=False, short_c=short)


def nearest(known: tuple[Programme, ...], programme: Programme) -> Programme | None:
    """Return the other programme whose peak is nearest to this one's, None if there is no other."""
    others = [p for p in known if p.slot != programme.slot]
    return min(others, key=lambda p: abs(p.shape.peak_c - programme.shape.peak_c), default=None)


def _pace_distance(one: Shape, other: Shape) -> float:
    """How differently two firings began (log of the ratio of their first paces), 1 where that cannot be told."""
    a, b = one.pace_h[0], other.pace_h[0]
    if a is None or b is None or a <= 0.0 or b <= 0.0:
        return 1.0
    return abs((a - b) / (0.5 * (a + b)))


def _cut_short(known: tuple[Programme, ...], firing: Firing) -> bool:
    """True if the firing ended far below all known programmes while on the pace of one (or too early to tell)."""
    used = [p for p in known if p.fired >= 2]
    if not used or firing.peak_c > min(p.shape.peak_c for p in used) - _CUT_SHORT_C:
        return False
    if firing.peak_c > _LEAST_PEAK_C and not _dies_away(used, firing):
        return False
    if firing.shape.pace_h[0] is None:
        return True
    return min(_pace_distance(p.shape, firing.shape) for p in used) < 2.0 * _PACE_SCALE


def _dies_away(used: list[Programme], firing: Firing) -> bool:
    """True if a firing's last 150 deg C took far longer than those of any known programme: it got no hotter."""
    last_h = firing.shape.pace_h[2]
    usual = [h for p in used if (h := p.shape.pace_h[2]) is not None]
    return last_h is not None and bool(usual) and last_h > _DIES_AWAY * max(usual)


def _short_of(firing: Firing, peaks: list[float]) -> float | None:
    """How far below the programme's usual peak the firing ended; None where nothing tells."""
    planned = [] if firing.planned_peak_c is None else [firing.planned_peak_c]
    if not planned and not peaks:
        return None
    missing = max(*planned, *peaks, 0.0) - firing.peak_c
    return missing if missing > _SHORT_C else 0.0


def _added(
    known: tuple[Programme, ...], firing: Firing, index: int, short: float | None, *, cooled: bool
) -> tuple[tuple[Programme, ...], Match]:
    """Give the firing's programme a slot of its own; the least used makes room."""
    free = [slot for slot in range(MOST_PROGRAMMES) if slot not in {p.slot for p in known}]
    if not free:
        rarest = min(known, key=lambda p: (p.fired, p.last))
        known = tuple(p for p in known if p is not rarest)
        free = [rarest.slot]
    name = firing.programme or _named(free[0] + 1, firing.shape)
    seen_otherwise = any(p.name == name for p in known)
    new = Programme(free[0], name, firing.shape, 0 if short else 1, index, cooled)
    return (*known, new), Match(new, new=not seen_otherwise, short_c=short)
