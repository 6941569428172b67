"""Nested JSON records made flat, each value under a name that says where it stood, the same in every row of a file."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from analysis.reading.list_labels import LONGEST_LIST, Labels, labels_of, standing_keys, usual_order
from analysis.reading.names import what_name_says
from analysis.reading.shown import shown
from analysis.reading.table import Note

_DEEPEST = 6
"""Levels opened: an envelope, the kiln, its zones, one of them, its reading, and that with its unit. A damaged or
hostile file may go on for thousands."""
_OFTEN = 0.05
"""Rows in which a key must hold an object or a list to be opened, by share: a record of settings or an event among the
samples would give columns, and with them zones, of a single row."""
_MOST_NAMES = 2000
"""Columns weighed against each other where there are too many, so that a hostile file cannot hold up reading."""
_MOST_NOTES = 8

_HOLDS_MORE = (dict, list)
_Path = tuple[str | None, ...]
"""The keys down to a value, None for an item of a list."""


@dataclass(slots=True)
class Flat:
    """Records without objects and lists, the names of their columns in order, and what had to be said of them.

    ``mute`` are the columns (by index) whose names hold a zone's only because they stand in a list of zones.
    """

    records: list[dict[str, Any]]
    names: tuple[str, ...]
    mute: frozenset[int]
    notes: list[Note]


class _Tally:
    """How often something had to be said of a list, and the row where first."""

    def __init__(self) -> None:
        self.counts: dict[tuple[_Path, str], list[int]] = {}

    def add(self, path: _Path, what: str, row: int, count: int = 1) -> None:
        if count:
            self.counts.setdefault((path, what), [0, row])[0] += count


@dataclass(slots=True)
class _Found:
    """All objects' keys and all lists, by path: ``orders`` counts the orders of keys, ``lists`` has (row, items)."""

    orders: dict[_Path, Counter[tuple[str, ...]]] = field(default_factory=lambda: defaultdict(Counter))
    lists: dict[_Path, list[tuple[int, list[Any]]]] = field(default_factory=lambda: defaultdict(list))
    tally: _Tally = field(default_factory=_Tally)


def flattened(records: Sequence[dict[str, Any]], most: int) -> Flat | None:
    """Flatten objects and lists: ``{"zone": {"top": 20}}`` -> ``{"zone top": 20}``; None if hardly a row holds any.

    An item of a list goes by its own label, if the file has one (`labels_of`): ``{"zones": [{"zone": 2, "temp": 20}]}``
    -> ``{"zones 2 temp": 20}``, else by its place, from 1 on. At most ``most`` columns are named.
    """
    nested = Counter(key for record in records for key, value in record.items() if isinstance(value, _HOLDS_MORE))
    opened = {key for key, n in nested.items() if n >= max(2.0, _OFTEN * len(records)) or n == len(records)}
    if not opened:
        return None
    found = _Found()
    for row, record in enumerate(records):
        found.orders[()][tuple(record)] += 1
        for key in opened & record.keys():
            _survey((key,), record[key], row, _DEEPEST, found)
    spread = _Spread(found)
    flat = [spread.record(row, record, opened) for row, record in enumerate(records)]
    names = spread.names(flat)
    kept = spread.most_telling(names, most)
    notes = _notes(found.tally, spread.labels)
    if len(kept) < len(names):
        left = next(name for name in names if name not in kept)
        notes.append(Note(None, f"{len(names) - len(kept)} columns beyond {most} left out, such as {shown(left, 40)}"))
    names = [name for name in names if name in kept]
    return Flat(flat, tuple(names), frozenset(i for i, name in enumerate(names) if spread.is_mute(name)), notes)


def _survey(path: _Path, value: Any, row: int, levels: int, found: _Found) -> None:  # noqa: ANN401 - whatever JSON holds
    """Note down which keys and lists there are below a path."""
    if not levels:
        return
    if isinstance(value, dict):
        found.orders[path][tuple(value)] += 1
        for key, inner in value.items():
            if isinstance(inner, _HOLDS_MORE):
                _survey((*path, key), inner, row, levels - 1, found)
    elif isinstance(value, list):
        items = _items(value)
        found.lists[path].append((row, items))
        found.tally.add(path, "beyond", row, len(value) - len(items))
        for item in items:
            if isinstance(item, _HOLDS_MORE):
                _survey((*path, None), item, row, levels - 1, found)


def _items(value: list[Any]) -> list[Any]:
    """Return a list's items, lists among them as objects whose keys are the places: ``[[1, 20], [2, 21]]``."""
    value = value[:LONGEST_LIST]
    if not any(isinstance(item, list) for item in value):
        return value
    return [
        {str(place): inner for place, inner in enumerate(item[:LONGEST_LIST], 1)} if isinstance(item, list) else item
        for item in value
    ]


