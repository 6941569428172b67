"""Scores of assessment records against a fleet's truth: power, detection, causes, false alarms, outlook."""

from collections import Counter, OrderedDict
from statistics import mean, median

from accuracy_fleet import POWER, Fleet, clean, due, spoils, true_power

Records = dict[str, list[dict | None]]  # by kiln, one record (or None) for each firing in order

CODES = {
    "element_ageing": {"AGEING"},
    "open_element": {"ELEMENT_OPEN"},
    "open_circuit": {"CIRCUIT_OPEN", "RELAY_OPEN"},
    "welded_contact": {"RELAY_WELDED"},
    "lost_phase": {"PHASE_LOST"},
    "low_supply": {"LOW_SUPPLY"},
    "thermocouple_drift": {"TC_DRIFT"},
    "thermocouple_fault": {"TC_INTERMITTENT"},
    "heat_leak": {"HEAT_LEAK"},
    "loose_connection": {"LOOSE_TERMINAL"},
    "heavy_load": {"OVERLOAD"},
}
FAMILIES = (
    {"ELEMENT_OPEN", "CIRCUIT_OPEN", "RELAY_OPEN", "PHASE_LOST", "LOOSE_TERMINAL"},
    {"LOW_SUPPLY", "PHASE_LOST"},
    {"TC_DRIFT", "TC_INTERMITTENT"},
    {"AGEING"},
    {"HEAT_LEAK"},
    {"RELAY_WELDED"},
    {"OVERLOAD"},
)
ALARM = ("warning", "urgent")
CREDITED = 2
LINGER = 3


def share(hits: list[bool]) -> float | None:
    """Return the share of True, None of none."""
    return round(sum(hits) / len(hits), 3) if hits else None


def percentile(values: list[float], q: float) -> float | None:
    """Return the q-th percentile with linear interpolation."""
    if not values:
        return None
    ranked = sorted(values)
    at = (len(ranked) - 1) * q / 100
    low = int(at)
    return ranked[low] + (ranked[min(low + 1, len(ranked) - 1)] - ranked[low]) * (at - low)


def codes(finding: dict) -> set[str]:
    """Return the truth codes that make a finding right."""
    return CODES.get(finding["cause"], set())


def akin(a: str, b: str) -> bool:
    """Whether two truth codes share an inspection."""
    return any(a in family and b in family for family in FAMILIES)


def findings(record: dict | None, severities: tuple[str, ...] = ALARM, most: int | None = None) -> list[dict]:
    """Return a record's findings of some severities, most probable first."""
    found = [f for f in (record or {}).get("findings") or [] if f["severity"] in severities]
    found.sort(key=lambda f: -(f.get("probability") or 0.0))
    return found[:most]


def power(fleet: Fleet, records: Records) -> dict:
    """Errors of the power ratio and cover of its interval, overall and by cut."""
    rows = []
    for kiln, firings in fleet.truth.items():
        truths = true_power(firings, records[kiln])
        rows += [
            (fleet.facts[kiln], f, r, t)
            for f, r, t in zip(firings, records[kiln], truths, strict=True)
            if r is not None
        ]
    cuts = {
        "all": lambda k, f, t: True,
        "complete firings": lambda k, f, t: f["end"] == "programme complete",
        "no material fault": lambda k, f, t: clean(f),
        "truth below 0.90": lambda k, f, t: f[POWER] < 0.90,
        "truth 0.90 to 0.96": lambda k, f, t: 0.90 <= f[POWER] < 0.96,
        "full output near peak": lambda k, f, t: (f["near_peak_full_any_share"] or 0) > 0.3,
        "never full near peak": lambda k, f, t: f["near_peak_s"] > 0 and (f["near_peak_full_any_share"] or 0) <= 0.02,
        "bisque": lambda k, f, t: f["kind"] == "bisque",
        "glaze and other": lambda k, f, t: f["kind"] != "bisque",
        "output logged": lambda k, f, t: k["output_logged"],
        "output not logged": lambda k, f, t: not k["output_logged"],
        "one zone": lambda k, f, t: k["zones"] == 1,
        "several zones": lambda k, f, t: k["zones"] > 1,
    }
    out = {}
    for name, holds in cuts.items():
        part = [(r, t) for k, f, r, t in rows if holds(k, f, t)]
        given = [(r, t) for r, t in part if r.get("power_ratio") is not None]
        miss = [r["power_ratio"] - t for r, t in given]
        within = [r["power_low"] <= t <= r["power_high"] for r, t in given if r.get("power_high") is not None]
        bounds = [
            r["power_low"] <= t for r, t in part if r.get("power_ratio") is None and r.get("power_low") is not None
        ]
        out[name] = {
            "firings": len(part),
            "given": round(len(given) / max(1, len(part)), 3),
            "given or bounded": round((len(given) + len(bounds)) / max(1, len(part)), 3),
            "median": round(median(map(abs, miss)), 4) if miss else None,
            "p95": round(percentile([abs(m) for m in miss], 95), 4) if miss else None,
            "bias": round(mean(miss), 4) if miss else None,
            "cover": share(within),
            "bounds hold": share(bounds),
        }
    return out


