"""Names of nets that may be one name, written differently: FB and F8, PHONE and PHONES, GNDA and AGND.

Only how far apart two names are is told here; whether that is a mistake is for a rule to say.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache

from netcheck.circuit.model import Net
from netcheck.ground.names import natural_key

MOST_LETTERS = 80
_LOOK_ALIKE = str.maketrans("015l8", "oisib")
_NOT_LETTERS = re.compile(r"[^a-z]")


def sheet_of(name: str) -> str:
    """The sheet that a net's name begins with, '' for the root.

    >>> sheet_of("amp/vumeter/+V"), sheet_of("+V")
    ('amp/vumeter', '')
    """
    return name.rpartition("/")[0]


def last_name(name: str) -> str:
    """A net's own name without its sheets, in small letters, without blanks and joining signs.

    A plus, a minus and the bar over a name stay, since they change what is meant.

    >>> last_name("amp/Out_L"), last_name("/+15V"), last_name("~{RESET}")
    ('outl', '+15v', '~reset')
    """
    own = name[-MOST_LETTERS:].rsplit("/", 1)[-1].lower()
    return "".join(letter for letter in own if letter.isalnum() or letter in "+-~")


@lru_cache(maxsize=1 << 16)
def slips(one: str, other: str) -> int | None:
    """How many slips of the pen lie between two names, or None when they are different names.

    A slip is a letter left out, added, moved elsewhere, changed inside the name, or written as the figure that looks
    like it. Figures and signs tell nets apart (IN1 and IN2, V+ and V-), and so does a letter changed at either end
    (OUT_L and OUT_R): these are no slips.

    >>> slips("PHONE", "PHONES"), slips("GNDA", "AGND"), slips("FB", "F8"), slips("Out_L", "OUT L")
    (1, 1, 1, 0)
    >>> slips("OUT_L", "OUT_R"), slips("IN1", "IN2"), slips("V+", "V-"), slips("BIAS", "VOICE")
    (None, None, None, None)
    """
    first, second = last_name(one), last_name(other)
    if first == second:
        return 0
    if first.translate(_LOOK_ALIKE) == second.translate(_LOOK_ALIKE):
        return 1
    if _NOT_LETTERS.findall(first) != _NOT_LETTERS.findall(second):
        return None
    if _added(first, second) or _added(second, first) or _moved(first, second) or _changed_inside(first, second):
        return 1
    return None


def _added(short: str, long: str) -> bool:
    """Whether the longer name is the shorter one with one letter more."""
    if len(long) != len(short) + 1:
        return False
    at = next((i for i, letter in enumerate(short) if letter != long[i]), len(short))
    return short[at:] == long[at + 1 :]


def _moved(one: str, other: str) -> bool:
    """Whether one letter stands elsewhere in the other name."""
    if len(one) != len(other) or sorted(one) != sorted(other):
        return False
    differ = [i for i, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    first, last = differ[0], differ[-1]
    middle, changed = one[first : last + 1], other[first : last + 1]
    return changed in (middle[1:] + middle[0], middle[-1] + middle[:-1])


def _changed_inside(one: str, other: str) -> bool:
    if len(one) != len(other):
        return False
    differ = [i for i, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    return len(differ) == 1 and 0 < differ[0] < len(one) - 1


def near_names(net: Net, others: Iterable[Net], most: float) -> tuple[Net, ...]:
    """Nets of the same board whose names are at most so many slips from a net's: nearest first, own sheet first.

    Nets of another sheet are left out when the two sheets have a further name in common: they are one drawing that is
    used twice, and equal names in them are meant.
    """
    found: list[tuple[tuple[object, ...], Net]] = []
    for other in _to_compare(net, others):
        apart = slips(net.name, other.name)
        if apart is not None and apart <= most:
            found.append(((apart, sheet_of(other.name) != sheet_of(net.name), natural_key(other.key)), other))
    return tuple(other for _, other in sorted(found, key=lambda pair: pair[0]))


def same_letters(net: Net, others: Iterable[Net]) -> tuple[Net, ...]:
    """Nets of the same board whose own names have the same letters in whatever order: GNDA and AGND, +V and amp/+V.

    Sheets that are one drawing used twice are left out as in `near_names`.
    """
    wanted = sorted(last_name(net.name))
    found = [other for other in _to_compare(net, others) if sorted(last_name(other.name)) == wanted]
    return tuple(sorted(found, key=lambda other: natural_key(other.key)))


def _to_compare(net: Net, others: Iterable[Net]) -> list[Net]:
    """Named nets of the board, those of a sheet left out that is the same drawing as the net's own."""
    if not net.name:
        return []
    named = [other for other in others if other.name and other.board == net.board and other.key != net.key]
    by_sheet: dict[str, set[str]] = {}
    for other in named:
        by_sheet.setdefault(sheet_of(other.name), set()).add(last_name(other.name))
    return [other for other in named if not _used_twice(net, other, by_sheet)]


def _used_twice(net: Net, other: Net, by_sheet: Mapping[str, set[str]]) -> bool:
    own, its = sheet_of(net.name), sheet_of(other.name)
    if own == its or not own or not its:
        return False
    known = {last_name(net.name), last_name(other.name)}
    return bool((by_sheet.get(own, set()) & by_sheet.get(its, set())) - known)
