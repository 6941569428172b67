"""Made-up histories of the studio's three kilns: one ageing, one that lost a circuit, one healthy.

Invented data: no real kiln fired like this. Numbers are plausible, so that pages can be looked at.
"""

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.assessment import Assessment, ZonePower
from analysis.findings import Climb, Evidence, Finding, Outlook, PowerRatio
from analysis.measures import BandClimb, Estimate, Measures, Trace
from config.kiln import Circuit, Kiln
from config.logbook import LogbookEntry
from daemon.report.history import KilnHistory, LeftOut, OpenAlert, Studio

START = datetime(2026, 1, 5, 8, 10, tzinfo=UTC)
TIDEWRACK = Studio("Tidewrack Clay Studio", "Europe/Dublin", 0.34, "EUR", "C")
PAIR = {"elements": 2, "wiring": "parallel", "element_ohm": (27.4, 27.4)}
JUNIPER = Kiln(
    id="juniper",
    name="Juniper",
    model="TL-185 front loader",
    serial="0417-22",
    volts=240.0,
    supply="single-phase",
    rated_kw=12.6,
    volume_l=185,
    max_temp_c=1290,
    thermocouple="K",
    zones=("top", "middle", "bottom"),
    element_price=410.0,
    time_zone="Europe/Dublin",
    circuits=tuple(Circuit(name=z, zone=z, **PAIR) for z in ("top", "middle", "bottom")),
)
HERON = replace(
    JUNIPER,
    id="heron",
    name="Heron",
    model="TL-300 delta",
    serial="0533-07",
    volts=400.0,
    supply="three-phase delta",
    rated_kw=22.5,
    element_price=None,
    circuits=tuple(
        Circuit(name=z, zone=z, elements=2, wiring="parallel", element_ohm=(41.0, 41.0), line=line)
        for z, line in (("top", "L1-L2"), ("middle", "L2-L3"), ("bottom", "L3-L1"))
    ),
)
THRIFT = Kiln(id="thrift", name="Thrift", zones=("chamber",), time_zone="Europe/Dublin")


@dataclass(frozen=True, slots=True)
class Fired:
    """A firing as the store would keep it."""

    id: int
    kiln: str
    index: int
    logs: tuple[str, ...]
    assessment: Assessment


