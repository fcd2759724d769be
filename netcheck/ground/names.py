"""Names of things: their natural order, and the right name nearest to a wrong one."""

from __future__ import annotations

import difflib
import fnmatch
import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache

_DIGITS = re.compile(r"(\d+)")


@lru_cache(maxsize=50_000)
def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key under which R2 comes before R10.

    >>> sorted(["R10", "R2", "C1"], key=natural_key)
    ['C1', 'R2', 'R10']
    """
    return tuple(
        (0, int(piece), piece) if piece.isdecimal() else (1, 0, piece) for piece in _DIGITS.split(name) if piece
    )


def alike(text: str, *patterns: str) -> bool:
    """Whether a text is like one of some patterns: `*` stands for any text, letter case does not count.

    >>> alike("Tbd 5", "tbd*", "todo*"), alike("4k7", "tbd*", "todo*")
    (True, False)
    """
    return _together(patterns).match(text.lower()) is not None


@lru_cache(maxsize=500)
def _together(patterns: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile("|".join(fnmatch.translate(pattern.lower()) for pattern in patterns) or r"(?!)")


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that is most like a wrong one, or None when none is like it.

    >>> nearest("consequense", ["cure", "consequence"])
    'consequence'
    """
    choices = list(known)
    exact = [choice for choice in choices if choice.lower() == name.lower()]
    found = exact or difflib.get_close_matches(name, choices, n=1, cutoff=0.6)
    return found[0] if found else None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """A clause to end a message with: the nearest name, or the whole list when it is short.

    >>> did_you_mean("pass", ["finding", "clear"])
    '; it is one of: clear, finding'
    >>> did_you_mean("fnding", ["finding", "clear"])
    "; did you mean 'finding'?"
    """
    choices = sorted(known, key=natural_key)
    near = nearest(name, choices)
    if near is not None:
        return f"; did you mean '{near}'?"
    if 0 < len(choices) <= 12:
        return f"; it is one of: {', '.join(choices)}"
    return ""


def plain(text: str, most: int = 200) -> str:
    """Text from a file, fit to be shown: control and direction marks made visible, length bounded.

    >>> plain("R1\\u202e\\n")
    'R1<U+202E><U+000A>'
    """
    if len(text) <= most and text.isprintable():  # nothing of those sorts, and by far the most frequent
        return text
    shown = "".join(
        f"<U+{ord(letter):04X}>" if unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp") else letter
        for letter in text[: most + 1]
    )
    return shown if len(text) <= most else shown[:most] + "…"


def spoken_list(items: Iterable[str], most: int = 6) -> str:
    """Items as a person lists them, six at most; "none" for an empty list.

    >>> spoken_list(["C1", "C2", "C3"])
    'C1, C2 and C3'
    >>> spoken_list([])
    'none'
    """
    words = list(items)
    if not words:
        return "none"
    if len(words) > most:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    if len(words) == 1:
        return words[0]
    return f"{', '.join(words[:-1])} and {words[-1]}"
