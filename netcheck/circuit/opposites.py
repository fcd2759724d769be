"""Names that say the opposite of each other: OUT_L and OUT_R, L_pow+ and L_pow-."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

_TOKEN = re.compile(r"[^\W\d_]+|\d+|[+-]")
_MOST_LETTERS = 80


def tokens(name: str) -> tuple[str, ...]:
    """The words, numbers and signs of a name, folders of its sheet left out.

    >>> tokens("/amp/L_pow+"), tokens("OUT1-R")
    (('l', 'pow', '+'), ('out', '1', '-', 'r'))
    """
    return tuple(_TOKEN.findall(name[:_MOST_LETTERS].rsplit("/", 1)[-1].lower()))


def pairs_of(texts: Iterable[str]) -> Mapping[str, frozenset[str]]:
    """Pairs as rules write them, 'left/right', each word with its opposites.

    >>> sorted(pairs_of(["l/r", "left/right"])["left"])
    ['right']
    """
    found: dict[str, frozenset[str]] = {}
    for text in texts:
        one, _, other = (half.strip() for half in text.lower().partition("/"))
        if one and other:
            found[one] = found.get(one, frozenset()) | {other}
            found[other] = found.get(other, frozenset()) | {one}
    return found


def opposed(one: str, other: str, pairs: Mapping[str, frozenset[str]]) -> bool:
    """Whether two names are alike but for one word, in whose place the other has its opposite.

    A letter may also stand at the end of a word: OUTL and OUTR.

    >>> pairs = pairs_of(["l/r", "+/-"])
    >>> opposed("L_pow+", "/amp/L_pow-", pairs), opposed("OUTL", "OUTR", pairs), opposed("INL", "OUTR", pairs)
    (True, True, False)
    """
    ours, theirs = tokens(one), tokens(other)
    differing = [(a, b) for a, b in zip(ours, theirs, strict=False) if a != b]
    if len(ours) != len(theirs) or len(differing) != 1:
        return False
    a, b = differing[0]
    if b in pairs.get(a, frozenset()):
        return True
    return len(a) > 2 and a[:-1] == b[:-1] and b[-1] in pairs.get(a[-1], frozenset())


def sided(name: str, pairs: Mapping[str, frozenset[str]]) -> bool:
    """Whether a name holds a word that has an opposite.

    >>> sided("OUT_L", pairs_of(["l/r"])), sided("OUT", pairs_of(["l/r"]))
    (True, False)
    """
    return any(token in pairs for token in tokens(name))
