"""Charts: the same scale for every kiln, uncertainty always drawn, inert text, equal bytes from any thread."""

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from daemon.report.axes import letter, lettered, spread_labels
from daemon.report.charts_climb import climb_chart
from daemon.report.charts_firing import firing_chart, reached
from daemon.report.charts_power import draw_power, power_chart
from daemon.report.charts_readings import readings
from daemon.report.charts_zones import zones_chart
from daemon.report.like_firings import common_bands, like_the_last
from daemon.report.picture import power_picture
from daemon.report.sheet import WIDE, drawable, figure, label


def axes_of(draw):
    return figure(draw, WIDE).axes[0]


def test_the_power_scale_is_the_same_for_a_healthy_and_a_worn_kiln(juniper, heron, thrift):
    scales = {axes_of(draw_power(history)).get_ylim() for history in (juniper, heron, thrift)}
    assert scales == {(50.0, 112.0)}


def test_a_kiln_that_lost_more_than_half_is_not_cut_off(heron):
    last = heron.firings[-1]
    dead = replace(last.assessment, power=replace(last.assessment.power, value=0.3, low=0.26, high=0.34))
    low = axes_of(draw_power(replace(heron, firings=[*heron.firings[:-1], replace(last, assessment=dead)])))
    assert low.get_ylim()[0] <= 26.0


def test_threshold_interval_repairs_and_outlook_are_all_drawn(juniper):
    axes = axes_of(draw_power(juniper))
    texts = {text.get_text() for text in axes.texts}
    assert {"replace at 85 %", "A", "B", "to come"} <= texts
    assert len(axes.collections) >= 3, "two runs of the band, and the fan"
    assert axes.get_xlim()[1] > 60 + 9, "room for the firings to come"


def test_the_line_is_broken_where_new_elements_began_a_new_life(juniper):
    axes = axes_of(draw_power(juniper))
    solid = [line for line in axes.lines if line.get_linewidth() == 2.0]
    assert len(solid) == 2


def test_a_repair_stands_between_the_firings_around_it(juniper):
    assert [(name, at) for name, at, _ in lettered(juniper)] == [("A", 12.5), ("B", 36.5)]


def test_a_repair_finds_its_place_where_firings_are_missing(juniper):
    some = replace(juniper, firings=[f for f in juniper.firings if f.index not in (3, 4, 11)])
    assert lettered(some)[0][1] == 11.5, "after firing 11, the last one kept before the new set"


@pytest.mark.parametrize(("position", "name"), [(0, "A"), (25, "Z"), (26, "AA"), (27, "AB"), (701, "ZZ")])
def test_letters_go_on_after_z(position, name):
    assert letter(position) == name


def test_labels_that_would_overlap_are_moved_apart_in_their_order():
    assert spread_labels([90.0, 91.0, 50.0], 5.0) == [90.0, 95.0, 50.0]


def test_climb_is_compared_at_the_same_temperature_for_all_programmes(juniper):
    assert common_bands(juniper) == [1200.0, 1100.0]
    chart = climb_chart(juniper)
    assert "1200 °C" in chart.table.columns[2]
    bisque = next(row for row in chart.table.rows if row[0] == "1")
    assert bisque[2] == "not at full output"


def test_the_last_firing_is_laid_over_its_own_programme_only(juniper):
    assert {said.programme for said in like_the_last(juniper)} == {juniper.judged[-1].programme}
    assert len(like_the_last(juniper)) == 8


def test_another_programme_of_the_same_peak_is_not_like_it(juniper):
    renamed = [
        replace(f, assessment=replace(f.assessment, programme="slow glaze")) if f.index < 50 else f
        for f in juniper.firings
    ]
    assert all(said.index >= 50 for said in like_the_last(replace(juniper, firings=renamed)))


def test_the_overlay_says_when_a_temperature_was_reached(juniper):
    said = juniper.judged[-1]
    at = reached(said, 1000.0)
    trace = said.measures.trace
    assert at is not None
    assert trace.temperature_c[trace.elapsed_s.index(at)] >= 1000.0
    assert reached(said, 5000.0) is None
    assert firing_chart(juniper).table.columns[-1] == "to 1200 °C"


def test_a_set_point_after_the_end_is_not_drawn(juniper):
    last = juniper.firings[-1]
    trace = last.assessment.measures.trace
    cut = len(trace.set_point_c) // 2
    off = replace(trace, set_point_c=(*trace.set_point_c[:cut], *[0.0] * (len(trace.set_point_c) - cut)))
    said = replace(last.assessment, measures=replace(last.assessment.measures, trace=off))
    chart = firing_chart(replace(juniper, firings=[*juniper.firings[:-1], replace(last, assessment=said)]))
    assert "Dashes" in chart.notes[0]


def test_zone_labels_carry_what_the_font_lacks(juniper):
    kiln = replace(juniper.kiln, zones=("上段", "<b>", "x"))
    last = juniper.firings[-1]
    zones = tuple(replace(z, zone=n) for z, n in zip(last.assessment.zones, kiln.zones, strict=True))
    one = replace(juniper, kiln=kiln, firings=[replace(last, assessment=replace(last.assessment, zones=zones))])
    chart = zones_chart(one)
    assert ">上段</text>" in chart.wide
    assert "<b>" not in chart.wide
    assert "&lt;b&gt;" in chart.wide


def test_a_picture_replaces_what_the_font_lacks():
    assert drawable("Juniper 窯") == "Juniper □"
    assert label("Juniper") == "Juniper"


def test_readings_by_hand_are_laid_beside_the_registers_own_ohms(juniper):
    found = readings(juniper)
    assert [(r.circuit, r.value) for r in found] == [("top", 15.4), ("bottom", 15.6)]
    assert found[0].new == pytest.approx(13.7)


def test_many_threads_draw_the_same_bytes(heron):
    with ThreadPoolExecutor(4) as pool:
        drawn = {chart.wide for chart in pool.map(lambda _: power_chart(heron), range(8))}
    assert len(drawn) == 1


def test_a_drawing_holds_no_document_type_no_style_sheet_and_no_address(heron):
    for text in (power_chart(heron).wide, zones_chart(heron).narrow):
        assert not re.search(r"<!DOCTYPE|<style|<metadata|https?:|<\?xml", text)
        assert re.fullmatch(r"<svg [^>]*role=\"img\".*</svg>", text, re.DOTALL)


def test_the_picture_is_a_png_without_a_date_and_the_same_each_time(heron):
    picture = power_picture(heron)
    assert picture is not None
    assert picture.startswith(b"\x89PNG\r\n\x1a\n")
    assert picture == power_picture(heron)
    assert b"Matplotlib" not in picture
    assert len(picture) < 200_000
