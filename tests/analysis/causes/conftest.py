"""A case to weigh: one firing of a three-zone kiln of which any fact can be set."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analysis.causes.case import Case
from analysis.causes.memory import CausesMemory
from analysis.condition import Balance, Condition, Story
from analysis.firing import Firing, Shape
from analysis.measures import Estimate, Measures, Trace
from analysis.reading import FiringLog
from analysis.signs import Signs
from config.kiln import Circuit, Kiln

START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)

THREE_ZONES = Kiln(
    "heron",
    volts=240.0,
    supply="single-phase",
    rated_kw=12.0,
    thermocouple="K",
    zones=("top", "middle", "bottom"),
    circuits=(
        Circuit("c1", "top", 2, "parallel", (27.4,)),
        Circuit("c2", "middle", 2, "parallel", (27.4,)),
        Circuit("c3", "bottom", 2, "parallel", (27.4,)),
    ),
)


@pytest.fixture
def make_case():
    """Return a function that makes a `Case`; every part of it can be changed by keyword."""

    def make(
        *,
        kiln=THREE_ZONES,
        index=20,
        memory=None,
        entries=(),
        level=0.0,
        level_error=0.01,
        slow=None,
        drift=(-0.0005, 0.0005),
        stories=(),
        end="complete",
        short_c=0.0,
        peak_c=1222.0,
        basis="duty",
        balance=None,
        signs=None,
        complete_tail=True,
        new_programme=False,
        **measures,
    ):
        zones = len(kiln.zones) or 1
        started = START + timedelta(days=3 * index)
        log = FiringLog(
            np.array([0.0, 60.0]),
            np.full((2, zones), 20.0),
            None,
            None,
            kiln.zones,
            started=started,
            complete_tail=complete_tail,
        )
        firing = Firing(
            started, 36000.0, 30000.0, end, peak_c, peak_c, short_c, "glaze", Shape(peak_c, (1.0, 4.0, 2.0))
        )
        signs = signs or Signs(
            swings=(2,) * zones,
            behind_zones_c=(1.0,) * zones,
            spikes=(0,) * zones,
            dropouts=(0,) * zones,
        )
        facts = {
            "trace": Trace((), ()),
            "duration_s": 36000.0,
            "output": "duty",
            "zone_full_share": (0.1,) * zones,
            "signs": signs,
        } | measures
        told = stories or (Story("none", 1.0),)
        condition = Condition(
            index,
            "first firings",
            8,
            basis,
            Estimate(level, level_error),
            Estimate(*drift),
            (None,) * zones if zones > 1 else (),
            Estimate(level, 0.02),
            None,
            balance or Balance(power_per_loss=Estimate(0.0, 0.01)),
            None,
            end=end,
            short_c=short_c,
            stories=told,
            slow=Estimate(level if slow is None else slow, level_error),
            new_programme=new_programme,
            programme="glaze",
        )
        taken = Measures(peak_c=peak_c, sample_s=30.0, **facts)
        return Case(kiln, log, firing, taken, signs, condition, memory or CausesMemory(), tuple(entries))

    return make


@pytest.fixture
def run():
    """Return a function that weighs cases in a row, memory handed on, and returns the last findings."""
    from analysis.causes.diagnosis import diagnose

    def through(*cases):
        memory, findings = cases[0].memory, ()
        for case in cases:
            memory, findings = diagnose(replace(case, memory=memory))
        return memory, findings

    return through
