"""A fleet with known truth on disk: what a studio would know, and what is only for scoring.

Layout: ``given/kilns.json`` and ``given/service.jsonl`` (register and logbook), ``logs/<kiln>/*``, and
``truth/kilns.json`` and ``truth/firings.jsonl``.
"""

import json
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

from config.kiln import Circuit, Kiln, LogHints
from config.logbook import LogbookEntry

AGEING_DUE = 0.08  # ageing is due for detection from this power loss against the reference
AGEING_CLEAN = 0.04  # and below this a firing counts as clean
POWER = "power_ratio_nominal_v_vs_first"

_ZONES = {
    ("us", -5): "America/New_York",
    ("us", -6): "America/Chicago",
    ("us", -7): "America/Denver",
    ("us", -8): "America/Los_Angeles",
    ("eu", 0): "Europe/London",
    ("eu", 1): "Europe/Berlin",
    ("eu", 2): "Europe/Helsinki",
}
_PARTS = {
    "elements_replaced_all": "elements",
    "element_replaced_one": "element",
    "relay_replaced": "relay",
    "thermocouple_replaced": "thermocouple",
    "wiring_repaired": "wiring",
    "brickwork_repaired": "brickwork",
    "fuse_replaced": "fuse",
    "supply_restored": "supply",
}


@dataclass(frozen=True)
class Fleet:
    """Register, logbook, logs and truth of a fleet, by kiln."""

    kilns: dict[str, Kiln]
    entries: dict[str, list[LogbookEntry]]
    logs: dict[str, list[Path]]
    truth: dict[str, list[dict]]
    facts: dict[str, dict]


def load(folder: Path) -> Fleet:
    """Read a fleet folder; firings of a kiln in the order of their index."""
    given = json.loads((folder / "given" / "kilns.json").read_text(encoding="utf-8"))
    kilns = {k["id"]: _kiln(k) for k in given}
    entries = defaultdict(list)
    for line in (folder / "given" / "service.jsonl").read_text(encoding="utf-8").splitlines():
        note = json.loads(line)
        entries[note["kiln"]].append(_entry(note, kilns[note["kiln"]]))
    truth = defaultdict(list)
    for line in (folder / "truth" / "firings.jsonl").read_text(encoding="utf-8").splitlines():
        firing = json.loads(line)
        truth[firing["kiln"]].append(firing)
    logs = {}
    for kiln, firings in truth.items():
        firings.sort(key=lambda f: f["index"])
        logs[kiln] = [folder / "logs" / f["log"] for f in firings]
    facts = {k["id"]: k for k in json.loads((folder / "truth" / "kilns.json").read_text(encoding="utf-8"))}
    return Fleet(kilns, {k: sorted(v, key=lambda e: e.at) for k, v in entries.items()}, logs, dict(truth), facts)


def _zone(k: dict) -> str:
    hours = k["utc_offset_h"]
    fixed = "Etc/GMT" if not hours else f"Etc/GMT{-hours:+d}"
    return _ZONES.get((k.get("dst_rule"), hours), fixed)


def _kiln(k: dict) -> Kiln:
    supply = "three-phase wye" if "star point not connected" in k["supply"] else k["supply"]
    pairs = ("L1-L2", "L2-L3", "L3-L1") if "delta" in supply else ("L1-N", "L2-N", "L3-N")
    circuits = tuple(
        Circuit(
            str(c["circuit"]),
            str(c["zone"]),
            c["elements"],
            c["connection"],
            tuple(round(o, 1) for o in c["ohms_element_new"]),
            None if c["phase"] is None else pairs[c["phase"] - 1],
        )
        for c in k["circuits"]
    )
    return Kiln(
        k["id"],
        volts=k["volts"],
        supply=supply,
        rated_kw=k["rated_kw"],
        volume_l=k["volume_l"],
        thermocouple=k["thermocouple"],
        zones=tuple(str(z + 1) for z in range(k["zones"])),
        time_zone=_zone(k),
        log=LogHints(temperature_unit=k["units"]),
        circuits=circuits,
    )


def _entry(note: dict, kiln: Kiln) -> LogbookEntry:
    local = datetime.fromisoformat(note["date"]).replace(tzinfo=ZoneInfo(kiln.time_zone or "UTC"))
    part = _PARTS.get(note["type"])
    what = "note" if part is None else "replaced" if "replaced" in note["type"] else "repaired"
    zone, circuit = note.get("zone"), note.get("circuit")
    return LogbookEntry(
        note["kiln"],
        local.astimezone(UTC),
        what,
        part,
        None if zone is None else str(zone),
        None if circuit is None else str(circuit),
        note.get("note", ""),
    )


def due(fault: dict) -> bool:
    """Whether a fault is strong enough in this firing to expect a finding."""
    return fault["loss_vs_reference"] >= AGEING_DUE if fault["code"] == "AGEING" else fault["material"]


def spoils(fault: dict) -> bool:
    """Whether a fault is strong enough for the firing not to count as clean."""
    return fault["loss_vs_reference"] >= AGEING_CLEAN if fault["code"] == "AGEING" else fault["material"]


def clean(firing: dict) -> bool:
    """Whether nothing was materially wrong with the kiln in this firing."""
    return not any(spoils(f) for f in firing["faults"])


def true_power(firings: list[dict], records: list[dict | None], key: str = POWER) -> list[float]:
    """Return the true power ratio each record should be compared with, in order.

    A record judged ``after repair`` is compared with the truth over the median of its first five such firings.
    """
    raw = key.removesuffix("_vs_first")
    out, run = [], []
    for firing, record in zip(firings, records, strict=True):
        after = record is not None and record.get("reference") == "after repair"
        if record is not None and not after:
            run = []
        if not after:
            out.append(firing[key])
            continue
        run.append(len(out))
        out.append(firing[raw])
        if len(run) == 1:
            ahead = [
                f[raw]
                for f, r in zip(firings[run[0] :], records[run[0] :], strict=True)
                if r is not None and r.get("reference") == "after repair"
            ]
            base = median(ahead[:5])
        out[-1] = firing[raw] / base
    return out
