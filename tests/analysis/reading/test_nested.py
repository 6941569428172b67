"""A list of zone objects in each row reads as the flat log would, whatever single rows lack or how they are ordered."""

import json
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

import written_logs as pen

from analysis.reading import Reading, read_log
from analysis.reading.list_labels import labels_of, usual_order
from config.kiln import Kiln

ONE = pen.firing(seed=7, zones=3, sample_s=120.0)
PLACES = ("top", "middle", "bottom")


def record(k: int, label: str | None = "zone", names: tuple = (1, 2, 3)) -> dict:
    """One row of a log with a list of zone objects."""
    zones = [
        ({label: names[z]} if label else {})
        | {"temp": round(float(ONE.zones[k, z]), 1), "output": round(100.0 * float(ONE.output[k, z]))}
        for z in range(3)
    ]
    return {"elapsed_s": float(ONE.t[k]), "zones": zones, "setpoint": round(float(ONE.point[k]), 1)}


def rows(label: str | None = "zone", names: tuple = (1, 2, 3)) -> list[dict]:
    return [record(k, label, names) for k in range(ONE.t.size)]


def read(records: list[dict], **kiln) -> Reading:
    data = "\n".join(map(json.dumps, records)).encode() + b"\n"
    return read_log(data, name="2026-03-02_0814.jsonl", kiln=Kiln("juniper", time_zone="Europe/Dublin", **kiln))


def reads_as_three_zones(reading: Reading, missing: int = 0, names: tuple[str, ...] = ("1", "2", "3")) -> None:
    log = reading.firings[0]
    assert log.zone_names == names
    assert int(np.isnan(log.zone_c).sum()) == missing
    there = np.isfinite(log.zone_c)
    np.testing.assert_allclose(log.zone_c[there], ONE.zones[there], atol=0.06)
    np.testing.assert_allclose(log.output[there], ONE.output[there], atol=0.006)


@pytest.mark.parametrize(("label", "names"), [("zone", (1, 2, 3)), ("name", PLACES)])
def test_a_zone_that_is_null_in_one_row_is_missing_in_that_row_only(label, names):
    records = rows(label, names)
    records[200]["zones"][1] = None
    reads_as_three_zones(read(records), missing=1, names=tuple(map(str, names)))


@pytest.mark.parametrize(
    ("label", "names"), [("zone", (1.0, 2.0, 3.0)), ("Zone", (1, 2, 3)), ("Zone No", ("1", "2", "3"))]
)
@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1)])
def test_whole_floats_texts_and_keys_in_capitals_tell_zones_apart(label, names, order):
    records = rows(label, names)
    for one in records[::2]:
        one["zones"] = [one["zones"][z] for z in order]
    reading = read(records)
    reads_as_three_zones(reading)
    assert reading.problems == ()


def test_a_name_that_is_null_now_and_then_can_only_be_the_one_that_is_missing():
    records = rows("name", PLACES)
    for one in records[::50]:
        one["zones"] = [one["zones"][z] for z in (2, 0, 1)]
        one["zones"][1]["name"] = None  # top, not in its place
    reading = read(records)
    reads_as_three_zones(reading, names=PLACES)
    count = len(records[::50])
    assert reading.problems == (
        f'{count} items of "zones" without "name" taken for the one that can only be meant, first at 0:00 h',
    )


def test_rows_without_any_label_go_by_their_place_where_the_file_never_has_another():
    records = rows()
    for one in records[10::50]:
        for zone in one["zones"]:
            del zone["zone"]
    reads_as_three_zones(read(records))


def test_items_that_cannot_be_told_are_left_out_and_said():
    records = rows("name", PLACES)
    records[3]["zones"] = [records[3]["zones"][z] for z in (2, 0, 1)]
    for k in (30, 60):
        for z in (0, 1):
            records[k]["zones"][z]["name"] = None
    reading = read(records)
    reads_as_three_zones(reading, missing=4, names=PLACES)
    assert reading.problems[0] == (
        '4 items of "zones" left out: no "name" of its own tells which one is meant, first at 1:00 h'
    )


