"""What logbook entries change in the kiln's hidden state."""

from collections.abc import Sequence
from dataclasses import replace
from math import log

import numpy as np

from analysis.beliefs import FIRST_DRIFT
from analysis.cooling import surely_risen
from analysis.grid import FloatArray
from analysis.power_filter import Belief, Hypothesis
from analysis.state_vector import Layout
from config.kiln import Kiln
from config.logbook import LogbookEntry

_NEW_SET, _NEW_SET_UNLIKE = 0.15, 0.08
_NEW_PART = 0.15
_MENDED = 0.05
"""How far power may stand from where it is expected after a repair (log): a whole new set, and one zone of it beside
another (wire and coils to 5 % each, and old sets wear unevenly); one new part; and a fault taken away (then the level
from before the fault is expected)."""

_IN_VAIN = 0.1
"""Share of repairs that mend nothing, the next firing to tell: the wrong part changed, a lead left off (common
practice, no source)."""

_NEW_BRICK = 0.15
_MOST_LEAKED, _TAKEN_FOR_A_FAULT = 0.35, 0.5
"""Log of the power that a leak beside one zone may seem to take from it; and the odds, once lid or brickwork has been
seen to, that what fits some circuit's fault was that leak: the next firing tells."""

_NEW_THERMOCOUPLE = 0.03


def _zones_of(kiln: Kiln, entry: LogbookEntry, zones: int) -> list[int]:
    """Numbers of the zones an entry names, through its circuit if need be; all if it names none."""
    name = entry.zone
    if name is None and entry.circuit is not None:
        name = next((c.zone for c in kiln.circuits if c.name == entry.circuit), None)
    if name in kiln.zones[:zones]:
        return [kiln.zones.index(name)]
    return list(range(zones))


def _loosened(belief: Belief, at: Sequence[int], spread: float, together: float = 0.0) -> FloatArray:
    """The covariance with a spread added at some places, each by itself, and one for all of them together."""
    covariance = belief.covariance.copy()
    covariance[np.ix_(at, at)] += together**2
    for index in at:
        covariance[index, index] += spread**2
    return covariance


def _mended(layout: Layout, belief: Belief, at: list[int], spread: float, together: float = 0.0) -> Belief:
    """Power as it was before the fault, give or take; the history of the jump ends here.

    A leak stays: old elements and a worn lid are found at the same visit often enough. One that the coolings show goes
    on being told, too: no new wire closes it.
    """
    mean = belief.mean.copy()
    everywhere = list(range(layout.zones))
    if belief.story.jump == "supply":
        mean[layout.slow_supply] = 0.0
    if belief.story.before and belief.story.jump in ("zone", "all"):
        # The fault was where the repair was made, whatever zone the history gave it; earlier steps that stood were
        # part of it.
        mended = np.asarray(belief.story.before) - belief.story.standing
        moved = mended - mean[everywhere]
        mean[everywhere] = np.maximum(mean[everywhere], mended)
        at = sorted({*at, *(n for n in everywhere if moved[n] > _MENDED)})
    elif belief.story.standing < 0.0:
        mean[everywhere] -= belief.story.standing
        at = everywhere
    covariance = _loosened(belief, at, spread, together)
    if _surely_leaks(belief.story):
        before = tuple(mean[everywhere].tolist())
        story = replace(belief.story, before=before, standing=0.0, renewed_firing=None)
        return replace(belief, mean=mean, covariance=covariance, story=story)
    story = replace(belief.story.over(), renewed_firing=None)
    return replace(belief, mean=mean, covariance=covariance, story=story)


def _with_new_set(layout: Layout, belief: Belief, at: list[int]) -> Belief:
    """A new set gives about what the first firings showed: less if it is of another make, more if theirs was worn."""
    mended = _mended(layout, belief, at, _NEW_SET_UNLIKE, _NEW_SET)
    mean = mended.mean.copy()
    mean[: layout.zones] += max(0.0, float(mean[layout.reference]) - float(mean[: layout.zones].mean()))
    return replace(mended, mean=mean)


def _surely_leaks(story: Hypothesis) -> bool:
    return story.jump == "leak" and surely_risen(story.bend.risen())


def _mended_or_not(layout: Layout, beliefs: Sequence[Belief], at: list[int], spread: float) -> list[Belief]:
    """Each history with its fault mended and, less likely, with the repair made in vain."""
    out = []
    for belief in beliefs:
        mended = _mended(layout, belief, at, spread)
        wall = belief.story.wall_before
        if belief.story.jump == "leak" and wall is not None and not _surely_leaks(belief.story):
            # who changed one part found it broken: then what looked like a leak was most likely that
            mean = mended.mean.copy()
            mean[layout.wall] = wall
            mean[layout.gaps] = belief.story.gaps_before or 0.0
            story = mended.story.bent(mended.story.bend.closed())
            mended = replace(
                mended, mean=mean, covariance=_loosened(mended, [layout.wall, layout.gaps], _MENDED), story=story
            )
        if belief.story.jump == "none" and belief.story.standing >= 0.0:
            out.append(mended)
            continue
        out.append(mended.weighed(mended.log_weight + log(1.0 - _IN_VAIN)))
        out.append(belief.weighed(belief.log_weight + log(_IN_VAIN)))
    return out


