"""Where physics stops: a small filter that is told every firing's true power in every zone, and nothing else.

The truth used is the power as fired, with the supply of that day in it (taken out only where the log holds volts), and
whether it came and went within the firing. What is left to find out is what no log of one firing can tell: the supply's
wandering against the elements' state, slow ageing against a reference of few firings, whether a change was one firing's
or lasts, and which of the faults with nearly the same step it was (a supply that sags by 12 % of its volts takes as
much as one element of four). Its errors, delays and confusions are a floor for any program that must learn the power
from the log first. Leaks, loads, thermocouples and welded contacts leave the power alone: of those it says nothing, so
its rows on them stand at nothing, and its row on top causes counts them as missed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from accuracy_fleet import Fleet

from analysis.circuit_faults import FaultStep, fault_steps, prior_of
from analysis.circuits import LOST_LINE, OPEN_CIRCUIT, OPEN_ELEMENT
from config.kiln import Kiln

_DAY, _DAY_KNOWN = 0.0105, 0.002
_SLOW, _SLOW_KEPT = 0.004, 0.96
"""Log power by the supply: from day to day, from season to season; next to nothing where volts are logged."""

_PACES = ((-0.0003, 0.0003, 0.65), (-0.0025, 0.0015, 0.35))
_WALK = 5e-4
_FALL, _RISE = (-0.4, 0.25), (0.3, 0.25)
_FALL_ODDS, _PASSING_ODDS, _RISE_ODDS, _ALARM_ODDS = 0.008, 0.008, 0.3, 0.94
_REFERENCE, _MOST = 8, 12
"""As the program's own filter: firings called 1, and histories kept."""

_CAUSES = {OPEN_ELEMENT: "open_element", OPEN_CIRCUIT: "open_circuit", LOST_LINE: "lost_phase"}
_STEP_ERROR, _ALIKE_ERROR = 0.03, 0.01
_SUPPLY_ODDS, _SUPPLY_SIZES = 2.0, (0.05, 0.25)
"""Zones' steps follow from ohms known to a few per cent; a supply weakens all zones alike. Its odds against the faults
as in the program."""

_LEVEL, _DRIFT, _SEASON, _BASE = range(4)


@dataclass(frozen=True)
class _History:
    """One history: log weight, mean and covariance of (level, drift, season, reference), and its latest fall."""

    weight: float
    mean: np.ndarray
    cov: np.ndarray
    fell: int | None = None
    lost: float = 0.0


def _begin(first: bool) -> list[_History]:
    spread = 0.02 if first else 0.3
    return [
        _History(float(np.log(odds)), np.array([0.0, drift, 0.0, 0.0]), np.diag([spread**2, sd**2, _SLOW**2, 1e-10]))
        for drift, sd, odds in _PACES
    ]


def _seen(history: _History, power: float, noise: float, odds: float) -> _History:
    """The history after one firing's power is known to within ``noise``."""
    row = np.array([1.0, 0.0, 1.0, 0.0])
    across = history.cov @ row
    variance = float(row @ across) + noise**2
    off = power - float(row @ history.mean)
    weight = history.weight + float(np.log(odds)) - 0.5 * (off**2 / variance + float(np.log(variance)))
    return replace(
        history,
        weight=weight,
        mean=history.mean + across * off / variance,
        cov=history.cov - np.outer(across, across) / variance,
    )


def _stepped(history: _History, index: int, step: tuple[float, float]) -> _History:
    mean, cov = history.mean.copy(), history.cov.copy()
    mean[_LEVEL] += step[0]
    cov[_LEVEL, _LEVEL] += step[1] ** 2
    return replace(history, mean=mean, cov=cov, fell=index if step[0] < 0 else None, lost=float(history.mean[_LEVEL]))


def _next(history: _History) -> _History:
    move = np.eye(4)
    move[_LEVEL, _DRIFT] = 1.0
    move[_SEASON, _SEASON] = _SLOW_KEPT
    cov = move @ history.cov @ move.T
    cov[_LEVEL, _LEVEL] += _WALK**2
    cov[_SEASON, _SEASON] += _SLOW**2 * (1.0 - _SLOW_KEPT**2)
    return replace(history, mean=move @ history.mean, cov=cov)


def _referenced(history: _History, count: int) -> _History:
    move = np.eye(4)
    move[_BASE, _BASE], move[_BASE, _LEVEL] = count / (count + 1), 1 / (count + 1)
    return replace(history, mean=move @ history.mean, cov=move @ history.cov @ move.T)


def _pruned(histories: list[_History]) -> list[_History]:
    kept = sorted(histories, key=lambda h: -h.weight)[:_MOST]
    total = float(np.logaddexp.reduce([h.weight for h in kept]))
    return [replace(h, weight=h.weight - total) for h in kept if h.weight - total > -12.0]


