"""Which item of a list is which: the key that tells the items apart, found once from all rows of a file.

A list of objects, such as one for each zone, mostly says in each item which one it is: ``{"zone": 2, "temp": 20}``.
Single rows may lack an item or its label, or have the items in another order, so no row alone can tell.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from analysis.reading.names import what_name_says

LONGEST_LIST = 12
"""Items of a list that are read: six zones, each with a second couple. Longer lists are profiles or histories."""
_LABELS = ("name", "label", "title", "zone", "channel", "ch", "sensor", "probe", "thermocouple", "tc", "position",
    "place", "location", "id", "number", "num", "no", "nr", "index", "idx", "key")  # fmt: skip
"""Words of which a key is made that says which item this is; where several keys do, the earliest word is taken."""
_MOST_LABELS = 2 * LONGEST_LIST
"""Labels in all rows of a file: items may come and go, so more than one list holds, but not ever new ones."""
_MOST_KEYS = 16
"""Keys looked into, so that an object of thousands cannot hold up reading; a zone has a handful."""
_LONGEST_LABEL = 20
"""Longer labels (the 36 characters of a serial number) tell items apart as well, but would fill a column's name, of
which only the beginning is looked at and shown: there the place stands for them."""
_SELDOM = 0.02
"""Rows that may hold a label twice, by share: damage. Words for a state are the same in two zones far more often."""
_MOSTLY, _USUALLY = 0.5, 0.9
"""Items with the label, by share: with fewer only a fixed order tells the rest; with more the better word decides."""
_MANY_ROWS = 50
"""Rows (an hour or so) in which whole degrees of a kiln being fired do not stay the same few numbers."""
_WHOLE = re.compile(r"-?\d{1,9}")
_WORD = re.compile(r"[^\W_]+")
_INNER_CAPITAL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_MOST_MERGED = 256
"""Keys or labels put in their place among the others; in a hostile file any more simply follow."""

Row = tuple[str | None, ...]
"""The labels of one row's items: empty where an object has none, None where the item is no object."""


@dataclass(frozen=True, slots=True)
class Told:
    """One row's items told apart: each one's label (None where it cannot be told).

    ``inferred`` counts the items without a label whose place could only be one, ``lost`` those that hold something and
    could not be told.
    """

    labels: Row
    inferred: int = 0
    lost: int = 0


@dataclass(frozen=True, slots=True)
class Labels:
    """How the items of one list are told apart.

    ``keys`` are all ways the file writes the key; ``names`` what stands for each label in a column's name, in the order
    most rows have; ``places`` the label of each place, empty unless all full rows have the same order.
    """

    keys: tuple[str, ...]
    names: dict[str, str]
    places: tuple[str, ...]

    def tell(self, items: Sequence[Any]) -> Told:
        """Tell the items of one row apart.

        An item without a label can only be the one that no other item is, or, in a full row of a file that never has
        another order, the one whose place it has. A label that two items have tells nothing.
        """
        said = _row(items, self.keys)
        if all(said) and len(set(said)) == len(said):
            return Told(said)
        free = [label for label in self.names if label not in said]
        bare = [k for k, label in enumerate(said) if label == "" and _holds_anything(items[k])]
        labels = [label if label and said.count(label) == 1 else None for label in said]
        lost = sum(item is not None and label is None for item, label in zip(items, labels, strict=True))
        lost -= sum(label == "" for label in said) - len(bare)
        inferred = 0
        for k in bare:
            if len(bare) == len(free) == 1:
                labels[k] = free[0]
            elif len(items) == len(self.places) and self.places[k] in free:
                labels[k] = self.places[k]
            inferred += labels[k] is not None
        return Told(tuple(labels), inferred, lost - inferred)


@lru_cache(maxsize=4096)
def same_key(key: str) -> str:
    """Return a key without what different hands write differently: ``Zone No``, ``zone_no`` and ``zoneNo`` are one."""
    return " ".join(_WORD.findall(_INNER_CAPITAL.sub(" ", key))).lower() or key


def labels_of(lists: Sequence[Sequence[Any]]) -> Labels | None:
    """Find the key that tells the items of a list apart, from that list in all rows; None where no key does."""
    choices: list[tuple[bool, int, int, Labels]] = []
    for key, written in _keys_of_few_values(lists).items():
        rows = Counter(_row(items, written) for items in lists)
        single = Counter({row: n for row, n in rows.items() if _all_different(row)})
        if rows.total() - single.total() > _SELDOM * rows.total():
            continue
        orders = Counter[tuple[str, ...]]()
        for row, n in rows.items():
            orders[tuple(dict.fromkeys(label for label in row if label))] += n
        order = usual_order(orders)
        places = _fixed_places(single, len(order))
        objects = sum(n for row, n in rows.items() for label in row if label is not None)
        share = sum(n for row, n in rows.items() for label in row if label) / objects
        if (share >= _MOSTLY or places) and _tells(key, order, lists, fixed=bool(places)):
            short = all(len(label) <= _LONGEST_LABEL for label in order)
            names = {label: label if short else str(place) for place, label in enumerate(order, 1)}
            choices.append((share < _USUALLY, _rank(key), len(choices), Labels(written, names, places)))
    return min(choices, key=lambda choice: choice[:3])[3] if choices else None


