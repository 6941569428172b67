"""JSON lines, pairs, fixed width, tables without a header, damaged at random, also in the nights clocks change."""

import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

import test_layouts as usual
import written_logs as pen

NIGHTS = (datetime(2026, 3, 28, 16, 20, tzinfo=UTC), datetime(2026, 10, 24, 16, 20, tzinfo=UTC))
starts = st.one_of(
    st.integers(0, 24 * 300).map(lambda hours: datetime(2026, 1, 1, 6, tzinfo=UTC) + timedelta(hours=hours)),
    st.builds(lambda night, hours: night + timedelta(hours=hours), st.sampled_from(NIGHTS), st.integers(0, 8)),
)


def in_form(form: str, layout: pen.Layout) -> pen.Layout:
    """Return a layout in another form, without what that form cannot hold."""
    if form in {"flat", "nested", "zones"}:
        layout = replace(layout, json=form, quoted=False, preamble=(), decimal=".", header=True)
        layout = replace(layout, columns=("point", "zones", "output"), units_in="register")
        return replace(layout, time="seconds") if layout.time in {"minutes", "hours"} else layout
    if form in {"pairs", "stamped pairs"}:
        marks = {";": "; ", "|": " | ", "\t": "\t", ",": " "}
        time = "seconds" if layout.time in {"minutes", "hours"} else layout.time
        layout = replace(layout, language="terse", units_in="register", time=time, lead=form != "pairs")
        return replace(layout, pairs=marks[layout.delimiter], sign=": " if layout.decimals == 2 else "=")
    if form == "fixed":
        units = "register" if layout.units_in == "row" else layout.units_in
        layout = replace(layout, fixed=True, delimiter=" ", quoted=False, language="terse", units_in=units)
        return replace(layout, time="ISO") if layout.time == "12-hour" else layout
    return replace(layout, header=False, units_in="register", columns=("zones", "point", "output"))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    form=st.sampled_from(["flat", "nested", "zones", "pairs", "stamped pairs", "fixed", "no header"]),
    layout=usual.layouts,
    mark=usual.marks,
    spoiled=usual.defects,
    zones=st.integers(1, 6),
    sample_s=st.sampled_from([60.0, 120.0, 240.0]),
    start=starts,
    seed=st.integers(0, 2**16),
    mixed=st.booleans(),
    peak_c=st.sampled_from([600.0, 1000.0, 1222.0, 1290.0]),
)
def test_other_forms_with_any_defects_and_mixed_line_ends_read_back_too(
    form, layout, mark, spoiled, zones, sample_s, start, seed, mixed, peak_c
):
    if sample_s > 60 and start.month == 10:  # a gap of over an hour would hide the hour that comes twice
        spoiled = [defect for defect in spoiled if defect != "gap"]
    one = pen.firing(seed, zones, sample_s, start=start, peak_c=peak_c)
    layout = in_form(form, replace(layout, delimiter=mark[0], decimal=mark[1]))
    written = pen.spoil(one, layout, spoiled, seed)
    if mixed and not layout.encoding.startswith("utf-16"):
        rng = np.random.default_rng(seed)
        *lines, last = written.data.split(b"\n")
        ends = [line.rstrip(b"\r") + (b"\n", b"\r\n")[int(rng.integers(0, 2))] for line in lines]
        written = replace(written, data=b"".join(ends) + last)
    usual.reads_back(one, written)