def _episodes(firings: list[dict]) -> OrderedDict:
    found: OrderedDict = OrderedDict()
    for firing in firings:
        for fault in firing["faults"]:
            if due(fault):
                key = (fault["code"], fault["onset_index"], fault.get("circuit"), fault.get("zone"))
                found.setdefault(key, []).append(firing["index"])
    return found


def detection(fleet: Fleet, records: Records) -> dict:
    """By fault: share of episodes found exactly and by family, delay in firings from when the fault was due."""
    found: dict[str, list[dict]] = {}
    for kiln, firings in fleet.truth.items():
        for (code, _, _, zone), at in _episodes(firings).items():
            need = ("info", *ALARM) if code == "OVERLOAD" else ALARM
            hit = _first_hits(records[kiln], code, at, need)
            zoned = zone is not None and fleet.facts[kiln]["zones"] > 1
            hit["zone right"] = (
                str(hit["zone"]) == str(zone)
                if zoned and hit["exact"] is not None and hit["zone"] is not None
                else None
            )
            complete = [i for i in range(at[0], at[-1] + 1) if firings[i]["end"] != "operator stop"]
            hit["first complete"] = complete[0] - at[0] if complete else None
            hit.update(kiln=kiln, code=code, start=at[0], end=at[-1])
            found.setdefault(code, []).append(hit)
    out = {}
    for code, hits in sorted(found.items()):
        exact = [h["exact"] for h in hits if h["exact"] is not None]
        out[code] = {
            "episodes": len(hits),
            "exact": share([h["exact"] is not None for h in hits]),
            "exact within 3": share([h["exact"] is not None and h["exact"] <= 3 for h in hits]),
            "delay median": median(exact) if exact else None,
            "delay p90": percentile(exact, 90),
            "family": share([h["family"] is not None for h in hits]),
            "family within 3": share([h["family"] is not None and h["family"] <= 3 for h in hits]),
            "family in first complete firing": share(
                [
                    h["family"] is not None and h["family"] <= h["first complete"]
                    for h in hits
                    if h["first complete"] is not None
                ]
            ),
            "zone right": share([h["zone right"] for h in hits if h["zone right"] is not None]),
            "missed": [f"{h['kiln']}:{h['start']}-{h['end']}" for h in hits if h["exact"] is None],
        }
    return out


def _first_hits(records: list[dict | None], code: str, at: list[int], need: tuple[str, ...]) -> dict:
    """Return the delays of the first exact and family findings; an alarm that stood before is no detection."""
    out: dict = {"exact": None, "family": None, "zone": None}
    if code != "AGEING" and at[0] > 0:
        stood = findings(records[at[0] - 1], need, CREDITED)
        if any(code in codes(f) for f in stood):
            return out
    for i in range(at[0], at[-1] + 1):
        for finding in findings(records[i], need, CREDITED):
            said = codes(finding)
            if code in said and out["exact"] is None:
                out.update(exact=i - at[0], zone=finding.get("zone"))
            if out["family"] is None and (code in said or any(akin(code, c) for c in said)):
                out["family"] = i - at[0]
    return out


