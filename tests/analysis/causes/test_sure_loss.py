"""Power that is surely lost is told of, though no single cause is sure enough for a message of its own."""

from dataclasses import replace
from math import log

import pytest

from analysis.causes.diagnosis import diagnose, with_sure_loss
from analysis.findings import Finding
from config.logbook import LogbookEntry

UNSURE = (
    Finding("low_supply", "info", 0.55),
    Finding("element_ageing", "info", 0.45),
    Finding("heavy_load", "info", 0.4),
)


def shown(make_case, *, at_most, basis="full-output climb", **more):
    case = make_case(index=12, **more)
    return replace(case, condition=replace(case.condition, basis=basis, level_high=at_most))


def severities(findings):
    return [f.severity for f in findings]


def test_the_most_probable_taker_of_power_that_is_surely_lost_is_a_message_with_its_own_probability(make_case):
    told = with_sure_loss(shown(make_case, at_most=log(0.9)), UNSURE)
    assert severities(told) == ["warning", "info", "info"]
    assert told[0].probability == 0.55


@pytest.mark.parametrize(
    ("at_most", "basis"),
    [(log(0.95), "full-output climb"), (None, "full-output climb"), (log(0.9), "kept pace"), (log(0.9), "none")],
)
def test_power_that_may_all_be_there_or_that_this_firing_does_not_show_is_none(make_case, at_most, basis):
    assert with_sure_loss(shown(make_case, at_most=at_most, basis=basis), UNSURE) == UNSURE


def test_full_output_that_is_guessed_from_the_climb_makes_nothing_sure(make_case):
    assert with_sure_loss(shown(make_case, at_most=log(0.9), output="none"), UNSURE) == UNSURE


def test_what_was_told_stands_until_the_power_itself_or_a_repair_says_otherwise(make_case):
    """A firing that only kept pace, or whose interval is a little wider, unsays nothing."""
    memory, _ = diagnose(shown(make_case, at_most=log(0.9), level=log(0.85)))
    for basis, at_most, level in (("kept pace", log(0.9), 0.86), ("duty", log(0.95), 0.88), ("none", None, 0.86)):
        case = shown(make_case, at_most=at_most, basis=basis, level=log(level), memory=memory)
        assert severities(with_sure_loss(case, UNSURE))[0] == "warning"
        memory, _ = diagnose(case)
    back = shown(make_case, at_most=log(1.0), level=log(0.97), memory=memory)
    assert with_sure_loss(back, UNSURE) == UNSURE
    entry = LogbookEntry("heron", back.started, "replaced", "elements")
    mended = shown(make_case, at_most=log(0.95), level=log(0.88), memory=memory, entries=(entry,))
    assert with_sure_loss(mended, UNSURE) == UNSURE


def test_what_is_told_already_is_enough_and_a_load_takes_no_power(make_case):
    weak = shown(make_case, at_most=log(0.9))
    told = (Finding("element_ageing", "warning", 0.7), *UNSURE[:1])
    assert with_sure_loss(weak, told) == told
    assert with_sure_loss(weak, UNSURE[2:]) == UNSURE[2:]
    assert with_sure_loss(weak, ()) == ()
