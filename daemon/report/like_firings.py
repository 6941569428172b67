"""Which earlier firings may be laid beside the last one, and which temperature band most firings can be compared in."""

from collections import Counter

from analysis.assessment import Assessment
from analysis.measures import BandClimb
from daemon.report.history import KilnHistory, firings_before

PEAK_WITHIN_C = 15.0
AT_MOST = 8
FULL_ENOUGH = 0.6  # a band counts where at least this share of it was at full output
ENOUGH_FIRINGS = 3
NEAR_PEAK = 0.65  # lower down a climb says more of the load than of the power


def like_the_last(history: KilnHistory, *, at_most: int = AT_MOST) -> list[Assessment]:
    """Return earlier complete firings with the last one's programme and peak, oldest first.

    From the whole past they are spread evenly, so that the picture holds the first as well as the recent ones.
    """
    judged = history.judged
    last = judged[-1]
    like = [
        said
        for said in judged[:-1]
        if said.end == "complete"
        and said.programme == last.programme
        and len(said.measures.trace.elapsed_s) > 1
        and abs(_planned(said) - _planned(last)) <= PEAK_WITHIN_C
    ]
    if len(like) <= at_most:
        return like
    return [like[round(i * (len(like) - 1) / (at_most - 1))] for i in range(at_most)]


def _planned(said: Assessment) -> float:
    set_point = said.measures.trace.set_point_c
    return max(set_point, default=said.measures.peak_c)


def full_band(said: Assessment, at_c: float) -> BandClimb | None:
    """Return a firing's climb in the band round ``at_c`` if it was at full output there."""
    return next((b for b in said.measures.bands if b.at_c == at_c and b.full_share >= FULL_ENOUGH), None)


def common_bands(history: KilnHistory, *, at_most: int = 2) -> list[float]:
    """Return the bands in which most firings can be compared: the highest such, and one well below it."""
    lowest = NEAR_PEAK * max((said.measures.peak_c for said in history.judged), default=0.0)
    counted = Counter(
        b.at_c
        for said in history.judged
        for b in said.measures.bands
        if b.full_share >= FULL_ENOUGH and b.at_c >= lowest
    )
    if not counted:
        return []
    enough = max(ENOUGH_FIRINGS, 0.35 * len(history.judged))
    good = sorted((at for at, count in counted.items() if count >= enough), reverse=True)
    if not good:
        good = [at for at, count in counted.most_common(1) if count > 1]
    chosen = good[:1]
    chosen += [at for at in good if chosen and at <= chosen[0] - 100][: at_most - 1]
    return chosen


def since_new_elements(history: KilnHistory) -> list[Assessment]:
    """Return the firings since the last whole set of elements went in, or all of them."""
    judged = history.judged
    renewed = [e for e in history.logbook if e.what == "replaced" and e.part == "elements" and e.zone is None]
    return judged[firings_before(history, renewed[-1].at) :] if renewed else judged
