"""Whether a programme usually asks the kiln for everything it has, where no log tells the output.

Loads vary from firing to firing, so a programme near the kiln's limit needs full output in some firings and not in
others; but one that never did and then does again and again says that something was lost, even of a kiln whose loss
and load were never seen at full output. Firings of one programme are taken as draws of one chance, unknown before
(Jeffreys' prior: the next one asks everything with (k + 1/2) / (n + 1) after k of n; Jeffreys 1946), which a sudden
change makes unknown again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

from analysis.measures import Measures
from analysis.power_filter import Hypothesis

MOST_ASKED = 48
"""Firings remembered: eight of each of six programmes."""

_AT_FULL = 0.03
"""Share of the heating time at full output, about twenty minutes, from which a firing asked for everything."""

_MEMORY = 8
"""Latest firings of a programme that tell its habit: wear changes it too, little by little."""

_EITHER = 0.5
_UNLIKE = 0.15
"""The chance where nothing is known; and the chance below which it is worth asking what happened."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One earlier firing: its number, its programme's slot, and whether it asked for everything."""

    firing: int
    slot: int
    everything: bool


@dataclass(frozen=True, slots=True)
class Habit:
    """What this firing asked for (None where it cannot be told) beside what earlier ones of any programme did."""

    earlier: tuple[Asked, ...] = ()
    slot: int = 0
    everything: bool | None = None

    def log_chance(self, story: Hypothesis) -> float:
        """Return the log probability of what this firing asked for under a history: even, until it has a habit."""
        if self.everything is None:
            return 0.0
        begins = story.jump_firing if story.jump != "none" else story.renewed_firing
        alike = [a.everything for a in self.earlier if a.slot == self.slot and a.firing >= (begins or 0)][-_MEMORY:]
        chance = (sum(alike) + 0.5) / (len(alike) + 1.0)
        return log(chance if self.everything else 1.0 - chance)

    @property
    def log_even(self) -> float:
        """The same under what makes either as likely: a change just now, power that passes, a load far heavier."""
        return 0.0 if self.everything is None else log(_EITHER)

    def unlike(self, story: Hypothesis) -> bool:
        """Whether a history makes it unlikely that this firing asks for everything: something may have happened."""
        return bool(self.everything) and self.log_chance(story) < log(_UNLIKE)


def asked_everything(measures: Measures) -> bool | None:
    """Return whether a firing needed full output for long; None where output is logged or nothing tells."""
    if measures.output in ("duty", "on-off"):
        return None
    if max(measures.zone_full_share, default=0.0) >= _AT_FULL:
        return True
    return False if measures.kept is not None else None


def of_others(earlier: Sequence[Asked], slot: int) -> tuple[Asked, ...]:
    """Return the firings of all programmes but the one in ``slot``, which is given to another."""
    return tuple(a for a in earlier if a.slot != slot)


def remembered(earlier: Sequence[Asked], habit: Habit, index: int) -> tuple[Asked, ...]:
    """Return the earlier firings with this one, at most `MOST_ASKED`."""
    if habit.everything is None:
        return tuple(earlier)
    return (*earlier, Asked(index, habit.slot, habit.everything))[-MOST_ASKED:]
