"""What firings take in kWh and money, what lost power adds, and what that is against new elements.

Like with like: the newest firings of the most fired programme against the first ones after the elements were new.
Loads differ, so the difference carries an interval, and where it holds nought that is what is said.
"""

from collections import Counter
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, stdev

from analysis.assessment import Assessment
from analysis.parts import elements_of
from config.kiln import Kiln
from daemon.report.energy_drawn import drawn_kwh
from daemon.report.history import KilnHistory
from daemon.report.like_firings import since_new_elements

GROUP = 6  # firings at each end that are averaged
FEWEST = 3
INTERVAL = 1.645  # standard errors of a 90 % interval


@dataclass(frozen=True, slots=True)
class Cost:
    """Energy and money. ``extra_kwh`` is what a firing takes more than when the elements were new, if it can be told.

    ``payback_firings`` is how many firings' extra energy would pay for a set of elements (``element_price`` given).
    """

    last_kwh: float | None
    last_money: float | None
    mean_kwh: float | None
    programme: str = ""
    extra_kwh: float | None = None
    extra_low: float | None = None
    extra_high: float | None = None
    extra_money: float | None = None
    set_price: float | None = None
    payback_firings: float | None = None


def cost_of(history: KilnHistory) -> Cost | None:
    """Return the cost figures, or None where no firing's energy is known."""
    price = history.studio.energy_price
    known = [(said, kwh) for said in history.judged if (kwh := drawn_kwh(said)) is not None]
    if not known:
        return None
    last = drawn_kwh(history.judged[-1])
    recent = [kwh for _, kwh in known[-10:]]
    figures = Cost(last, None if last is None or price is None else last * price, fmean(recent))
    programme, early, late = _ends(since_new_elements(history))
    if len(early) < FEWEST or len(late) < FEWEST:
        return figures
    extra = fmean(late) - fmean(early)
    error = sqrt(stdev(early) ** 2 / len(early) + stdev(late) ** 2 / len(late))
    money = None if price is None else extra * price
    set_price = price_of_set(history.kiln)
    sure = extra - INTERVAL * error > 0
    payback = set_price / money if set_price and money and sure else None
    return Cost(
        figures.last_kwh,
        figures.last_money,
        figures.mean_kwh,
        programme,
        extra,
        extra - INTERVAL * error,
        extra + INTERVAL * error,
        money,
        set_price,
        payback,
    )


def price_of_set(kiln: Kiln) -> float | None:
    """Return the price of a whole set of elements, or None where price or count is not in the register."""
    count = elements_of(kiln)
    return None if kiln.element_price is None or not count else kiln.element_price * count


def _ends(judged: list[Assessment]) -> tuple[str, list[float], list[float]]:
    """Return the most fired programme's energies: the first and the last few complete firings."""
    complete = [(s.programme, kwh) for s in judged if s.end == "complete" and (kwh := drawn_kwh(s)) is not None]
    if not complete:
        return "", [], []
    programme = Counter(name for name, _ in complete).most_common(1)[0][0]
    of_it = [kwh for name, kwh in complete if name == programme]
    few = min(GROUP, len(of_it) // 2)
    return programme, of_it[:few], of_it[len(of_it) - few :] if few else []
