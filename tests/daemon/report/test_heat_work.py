"""The heat-work line: cone, what a slow climb added, how it stands to the first firings, and its doubt."""

from dataclasses import replace

import pytest

from analysis.heatwork import LastClimb, heat_work, more_than_planned_c
from config.units import render
from daemon.report.heat_work_said import heat_work_said
from daemon.report.kiln_page import kiln_page


def fired_at(history, rates, *, planned=None):
    """The history with these climbs over the last 100 deg C to 1222, one for each of its newest glaze firings."""
    firings = list(history.firings)
    glaze = [n for n, f in enumerate(firings) if f.assessment.programme == firings[-1].assessment.programme]
    for n, rate in zip(glaze[-len(rates) :], rates, strict=True):
        work = replace(heat_work(LastClimb(1222.0, rate, 0.0)), rate_c_per_h=rate)
        if planned:
            work = replace(
                work, planned_c_per_h=planned, more_than_planned_c=more_than_planned_c(1222.0, rate, planned)
            )
        firings[n] = replace(firings[n], assessment=replace(firings[n].assessment, heat_work=work, cone=work.cone))
    return replace(history, firings=firings, logbook=())


def test_a_firing_at_its_planned_pace_says_its_cone_and_that_it_went_as_planned(juniper):
    said = heat_work_said(fired_at(juniper, [60.0], planned=60.0))
    assert "cone 6: as much as {c:1222} reached at {dc:60}/h" in said.sentences[0]
    assert said.sentences[1] == "Its last {dc:100} went at {dc:60}/h, as planned."
    assert "manufacturer's chart of 2016" in said.note
    assert "from memory" in said.note
    assert "witness cones" in said.note


def test_a_slower_climb_says_how_much_more_than_planned_the_ware_got(juniper):
    said = heat_work_said(fired_at(juniper, [30.0], planned=60.0))
    more = more_than_planned_c(1222.0, 30.0, 60.0)
    assert more == pytest.approx(19.0, abs=3.0)
    assert f"about {{dc:{more:.0f}}} more than planned at the same peak" in said.sentences[1]


def test_without_a_plan_the_first_firings_of_the_programme_are_what_it_stands_beside(juniper):
    said = heat_work_said(fired_at(juniper, [100.0] * 5 + [60.0] * 3 + [40.0]))
    assert len(said.sentences) == 3
    assert said.sentences[-1].startswith("The first 5 firings of this programme with these elements")
    assert said.sentences[-1].endswith(" more.")


def test_the_page_shows_it_in_the_studios_unit_and_nothing_where_there_is_no_cone(juniper):
    text = kiln_page(fired_at(juniper, [30.0], planned=60.0), "today")
    assert 'id="heat-work"' in text
    assert "more than planned at the same peak" in text
    fahrenheit = replace(juniper, studio=replace(juniper.studio, temperature_unit="F"))
    text = kiln_page(fired_at(fahrenheit, [30.0], planned=60.0), "today")
    assert render(f"as much as {{c:{heat_work(LastClimb(1222.0, 30.0, 0.0)).equivalent_c:.0f}}}", "F") in text
    bare = replace(
        juniper, firings=[replace(f, assessment=replace(f.assessment, heat_work=None)) for f in juniper.firings]
    )
    assert 'id="heat-work"' not in kiln_page(bare, "today")
