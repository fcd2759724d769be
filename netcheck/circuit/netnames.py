"""What the name of a net says: a rail of +12 V, a ground, earth, a bias, an alternating voltage, or nothing.

A name is a hint, never a potential: what else is on the net has the last word (`rails`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from netcheck.circuit.words import MOST_NAME, Words
from netcheck.ground.quantities import PartValue

# A sign or none, volts as 12V, 3V3, 3.3V, 3.3 or 12VDC, and what follows.
_VOLTS = (
    r"(?P<sign>[+-]?)(?P<whole>\d{1,4})"
    r"(?:V(?P<part>\d{1,3})|\.(?P<point>\d{1,3})(?P<mark>V|_?VOLTS?)?|(?P<unit>V|_?VOLTS?))?"
)
_AT_START = re.compile(_VOLTS + r"(?P<tail>.*)", re.IGNORECASE | re.DOTALL)
# Inside a name a hyphen after a letter joins two words and is no sign.
_INSIDE = re.compile(
    r"(?<![0-9.])" + _VOLTS.replace("[+-]?", r"(?:\+|(?<![A-Z0-9])-)?", 1) + r"(?P<tail>[A-Z]{0,2})(?![A-Z0-9])",
    re.IGNORECASE,
)
_SIGN_WORDS = re.compile(r"(?P<word>PLUS|POS|MINUS|NEG|P|N)_?(?=\d{1,3}V)", re.IGNORECASE)
_NO_DIRECT = re.compile(r"_?(?:PP|P-P|AC|RMS|PK)", re.IGNORECASE)
_DIRECT = re.compile(r"DC|[A-Z]?$|[-_ ]", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class NetName:
    """A reading of a net's name.

    Attributes:
        says: 'rail', 'ground', 'earth', 'chassis', 'bias', 'alternating', 'no rail' or ''.
        sure: the name alone is enough to believe it.
        sign: 'positive', 'negative', 'lowest' or ''. volts: with its sign, or None. low, high: where implied.
    """

    says: str = ""
    sure: bool = False
    sign: str = ""
    volts: float | None = None
    low: float | None = None
    high: float | None = None


_NOTHING = NetName()


def read_net_name(name: str, words: Words) -> NetName:
    """What a net's name says; the last piece of a path of sheets counts.

    Args:
        name: as the designer gave it; '' for none.
        words: patterns of names and the limits for numbers in them.
    """
    leaf = name[:MOST_NAME].rstrip("/").rsplit("/", 1)[-1].strip()
    leaf = leaf.replace("~{", "").replace("}", "").replace("{slash}", "/")
    if not leaf:
        return _NOTHING
    if words.net_word("alternating", leaf):
        return NetName("alternating")
    for group, says in (("earths", "earth"), ("chassis", "chassis"), ("biases", "bias"), ("grounds", "ground")):
        word = words.net_word(group, leaf)
        if word is not None and not (says == "ground" and words.net_word("no grounds", leaf)):
            return NetName(says, word.sure)
    if words.net_word("no rails", leaf):
        return NetName("no rail")
    number = _number_name(leaf, words)
    word = words.net_word("rails", leaf)
    if number.sure or word is None:
        return number
    if number.says and not word.sure:
        return NetName("rail", False, number.sign or word.sign, number.volts)
    return NetName("rail", word.sure, word.sign, word.volts, word.low, word.high)


def _number_name(leaf: str, words: Words) -> NetName:
    """A name with volts in it: sure with a sign or with the number in front, otherwise a hint."""
    spelled = _SIGN_WORDS.match(leaf)
    if spelled:
        leaf = ("-" if spelled["word"].upper() in ("MINUS", "NEG", "N") else "+") + leaf[spelled.end() :]
    match = _AT_START.fullmatch(leaf)
    if match and _NO_DIRECT.match(match["tail"]):
        return _NOTHING
    if match and _believable(match, words):
        return _rail(match, sure=bool(match["sign"]) or _DIRECT.match(match["tail"]) is not None)
    for inside in _INSIDE.finditer(leaf):
        if not _NO_DIRECT.match(leaf[inside.start("tail") :]) and _believable(inside, words) and _has_unit(inside):
            return _rail(inside, sure=bool(inside["sign"]))
    return _NOTHING


def _has_unit(match: re.Match[str]) -> bool:
    return bool(match["unit"] or match["part"] or match["mark"])


def _believable(match: re.Match[str], words: Words) -> bool:
    volts = _volts(match)
    if not 0 < volts <= words.limit("most volts of a name").value:
        return False
    if _has_unit(match):
        return True
    bare = words.limit("least volts of a bare number").value
    return bool(match["sign"]) and volts >= bare and re.fullmatch(r"[A-Z]{0,2}\d?", match["tail"], re.I) is not None


def _volts(match: re.Match[str]) -> float:
    return float(f"{match['whole']}.{match['part'] or match['point'] or '0'}")


def _rail(match: re.Match[str], sure: bool) -> NetName:
    negative = match["sign"] == "-"
    volts = _volts(match)
    return NetName("rail", sure, "negative" if negative else "positive", -volts if negative else volts)


def volts_in_text(text: PartValue | str) -> float | None:
    """The first number of volts in a value text, such as that of a battery; None without one.

    >>> volts_in_text("9V block"), volts_in_text("18650")
    (9.0, None)
    """
    if isinstance(text, PartValue):
        if text.rated_volts is not None:
            return text.rated_volts
        text = text.text
    match = re.search(r"(?<![0-9.])(\d{1,4}(?:[.,]\d{1,3})?)\s?V(?![A-Z0-9])", text[:MOST_NAME], re.IGNORECASE)
    return float(match[1].replace(",", ".")) if match else None
