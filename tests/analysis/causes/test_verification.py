"""What is said of a repair by the first firings after it."""

from dataclasses import replace

from analysis.causes.memory import CausesMemory, Repair
from analysis.verification import proved, verification


def after_repair(make_case, *, firings: int, known: bool, memory: CausesMemory | None = None):
    memory = memory or CausesMemory(repair=Repair(20, "relay"))
    case = make_case(index=20 + firings, memory=memory)
    if not known:
        case = replace(case, condition=replace(case.condition, power=None))
    return case, memory


def test_a_firing_without_full_output_asks_for_the_verification_firing(make_case):
    case, memory = after_repair(make_case, firings=0, known=False)
    said = verification(case, memory, ())
    assert said is not None
    assert "not enough full output" in said
    assert proved(memory, said) == memory


def test_once_full_power_is_proved_a_later_firing_does_not_ask_again(make_case):
    case, memory = after_repair(make_case, firings=0, known=True)
    said = verification(case, memory, ())
    assert said is not None
    assert said.startswith("All circuits give full power")
    memory = proved(memory, said)
    case, memory = after_repair(make_case, firings=1, known=False, memory=memory)
    said = verification(case, memory, ())
    assert said is not None
    assert "not enough" not in said
    assert "An earlier firing after the repair showed full power" in said


def test_a_new_repair_has_to_be_proved_again(make_case):
    case, _ = after_repair(make_case, firings=1, known=False)
    said = verification(case, CausesMemory(repair=Repair(21, "element")), ())
    assert said is not None
    assert "not enough full output" in said