def trace(power: float, peak: float, *, zones_apart: float = 0.0) -> tuple[Trace, float]:
    """Return an invented firing that slows near its peak when power is low."""
    t, c, out = [0.0], [18.0], []
    dt, hours = 240.0, 0.0
    while c[-1] < peak and hours < 16:
        full = 420.0 * power * (1 - 0.00053 * c[-1] / power)
        wanted = 100.0 if c[-1] < 200 else 160.0 if c[-1] < peak - 120 else 100.0
        out.append(min(1.0, wanted / max(full, 1.0)))
        c.append(c[-1] + min(full, wanted) * dt / 3600)
        hours += dt / 3600
        t.append(hours * 3600)
    while c[-1] > 700:
        out.append(0.0)
        c.append(c[-1] - 230 * (c[-1] / 1220) ** 2 * dt / 3600)
        hours += dt / 3600
        t.append(hours * 3600)
    out.append(0.0)
    keep = slice(None, None, max(1, len(t) // 250))
    set_point = tuple(min(peak, 18 + 155 * x / 3600) for x in t[keep])
    return Trace(tuple(t[keep]), tuple(c[keep]), set_point, tuple(out[keep])), hours


def firing(kiln: Kiln, index: int, power: float, rng: np.random.Generator, **changes) -> Fired:
    """Return one invented firing with its assessment."""
    glaze = index % 3 != 0
    peak = 1222.0 if glaze else 1063.0
    drawn, hours = trace(power, peak)
    own = power + float(rng.normal(0, 0.012))
    shown = PowerRatio(own, own - 0.025, own + 0.025, "full-output climb")
    if not glaze and index % 2:
        shown = PowerRatio(None, max(0.0, power - 0.06), None, "kept pace")
    bands = tuple(
        BandClimb(at, Estimate(max(2.0, 420.0 * own * (1 - 0.00053 * at / own)), 3.0), 0.9)
        for at in range(925, int(peak), 25)
        if at > 700
    )
    said = Assessment(
        kiln=kiln.id,
        index=index,
        started=START + timedelta(days=3.4 * index),
        programme="glaze 1222" if glaze else "bisque 1063",
        end="complete",
        measures=Measures(
            duration_s=hours * 3600,
            peak_c=peak - 1,
            sample_s=60,
            trace=drawn,
            bands=bands,
            hold_duty=min(1.0, 0.58 / power),
            mean_duty=min(0.98, 0.46 / power),
            zone_share=(0.31, 0.34, 0.35),
            zone_spread_c=4.0,
            energy_kwh=(62.0 if glaze else 44.0) / power**0.7 + float(rng.normal(0, 0.6)),
        ),
        power=PowerRatio(power, power - 0.02, power + 0.02, "full-output climb"),
        firing_power=shown,
        reference="nameplate",
        zones=tuple(
            ZonePower(z, PowerRatio(power + d, power + d - 0.03, power + d + 0.03, "duty"))
            for z, d in zip(kiln.zones, (-0.015, 0.0, 0.01), strict=False)
        ),
        climb=Climb(100 * power, 96 * power, 104 * power, 1122, 1222),
        cone="6" if glaze else "04",
    )
    return Fired(index + 1, kiln.id, index, (f"{kiln.id}/{said.started:%Y-%m-%d}.csv",), replace(said, **changes))


def ageing() -> KilnHistory:
    """Juniper: a new set after firing 12, then worn to 87 % by firing 60."""
    rng = np.random.default_rng(7)
    fired = []
    for i in range(60):
        power = 0.93 - 0.002 * i if i < 12 else 1.0 - 0.13 * ((i - 12) / 47) ** 1.3
        fired.append(firing(JUNIPER, i, power, rng))
    worn = Finding(
        "element_ageing",
        "warning",
        0.87,
        since=START + timedelta(days=150),
        since_firing=44,
        evidence=(
            Evidence("Power fell by 0.3 % a firing over the last 40 firings, without a step.", True, 1.4),
            Evidence(
                "The last {dc:100} before {c:1222} took 96 minutes; after the last new set they took 63.", True, 1.1
            ),
            Evidence("All three zones lost alike, within 3 %.", True, 0.6),
            Evidence("The supply's volts are not in the log: a sag of 3 % would explain half of it.", False, -0.4),
        ),
        rivals=(("low_supply", 0.09), ("heat_leak", 0.03)),
    )
    last = fired[-1]
    outlook = Outlook(0.85, 14.0, 9.0, 24.0, 31.0, None, -0.0035)
    fired[-1] = replace(
        last,
        assessment=replace(
            last.assessment,
            findings=(worn,),
            outlook=outlook,
            problems=("2 repeated rows dropped at 03:12", "supply volts not logged"),
            missing=("volts in the log: would separate a weak supply from worn elements",),
        ),
    )
    book = (
        LogbookEntry("juniper", START + timedelta(days=39), "replaced", "elements", note="full set", id="a1"),
        LogbookEntry("juniper", START + timedelta(days=120), "replaced", "thermocouple", zone="top", id="a2"),
        LogbookEntry(
            "juniper", START + timedelta(days=199), "measured", quantity="ohm", value=15.4, where="circuit top", id="a3"
        ),
        LogbookEntry(
            "juniper",
            START + timedelta(days=199),
            "measured",
            quantity="ohm",
            value=15.6,
            where="circuit bottom",
            id="a4",
        ),
        LogbookEntry("juniper", START + timedelta(days=160), "note", note="very full bisque", id="a5"),
    )
    alerts = (OpenAlert("JUN-3F2A", "Worn elements: plan a visit", START + timedelta(days=150)),)
    kiln = replace(JUNIPER, replace_at_power=0.85)
    return KilnHistory(kiln, fired, book, TIDEWRACK, alerts, (LeftOut("juniper/readme.pdf", "no text"),))


def lost_circuit() -> KilnHistory:
    """Heron: healthy, then one element of the top pair opens at firing 22."""
    rng = np.random.default_rng(3)
    fired = [firing(HERON, i, 0.985 - 0.0005 * i if i < 21 else 0.82, rng) for i in range(23)]
    broken = Finding(
        "open_element",
        "urgent",
        0.74,
        zone="top",
        circuit="top",
        since=START + timedelta(days=3.4 * 21),
        since_firing=21,
        power_step=-0.16,
        evidence=(
            Evidence("Power fell by 16 % between two firings; one element of six carries 17 %.", True, 2.0),
            Evidence("Zone top lags by {dc:38} at {c:1100}, the others keep up.", True, 1.2),
            Evidence("The step is a little smaller than one element's share.", False, -0.1),
        ),
        rivals=(("open_circuit", 0.16), ("loose_connection", 0.06)),
    )
    for n in (21, 22):
        zones = (
            ZonePower("top", PowerRatio(0.52, 0.46, 0.58, "duty")),
            ZonePower("middle", PowerRatio(0.98, 0.95, 1.01, "duty")),
            ZonePower("bottom", PowerRatio(0.975, 0.945, 1.005, "duty")),
        )
        fired[n] = replace(fired[n], assessment=replace(fired[n].assessment, findings=(broken,), zones=zones))
    return KilnHistory(HERON, fired, (), TIDEWRACK)


def healthy() -> KilnHistory:
    """Thrift: nothing but its id in the register, no output logged, always kept pace."""
    rng = np.random.default_rng(5)
    fired = []
    for i in range(9):
        one = firing(THRIFT, i, 0.99, rng)
        bound = PowerRatio(None, 0.93, None, "kept pace")
        said = replace(
            one.assessment,
            power=bound,
            firing_power=bound,
            reference="first firings",
            zones=(),
            climb=None,
            measures=replace(
                one.assessment.measures, energy_kwh=None, hold_duty=None, mean_duty=None, zone_share=(), bands=()
            ),
            missing=("rated_kw: would give kWh and money",),
        )
        fired.append(replace(one, assessment=said))
    return KilnHistory(THRIFT, fired, (), replace(TIDEWRACK, energy_price=None))


def long_history(n: int = 1000) -> KilnHistory:
    """Juniper with very many firings."""
    rng = np.random.default_rng(1)
    fired = [firing(JUNIPER, i, 1.0 - 0.12 * math.fmod(i, 150) / 150, rng) for i in range(n)]
    sets = tuple(
        LogbookEntry("juniper", START + timedelta(days=3.4 * i - 1), "replaced", "elements", id=f"s{i}")
        for i in range(150, n, 150)
    )
    return KilnHistory(JUNIPER, fired, sets, TIDEWRACK)


@pytest.fixture(scope="session")
def juniper() -> KilnHistory:
    return ageing()


@pytest.fixture(scope="session")
def heron() -> KilnHistory:
    return lost_circuit()


@pytest.fixture(scope="session")
def thrift() -> KilnHistory:
    return healthy()


@pytest.fixture(scope="session")
def veteran() -> KilnHistory:
    return long_history()