def standing_keys(lists: Sequence[Sequence[Any]]) -> frozenset[str]:
    """Return keys named like a label whose whole numbers never change at their place: no reading, though no label.

    A flag such as ``"sensor": true`` would else be taken for a temperature that stands.
    """
    seen: dict[tuple[str, int], str] = {}
    stands: dict[str, bool] = {}
    for items in lists:
        for place, item in enumerate(items):
            for key, value in item.items() if isinstance(item, dict) else ():
                if value is None or not stands.get(key, True) or _rank(same_key(key)) == len(_LABELS):
                    continue
                label = str(int(value)) if isinstance(value, bool) else _label(value)
                whole = label is not None and bool(_WHOLE.fullmatch(label))
                stands[key] = whole and seen.setdefault((key, place), label or "") == label
    return frozenset(key for key in stands if stands[key] and _leaves_a_reading(same_key(key), lists))


def usual_order(rows: Counter[tuple[str, ...]]) -> list[str]:
    """Merge the orders of many rows, which may lack this and that, into one: the most frequent one goes first."""
    order: list[str] = []
    known: set[str] = set()
    for row in sorted(rows, key=lambda row: (-rows[row], -len(row))):
        for k, label in enumerate(row):
            if label in known:
                continue
            after = next((other for other in row[k + 1 :] if other in known), None) if not k and order else None
            if len(order) >= _MOST_MERGED or (not k and after is None):
                order.append(label)
            else:
                order.insert(order.index(row[k - 1]) + 1 if k else order.index(after or ""), label)
            known.add(label)
    return order


def _row(items: Sequence[Any], keys: Sequence[str]) -> Row:
    return tuple(_label_in(item, keys) if isinstance(item, dict) else None for item in items)


def _label_in(item: dict[str, Any], keys: Sequence[str]) -> str:
    return next((_label(item[key]) or "" for key in keys if key in item), "")


def _label(value: Any) -> str | None:  # noqa: ANN401 - whatever JSON holds
    """Return text or a whole number as a label (empty where blank), None where a value is no label."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else None
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else None


def _holds_anything(item: dict[str, Any]) -> bool:
    return any(value is not None for value in item.values())


def _all_different(row: Row) -> bool:
    said = [label for label in row if label]
    return len(set(said)) == len(said)


def _keys_of_few_values(lists: Sequence[Sequence[Any]]) -> dict[str, tuple[str, ...]]:
    """Return the keys (as ``same_key`` has them, and all ways they are written) with nothing but few labels."""
    written: dict[str, dict[str, None]] = {}
    values: dict[str, set[str]] = {}
    unfit: set[str] = set()
    for items in lists:
        for item in items:
            for key, value in item.items() if isinstance(item, dict) else ():
                same = same_key(key)
                if same in unfit:
                    continue
                label = _label(value)
                few = values.setdefault(same, set())
                if label is not None:
                    written.setdefault(same, {})[key] = None
                    few.add(label)
                if label is None or len(few - {""}) > _MOST_LABELS:
                    unfit.add(same)
    fit = sorted((key for key, few in values.items() if key not in unfit and few != {""}), key=_rank)
    return {key: tuple(written[key]) for key in fit[:_MOST_KEYS]}


def _fixed_places(rows: Counter[Row], count: int) -> tuple[str, ...]:
    """Return the label of each place if every full row has the same order, else nothing."""
    places = [""] * count
    for row in rows:
        if len(row) == count:
            for k, label in enumerate(row):
                if label and places[k] not in {"", label}:
                    return ()
                places[k] = label or places[k]
    return tuple(places) if all(places) and len(set(places)) == count else ()


@lru_cache(maxsize=4096)
def _rank(key: str) -> int:
    """Return how well a key's name says that it tells items apart, 0 the best, ``len(_LABELS)`` if it does not."""
    words = key.split()
    return _LABELS.index(words[-1]) if words and all(word in _LABELS for word in words) else len(_LABELS)


def _tells(key: str, labels: Sequence[str], lists: Sequence[Sequence[Any]], *, fixed: bool) -> bool:
    """Tell whether these values of a key are labels, and no states, settings or readings in whole degrees."""
    named = _rank(key) < len(_LABELS)
    said = [what_name_says(label) for label in labels]
    if all(one.place is not None or (named and one.role == "zone") for one in said):
        return named or len(labels) > 1
    longest = max(map(len, lists))
    few = named and len(labels) <= longest + longest // 2
    if not all(_WHOLE.fullmatch(label) for label in labels):
        return few
    numbers = sorted(map(int, labels))
    first = numbers[0]
    if first in {0, 1} and numbers == list(range(first, first + len(numbers))):
        silent = what_name_says(key).role in {None, "zone", "ignore"}
        return named or (fixed and silent and first == 1 and len(numbers) > 1)
    return few and (len(lists) >= _MANY_ROWS or _leaves_a_reading(key, lists))


def _leaves_a_reading(key: str, lists: Sequence[Sequence[Any]]) -> bool:
    """Tell whether items hold what may be a temperature beside this key: a reading is not taken for a label."""
    for item in next((items for items in lists if any(isinstance(item, dict) for item in items)), ()):
        for other, value in item.items() if isinstance(item, dict) else ():
            numeric = isinstance(value, int | float | dict | list) and not isinstance(value, bool)
            if same_key(other) != key and numeric and what_name_says(other).role in {None, "zone", "average"}:
                return True
    return False
