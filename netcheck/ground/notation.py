"""One word of a value text as a number: 4k7, 0R22, 100n, 474, 25V, 500mA, 1%.

The letter may stand where the decimal mark would (4k7), before the digits (R47) or after them (470R). Source:
IEC 60062, as described in secondary sources. What a letter is worth depends on what is measured: M is mega on a
resistor, and nothing sure on a capacitor.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

NUMBER = r"(?:[0-9]{1,7}(?:[.,][0-9]{1,7})?|\.[0-9]{1,7})"

OHMS, FARADS, HENRIES = "resistance", "capacitance", "inductance"

_SUFFIXED = re.compile(rf"({NUMBER})([A-Za-zΩμ]{{1,10}})")
_INFIXED = re.compile(r"([0-9]{1,4})([A-Za-zΩμ])([0-9]{1,3})([A-Za-zΩμ]{0,4})")
_LEADING = re.compile(r"([A-Za-zμ])([0-9]{1,3})([A-Za-zΩμ]{0,4})")
_BARE = re.compile(NUMBER)
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3}|\.[0-9]{2}0)")
_CODE = re.compile(r"([0-9]{2})([0-9])([JKMGZ]?)")

# Two-digit values of E24, and the 50 of old series. Source: IEC 60063, from memory.
_E24_NUMBERS = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 50, 51, 56, 62, 68, 75, 82, 91)
_E24 = frozenset(str(number) for number in _E24_NUMBERS)

# Tolerance letters as fractions. Source: IEC 60062, from memory. Only those that cannot be anything else where
# they are looked for: F after a capacitance is the farad, A, B and C after a potentiometer are tapers.
TOLERANCES = {"D": 0.005, "F": 0.01, "G": 0.02, "J": 0.05, "K": 0.10, "M": 0.20}


def _ohm_suffixes() -> dict[str, int]:
    units = ("Ω", "ohm", "ohms", "Ohm", "Ohms", "OHM", "OHMS")
    powers = {"": 0, "k": 3, "K": 3, "M": 6, "Meg": 6, "meg": 6, "MEG": 6, "G": 9}
    found = {f"{prefix}{unit}": power for prefix, power in powers.items() for unit in units}
    found |= {prefix: power for prefix, power in powers.items() if prefix}
    found |= {"R": 0, "r": 0, "E": 0, "kR": 3, "KR": 3, "mΩ": -3, "mOhm": -3, "mOhms": -3}
    return found | {"kilohm": 3, "kilohms": 3, "kiloohm": 3, "kiloohms": 3, "megohm": 6, "megohms": 6}


def _farad_suffixes() -> dict[str, int]:
    found = {"F": 0, "m": -3, "mF": -3}
    for letters, power in (("uUμ", -6), ("nN", -9), ("pP", -12)):
        found |= {letter + unit: power for letter in letters for unit in ("", "F", "f", "FD", "fd", "Fd")}
    found |= {"MFD": -6, "mfd": -6, "Mfd": -6, "mFd": -6, "mFD": -6, "microfarad": -6, "nanofarad": -9}
    return found | {"picofarad": -12}


def _henry_suffixes() -> dict[str, int]:
    found = {"H": 0, "m": -3, "mH": -3, "mh": -3}
    for letters, power in (("uUμ", -6), ("nN", -9)):
        found |= {letter + unit: power for letter in letters for unit in ("", "H", "h")}
    return found


SUFFIXES = {OHMS: _ohm_suffixes(), FARADS: _farad_suffixes(), HENRIES: _henry_suffixes()}
_INFIXES = {
    OHMS: {"R": 0, "r": 0, "Ω": 0, "E": 0, "k": 3, "K": 3, "M": 6, "G": 9, "L": -3},
    FARADS: {"m": -3, "u": -6, "U": -6, "μ": -6, "n": -9, "N": -9, "p": -12, "P": -12},
    HENRIES: {"m": -3, "u": -6, "U": -6, "μ": -6, "n": -9, "N": -9},
}
_LEADERS = {
    OHMS: {"R": 0, "K": 3, "k": 3, "M": 6},
    FARADS: {"u": -6, "μ": -6, "n": -9, "p": -12},
    HENRIES: {"u": -6, "μ": -6, "n": -9},
}
# What may follow an infixed value: the unit once more, then one tolerance letter.
_UNIT_TAILS = {OHMS: ("Ω", "ohm", "Ohm", "R"), FARADS: ("F", "f"), HENRIES: ("H", "h")}
_TAIL_LETTERS = {OHMS: "DFGJKM", FARADS: "JKMGZ", HENRIES: "JKM"}
_SUFFIX_LETTERS = {OHMS: "JK", FARADS: "JKMZ", HENRIES: "JKM"}


@dataclass(frozen=True, slots=True)
class Reading:
    """A word that is a number, or nearly: number in base units, or the reason why it is in doubt.

    `letter` is what stands behind the value: a tolerance letter, or on a potentiometer a taper letter.
    """

    number: float | None
    doubt: str | None = None
    letter: str = ""


def scaled(digits: str, power: int) -> float:
    """Decimal digits times a power of ten, rounded once.

    >>> scaled("4,7", -6), scaled(".1", 3)
    (4.7e-06, 100.0)
    """
    return float(f"{digits.replace(',', '.')}e{power}")


def read_word(word: str, measured: str, tapers: str = "") -> Reading | None:
    """A word with a letter that says what the number is worth; None when the word is no such thing.

    Args:
        word: without blanks; micro sign and ohm sign in one form each.
        measured: 'resistance', 'capacitance' or 'inductance'.
        tapers: letters that may stand behind (or before) the value of a potentiometer.

    >>> read_word("4k7", OHMS).number, read_word("u47", FARADS).number, read_word("47R", FARADS)
    (4700.0, 4.7e-07, None)
    >>> read_word("3.3m", OHMS).doubt
    'may be milliohm or megohm'
    """
    if tapers and word[:1] in tapers and (found := read_word(word[1:], measured)) is not None:
        return Reading(found.number, found.doubt, word[0])
    for attempt in (_suffixed, _infixed, _leading):
        if (found := attempt(word, measured, tapers)) is not None:
            return found
    return None


def _suffixed(word: str, measured: str, tapers: str) -> Reading | None:
    match = _SUFFIXED.fullmatch(word)
    if match is None:
        return None
    digits, suffix = match.groups()
    known, letter = SUFFIXES[measured], ""
    if suffix not in known and suffix[:-1] in known and suffix[-1] in (tapers or _SUFFIX_LETTERS[measured]):
        if measured == FARADS and suffix[0] == "M":
            return None
        suffix, letter = suffix[:-1], suffix[-1]
    if suffix in known:
        trouble = _doubtful_digits(digits)
        return Reading(None, trouble) if trouble else Reading(scaled(digits, known[suffix]), None, letter)
    if measured == OHMS and suffix in ("m", "mR", "mohm", "mohms"):
        return Reading(None, "may be milliohm or megohm")
    if measured == FARADS and suffix in ("M", "MF", "mf"):
        return Reading(None, "may be microfarad or millifarad")
    if measured == HENRIES and suffix in ("M", "MH"):
        return Reading(None, "may be microhenry or millihenry")
    return None


def _infixed(word: str, measured: str, tapers: str) -> Reading | None:
    match = _INFIXED.fullmatch(word)
    if match is None or match[2] not in _INFIXES[measured]:
        return None
    whole, letter, part = match[1], match[2], match[3]
    if _doubtful_digits(whole) or (len(part) > 2 and whole != "0"):
        return None
    tail = _tail(match[4], measured, tapers)
    if tail is None:
        return None
    if letter == "E" and whole != "0":
        return Reading(None, f"may be {whole}.{part} ohm or {whole} with {part} zeros")
    return Reading(scaled(f"{whole}.{part}", _INFIXES[measured][letter]), None, tail)


def _leading(word: str, measured: str, tapers: str) -> Reading | None:
    match = _LEADING.fullmatch(word)
    if match is None or match[1] not in _LEADERS[measured]:
        return None
    letter, part = match[1], match[2]
    tail = _tail(match[3], measured, tapers)
    if tail is None:
        return None
    if measured == OHMS and len(part) == 1:
        return Reading(None, "may be a number or the name of a part")
    if letter == "R" and len(part) == 3 and part[0] != "0":
        return Reading(None, f"may be 0.{part} ohm or {part} ohm")
    return Reading(scaled(f"0.{part}", _LEADERS[measured][letter]), None, tail)


def _tail(text: str, measured: str, tapers: str) -> str | None:
    """The tolerance or taper letter at the end, '' for none; None when the tail is not understood."""
    for unit in _UNIT_TAILS[measured]:
        if text.startswith(unit):
            text = text[len(unit) :]
            break
    if text == "" or (len(text) == 1 and text in (tapers or _TAIL_LETTERS[measured])):
        return text
    return None


def _doubtful_digits(digits: str) -> str | None:
    if _THOUSANDS.fullmatch(digits):
        return "may have a decimal mark or a mark between thousands"
    if re.match(r"0[0-9]", digits):
        return "begins with a nought that has no use"
    return None


def read_bare(word: str, measured: str) -> Reading | None:
    """A number without any letter; None when the word is none.

    On a resistor it is ohms, unless it reads as a printed code too (332: 332 ohm or 3.3 kohm). On a capacitor it
    is a code when it can be nothing else (474: 47 and four noughts, in picofarad; third digit 9 means a tenth,
    from memory), else in doubt. Source of the three-digit code: EIA, common practice.

    >>> read_bare("10", OHMS).number, read_bare("474", FARADS).number
    (10.0, 4.7e-07)
    >>> read_bare("470", FARADS).doubt
    'may be 470 pF or the code of 47 pF'
    """
    if measured == FARADS and (match := _CODE.fullmatch(word)) is not None:
        return _capacitor_code(*match.groups())
    if not _BARE.fullmatch(word):
        return None
    if trouble := _doubtful_digits(word):
        return Reading(None, trouble)
    if measured == OHMS:
        return _bare_ohms(word)
    return Reading(None, "has no unit")


def _capacitor_code(first: str, third: str, letter: str) -> Reading:
    if third == "0" and first in _E24:
        return Reading(None, f"may be {first}0 pF or the code of {first} pF")
    if first not in _E24 or third in "08":
        return Reading(None, "has no unit")
    power = -1 if third == "9" else int(third)
    return Reading(scaled(first, power - 12), None, letter)


def _bare_ohms(word: str) -> Reading:
    if len(word) == 3 and word.isdecimal() and word[:2] in _E24 and word[2] in "123456":
        printed = f"{scaled(word[:2], int(word[2])):.0f}"
        return Reading(None, f"may be {word} ohm or the code of {printed} ohm")
    if len(word) == 4 and word.isdecimal() and word[3] != "0":
        printed = f"{scaled(word[:3], int(word[3])):.0f}"
        return Reading(None, f"may be {word} ohm or the code of {printed} ohm")
    return Reading(scaled(word, 0))


_RATING = re.compile(rf"({NUMBER})([A-Za-z=~]{{1,4}})")
_RATING_INFIXED = re.compile(r"([0-9]{1,4})([VvWA])([0-9]{1,2})")
_PERCENT = re.compile(rf"±?({NUMBER})%")
_RATING_UNITS = {
    "rated_volts": {f"{letter}{sort}": 0 for letter in "Vv" for sort in ("", "DC", "AC", "dc", "ac")}
    | {f"{prefix}V{sort}": 3 for prefix in "kK" for sort in ("", "DC", "AC", "dc", "ac")},
    "rated_watts": {"W": 0, "w": 0, "mW": -3},
    "rated_amps": {"A": 0, "a": 0, "mA": -3},
}
_FUSE_SPEED = re.compile(r"(?:FF|TT|[TMF])(?=[0-9])")
_FUSE_BREAKING = re.compile(r"(?<=A)[LHE]?$")
RATING_UNITS = frozenset(unit for units in _RATING_UNITS.values() for unit in units)


def read_rating(word: str) -> tuple[str, float] | None:
    """A rating as (name of the attribute, number in base units); None when the word is none.

    >>> read_rating("25V"), read_rating("6V3"), read_rating("500mA"), read_rating("5%"), read_rating("4k7")
    (('rated_volts', 25.0), ('rated_volts', 6.3), ('rated_amps', 0.5), ('tolerance', 0.05), None)
    """
    if (match := _PERCENT.fullmatch(word)) is not None:
        return "tolerance", scaled(match[1], -2)
    if (match := _RATING_INFIXED.fullmatch(word)) is not None:
        name = {"V": "rated_volts", "W": "rated_watts", "A": "rated_amps"}[match[2].upper()]
        return name, scaled(f"{match[1]}.{match[3]}", 0)
    if (match := _RATING.fullmatch(word)) is not None and not _doubtful_digits(match[1]):
        for name, units in _RATING_UNITS.items():
            if match[2] in units:
                return name, scaled(match[1], units[match[2]])
    return None


def fuse_current(word: str) -> str:
    """The marking of a fuse without its speed in front and its breaking capacity behind.

    Source: IEC 60127 markings, from memory: FF, F, M, T, TT; L, E, H.

    >>> fuse_current("T500mAL"), fuse_current("2A")
    ('500mA', '2A')
    """
    return _FUSE_BREAKING.sub("", _FUSE_SPEED.sub("", word, count=1))
