"""What took the power: a broken element, circuit or line, the supply, or heat that leaks away.

One measured step (or one zone falling short) is weighed against every single fault of the kiln's own circuits, a
poor supply and a leak; they are rivals, so their probabilities share one event.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, log

from analysis.causes import mains
from analysis.causes.case import Case, Suspicion
from analysis.causes.cooling_offsets import parting
from analysis.causes.deficits import Deficit, unevenness
from analysis.causes.leaks import FastCooling, fast_cooling
from analysis.causes.loss_words import (
    fast_cooling_evidence,
    leak_evidence,
    loss_evidence,
    match,
    remembered_evidence,
    supply_evidence,
)
from analysis.causes.losses import Loss, credit_of, losses
from analysis.causes.memory import Lost, Share, ZoneMemory
from analysis.causes.odds import probability
from analysis.circuit_faults import ZONE_ERROR, FaultOdds, FaultStep, fault_odds, ln_likelihood, log_evidence
from analysis.condition import STRONGER_THAN_NEW, Story
from analysis.findings import Cause, Evidence

FAULTS: dict[str, Cause] = {"open element": "open_element", "open circuit": "open_circuit", "lost line": "lost_phase"}
LEAST_LEAK = 0.10
"""Log rise of the heat loss that is worth a message."""

_SUPPLY_PRIOR = 2.0
"""A lasting low supply against several broken circuits before anything is measured, where no single one makes the step
(common practice, no source)."""

_TELLING_AMPS = 0.03
"""Error of the current (log) at which it parts half of a step worth a message from the whole of it."""

URGENT_STEP = -0.51
"""Four tenths of the power gone, or a zone dead: the next firing would stall."""

_REPAIRS = {"elements", "element", "relay", "fuse", "wiring", "supply"}
_SEALS = {"lid", "brickwork"}
_WORTH_KEEPING = 0.85
_SOUND_FIRINGS = 3
_EVEN, _FAVOUR, _MOST_FAVOUR = 2.0, 1.5, 5.0
_OLD, _NEW_EVENT, _LEAST_SHARE = 0.97, 0.7, 0.02
_SAME_STEP = 0.03
_MISREAD_FIRINGS = 3
"""Firings in which a fault's size may have been misread (its own and the next two, as programmes come round): what goes
in the same place after that is gone besides."""

_LEAST_LEFT = 0.4
_ZONE_LEAK_PRIOR, _ZONE_LEAK_SIZES = 0.15, (-0.35, -0.10)


def suspect(case: Case, found: Sequence[Deficit], zones: tuple[ZoneMemory, ...]) -> tuple[list[Suspicion], Lost | None]:
    """Return the rivals for a sudden loss of power or a rise of heat loss, and the loss to remember.

    ``zones`` is the zones' memory with this firing's cooling in it.
    """
    suspicions = _by_volts(case)
    told = losses(case, found)
    leaks = [s for s in case.condition.stories if s.kind == "leak" and s.loss_size and s.loss_size.value > LEAST_LEAK]
    leak, favour = _local(
        case, sum(s.probability * credit_of(case, s, found) for s in leaks), sum(loss.probability for loss in told)
    )
    cools = fast_cooling(case, zones)
    seen = 0.0 if cools is None else probability(cools.log_odds)
    if cools is None or seen < 0.5:
        cools, seen = None, 0.0
    leak, favour = leak + (1.0 - leak) * seen, favour * (1.0 - seen)
    told = [replace(loss, probability=loss.probability * favour) for loss in told]
    now = _lost_now(case, told, found, leak, leaks[0] if leaks else None, cools)
    kept, remembered = _with_memory(now, _standing(case, found, now), case.index)
    if kept is None:
        return suspicions, None
    total = sum(s.probability for s in kept.shares)
    nothing = max(1.0 - total, 0.01)
    size = leaks[0].loss_size if leaks else None
    for share in kept.shares:
        if remembered or share.cause != "heat_leak":
            evidence = _evidence(case, kept, share, None if remembered or not told else told[0], found)
        else:
            evidence = leak_evidence(case, by_balance=bool(leaks) or cools is None, size=size)
            evidence = evidence if cools is None else (*evidence, *fast_cooling_evidence(case, cools))
        suspicions.append(
            Suspicion(
                share.cause,
                log(max(share.probability, 1e-4) / nothing),
                share.zone,
                share.circuit,
                kept.firing,
                kept.started,
                None if share.cause == "heat_leak" else kept.size,
                urgent=share.urgent,
                evidence=evidence,
            )
        )
    return suspicions, kept if total > _WORTH_KEEPING or (remembered and total > 0.5) else None


def _by_volts(case: Case) -> list[Suspicion]:
    """Suspect the supply where the log's own volts fell."""
    drop = mains.volts_drop(case)
    if drop is None or -drop[0] < mains.LEAST_DROP or drop[1] > -3.0:
        return []
    return [Suspicion("low_supply", 3.0, power_step=drop[0], evidence=supply_evidence(case, drop[0], by_volts=True))]


