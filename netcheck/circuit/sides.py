"""Names of the two channels of a stereo circuit: OUT_L and OUT_R, /left/IN and /right/IN."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

_TOKEN = re.compile(r"[^\W\d_]+|\d+|[+-]")
_MOST_LETTERS = 160
_LEAST_LETTERS = 3  # of a word whose last letter may tell the side: OUTL


@dataclass(frozen=True, slots=True)
class Sided:
    """A name without its side. rest: its words, '*' for each that tells the side. left: which side it tells."""

    rest: tuple[str, ...]
    left: bool


def side_words(pairs: Iterable[str]) -> Mapping[str, tuple[bool, str]]:
    """Words by which names tell a side, from pairs 'LEFT/RIGHT', the left one first.

    >>> side_words(["L/R"])["r"]
    (False, 'l/r')
    """
    found: dict[str, tuple[bool, str]] = {}
    for pair in pairs:
        left, _, right = pair.lower().partition("/")
        if left and right:
            found[left], found[right] = (True, f"{left}/{right}"), (False, f"{left}/{right}")
    return found


def sides_of(name: str, words: Mapping[str, tuple[bool, str]]) -> Iterator[Sided]:
    """What a name may mean as that of one channel; nothing when it tells no side, or both.

    A side is a word by itself or, when there is none, the last letter of a word.

    >>> words = side_words(["L/R", "LEFT/RIGHT"])
    >>> list(sides_of("/left/IN", words))
    [Sided(rest=('*left/right', 'in'), left=True)]
    >>> list(sides_of("OUTR", words)), list(sides_of("OUT", words)), list(sides_of("/left/IN_R", words))
    ([Sided(rest=('out*l/r',), left=False)], [], [])
    """
    tokens = tuple(_TOKEN.findall(name[:_MOST_LETTERS].lower()))
    told = [words[token][0] for token in tokens if token in words]
    if told:
        if len(set(told)) == 1:
            yield Sided(tuple(f"*{words[t][1]}" if t in words else t for t in tokens), told[0])
        return
    for at, token in enumerate(tokens):
        if len(token) >= _LEAST_LETTERS and token[-1] in words:
            left, pair = words[token[-1]]
            yield Sided((*tokens[:at], f"{token[:-1]}*{pair}", *tokens[at + 1 :]), left)


def pairs_by_side(names: Mapping[str, str], words: Mapping[str, tuple[bool, str]]) -> list[tuple[str, str]]:
    """Keys of things whose names differ in the side only, the left one first; a name that several have tells nothing.

    Args:
        names: key -> name.

    >>> pairs_by_side({"a": "IN_L", "b": "IN_R", "c": "OUT"}, side_words(["L/R"]))
    [('a', 'b')]
    """
    found: dict[tuple[str, ...], tuple[list[str], list[str]]] = {}
    for key, name in names.items():
        for sided in sides_of(name, words):
            found.setdefault(sided.rest, ([], []))[0 if sided.left else 1].append(key)
    return [(left[0], right[0]) for left, right in found.values() if len(left) == 1 and len(right) == 1]
