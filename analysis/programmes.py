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

NO_PROGRAMME = -1


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


def recognise(
    known: tuple[Programme, ...], firing: Firing, index: int, *, cooled: bool
) -> tuple[tuple[Programme, ...], Programme, bool]:
    """Find the firing's programme among ``known``, or add it.

    Returns the updated programmes, the one recognised, and whether it is new. A name in the log decides;
    without one, or for a firing cut short, the nearest shape does.
    """
    alike = [p for p in known if p.cooled == cooled]
    same_name = [p for p in alike if firing.programme and p.name == firing.programme]
    if same_name:
        found = same_name[0]
    else:
        near = sorted((p for p in alike if not firing.programme), key=lambda p: _distance(p.shape, firing.shape))
        found_near = near[0] if near and _distance(near[0].shape, firing.shape) <= _SAME else None
        if found_near is None:
            used = {p.slot for p in known}
            free = [slot for slot in range(MOST_PROGRAMMES) if slot not in used]
            if not free:
                rarest = min(known, key=lambda p: (p.fired, p.last))
                known = tuple(p for p in known if p is not rarest)
                free = [rarest.slot]
            name = firing.programme or _named(free[0] + 1, firing.shape)
            new = Programme(free[0], name, firing.shape, 1, index, cooled)
            return (*known, new), new, True
        found = found_near
    weight = 1.0 / min(found.fired + 1, 10)
    updated = replace(found, shape=_blend(found.shape, firing.shape, weight), fired=found.fired + 1, last=index)
    return tuple(updated if p.slot == found.slot else p for p in known), updated, False
