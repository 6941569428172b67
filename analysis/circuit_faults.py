"""What each single fault would do to the power of the kiln and of each zone, and which of them fits a measured step.

Predictions come from the network of the register where there is one; a kiln whose circuits are not listed is
treated as one circuit of two equal elements for each zone, and said so by ``FaultStep.assumed``.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log

from analysis.circuits import LOST_LINE, OPEN_CIRCUIT, OPEN_ELEMENT, Fault, Network, network, single_faults, solve
from analysis.measures import Estimate
from config.kiln import Circuit, Kiln, Supply

DEAD = log(0.02)  # a zone without any power of its own; 2 % stands for what its neighbours give it
# Odds of meeting each fault before anything is measured, per element, circuit or kiln: elements and relays fail far
# more often than supply lines (common practice, no source).
PRIOR = {OPEN_ELEMENT: 0.4, OPEN_CIRCUIT: 1.0, LOST_LINE: 0.5}
# An element of a string gives the same heat with a quarter of the ohms of one that lies alone across the volts: thicker
# wire, which lasts longer (common practice, no source).
_IN_A_STRING = 0.2
_ONE_RELAY_FOR_ALL = 0.5  # that one relay switches all circuits of a zone is as common as not, and seldom written down
MODEL_ERROR = 0.035  # log, whole kiln: elements' shares are known to some 3 % (wire tolerance 5 % each, uneven ageing)
ZONE_ERROR = 0.07  # log, one zone: zones lend each other heat
_SHOWN = ((1.0, 0.5), (0.85, 0.3), (0.7, 0.2))  # share of a zone's loss that shows, with its odds
OUTLIER_ODDS = 0.02  # a reading outside everything above, so that no single number can exclude a fault


@dataclass(frozen=True, slots=True)
class FaultStep:
    """The log power step one fault makes: whole kiln (``total``) and by zone in the kiln's order (``zones``).

    ``in_string`` says that it is an element of a series string.
    """

    fault: Fault
    zone: str | None
    circuit: str | None
    total: float
    zones: tuple[float, ...]
    assumed: bool = False
    in_string: bool = False


@dataclass(frozen=True, slots=True)
class FaultOdds:
    """A fault's step with its share of the odds among all single faults."""

    step: FaultStep
    probability: float


def fault_steps(kiln: Kiln) -> tuple[FaultStep, ...]:
    """Return the step of every single fault that changes any power; faults that look alike are kept apart.

    An open element in a series string, or alone in its circuit, takes what that circuit open takes: only its terminals
    tell the two apart.
    """
    return _steps_of(kiln.circuits, kiln.zones, kiln.volts, kiln.supply, kiln.rated_kw)


@lru_cache(maxsize=32)
def _steps_of(
    circuits: tuple[Circuit, ...],
    names: tuple[str, ...],
    volts: float | None,
    supply: Supply | None,
    rated_kw: float | None,
) -> tuple[FaultStep, ...]:
    """The same for the facts it depends on (kept: the network is solved once for each fault of a kiln)."""
    kiln = Kiln("", volts=volts, supply=supply, rated_kw=rated_kw, zones=names, circuits=circuits)
    net = network(kiln)
    assumed = net is None
    if net is None:
        net = network(_stand_in(kiln))
        assert net is not None
    whole = solve(net)
    zones = kiln.zones or ("",)
    out = []
    strings = {c.name for c in net.circuits if c.wiring == "series" and c.elements > 1}
    for fault in single_faults(net):
        left = solve(net, fault)
        total = _log_ratio(left.total_w, whole.total_w)
        by_zone = tuple(_log_ratio(left.zone_w.get(z, 0.0), whole.zone_w.get(z, 0.0)) for z in zones)
        if any(abs(s) > 1e-6 for s in (total, *by_zone)):
            strung = fault.kind == OPEN_ELEMENT and fault.circuit in strings
            out.append(FaultStep(fault, _zone_of(net, fault), fault.circuit, total, by_zone, assumed, strung))
    return tuple(out)


def prior_of(step: FaultStep) -> float:
    """Return the odds of meeting a fault before anything is measured, relative to one circuit's relay or leads."""
    if step.fault.zone is not None:
        return _ONE_RELAY_FOR_ALL
    return _IN_A_STRING if step.in_string else PRIOR[step.fault.kind]