def _sealed(layout: Layout, belief: Belief) -> list[Belief]:
    """After work on lid or brickwork: less is lost through the wall, or what was taken for lost power comes back.

    A leak in one place makes its zone work as if weaker, and one that grows looks like power that goes; so the jump a
    history assumes may have been the leak, of whatever kind, if it is no larger than a leak makes it seem. Less likely
    the work was in vain, or had nothing to do with it.
    """
    bend = belief.story.bend
    in_vain = bend if belief.story.jump == "leak" else bend.sealed()
    story = belief.story.bent(in_vain)
    loosened = replace(belief, covariance=_loosened(belief, [layout.wall, layout.gaps], _NEW_BRICK), story=story)
    if not story.before or story.wall_before is None:
        return [loosened]
    before = np.asarray(story.before)
    leaked = story.jump == "leak" or float((before - belief.mean[: layout.zones]).max()) < _MOST_LEAKED
    if not leaked:
        return [loosened]
    mean = belief.mean.copy()
    mean[layout.wall] = min(story.wall_before, float(mean[layout.wall]))
    mean[layout.gaps] = min(story.gaps_before or 0.0, float(mean[layout.gaps]))
    mean[: layout.zones] = np.maximum(mean[: layout.zones], before)
    closed = story.over().bent(bend.sealed())
    covariance = _loosened(belief, [layout.wall, layout.gaps, *range(layout.zones)], _MENDED)
    sealed = replace(belief, mean=mean, covariance=covariance, story=closed)
    # a leak that grew slowly looked like wear before it was told: then nothing was worn at all
    unworn = mean.copy()
    unworn[: layout.zones] = np.maximum(mean[: layout.zones], mean[layout.reference])
    unworn[layout.drift] = max(float(mean[layout.drift]), FIRST_DRIFT["steady"][0])
    leak, other = (_TAKEN_FOR_A_FAULT, 1.0 - _TAKEN_FOR_A_FAULT) if story.fault else (1.0, _IN_VAIN)
    return [
        sealed.weighed(sealed.log_weight + log(0.5 * leak)),
        replace(sealed, mean=unworn, log_weight=sealed.log_weight + log(0.5 * leak)),
        loosened.weighed(loosened.log_weight + log(other)),
    ]


def repaired(
    kiln: Kiln, layout: Layout, beliefs: list[Belief], entries: Sequence[LogbookEntry]
) -> tuple[list[Belief], bool]:
    """Let the beliefs follow the repairs in ``entries``.

    Returns the beliefs and whether the whole set of elements is new (then the reference starts afresh).
    """
    new_set = False
    for entry in entries:
        if entry.what not in ("replaced", "repaired"):
            continue
        at = _zones_of(kiln, entry, layout.zones)
        if entry.part == "elements" and entry.zone is None and entry.circuit is None:
            new_set = True
            beliefs = [_with_new_set(layout, b, at) for b in beliefs]
        elif entry.part in ("elements", "element"):
            beliefs = _mended_or_not(layout, beliefs, at, _NEW_PART)
        elif entry.part in ("relay", "fuse", "wiring", "supply"):
            beliefs = _mended_or_not(layout, beliefs, at, _MENDED)
        elif entry.part in ("lid", "brickwork"):
            beliefs = [after for b in beliefs for after in _sealed(layout, b)]
        elif entry.part == "thermocouple":
            beliefs = [replace(b, covariance=_loosened(b, [layout.wall], _NEW_THERMOCOUPLE)) for b in beliefs]
    if new_set:
        beliefs = [_new_reference(layout, b) for b in beliefs]
    return beliefs, new_set


def _new_reference(layout: Layout, belief: Belief) -> Belief:
    """Forget the reference (the next firing becomes the first of a new one); the drift is likely to be as before."""
    covariance = belief.covariance.copy()
    at = layout.reference
    covariance[at, :] = 0.0
    covariance[:, at] = 0.0
    drift = layout.drift
    covariance[drift, :] = 0.0
    covariance[:, drift] = 0.0
    covariance[drift, drift] = max(float(belief.covariance[drift, drift]), 0.001**2)
    mean = belief.mean.copy()
    mean[at] = 0.0
    return replace(belief, mean=mean, covariance=covariance)
