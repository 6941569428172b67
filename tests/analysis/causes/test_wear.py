"""Ageing elements: slow, seen more than once, and never a single slow firing."""

import math

from config.logbook import LogbookEntry


def ageing(findings):
    return next((f for f in findings if f.cause == "element_ageing"), None)


def aged(make_case, ratio, index, **more):
    return make_case(level=math.log(ratio), slow=math.log(ratio), index=index, drift=(-0.003, 0.0005), **more)


def test_a_kiln_eight_per_cent_down_is_told_after_two_firings(make_case, run):
    first, second = aged(make_case, 0.915, 40), aged(make_case, 0.914, 41)
    assert ageing(run(first)[1]).severity == "info"
    assert ageing(run(first, second)[1]).severity == "warning"


def test_a_single_slow_firing_is_never_an_ageing_alert(make_case, run):
    _, findings = run(make_case(index=39), aged(make_case, 0.88, 40), make_case(index=41))
    assert ageing(findings) is None


def test_firings_that_show_no_power_add_no_certainty(make_case, run):
    seen = aged(make_case, 0.915, 40)
    blind = [aged(make_case, 0.915, 41 + i, basis="kept pace") for i in range(3)]
    assert ageing(run(seen, *blind)[1]).severity == "info"


def test_an_unsure_loss_is_no_warning(make_case, run):
    cases = [aged(make_case, 0.92, 40 + i, level_error=0.08) for i in range(4)]
    assert ageing(run(*cases)[1]).severity == "info"


def test_onset_is_when_the_loss_could_first_be_seen(make_case, run):
    cases = [aged(make_case, 1.0 - 0.004 * i, 20 + i) for i in range(24)]
    assert 24 <= ageing(run(*cases)[1]).since_firing <= 28


def test_a_new_set_of_elements_clears_it(make_case, run):
    worn = [aged(make_case, 0.90, 40 + i) for i in range(3)]
    entry = LogbookEntry("heron", worn[-1].started, "replaced", "elements")
    assert ageing(run(*worn, make_case(index=43, entries=(entry,)))[1]) is None


def test_a_step_is_not_counted_as_ageing(make_case, run):
    cases = [make_case(level=math.log(0.7), slow=-0.005, index=30 + i) for i in range(3)]
    assert ageing(run(*cases)[1]) is None