def _lost_now(
    case: Case,
    told: Sequence[Loss],
    found: Sequence[Deficit],
    leak: float,
    story: Story | None,
    cools: FastCooling | None,
) -> Lost | None:
    """Return everything this firing's histories say was lost, power or heat, with its explanations."""
    amps = case.measures.full_current
    # known amps make poor volts a history of their own: those take but half as much from the current
    volts_known = case.measures.supply_volts is not None or (amps is not None and amps.error < _TELLING_AMPS)
    lost = _kept(case, told, found, volts_known=volts_known) if told else None
    shares = list(lost.shares) if lost else []
    if leak > _LEAST_SHARE:
        zone = None if cools is None else case.zone_name(cools.zone)
        same = [s for s in shares if s.cause == "heat_leak"]
        # A leak told by one zone's work and a leak told by the heat balance are one leak.
        joined = leak + sum(s.probability for s in same)
        zone = zone or next((s.zone for s in same), None)
        shares = [s for s in shares if s.cause != "heat_leak"] + [Share("heat_leak", zone, None, min(joined, 0.99))]
    if not shares:
        return None
    shares.sort(key=lambda s: -s.probability)
    level = None if case.condition.level is None else case.condition.level.value
    if lost is None or (story is not None and shares[0].cause == "heat_leak"):
        begun = (story.firing, story.started) if story and story.firing is not None else (case.index, case.started)
        since = lost.size if lost else None
        return Lost(begun[0], begun[1], since, level, tuple(shares))
    return replace(lost, shares=tuple(shares))


def _with_memory(now: Lost | None, before: Lost | None, index: int) -> tuple[Lost | None, bool]:
    """Join what this firing says with what stands; say whether only memory speaks.

    The kind of a fault shows best in its first firings; later ones only confirm that it is still there, until more is
    gone: half a zone's elements, and then the zone.
    """
    total = 0.0 if now is None else sum(s.probability for s in now.shares)
    if before is None or now is None or total < 0.5:
        return (now, False) if before is None else (before, True)
    fresh = now.firing == index and now.firing > before.firing and total > _NEW_EVENT
    if fresh and (before.seen > _MISREAD_FIRINGS or not _same_place(now, before)):
        return now, False
    weight = sum(s.probability for s in before.shares)
    # confirmed once more, it is not less sure than before
    sure = max(total, weight)
    mixed: dict[tuple[Cause, str | None], Share] = {}
    # a leak whose place shows in some firings only is still one leak
    leaky = next((s.zone for lost in (now, before) for s in lost.shares if s.cause == "heat_leak" and s.zone), None)
    old = min(_OLD, before.seen / (before.seen + 1.0))
    for part, lost, whole in ((old, before, weight), (1.0 - old, now, total)):
        for share in lost.shares:
            zone = share.zone or (leaky if share.cause == "heat_leak" else None)
            key = (share.cause, zone)
            more = sure * part * share.probability / whole
            had = mixed.get(key)
            mixed[key] = replace(share, zone=zone, probability=more + (had.probability if had else 0.0))
    shares = sorted((s for s in mixed.values() if s.probability > _LEAST_SHARE), key=lambda s: -s.probability)
    seen = before.seen + 1
    again_told = now.firing > before.firing and now.in_level and before.in_level
    # a second step of the same fault refines its size; the level it must come back from is still the first step's
    size, level = (before.size, before.level) if again_told else (now.size, now.level)
    again = replace(now, firing=before.firing, started=before.started, size=size, level=level)
    return replace(again, shares=tuple(shares), seen=seen), False


def _same_place(now: Lost, before: Lost) -> bool:
    """Whether two losses may be one fault whose size was misread in its first firings: no place tells them apart."""
    one, other = now.shares[0], before.shares[0]
    return one.zone == other.zone and (one.cause == "heat_leak") == (other.cause == "heat_leak")