def fault_odds(
    steps: Sequence[FaultStep],
    total: Estimate | None,
    zones: Sequence[Estimate | None] = (),
    at_most: Sequence[float | None] = (),
) -> tuple[FaultOdds, ...]:
    """Return the odds among single faults given a measured step, most probable first; they sum to 1.

    Parameters
    ----------
    steps : from `fault_steps`.
    total, zones : measured log power steps (whole kiln; by zone in the kiln's order), None where not measured.
    at_most : for each zone, an upper bound on its step (log) where the zone never reached the band at all.
    """
    if not steps:
        return ()
    weight = []
    for step in steps:
        ln = log(prior_of(step)) + _ln_step(step, total, zones)
        for want, bound in zip(step.zones, at_most, strict=False):
            if bound is not None and want > bound + 2 * ZONE_ERROR:
                ln += log(OUTLIER_ODDS)
        weight.append(ln)
    whole = _log_sum(weight)
    odds = [FaultOdds(s, exp(w - whole)) for s, w in zip(steps, weight, strict=True)]
    return tuple(sorted(odds, key=lambda o: -o.probability))


def log_evidence(steps: Sequence[FaultStep], total: Estimate | None, zones: Sequence[Estimate | None] = ()) -> float:
    """Return the log density of a measured step if some single fault made it, over the faults' prior odds."""
    if not steps:
        return -50.0
    prior = [log(prior_of(s)) for s in steps]
    weight = [p + _ln_step(s, total, zones) for p, s in zip(prior, steps, strict=True)]
    return _log_sum(weight) - _log_sum(prior)


def _log_sum(values: Sequence[float]) -> float:
    top = max(values)
    return top + log(sum(exp(v - top) for v in values))


def _ln_step(step: FaultStep, total: Estimate | None, zones: Sequence[Estimate | None]) -> float:
    """Return the log likelihood of a measured step under one fault.

    A zone that lost power is helped by its neighbours, so its loss is measured at `_SHOWN` of its true size.
    """
    if not any(z is not None for z in zones) or max(step.zones) - min(step.zones) < ZONE_ERROR:
        return _ln_shown(step, total, zones, 1.0)
    return _log_sum([log(weight) + _ln_shown(step, total, zones, part) for part, weight in _SHOWN])


def _ln_shown(step: FaultStep, total: Estimate | None, zones: Sequence[Estimate | None], part: float) -> float:
    ln = 0.0 if total is None else ln_likelihood(part * step.total, total)
    for want, got in zip(step.zones, zones, strict=False):
        if got is not None:
            ln += ln_likelihood(part * want, got, ZONE_ERROR)
    return ln


def ln_likelihood(want: float, got: Estimate, model_error: float = MODEL_ERROR) -> float:
    """Return the log density of a measured step under a predicted one, with a flat tail.

    A dead zone's own power cannot be measured below what its neighbours lend it: anything under 30 % fits.
    """
    floor = log(0.3)
    miss = min(0.0, got.value - floor) if want <= floor and got.value <= floor else got.value - want
    if want <= floor and got.value <= floor:
        miss = 0.0
    spread = (got.error**2 + model_error**2) ** 0.5
    core = exp(-0.5 * (miss / spread) ** 2) / (spread * (6.283185307179586**0.5))
    return log((1 - OUTLIER_ODDS) * core + OUTLIER_ODDS / 3.0)


def _log_ratio(left: float, whole: float) -> float:
    if whole <= 0.0:
        return 0.0
    return max(DEAD, log(max(left, 1e-9) / whole))


def _zone_of(net: Network, fault: Fault) -> str | None:
    if fault.zone is not None:
        return fault.zone
    for circuit in net.circuits:
        if circuit.name == fault.circuit:
            return circuit.zone
    return None


def _stand_in(kiln: Kiln) -> Kiln:
    """Return the kiln with one circuit of two equal elements for each zone."""
    zones = kiln.zones or ("",)
    circuits = tuple(Circuit(z or "whole kiln", z or None, 2, "parallel", (20.0,)) for z in zones)
    return Kiln(kiln.id, volts=240.0, zones=kiln.zones, circuits=circuits)
