"""The story is told in the order of its dates, and only from a folder that holds it."""

import pytest

from config.settings import load
from daemon.demo.story import SAMPLES, EntryWritten, LogArrives, NoSamples, sample_folder, story


@pytest.fixture(scope="module")
def steps():
    settings = load(SAMPLES / "coilwatch.toml")
    return story(SAMPLES, settings.kilns, settings.studio.time_zone)


def test_every_log_and_every_entry_comes_once_and_in_the_order_of_its_day(steps):
    assert [step.day for step in steps] == sorted(step.day for step in steps)
    logs = [step.key for step in steps if isinstance(step, LogArrives)]
    assert len(logs) == len(set(logs)) == 67
    assert sum(isinstance(step, EntryWritten) for step in steps) == 5


def test_new_elements_are_in_the_logbook_before_the_first_firing_with_them(steps):
    heron = [step for step in steps if (step.entry.kiln if isinstance(step, EntryWritten) else step.kiln) == "heron"]
    at = next(
        place for place, step in enumerate(heron) if isinstance(step, EntryWritten) and step.entry.what == "replaced"
    )
    assert heron[at].entry.part == "elements"
    assert heron[at - 2].key == "heron/heron-2026-03-07.csv"
    assert heron[at + 1].key == "heron/heron-2026-03-15.csv"


def test_without_the_samples_the_demo_says_what_to_do(tmp_path):
    with pytest.raises(NoSamples, match="from a checkout"):
        sample_folder(tmp_path)