def _evidence(
    case: Case, kept: Lost, share: Share, loss: Loss | None, found: Sequence[Deficit]
) -> tuple[Evidence, ...]:
    """Return what speaks for one explanation of a loss of power."""
    if loss is None:
        return remembered_evidence(case, kept)
    if share.cause == "heat_leak":
        return (*loss_evidence(case, None, loss.firing, found), *leak_evidence(case, by_balance=True, size=None))
    if share.cause == "low_supply":
        return (*loss_evidence(case, loss.total, loss.firing, found), *supply_evidence(case, kept.size or -0.1))
    best = [o for o in fault_odds(case.steps, loss.total, loss.zones) if FAULTS[o.step.fault.kind] == share.cause]
    return (
        *loss_evidence(case, loss.total, loss.firing, found),
        *match(case, best, loss.total, share.probability),
    )


def _local(case: Case, leak: float, loss: float) -> tuple[float, float]:
    """Return a leak's probability and the factor for a loss of power, given how even the zones' work is.

    A leak sits at one place, so in a kiln of several zones one of them works more; a supply weakens all alike.
    """
    uneven = unevenness(case)
    if len(case.memory.zones) < 2 or leak <= 0.0 or loss <= 0.0:
        return leak, 1.0
    parting = max(z.drift_spreads for z in case.memory.zones)
    # The running drift wanders more than one firing's share does.
    uneven = max(uneven or 0.0, parting - 1.0)
    favour = exp(max(-_MOST_FAVOUR, min(_MOST_FAVOUR, _FAVOUR * (uneven - _EVEN))))
    whole = leak + loss
    weighed = whole * leak * favour / (leak * favour + loss)
    return weighed, (whole - weighed) / loss


def _kept(case: Case, told: Sequence[Loss], found: Sequence[Deficit], *, volts_known: bool) -> Lost:
    """Share the probability that a loss is real among what could have made it, over all histories that tell of one."""
    parts: dict[tuple[Cause, str | None], float] = {}
    circuits: dict[tuple[Cause, str | None], str | None] = {}
    for loss in told:
        if loss.supply:
            parts["low_supply", None] = parts.get(("low_supply", None), 0.0) + loss.probability
            continue
        odds = fault_odds(_candidates(case, loss), loss.total, loss.zones)
        other: Cause = "low_supply" if loss.zone is None else "heat_leak"
        for_other = -50.0
        if loss.zone is not None:
            for_other = _zone_leak_fit(loss) + _cools_faster(case, loss.zone)
        elif loss.total is not None and not volts_known and not loss.fault:
            # a history that assumes one circuit's step tells of that circuit; the supply may be of any size
            for_other = log(_SUPPLY_PRIOR) + _supply_fit(loss)
        broken = probability(log_evidence(case.steps, loss.total, loss.zones) - for_other)
        groups: dict[Cause, list[FaultOdds]] = {}
        for item in odds:
            groups.setdefault(FAULTS[item.step.fault.kind], []).append(item)
        for cause, items in groups.items():
            part = sum(i.probability for i in items)
            key = (cause, _common_zone(items))
            circuits.setdefault(key, _common_circuit(items))
            parts[key] = parts.get(key, 0.0) + loss.probability * broken * part
        key = (other, None if loss.zone is None else case.zone_name(loss.zone))
        parts[key] = parts.get(key, 0.0) + loss.probability * (1.0 - broken)
    main = told[0]
    urgent = _urgent(case, main, found)
    shares = [
        Share(cause, zone, circuits.get((cause, zone)), p, urgent=urgent and cause not in ("low_supply", "heat_leak"))
        for (cause, zone), p in parts.items()
        if p > _LEAST_SHARE
    ]
    if main.total is not None:
        size = main.total.value
    else:
        size = sum(o.probability * o.step.total for o in fault_odds(case.steps, None, main.zones))
    level = None if case.condition.level is None else case.condition.level.value
    ranked = tuple(sorted(shares, key=lambda s: -s.probability))
    return Lost(main.firing, main.started, size, level, ranked, in_level=main.in_level)


def _candidates(case: Case, loss: Loss) -> Sequence[FaultStep]:
    """Return the single faults a history can mean: those of the step it assumes, or all if it left the size open."""
    if not loss.fault:
        return case.steps
    assumed = [float(x) for x in loss.fault.split(",")]
    alike = [
        step
        for step in case.steps
        if max(abs(a - b) for a, b in zip(assumed, step.zones if len(assumed) > 1 else (step.total,), strict=False))
        < _SAME_STEP
    ]
    return alike or case.steps