def _cause(steps: Sequence[FaultStep], change: np.ndarray, *, volts: bool) -> tuple[str, str | None]:
    """Name what takes this much (log) from each zone: the likeliest single fault of the circuits, or the supply."""

    def fit(wanted: np.ndarray | float, error: float) -> float:
        return float(-0.5 * np.sum(((change - wanted) / error) ** 2) - change.size * np.log(error))

    rated = [(np.log(prior_of(s)) + fit(np.maximum(s.zones, -2.0), _STEP_ERROR), s) for s in steps]
    best, step = max(rated, key=lambda pair: pair[0], default=(-np.inf, None))
    mean = float(change.mean())
    low, high = _SUPPLY_SIZES
    if not volts and low <= -mean <= high and fit(mean, _ALIKE_ERROR) + np.log(_SUPPLY_ODDS) > best:
        return "low_supply", None
    return ("open_circuit", None) if step is None else (_CAUSES[step.fault.kind], step.zone)


def _record(histories: list[_History], reference: str, index: int, count: int, named: tuple[str, str | None]) -> dict:
    weights = np.exp([h.weight for h in histories])
    over = np.array([h.mean[_LEVEL] - h.mean[_BASE] for h in histories])
    row = np.array([1.0, 0.0, 0.0, -1.0])
    errors = np.sqrt([max(float(row @ h.cov @ row), 1e-8) for h in histories])
    draws = np.sort(np.concatenate([o + e * _NORMAL for o, e in zip(over, errors, strict=True)]))
    order = np.argsort(np.concatenate([o + e * _NORMAL for o, e in zip(over, errors, strict=True)]))
    cumulative = np.cumsum(np.repeat(weights / _NORMAL.size, _NORMAL.size)[order])
    low, middle, high = (float(draws[np.searchsorted(cumulative, q * cumulative[-1])]) for q in (0.05, 0.5, 0.95))
    fell = sum(w for w, h in zip(weights, histories, strict=True) if h.fell is not None and index - h.fell < 20)
    slow = np.array([o if h.fell is None else h.lost - h.mean[_BASE] for o, h in zip(over, histories, strict=True)])
    worn = float(weights @ (slow < -0.055)) if count > 4 else 0.0
    found = [(*named, fell, _ALARM_ODDS), ("element_ageing", None, worn, 0.9)]
    return {
        "power_ratio": float(np.exp(middle)),
        "power_low": float(np.exp(low)),
        "power_high": float(np.exp(high)),
        "reference": reference,
        "findings": [
            {"cause": cause, "severity": "warning", "zone": zone, "probability": float(p)}
            for cause, zone, p, enough in found
            if p >= enough
        ],
    }


def _change(zones: list[np.ndarray], histories: list[_History], index: int) -> np.ndarray:
    """Log change of each zone's power since before the likeliest fall (0 without one)."""
    fell = max(histories, key=lambda h: h.weight).fell
    if not fell:
        return np.zeros_like(zones[-1])
    return zones[index] - np.median(zones[max(0, fell - 5) : fell], axis=0)


_NORMAL = np.sort(np.random.default_rng(1).standard_normal(400))


def oracle_filter(fleet: Fleet) -> dict[str, list[dict | None]]:
    """Records of the filter that is told each firing's true power, for every kiln of the fleet."""
    return {kiln: _of_kiln(fleet, fleet.kilns[kiln], firings) for kiln, firings in fleet.truth.items()}


def _of_kiln(fleet: Fleet, register: Kiln, firings: list[dict]) -> list[dict | None]:
    kiln = register.id
    volts = fleet.facts[kiln]["volts_logged"]
    noise = _DAY_KNOWN if volts else _DAY
    key = "power_ratio_nominal_v" if volts else "power_ratio"
    zone_key = "power_ratio_zone_nominal_v" if volts else "power_ratio_zone"
    zones = [np.log(np.maximum(f[zone_key], 0.05)) for f in firings]
    faults = fault_steps(register)
    entries = [e for e in fleet.entries.get(kiln, []) if e.what in ("replaced", "repaired")]
    histories, base, count, reference, told = _begin(first=False), None, 0, "first firings", 0
    records: list[dict | None] = []
    for index, firing in enumerate(firings):
        new = [e for e in entries[told:] if e.at.isoformat() <= firing["start_utc"].replace("Z", "+00:00")]
        told += len(new)
        power = float(np.log(firing[key]))
        base = power if base is None else base
        if any(e.part == "elements" and e.zone is None for e in new):
            histories, count, reference, base = _begin(first=False), 0, "after repair", power
        histories = [_next(h) for h in histories] if index else histories
        rivals = [_seen(h, power - base, noise, 1.0) for h in histories]
        if count >= 4:
            rivals += [_seen(_stepped(h, index, _FALL), power - base, noise, _FALL_ODDS) for h in histories]
            passing = [(h, _seen(h, power - base, 0.2, _PASSING_ODDS)) for h in histories]
            rivals += [replace(seen, mean=h.mean, cov=h.cov) for h, seen in passing]
            if new:
                rivals += [_seen(_stepped(h, index, _RISE), power - base, noise, _RISE_ODDS) for h in histories]
        histories = _pruned(rivals)
        if count < _REFERENCE:
            histories = [_referenced(h, count) for h in histories]
            count += 1
        named = _cause(faults, _change(zones, histories, index), volts=volts)
        if firing["intermittent_share_on"] < 1.0:
            named = ("loose_connection", named[1])
        records.append(_record(histories, reference, index, count, named))
    return records