def test_a_label_that_two_items_of_a_row_have_tells_neither():
    records = rows()
    records[40]["zones"][0]["zone"] = 2
    reading = read(records)
    reads_as_three_zones(reading, missing=2)
    assert any('2 items of "zones" left out' in problem for problem in reading.problems)


@pytest.mark.parametrize("key", ["sensor", "zone"])
def test_readings_in_whole_degrees_are_no_labels(key):
    records = [
        {"elapsed_s": float(ONE.t[k]), "zones": [{key: round(ONE.zones[k, z]), "output": 60 + z} for z in range(3)]}
        for k in range(ONE.t.size)
    ]
    log = read(records).firings[0]
    np.testing.assert_allclose(log.zone_c, ONE.zones, atol=0.51)
    np.testing.assert_allclose(log.output, np.broadcast_to([0.6, 0.61, 0.62], log.output.shape))
    few = read(records[:5]).firings[0]  # so also while the log is short and its numbers are few
    np.testing.assert_allclose(few.zone_c, ONE.zones[:5], atol=0.51)


def test_words_for_a_state_are_no_labels():
    records = rows(None)
    for k, one in enumerate(records):
        for z, zone in enumerate(one["zones"]):
            zone["label"] = "on" if (k // 3 + z) % 2 else "off"
    reads_as_three_zones(read(records))


@pytest.mark.parametrize("flag", [True, 1])
def test_a_flag_named_like_a_label_is_no_temperature(flag):
    records = rows(None)
    for one in records:
        one["zones"] = [zone | {"sensor": flag} for zone in one["zones"]]
    reads_as_three_zones(read(records))


def test_a_number_named_for_nothing_beside_a_zones_temperature_is_none():
    records = rows()
    for one in records:
        one["zones"] = [zone | {"trim": 3 + z} for z, zone in enumerate(one["zones"])]
    reads_as_three_zones(read(records))


def test_numbers_of_places_under_an_unknown_name_are_no_temperatures():
    reads_as_three_zones(read(rows("slot")))


def test_lists_in_a_list_are_told_apart_by_the_place_that_holds_their_numbers():
    records = [
        {"elapsed_s": float(ONE.t[k]), "zones": [[z + 1, round(float(ONE.zones[k, z]), 1)] for z in (2, 0, 1)]}
        for k in range(ONE.t.size)
    ]
    log = read(records).firings[0]
    assert log.zone_c.shape == ONE.zones.shape
    np.testing.assert_allclose(log.zone_c, ONE.zones[:, [2, 0, 1]], atol=0.06)


@pytest.mark.parametrize("missing", [range(1), range(0, 270, 3)])
def test_zones_have_the_order_of_most_rows_though_the_first_row_lacks_one(missing):
    records = rows("name", PLACES)
    for k in missing:
        del records[k]["zones"][1]
    reads_as_three_zones(read(records), missing=len(missing), names=PLACES)


def test_the_time_is_found_behind_more_columns_than_are_read_and_the_rest_is_named():
    records = []
    for k in range(ONE.t.size):
        zones = [
            {"zone": z + 1} | {f"p{i}": i for i in range(11)} | {"temp": round(float(ONE.zones[k, z % 3]) - z // 3, 1)}
            for z in range(6)
        ]
        records.append({"zones": zones, "elapsed_s": float(ONE.t[k])})
    reading = read(records)
    log = reading.firings[0]
    assert log.zone_names == ("1", "2", "3", "4", "5", "6")
    np.testing.assert_allclose(log.zone_c[:, :3], ONE.zones, atol=0.06)
    assert "9 columns beyond 64 left out, such as zones 6 p2" in reading.problems


def test_items_beyond_the_twelfth_are_counted():
    records = rows()
    for one in records:
        one["history"] = list(range(20))
    reading = read(records)
    reads_as_three_zones(reading)
    assert f'{8 * len(records)} items of "history" beyond 12 in a row left out, first at 0:00 h' in reading.problems


@pytest.mark.parametrize("change", [{"zones": None}, {"zones": []}])
def test_one_row_without_zones_in_the_middle_of_the_file_changes_nothing_else(change):
    records = rows()
    middle = len(records) // 2
    records[middle] |= change
    reads_as_three_zones(read(records), missing=3)


def test_events_may_be_as_many_as_samples():
    records = rows()
    mixed = [one for k, row in enumerate(records) for one in (row, {"elapsed_s": 120.0 * k + 1, "event": "relay"})]
    reads_as_three_zones(read(mixed))
    reads_as_three_zones(read(mixed[:-1]))


def test_settings_in_a_record_of_their_own_give_no_columns():
    records = rows()
    records.insert(0, {"elapsed_s": -1.0, "kiln": {"zones": 3, "temp": {"max": 1300}}})
    records.insert(140, {"elapsed_s": 16_561.0, "kiln": {"zones": 3, "temp": {"max": 1300}}})
    reads_as_three_zones(read(records))


def test_a_row_in_which_no_zone_is_known_may_come_first():
    records = [
        {"elapsed_s": float(ONE.t[k]), "zones": [{"temp": round(float(ONE.zones[k, 0]), 1)}]} for k in range(ONE.t.size)
    ]
    for one in records[:3]:
        one["zones"] = None
    log = read(records).firings[0]
    np.testing.assert_allclose(log.zone_c[:, 0], ONE.zones[3:, 0], atol=0.06)


def test_lists_that_nothing_tells_apart_go_by_place_and_a_shorter_one_is_said():
    records = rows(None)
    del records[60]["zones"][2]
    reading = read(records)
    reads_as_three_zones(reading, missing=1)
    assert any('1 row with fewer items in "zones"' in problem for problem in reading.problems)


def test_readings_may_lie_as_deep_as_an_envelope_a_kiln_a_zone_and_a_value_with_its_unit():
    records = rows()
    for one in records:
        for zone in one["zones"]:
            zone["temp"] = {"value": zone["temp"], "of": "C"}
        one["log"] = {"kiln": {"zones": one.pop("zones")}}
    reads_as_three_zones(read(records))


@pytest.mark.parametrize("indent", [None, 1])
def test_one_array_of_records_with_lists_reads_like_json_lines(indent):
    data = json.dumps(rows(), indent=indent).encode()
    reads_as_three_zones(read_log(data, name="2026-03-02_0814.json"))


def test_an_array_that_is_still_written_lacks_its_last_record_only():
    reading = read_log(json.dumps(rows()).encode()[:-20], name="2026-03-02_0814.json")
    assert not reading.firings[0].complete_tail
    assert reading.firings[0].elapsed_s.size == ONE.t.size - 1
    assert reading.account.rows.cut == 1


def test_a_damaged_record_of_an_array_is_left_out_alone():
    data = ("[\n" + ",\n".join(map(json.dumps, rows())) + "\n]\n").replace('"elapsed_s": 7200.0', '"elapsed_s"7200.0')
    reading = read_log(data.encode(), name="2026-03-02_0814.json")
    assert reading.firings[0].elapsed_s.size == ONE.t.size - 1
    assert reading.account.rows.lines == ONE.t.size


def test_labels_too_long_for_a_name_tell_items_apart_all_the_same():
    lists = [[{"id": f"3f1c-{z}-{'0' * 30}", "temp": 20 + z} for z in order] for order in ((0, 1), (0, 1), (1, 0))]
    labels = labels_of(lists)
    assert labels is not None
    assert [labels.names[label] for label in labels.tell(lists[2]).labels] == ["2", "1"]


def test_the_usual_order_is_merged_from_rows_that_lack_this_and_that():
    few = Counter({("top", "bottom"): 5, ("top", "middle", "bottom"): 2, ("bottom", "top", "middle"): 1})
    assert usual_order(few) == ["top", "middle", "bottom"]
    assert usual_order(Counter({("b", "c"): 3, ("a", "b"): 2, ("c", "d"): 1})) == ["a", "b", "c", "d"]
    assert usual_order(Counter([("a",), ("b",), ("c",)])) == ["a", "b", "c"]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    zones=st.integers(2, 4),
    label=st.sampled_from(["zone", "Zone", "name", "channel_no", "sensor"]),
    kind=st.sampled_from(["from 1", "from 0", "whole floats", "places", "words", "numbered words"]),
    null=st.dictionaries(st.integers(0, 134), st.integers(0, 3), max_size=20),
    gone=st.dictionaries(st.integers(0, 134), st.integers(0, 3), max_size=20),
    nameless=st.dictionaries(st.integers(0, 134), st.integers(0, 3), max_size=20),
    shuffled=st.dictionaries(st.integers(0, 134), st.permutations(range(4)), max_size=40),
    events=st.sets(st.integers(0, 134), max_size=20),
    time_last=st.booleans(),
)
def test_a_list_of_zone_objects_reads_the_same_as_the_flat_log_whatever_single_items_are_null_gone_or_reordered(
    zones, label, kind, null, gone, nameless, shuffled, events, time_last
):
    one = pen.firing(seed=zones, zones=zones, sample_s=240.0)
    labels = {
        "from 1": [z + 1 for z in range(zones)],
        "from 0": list(range(zones)),
        "whole floats": [z + 1.0 for z in range(zones)],
        "places": ["top", "middle", "bottom", "back"][:zones],
        "words": ["ash", "birch", "larch", "oak"][:zones],
        "numbered words": [f"TC {z + 1}" for z in range(zones)],
    }[kind]
    nested, flat = [], []
    for k in range(one.t.size):
        readings = [
            {"temp": round(float(one.zones[k, z]), 1), "output": round(100.0 * float(one.output[k, z]))}
            for z in range(zones)
        ]
        lost = {at[k] for at in (null, gone) if k in at}
        items = [{label: labels[z]} | readings[z] for z in range(zones)]
        if k in nameless and not lost:
            items[nameless[k] % zones][label] = None
        items = [None if null.get(k) == z else item for z, item in enumerate(items)]
        order = [z for z in shuffled.get(k, range(4)) if z < zones and gone.get(k) != z]
        plain = {
            f"zones {f'{labels[z]:g}' if isinstance(labels[z], float) else labels[z]} {key}": None
            if z in lost
            else value
            for z in range(zones)
            for key, value in readings[z].items()
        }
        time, point = {"elapsed_s": float(one.t[k])}, {"setpoint": round(float(one.point[k]), 1)}
        parts = (point, time) if time_last else (time, point)
        nested.append(parts[0] | {"zones": [items[z] for z in order]} | parts[1])
        flat.append(parts[0] | plain | parts[1])
        if k in events:
            nested.append({"elapsed_s": float(one.t[k]) + 1.0, "event": "door"})
            flat.append({"elapsed_s": float(one.t[k]) + 1.0, "event": "door"})
    ours, theirs = read(nested).firings[0], read(flat).firings[0]
    assert ours.zone_names == theirs.zone_names
    np.testing.assert_array_equal(ours.elapsed_s, theirs.elapsed_s)
    np.testing.assert_array_equal(ours.zone_c, theirs.zone_c)
    np.testing.assert_array_equal(ours.output, theirs.output)
    np.testing.assert_array_equal(ours.set_point_c, theirs.set_point_c)
    assert ours.events == theirs.events
    assert [problem for problem in ours.problems if "can only be meant" not in problem] == list(theirs.problems)
