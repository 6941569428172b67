"""Lines of ``key=value`` pairs taken apart: what parts the pairs, what joins key and value, what stands before them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from analysis.reading.shape import kind_of

LONGEST_LINE = 2000
"""Longer lines are none of a controller's: they are left as text, so that a hostile file cannot hold up reading."""
_SIGNS = (b"=", b":")
_MARKS = (b";", b"|", b"\t", b",", b" ")
_LETTER = rb"[A-Za-z_\x80-\xff]"
_QUOTED = rb'"(?:[^"\\\n]|\\.)*"'
_CLOCK = rb"\d\d?:\d\d(?::\d\d(?:[.,]\d+)?)?(?: ?[AaPp]\.?[Mm]\.?)?(?:Z| ?[+-]\d\d:?\d\d)?"
_STAMP = (
    rb"(?:\d{4}[-/.]\d\d?[-/.]\d\d?|\d\d?[-/.](?:\d\d?|" + _LETTER + rb"{3,9})[-/.]\d{2,4}"
    rb"|\d\d?\.? " + _LETTER + rb"{3,9}\.?,? \d{4})(?:,?[T _]+" + _CLOCK + rb")?"
    rb"|" + _CLOCK + rb"|\d{8}T\d{4,6}Z?|[+-]?\d+(?:[.,]\d+)?"
)
_ONE_STAMP = re.compile(_STAMP)
_LEVELS = rb"(?:DEBUG|INFO|NOTICE|WARN|WARNING|DATA|LOG|SAMPLE|TRACE)"
_LEAD = re.compile(
    rb"(?P<open>[\s\[(<]*)(?:(?P<stamp>" + _STAMP + rb")(?=[\s\])>,;|:\-]|$))?"
    rb"(?:[\s\])>,;|:\-]*[\[(<]?" + _LEVELS + rb"[\])>]?(?=[\s:,;|]))?[\s\])>,;|:\-]*",
    re.IGNORECASE,
)
_MAYBE = re.compile(rb"(?:^|[\s,;|\])>])" + _LETTER + rb'[^=:,;|"\t]{0,40}[=:]')
"""What any line of pairs holds: a look that costs other files next to nothing."""
_AROUND = b" \t,;|"
_MOST_WORDS = 4
"""Words that may stand between the stamp and the first pair (a level, the name of a kiln or a program)."""
_NEARLY_ALL, _MOST = 0.9, 0.5


@dataclass(frozen=True, slots=True)
class Grammar:
    """How pairs are written. ``mark`` parts them: a character, or b" " for any run of blanks and marks.

    Only where one character parts all pairs may keys hold blanks ("set point=25; zone 1=24"). ``nearly_all`` says
    whether nearly all lines are pairs and nothing else, so that no other form need be tried.
    """

    sign: bytes
    mark: bytes
    nearly_all: bool = False


@dataclass(frozen=True, slots=True)
class Pairs:
    """One line. ``literals`` are the bytes before each value, from the value before (or the stamp) on.

    ``ends`` are where the literals end in the ``line``. ``opening`` stands before the stamp, ``tail`` behind the last
    value, ``junk`` between stamp and first pair. Values are as written, quotes and all.
    """

    line: bytes
    opening: bytes
    stamp: bytes
    junk: bytes
    keys: tuple[bytes, ...]
    values: tuple[bytes, ...]
    literals: tuple[bytes, ...]
    ends: tuple[int, ...]
    tail: bytes


def grammar_of(lines: Sequence[bytes], mark: str | None) -> Grammar | None:
    """Return how the pairs of some lines are written, None unless at least half of the lines are pairs.

    ``mark`` is the register's delimiter, if it names one.
    """
    least = max(1.0, _MOST * len(lines))
    if sum(_MAYBE.search(line) is not None for line in lines) < least:
        return None
    best, most = None, 0
    marks = [each for each in _MARKS if each == b" " or any(each in line for line in lines)]
    for sign in _SIGNS:
        for grammar in (Grammar(sign, each) for each in marks if mark is None or each == mark.encode()):
            found = [pairs for line in lines if (pairs := taken_apart(line, grammar)) and _is_sample(pairs)]
            count = sum(len(pairs.keys) for pairs in found)
            if len(found) >= least and count > most:
                strict = sum(_nothing_else(pairs) for pairs in found) >= _NEARLY_ALL * len(lines)
                best, most = Grammar(sign, grammar.mark, strict), count
    return best