def top_cause(fleet: Fleet, records: Records) -> dict:
    """Of all firings with a due fault, how often the most probable finding names it, or one of its family.

    The family also of those with any finding: how often what is said is wrong, silence not counted.
    """
    right = family = told = total = 0
    confusion: dict[str, Counter] = {}
    for kiln, firings in fleet.truth.items():
        for firing, record in zip(firings, records[kiln], strict=True):
            active = [f for f in firing["faults"] if due(f)]
            active = [f for f in active if f["code"] != "OVERLOAD"] or active
            if not active:
                continue
            total += 1
            main = max(active, key=lambda f: f.get("power_loss", f.get("loss_vs_reference", 0.12)))
            need = ("info", *ALARM) if main["code"] == "OVERLOAD" else ALARM
            best = findings(record, need, 1)
            told += bool(best)
            said = codes(best[0]) if best else set()
            hit = [f["code"] for f in active if f["code"] in said]
            right += bool(hit)
            family += bool(hit) or any(akin(f["code"], c) for f in active for c in said)
            row = confusion.setdefault(hit[0] if hit else main["code"], Counter())
            row[best[0]["cause"] if best else "(none)"] += 1
    return {
        "faulty firings": total,
        "right": round(right / max(1, total), 3),
        "family": round(family / max(1, total), 3),
        "family of told": round(family / max(1, told), 3),
        "confusion": {k: dict(v.most_common()) for k, v in sorted(confusion.items())},
    }


def false_alarms(fleet: Fleet, records: Records) -> dict:
    """Alarms on clean firings, newly raised ones, and healthy kilns never alarmed."""
    count: Counter = Counter()
    causes: Counter = Counter()
    where = []
    healthy = [k for k, v in fleet.truth.items() if all(clean(f) for f in v)]
    quiet = 0
    for kiln, firings in fleet.truth.items():
        before, ever, last_fault = False, False, -(10**6)
        for firing, record in zip(firings, records[kiln], strict=True):
            alarms = findings(record)
            if not clean(firing):
                if any(spoils(f) and f["code"] != "OVERLOAD" for f in firing["faults"]):
                    last_fault, before = firing["index"], bool(alarms)
                    continue
                alarms = [a for a in alarms if "OVERLOAD" not in codes(a)]
            active = {f["code"] for f in firing["faults"] if f["code"] != "AGEING" or f["loss_vs_reference"] >= 0.02}
            wrong = [a for a in alarms if not active & codes(a)]
            if firing["index"] - last_fault <= LINGER:
                count["lingering"] += bool(wrong)
                before = bool(wrong)
                continue
            count["clean"] += 1
            if wrong:
                ever = True
                count["false"] += 1
                count["urgent"] += any(a["severity"] == "urgent" for a in wrong)
                causes[wrong[0]["cause"]] += 1
                if not before:
                    count["new"] += 1
                    where.append(f"{kiln}:{firing['index']} {wrong[0]['cause']}")
            before = bool(wrong)
        quiet += kiln in healthy and not ever
    per = 1000.0 / max(1, count["clean"])
    return {
        "clean firings": count["clean"],
        "false per 1000": round(per * count["false"], 2),
        "new per 1000": round(per * count["new"], 2),
        "urgent per 1000": round(per * count["urgent"], 2),
        "left over after a repair": count["lingering"],
        "causes": dict(causes.most_common()),
        "where": where,
        "healthy kilns": len(healthy),
        "healthy kilns never alarmed": round(quiet / max(1, len(healthy)), 3),
    }


def outlook(fleet: Fleet, records: Records) -> dict:
    """How often the 80 % interval of firings left holds, told 10 to 40 firings ahead of the true crossing of 0.90."""
    within, miss = [], []
    for kiln, firings in fleet.truth.items():
        lost = [next((f["loss_vs_reference"] for f in x["faults"] if f["code"] == "AGEING"), None) for x in firings]
        for i, record in enumerate(records[kiln]):
            said = (record or {}).get("outlook") or {}
            if said.get("low") is None or lost[i] is None or record.get("reference") == "after repair":
                continue
            left = None
            for j in range(i, len(lost)):
                if lost[j] is None or lost[j] < lost[i] - 0.03:
                    break  # new elements before the threshold
                if lost[j] >= 1.0 - said.get("threshold", 0.9):
                    left = j - i
                    break
            if left is None or not 10 <= left <= 40:
                continue
            within.append(said["low"] <= left and (said.get("high") is None or left <= said["high"]))
            if said.get("firings_left") is not None:
                miss.append(abs(said["firings_left"] - left))
    return {"told": len(within), "interval holds": share(within), "median miss": median(miss) if miss else None}


def score(fleet: Fleet, records: Records) -> dict:
    """Return all scores of one set of records."""
    return {
        "power": power(fleet, records),
        "detection": detection(fleet, records),
        "top cause": top_cause(fleet, records),
        "false alarms": false_alarms(fleet, records),
        "outlook": outlook(fleet, records),
    }
