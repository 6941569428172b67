"""A made-up studio with a real database, and firings judged as a test wants them."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from analysis.assessment import Assessment
from analysis.findings import Evidence, Finding, Outlook, PowerRatio
from analysis.measures import Measures, Trace
from config.settings import Settings, load
from daemon.store.database import open_store

START = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


@dataclass
class Judged:
    index: int
    assessment: Assessment


def make_finding(cause: Any = "open_circuit", severity: Any = "urgent", **how: Any) -> Finding:
    text = "The climb near {c:1200} fell from {dc:110} an hour to {dc:60} an hour within one firing"
    usual: dict[str, Any] = {
        "probability": 0.97,
        "since": START,
        "evidence": (Evidence(text, supports=True, weight=2),),
    }
    return Finding(cause, severity, **{**usual, **how})


def make_judged(index: int, *findings: Finding, power: float = 0.66, **how: Any) -> Judged:
    ratio = PowerRatio(power, power - 0.03, power + 0.04, "duty")
    usual: dict[str, Any] = {"end": "complete", "outlook": Outlook(0.9, 14, 9, 24)}
    assessment = Assessment(
        kiln="juniper",
        index=index,
        started=START + index * timedelta(days=2),
        programme="glaze 1222",
        measures=Measures(34000.0, 1222.0, 60.0, Trace((), ())),
        power=ratio,
        firing_power=ratio,
        reference="nameplate",
        findings=findings,
        **{**usual, **how},
    )
    return Judged(index, assessment)


@pytest.fixture
def finding() -> Callable[..., Finding]:
    return make_finding


@pytest.fixture
def judged() -> Callable[..., Judged]:
    return make_judged


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[Settings, Database]]:
    def make(alerts: str = '[alerts.targets]\nphone = "json://localhost:9/x"\n', unit: str = "C") -> Any:
        monkeypatch.delenv("COILWATCH_SETTINGS", raising=False)
        (tmp_path / "coilwatch.toml").write_text(
            f'[studio]\nname = "Tidewrack Clay Studio"\ntime_zone = "Europe/Dublin"\ntemperature_unit = "{unit}"\n'
            f"{alerts}\n"
            '[[kiln]]\nid = "juniper"\nname = "Juniper"\nmax_temp_c = 1290\n[[kiln]]\nid = "heron"\nname = "Heron"\n'
            '[[kiln]]\nid = "thrift"\n',
            encoding="utf-8",
        )
        settings = load(tmp_path / "coilwatch.toml")
        return settings, open_store(settings.folders.database)

    return make