def taken_apart(line: bytes, grammar: Grammar) -> Pairs | None:
    """Take one line apart; None if it holds no pair."""
    if len(line) > LONGEST_LINE or grammar.sign not in line:
        return None
    lead = _LEAD.match(line)
    assert lead is not None
    stamp = lead["stamp"] or b""
    at = lead.end()
    text = line[at:]
    found = [match for match in _pattern(grammar.sign, grammar.mark).finditer(text) if match["key"]]
    while len(found) > 1 and grammar.sign == b":" and not text[found[0].end() : found[1].start()].strip(_AROUND):
        del found[0]  # "INFO: t: 0": a label, no pair
    if not found:
        return None
    stops = [match.start() for match in found[1:]] + [len(text)]
    spans = [text[match.end() : stop] for match, stop in zip(found, stops, strict=True)]
    values = [span.strip(_AROUND) for span in spans]
    literals = [line[lead.end("stamp") if stamp else 0 : at + found[0].end()]]
    for span, match in zip(spans, found[1:], strict=False):
        gap = span[len(span.rstrip(_AROUND)) :]
        if not gap.strip(b" "):
            gap = gap[-1:]  # columns of pairs may be padded with blanks
        literals.append(gap + match[0])
    return Pairs(
        line,
        lead["open"] if stamp else b"",
        stamp,
        text[: found[0].start()].strip(_AROUND),
        _each_once([match["key"].strip() for match in found]),
        tuple(values),
        tuple(literals),
        tuple(at + match.end() for match in found),
        spans[-1][len(spans[-1].rstrip(_AROUND)) :],
    )


def bare_value(value: bytes) -> bytes:
    """Return a value without its quotes, fit for a table's cell."""
    if len(value) > 1 and value[:1] == value[-1:] and value[:1] in b"\"'":
        value = re.sub(rb'\\(["\\])', rb"\1", value[1:-1])
    return value.replace(b'"', b"").strip()


@lru_cache(maxsize=16)
def _pattern(sign: bytes, mark: bytes) -> re.Pattern[bytes]:
    """Return what finds a key with its sign; a quoted value in between is skipped (it has no key)."""
    if mark == b" ":
        begin, key = rb"(?:^|(?<=[\s,;|:\])>]))", _LETTER + rb'[^\s=:,;|"]{0,40}'
    else:
        begin, key = rb"(?:^|(?<=" + re.escape(mark) + rb"))[ \t]*", _LETTER + rb'[^=:,;|"\t]{0,40}?'
    return re.compile(_QUOTED + rb"|" + begin + rb"(?P<key>" + key + rb")[ \t]*" + sign + rb"(?!" + sign + rb"|//)")


def _each_once(keys: list[bytes]) -> tuple[bytes, ...]:
    """Number keys that come more than once in a line: ``temp``, ``temp 2``."""
    if len(set(keys)) == len(keys):
        return tuple(keys)
    return tuple(key if not (n := keys[:i].count(key)) else b"%s %d" % (key, n + 1) for i, key in enumerate(keys))


def _is_sample(pairs: Pairs) -> bool:
    """Tell whether a line can be a sample: two cells or more, and a number among the values."""
    if len(pairs.keys) + bool(pairs.stamp) < 2:
        return False
    return any(_kind(value) in {"number", "marked number"} for value in pairs.values)


def _nothing_else(pairs: Pairs) -> bool:
    """Tell whether no number stands beside the pairs, as it does in a table with pairs in one of its cells."""
    words = re.split(rb"[\s,;|]+", pairs.junk) if pairs.junk else []
    if len(words) > _MOST_WORDS or any(_kind(word) != "word" for word in words):
        return False
    return not any(value[:1].isdigit() and _is_more_than_one(value) for value in pairs.values)


def _is_more_than_one(value: bytes) -> bool:
    first = value.split()[0]
    return (
        first != value
        and _kind(first) in {"number", "stamp"}
        and _kind(value) != "marked number"
        and not _ONE_STAMP.fullmatch(value)
    )


def _kind(value: bytes) -> str:
    return kind_of(bare_value(value).decode("latin-1"))