def _standing(case: Case, found: Sequence[Deficit], now: Lost | None) -> Lost | None:
    """Return the remembered loss if neither a repair nor the evidence of this firing has cleared it.

    What this firing still tells of cannot have cleared.
    """
    lost = case.memory.lost
    if lost is None:
        return None
    mends = _SEALS if lost.shares[0].cause == "heat_leak" else _REPAIRS
    if any(e.what in ("replaced", "repaired") and e.part in mends for e in case.entries):
        return None
    if sum(s.probability for s in case.condition.stories if s.kind == "odd") > 0.5:
        return lost  # a log that is simply odd says nothing of what stood before it
    level = case.condition.level
    still = now is not None and sum(s.probability for s in now.shares) >= 0.5
    if still or (level is not None and level.value > STRONGER_THAN_NEW) or (lost.in_level and level is None):
        return lost
    if lost.size is not None and _excluded(case, lost.size):
        return None
    if lost.in_level and lost.size is not None and lost.level is not None and level is not None:
        if level.value > lost.level - 0.5 * lost.size:
            return None
        return lost
    # Told by the zones alone: cleared once a few full firings show them alike again, or the heat balance full power.
    balance = case.condition.balance.power_per_loss
    if balance is not None and balance.error < 0.04 and abs(balance.value) < 0.08:
        return None
    calm = not found or found[0].log_odds < 0.5
    full = case.firing.peak_c > 500.0
    sound = lost.sound_firings + 1 if calm and full else lost.sound_firings
    return None if sound >= _SOUND_FIRINGS else replace(lost, sound_firings=sound)


def _excluded(case: Case, size: float) -> bool:
    """Whether the kiln's power, as far as this firing itself tells it, excludes that ``size`` (log) is gone."""
    low, slow = case.condition.level_low, case.condition.slow
    told = case.condition.basis not in ("none", "kept pace")
    return told and low is not None and slow is not None and low > min(slow.value, 0.0) + _LEAST_LEFT * size


def _supply_fit(loss: Loss) -> float:
    """Return the log density of the measured step if the supply made it: every zone alike."""
    known = [z for z in loss.zones if z is not None]
    if loss.total is None:
        return -50.0
    size = loss.total.value
    return mains.density(size, loss.total.error) + sum(ln_likelihood(size, z, ZONE_ERROR) for z in known)


def _zone_leak_fit(loss: Loss) -> float:
    """Return the log density of a measured step if heat leaks from one zone, which makes it work as if weaker."""
    size = min((z.value for z in loss.zones if z is not None), default=0.0)
    low, high = _ZONE_LEAK_SIZES
    beyond = max(0.0, low - size, size - high)
    # The whole's step follows from the zone's: it carries no density of its own, nor do the sound zones'.
    others = sum(ln_likelihood(0.0, z, ZONE_ERROR) for z in loss.zones if z is not None and z.value > size)
    whole = 0.0 if loss.total is None else ln_likelihood(loss.total.value, loss.total)
    return log(_ZONE_LEAK_PRIOR / (high - low) / len(loss.zones)) - 0.5 * (beyond / ZONE_ERROR) ** 2 + others + whole


def _cools_faster(case: Case, zone: int) -> float:
    """Return log odds for a leak in a zone from its reading while the kiln cools by itself: a leak cools it more."""
    if zone >= len(case.memory.zones):
        return 0.0
    distance = parting(case, case.memory.zones)[zone].distance(case.firing.peak_c)
    return 0.0 if distance is None else max(-1.0, min(2.0, -0.8 * distance - 0.4))


def _common_zone(items: Sequence[FaultOdds]) -> str | None:
    """Return the zone that carries most of a cause's odds, None if several share them."""
    return _most([(i.step.zone, i.probability) for i in items])


def _common_circuit(items: Sequence[FaultOdds]) -> str | None:
    """Return the circuit that carries most of a cause's odds, None if several share them."""
    return _most([(i.step.circuit, i.probability) for i in items])


def _most(named: Sequence[tuple[str | None, float]]) -> str | None:
    whole = sum(p for _, p in named)
    shares: dict[str | None, float] = {}
    for name, p in named:
        shares[name] = shares.get(name, 0.0) + p
    name, best = max(shares.items(), key=lambda pair: pair[1])
    return name if best > 0.6 * whole else None


def _urgent(case: Case, loss: Loss, found: Sequence[Deficit]) -> bool:
    """Whether the loss should stop the next firing: four tenths of the power, a dead zone, or a stalled firing.

    Where full output itself is a guess from the climb's shape, a firing that reached its peak stops nothing: two kilns
    packed twice as full as ever looked like half the power gone.
    """
    reached = case.measures.output == "none" and case.condition.end == "complete"
    big = loss.total is not None and loss.total.value < URGENT_STEP and not reached
    dead = bool(found) and found[0].dead
    return big or dead or (case.condition.end == "stalled" and exp(loss.total.value if loss.total else -1.0) < 0.75)
