"""Write the sample studio's logs, logbook and truth. Everything here is invented; the same seed gives the same logs.

Run ``python sample_logs/generate.py`` (needs numpy only); ``--out DIR --only juniper-2026-01`` makes a part elsewhere.
"""

import argparse
import json
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

HERE = Path(__file__).resolve().parent
if str(HERE) not in sys.path:
    sys.path.insert(0, str(HERE))

from generator.chamber import Load  # noqa: E402 - the generator lives beside this script, not in a package
from generator.firing import Conditions, Firing, fire  # noqa: E402
from generator.layouts import LAYOUTS, NAMES, ROWS_KEPT_COOLING  # noqa: E402
from generator.season import (  # noqa: E402
    HERON_ELEMENTS_REPLACED,
    JUNIPER_RELAY_FAILS_BEFORE,
    JUNIPER_RELAY_REPLACED,
    LOGBOOK,
    PLANS,
    Plan,
)
from generator.studio import KILNS, PROGRAMMES, TIME_ZONE, SampleKiln  # noqa: E402
from generator.wire import aged_factor, wear_of_firing  # noqa: E402

SEED = 20251004
NEW_SET_SPREAD = 0.012  # how far wires of one set differ as delivered (tolerance is +/-5 %)


def life_used(kiln: SampleKiln, plan: Plan) -> float:
    """Share of the element set's life used before this firing: wear of the earlier firings of the same set."""
    renewed = HERON_ELEMENTS_REPLACED if kiln.id == "heron" and plan.day >= HERON_ELEMENTS_REPLACED else ""
    before = [p for p in PLANS if p.kiln == kiln.id and renewed <= p.day and p.start < plan.start]
    worn = sum(wear_of_firing(p.stop_at_c or PROGRAMMES[p.programme].peak_c) for p in before) / kiln.life_firings
    return worn if renewed else kiln.life_used + worn


def dead_circuits(plan: Plan) -> frozenset[str]:
    """Circuits that do not heat in this firing."""
    failed = plan.kiln == "juniper" and JUNIPER_RELAY_FAILS_BEFORE <= plan.day < JUNIPER_RELAY_REPLACED
    return frozenset({"lower"}) if failed else frozenset()


def simulate(plan: Plan) -> tuple[Firing, dict[str, object]]:
    """Return one firing and the truth about it. Each firing has its own random stream, so parts can be made alone."""
    kiln = KILNS[plan.kiln]
    rng = np.random.default_rng([SEED, PLANS.index(plan)])
    programme = PROGRAMMES[plan.programme]
    used = life_used(kiln, plan)
    set_rng = np.random.default_rng([SEED, len(kiln.id), int(used < kiln.life_used)])
    spread = 1.0 + NEW_SET_SPREAD * set_rng.uniform(-1.0, 1.0, len(kiln.circuits))
    aged = tuple(float(value) for value in aged_factor(used) * spread)
    dead = dead_circuits(plan)
    month = int(plan.start[5:7])
    room_c = 15.0 + 3.0 * float(np.cos((month - 8) / 12.0 * 2.0 * np.pi)) + float(rng.normal(0.0, 1.0))
    until_c, for_h = ROWS_KEPT_COOLING[kiln.id]
    load = Load(plan.ware_kg * float(rng.normal(1.0, 0.03)), plan.furniture_kg, plan.raw)
    conditions = Conditions(
        programme=programme,
        load=load,
        share=kiln.load_share,
        aged=aged,
        dead=dead,
        start_hour=int(plan.start[11:13]) + int(plan.start[14:16]) / 60.0,
        start_c=room_c + float(rng.uniform(0.0, 6.0)),
        room_c=room_c,
        supply_level=kiln.supply_level,
        stop_at_c=plan.stop_at_c,
        log_until_c=until_c,
        log_for_h=for_h,
    )
    firing = fire(kiln.body, kiln.circuits, conditions, rng, sample_s=kiln.sample_s)
    return firing, _truth(kiln, plan, firing, aged, dead, load)


def _truth(
    kiln: SampleKiln, plan: Plan, firing: Firing, aged: tuple[float, ...], dead: frozenset[str], load: Load
) -> dict[str, object]:
    """What really happened, for one line of the truth file. Power ratios are at nameplate volts over as-new power."""
    new_w = np.array([circuit.volts**2 / circuit.ohm for circuit in kiln.circuits])
    alive = np.array([circuit.name not in dead for circuit in kiln.circuits])
    now_w = new_w * alive / np.array(aged)
    zone = np.array([circuit.zone for circuit in kiln.circuits])
    zones = [round(float(now_w[zone == z].sum() / new_w[zone == z].sum()), 4) for z in range(kiln.body.zones)]
    return {
        "kiln": kiln.id,
        "log": f"{kiln.id}/{NAMES[kiln.id].format(day=plan.day)}",
        "started": started_at(plan).astimezone(ZoneInfo("UTC")).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "programme": plan.programme,
        "ended": firing.ended,
        "heating_s": firing.heating_s,
        "peak_c": round(float(firing.zone_c.mean(axis=1).max()), 1),
        "power_ratio": round(float(now_w.sum() / new_w.sum()), 4),
        "zone_power_ratio": zones,
        "resistance_over_new": [round(value, 4) for value in aged],
        "circuits_dead": sorted(dead),
        "supply_over_nominal": round(firing.supply_at_top, 4),
        "load_kg": round(load.ware_kg + load.furniture_kg, 1),
        "energy_kwh": round(firing.energy_kwh, 2),
        "remark": plan.remark,
    }


def started_at(plan: Plan) -> datetime:
    """The start as an aware local time."""
    return datetime.strptime(plan.start, "%Y-%m-%d %H:%M").replace(tzinfo=ZoneInfo(TIME_ZONE))


def write(out: Path, only: str) -> Iterator[str]:
    """Write logs, logbook and truth under ``out``; yield each log's name as it is written."""
    truth = []
    for plan in PLANS:
        name = NAMES[plan.kiln].format(day=plan.day)
        if not name.startswith(only):
            continue
        firing, told = simulate(plan)
        truth.append(told)
        target = out / "logs" / plan.kiln / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(LAYOUTS[plan.kiln](firing, started_at(plan), plan.programme))
        yield f"{plan.kiln}/{name}"
    if not only:
        logbook = "".join(json.dumps(entry) + "\n" for entry in LOGBOOK)
        (out / "logbook.jsonl").write_text(logbook, encoding="utf-8", newline="\n")
        head = "Invented data: what really happened in each sample firing (see README.md beside this file)."
        rows = ",\n  ".join(json.dumps(row) for row in truth)
        text = f'{{"about": {json.dumps(head)},\n "firings": [\n  {rows}\n ]}}\n'
        (out / "truth.json").write_text(text, encoding="utf-8", newline="\n")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write into (default: beside this script)")
    parser.add_argument("--only", default="", metavar="START", help="only logs whose names start so")
    arguments = parser.parse_args()
    for name in write(arguments.out, arguments.only):
        print(name)


if __name__ == "__main__":
    main()