class _Spread:
    """Flattens record by record, by what the survey of all of them found.

    ``rank`` says of every name where it stands among the others: the place of its key or label at each level.
    ``labels`` tell each list's items apart, None where they go by their place.
    """

    def __init__(self, found: _Found) -> None:
        self.rank: dict[str, tuple[int, ...]] = {}
        self._paths: dict[str, _Path] = {}
        self._tally = found.tally
        self._orders = {path: _places(usual_order(rows)) for path, rows in found.orders.items()}
        self.labels: dict[_Path, Labels | None] = {}
        self._left: dict[_Path, frozenset[str]] = {}
        for path, lists in found.lists.items():
            every = [items for _, items in lists]
            labels = self.labels[path] = labels_of(every)
            self._left[path] = standing_keys(every) if labels is None else frozenset(labels.keys)
            longest = max(map(len, every))
            for row, items in lists if labels is None else ():
                short = 0 < len(items) < longest and any(isinstance(item, dict) for item in items)
                self._tally.add(path, "short", row, int(short))
        self._with_zone = {path for path in self._orders if self._says_zone(path)}
        self._names = {path: _places([*labels.names]) for path, labels in self.labels.items() if labels}

    def record(self, row: int, record: dict[str, Any], opened: set[str]) -> dict[str, Any]:
        """Return one record without objects and lists, but for those under keys that are not opened."""
        flat: dict[str, Any] = {}
        order = self._orders[()]
        for key, value in record.items():
            self.rank.setdefault(key, (order[key],))
            self._put(key, (key,), value, flat, row, _DEEPEST if key in opened else 0)
        return flat

    def names(self, flat: Sequence[dict[str, Any]]) -> list[str]:
        """Return all columns' names in order."""
        seen: dict[str, None] = {}
        for record in flat:
            if record.keys() - seen.keys():
                seen.update(dict.fromkeys(record))
        return sorted(seen, key=self.rank.__getitem__)

    def is_mute(self, name: str) -> bool:
        """Tell whether a column's own key says nothing, while another one beside it is named like a temperature.

        In ``{"zones": [{"temp": 20, "trim": 3}]}`` the trim is no temperature, though called "zones 1 trim". Nor do
        the places of a list in a list say anything.
        """
        path = self._paths.get(name, ())
        for at in (k + 1 for k, key in enumerate(path) if key is None):
            own = [key for key in path[at:] if key is not None]
            if own and what_name_says(" ".join(own)).role is None:
                return own[0].isdigit() or path[:at] in self._with_zone
        return False

    def most_telling(self, names: Sequence[str], most: int) -> set[str]:
        """Choose the columns to keep: those not nested (the time is one), then those whose name says what they are."""
        if len(names) <= most:
            return set(names)
        top = [name for name in names if len(self.rank[name]) == 1]
        deep = [name for name in names if len(self.rank[name]) > 1][:_MOST_NAMES]

        def silence(name: str) -> tuple[bool, int]:
            return what_name_says(name).role in {None, "ignore"} or self.is_mute(name), len(self.rank[name])

        return set([*top, *sorted(deep, key=silence)][:most])

    def _says_zone(self, path: _Path) -> bool:
        left = self._left.get(path[:-1], frozenset())
        own = [key for key in self._orders[path] if key not in left][:_MOST_NAMES]
        return path[-1:] == (None,) and any(what_name_says(key).role == "zone" for key in own)

    def _put(self, name: str, path: _Path, value: Any, flat: dict[str, Any], row: int, levels: int) -> None:  # noqa: ANN401
        """Put a value, or what it holds down to so many levels, into ``flat`` under names that begin with ``name``."""
        if levels and isinstance(value, dict):
            order = self._orders[path]
            for key, inner in value.items():
                below = (*path, key)
                self._put(self._below(name, key, order[key], below), below, inner, flat, row, levels - 1)
        elif levels and isinstance(value, list):
            self._put_items(name, path, _items(value), flat, row, levels - 1)
        elif value is not None or (path not in self._orders and path not in self.labels):
            flat[name] = value

    def _put_items(self, name: str, path: _Path, items: list[Any], flat: dict[str, Any], row: int, levels: int) -> None:
        labels, left, inside = self.labels[path], self._left[path], (*path, None)
        told = None if labels is None else labels.tell(items)
        if told is not None:
            self._tally.add(path, "inferred", row, told.inferred)
            self._tally.add(path, "lost", row, told.lost)
        for place, item in enumerate(items):
            if told is None or labels is None:
                below = self._below(name, str(place + 1), place, inside)
            elif (label := told.labels[place]) is not None:
                below = self._below(name, labels.names[label], self._names[path][label], inside)
            else:
                continue
            if left and isinstance(item, dict):
                item = {key: inner for key, inner in item.items() if key not in left}
            self._put(below, inside, item, flat, row, levels)

    def _below(self, name: str, word: str, place: int, path: _Path) -> str:
        below = f"{name} {word}"
        if below not in self.rank:
            self.rank[below] = (*self.rank[name], place)
            self._paths[below] = path
        return below


def _places(order: Sequence[str]) -> dict[str, int]:
    return {word: place for place, word in enumerate(order)}


def _notes(tally: _Tally, labels: dict[_Path, Labels | None]) -> list[Note]:
    """Say what was not in the file as written, and what was left out."""
    notes = []
    for (path, what), (count, row) in list(tally.counts.items())[:_MOST_NOTES]:
        where = shown(" ".join(key for key in path if key is not None), 40)
        key = "" if (own := labels.get(path)) is None else shown(own.keys[0], 40)
        s = "s" if count > 1 else ""
        said = {
            "beyond": f'{count} item{s} of "{where}" beyond {LONGEST_LIST} in a row left out',
            "short": f'{count} row{s} with fewer items in "{where}", which nothing tells apart: taken by their place',
            "inferred": f'{count} item{s} of "{where}" without "{key}" taken for the one that can only be meant',
            "lost": f'{count} item{s} of "{where}" left out: no "{key}" of its own tells which one is meant',
        }
        notes.append(Note(row, said[what]))
    return notes
