"""What a designer writes as the value of a part: 4k7, 0R22, 47uF/25V, 2k2 1%, 100k log, DNP.

A text is cut into words; each word must be understood or be a remark that cannot change the number. What may mean
two things is in doubt: a doubt costs a question, a wrong number costs a board.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache

from netcheck.ground.names import plain
from netcheck.ground.notation import (
    FARADS,
    HENRIES,
    OHMS,
    RATING_UNITS,
    SUFFIXES,
    TOLERANCES,
    Reading,
    fuse_current,
    read_bare,
    read_rating,
    read_word,
)

MOST_LETTERS = 200


@dataclass(frozen=True, slots=True)
class PartValue:
    """The reading of a value text.

    Attributes:
        text: as written.
        number: ohms, farads or henries by the kind of the part; None when it has none or it is in doubt.
        doubt: why number is None though the kind wants one; a clause without the reference: "the value 'TBD'
            is not a number", "the value '3.3m' may be milliohm or megohm". None when there is no doubt.
        tolerance: as a fraction, 0.01 for 1 %. rated_volts, rated_watts, rated_amps: as stated, base units.
        dielectric: 'C0G', 'X7R', 'film', 'electrolytic', … as stated, upper case for class codes.
        taper: 'linear', 'log', 'antilog', or 'letter A' where only a letter is given (makers differ).
        not_fitted: the text says that the part is left out (DNP, NF, "not fitted", …).
    """

    text: str
    number: float | None = None
    doubt: str | None = None
    tolerance: float | None = None
    rated_volts: float | None = None
    rated_watts: float | None = None
    rated_amps: float | None = None
    dielectric: str | None = None
    taper: str | None = None
    not_fitted: bool = False


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# What the number of a kind measures. A ferrite has none: 1k@100MHz is an impedance at one frequency, neither the
# resistance nor the inductance that a circuit sees.
MEASURED = {
    "resistor": OHMS,
    "potentiometer": OHMS,
    "trimmer": OHMS,
    "resistor network": OHMS,
    "thermistor": OHMS,
    "photoresistor": OHMS,
    "capacitor": FARADS,
    "inductor": HENRIES,
}
_MAY_HAVE_OHMS = frozenset({"link", "loudspeaker"})
_RATED = frozenset({"fuse", "zener", "diode", "bridge", "surge diode", "ferrite", "inductor", "battery"})
_VARIABLE = frozenset({"potentiometer", "trimmer"})
_GANGED = frozenset({"potentiometer", "resistor network"})
_STATED_AT = frozenset({"thermistor", "photoresistor", "ferrite"})

_TAPERS = "ABCF"
_TAPER_WORDS = {"lin": "linear", "linear": "linear", "log": "log", "logarithmic": "log", "audio": "log"}
_TAPER_WORDS |= {"antilog": "antilog", "revlog": "antilog"}
_FILM = "film foil polyester polypropylene polycarbonate polystyrene styroflex mylar pet pp ps pps pen"
_DIELECTRIC_WORDS = dict.fromkeys(_words(_FILM), "film")
_DIELECTRIC_WORDS |= dict.fromkeys(_words("electrolytic elko elco elec electro alu aluminium aluminum"), "electrolytic")
_DIELECTRIC_WORDS |= dict.fromkeys(_words("tantalum tantal tant"), "tantalum")
_DIELECTRIC_WORDS |= {"polymer": "polymer", "ceramic": "ceramic", "mlcc": "ceramic", "mica": "mica", "npo": "C0G"}
# Class codes of ceramics: EIA-198, from memory.
_CLASS_CODE = re.compile(r"X[5-8][RSTL]|Y5[VU]|Z5[UV]|U2J|C0G|COG|NP0|NPO")
_FILM_SERIES = re.compile(r"(?:MK[STPC]|FK[SPC])[0-9]{0,2}")

_OMITTED = frozenset({"dnp", "dnf", "dni"})
_OMITTED_PASSIVE = frozenset({"dnm", "dns", "dnl", "nopop", "nofit", "nostuff", "nomount"})
_OMITTED_ADJECTIVES = frozenset({"unpopulated", "unfitted", "unmounted"})
_OMITTED_PHRASE = re.compile(
    r"\bnot (?:to be )?(?:fitted|mounted|populated|placed|installed|stuffed|assembled)\b"
    r"|\b(?:do not|dont) (?:fit|mount|populate|place|install|stuff|assemble)\b"
    r"|\bno (?:pop|fit|stuff|load|mount)\b"
)
_CONDITION = _words("if unless when for only except in on option optional version variant rev or default")

# Words beside a number that may change what it means, or what is fitted.
_UNSURE_IN_BRACKETS = _words(
    "or oder nicht tbd tba todo opt option optional select selected sot aot approx ca circa about not no nc np nm nom "
    "parallel series par ser was instead replaced versus vs"
)
_LEFT_OUT = frozenset({"np", "nc", "nm"})
_UNSURE = _UNSURE_IN_BRACKETS | _words(
    "to and per times each total see min max typ kilo mega meg milli micro nano pico kilohm megohm trim adj adjust "
    "var variable k m u n p g r e f h v w l x z q"
)
_HARMLESS_LETTERS = frozenset({"J", "K", "M"})  # tolerance letters that stand alone behind a complete value

_CASE_SIZE = _words("01005 0201 0402 0603 0805 1206 1210 1806 1808 1812 2010 2220 2512")
_REMARK = re.compile(
    r"[0-9]{1,3}(?:\.[0-9]{1,2})?(?:mm|°C|ppm|C)|[0-9]{3,5}h"
    r"|(?:[5-9]|[1-9][0-9])(?:\.[0-9]{1,2})?x[0-9]{1,2}(?:\.[0-9]{1,2})?(?:mm)?"
)
_SAFETY_CLASS = frozenset({"X1", "X2", "X3", "Y1", "Y2", "Y3", "Y4", "X1Y1", "X1Y2", "X2Y2"})
_BETA = re.compile(r"B[0-9]{4}K?")

_SIGN_OF_DOUBT = re.compile(r"[?*|\\{}\[\]<>=~≈#&$!^`\"':+…×•÷±]|//|\.\.")
_STRAY_SIGN = re.compile(r"(?:^|[\s/;(_,-])[-,](?=\s*[0-9.,])")
_FRACTION = re.compile(r"(?:(?<=[\s/,;_(-])|^)([13])/([0-9]{1,2})\s?[wW](?=$|[\s/,;_)-])")
_FRACTIONS = frozenset({(1, 2), (1, 3), (1, 4), (1, 6), (1, 8), (1, 10), (1, 16), (1, 20), (3, 4)})
_CUT = re.compile(r"([\s;/_-]+|,(?![0-9])|(?<![0-9]),)")
_BRACKETS = re.compile(r"\(([^()]*)\)")
_WORD = re.compile(r"[^\W\d_][^\W\d_.']*\.?(?:[^\W\d_]\.?){0,3}")
_PURE_NUMBER = re.compile(r"[0-9.,]+")
_COMPATIBILITY = re.compile(r"<(?:super|sub|circle|compat)>")


@lru_cache(maxsize=8192)
def read_part_value(text: str, kind: str) -> PartValue:
    """What a value text says about a part of a kind.

    Args:
        text: as the netlist has it, of any length.
        kind: of `circuit.model.KINDS`; it decides what is measured, so also whether M is mega.

    Returns:
        The reading. It never guesses: number is None and doubt says why when the text may mean two things.

    >>> read_part_value("4k7", "resistor").number, read_part_value("47uF/25V", "capacitor").rated_volts
    (4700.0, 25.0)
    >>> read_part_value("TBD", "resistor").doubt
    "the value 'TBD' is not a number"
    >>> read_part_value("1m", "resistor").doubt
    "the value '1m' may be milliohm or megohm"
    >>> read_part_value("NE5532", "opamp")
    PartValue(text='NE5532', number=None, doubt=None, tolerance=None, rated_volts=None, rated_watts=None, \
rated_amps=None, dielectric=None, taper=None, not_fitted=False)
    """
    measured = MEASURED.get(kind, OHMS if kind in _MAY_HAVE_OHMS else "")
    wants = kind in MEASURED
    if len(text) > MOST_LETTERS:
        return PartValue(text, doubt=f"the value has more than {MOST_LETTERS} letters" if wants else None)
    found = _Findings(kind, measured)
    normal = _normal(text)
    if normal is None:
        found.doubts.append("holds raised, lowered or circled figures")
    else:
        _read_all(normal, found)
    return _conclude(text, found, wants)


@dataclass
class _Findings:
    """What the words of one text gave, while they are read."""

    kind: str
    measured: str
    numbers: list[Reading] = field(default_factory=list)
    bare: bool = False
    words: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    ratings: dict[str, set[float]] = field(default_factory=dict)
    dielectrics: set[str] = field(default_factory=set)
    tapers: set[str] = field(default_factory=set)
    taper_letters: set[str] = field(default_factory=set)
    unread: bool = False
    omitted: bool = False

    def rate(self, name: str, number: float) -> None:
        """Keep a rating; two that differ make none."""
        if number > 0:
            self.ratings.setdefault(name, set()).add(number)

    def rating(self, name: str) -> float | None:
        """The rating, when it is one."""
        numbers = self.ratings.get(name, set())
        return next(iter(numbers)) if len(numbers) == 1 else None


def _normal(text: str) -> str | None:
    """One form for each letter (both micro signs, both ohm signs, full width); None for 10² and its like."""
    letters = []
    for letter in text:
        sort = unicodedata.decomposition(letter)
        if "<fraction>" in sort:
            letters.append(" " + unicodedata.normalize("NFKC", letter).replace("⁄", "/"))
        elif letter in "µ" or not _COMPATIBILITY.match(sort):
            letters.append(unicodedata.normalize("NFKC", letter))
        else:
            return None
    normal = "".join(letters).replace("−", "-").replace("º", "°")
    normal = re.sub(r"\+\s?/\s?-|\+-", "±", normal)
    return re.sub(r"\s*±\s*(?=[0-9.,]+\s?%)", " ±", normal).strip()


def _read_all(text: str, found: _Findings) -> None:
    """Read the words outside the brackets, then those inside."""
    inside = _BRACKETS.findall(text)
    outside = _BRACKETS.sub(" ", text)
    if "(" in outside or ")" in outside:
        found.doubts.append("has a bracket without its partner")
    if found.kind in _STATED_AT:
        outside = outside.partition("@")[0]
    outside = outside.strip()
    if found.kind == "fuse":  # T2AL250V: 2 A, low breaking capacity, 250 V
        outside = re.sub(r"(?<=[0-9]A)[LHE]?(?=[0-9])", " ", outside)
    if found.kind in _GANGED:  # 2x10k: two gangs, or an array, of ten kilohm each
        outside = re.sub(r"^[2-9] ?[x×] ?(?=[0-9])", "", outside)
    whole = re.sub(r"±(?=[0-9.,]+\s?%)", "", outside)
    if (sign := _SIGN_OF_DOUBT.search(whole)) is not None or (sign := re.search("@", whole)) is not None:
        found.doubts.append(f"holds '{sign[0]}'")
    if whole.strip("-,;/_") != whole:
        found.doubts.append("begins or ends in the middle")
    if _STRAY_SIGN.search(whole):
        found.doubts.append("has a sign or a comma before a figure")
    outside = _take_fractions(outside, found)
    for place, word in enumerate(_words_of(outside, found.measured)):
        _read_one(word, found, first=place == 0)
    for remark in inside:
        _read_remark(remark, found)
    _read_omission(found, "?" in text)


def _take_fractions(text: str, found: _Findings) -> str:
    """Take 1/4W and its like out; '1 1/2W' may be one ohm, or one and a half watts."""

    def take(match: re.Match[str]) -> str:
        over, under = int(match[1]), int(match[2])
        if (over, under) not in _FRACTIONS:
            return match[0]
        found.rate("rated_watts", over / under)
        if re.search(r"(?:^|\s)[0-9]\s*$", text[: match.start()]):
            found.doubts.append(f"may end in '{match[0]}' or in more watts")
        return " "

    return _FRACTION.sub(take, text)


def _words_of(text: str, measured: str) -> Iterator[str]:
    """Words between separators; a number and a unit with a blank between them are one word: '10 k ohm'."""
    pieces = _CUT.split(text)
    words, gaps = pieces[::2], pieces[1::2]
    units = SUFFIXES.get(measured, {}).keys() | RATING_UNITS | {"%"}
    if measured == OHMS:
        units = units | {"m"}
    at = 0
    while at < len(words):
        word, suffix = words[at], ""
        if _PURE_NUMBER.fullmatch(word.lstrip("±")):
            while at + 1 < len(words) and gaps[at].isspace() and suffix + words[at + 1] in units:
                at += 1
                suffix += words[at]
        at += 1
        if word:
            yield word + suffix


def _read_one(word: str, found: _Findings, first: bool) -> None:
    """Put one word where it belongs."""
    if found.kind == "fuse":
        word = fuse_current(word)
    if (rating := read_rating(word)) is not None:
        found.rate(*rating)
        return
    if _is_property(word, found) or _REMARK.fullmatch(word):
        return
    tapers = _TAPERS if found.kind in _VARIABLE else ""
    if found.measured and (reading := read_word(word, found.measured, tapers)) is not None:
        found.numbers.append(reading)
        if tapers and reading.letter:
            found.taper_letters.add(reading.letter)
        return
    if word in _CASE_SIZE and found.numbers and not found.bare:
        return
    if found.measured and found.kind != "loudspeaker" and (reading := read_bare(word, found.measured)) is not None:
        found.numbers.append(reading)
        found.bare = True
        if not first:
            found.doubts.append("has a number without a unit behind other words")
    elif _WORD.fullmatch(word):
        found.words.append(word)
    else:
        found.unread = True
        found.doubts.append(_unread(word, found.measured))


def _unread(word: str, measured: str) -> str:
    """Why a word with figures in it is not understood."""
    others = [name for name in (OHMS, FARADS, HENRIES) if name != measured and measured]
    fits = [name for name in others if (reading := read_word(word, name)) is not None and reading.number is not None]
    if len(fits) == 1:
        return f"gives {_article(fits[0])} {fits[0]}, not {_article(measured)} {measured}"
    return "is not a number"


def _article(noun: str) -> str:
    return "an" if noun[0] in "aeiou" else "a"


def _is_property(word: str, found: _Findings) -> bool:
    """Take a dielectric, a taper or another named property; no when the word is none."""
    if found.kind == "capacitor":
        dielectric = _dielectric(word)
        if dielectric:
            found.dielectrics.add(dielectric)
        return bool(dielectric) or word in _SAFETY_CLASS
    if found.kind in _VARIABLE:
        if word.lower() in _TAPER_WORDS:
            found.tapers.add(_TAPER_WORDS[word.lower()])
            return True
        if len(word) == 1 and word in _TAPERS:
            found.taper_letters.add(word)
            return True
        if word.lower() in ("rev", "reverse", "inverse", "anti"):
            found.tapers.add("reversed")
            return True
        return word.lower() in ("trim", "adj", "adjust", "var", "variable")
    return found.kind == "thermistor" and bool(_BETA.fullmatch(word))


def _dielectric(word: str) -> str | None:
    upper = word.upper()
    if _CLASS_CODE.fullmatch(upper):
        return "C0G" if upper in ("C0G", "COG", "NP0", "NPO") else upper
    if _FILM_SERIES.fullmatch(upper):
        return "film"
    return _DIELECTRIC_WORDS.get(word.lower())


def _read_remark(remark: str, found: _Findings) -> None:
    """What stands in brackets: ratings and properties count, a further number puts the first in doubt."""
    remark = _take_fractions(remark, found)
    for word in _words_of(remark, found.measured):
        lower = word.lower().replace(".", "")
        if (rating := read_rating(word)) is not None:
            found.rate(*rating)
        elif lower == "audio" or _is_property(word, found):
            continue
        elif found.measured and (read_word(word, found.measured) or read_bare(word, found.measured)):
            found.doubts.append("has a further number in brackets")
        elif lower in _UNSURE_IN_BRACKETS and not _OMITTED_PHRASE.search(remark.lower()):
            found.doubts.append(f"has '{word}' in brackets")
        else:
            found.words.append(f"({word}")


def _read_omission(found: _Findings, asked: bool) -> None:
    """Whether the words say that the part is left out, and whether they say it under a condition."""
    words = [word.lstrip("(").replace(".", "").replace("'", "") for word in found.words]
    lower = [word.lower() for word in words]
    spoken = " ".join(lower)
    passive = bool(found.measured)
    short = _OMITTED | (_OMITTED_PASSIVE if passive else frozenset())
    phrase = _OMITTED_PHRASE.search(spoken)
    by_letters = passive and "NF" in words
    found.omitted = bool(phrase) or by_letters or any(word in short or word in _OMITTED_ADJECTIVES for word in lower)
    if found.omitted and (asked or any(word in _CONDITION for word in lower)):
        found.omitted = False
        found.doubts.append("says that the part may be left out")
    elif found.omitted and phrase:
        found.words = [word for word in found.words if word.lower().lstrip("(") not in phrase[0].split()]


def _conclude(text: str, found: _Findings, wants: bool) -> PartValue:
    """The reading, once all words are taken."""
    number, trouble = _number(found)
    if not text.strip() or text.strip() == "~":
        doubt = "no value is given"
    elif trouble:
        doubt = f"the value '{plain(text, 60)}' {trouble}"
    else:
        doubt = ""
    # Beside a type number a rating may be part of it: B80C3700-2200A is no bridge for 2200 A.
    rated = (bool(found.measured) or found.kind in _RATED) and not found.unread
    return PartValue(
        text=text,
        number=number,
        doubt=doubt if doubt and wants and not found.omitted else None,
        tolerance=(found.rating("tolerance") or _letter_tolerance(found, number)) if rated else None,
        rated_volts=found.rating("rated_volts") if rated else None,
        rated_watts=found.rating("rated_watts") if rated else None,
        rated_amps=found.rating("rated_amps") if rated else None,
        dielectric=next(iter(found.dielectrics)) if len(found.dielectrics) == 1 else None,
        taper=_taper(found),
        not_fitted=found.omitted,
    )


def _number(found: _Findings) -> tuple[float | None, str]:
    """The one number, or why there is none."""
    if not found.measured:
        return None, ""
    if len(found.numbers) > 1:
        return None, "holds more than one number"
    if left_out := next((word for word in found.words if word.lower().replace(".", "") in _LEFT_OUT), ""):
        return None, _may_be_left_out(left_out)
    if found.doubts:
        first = found.numbers[0].doubt if found.numbers else None
        return None, first or found.doubts[0]
    if not found.numbers:
        return None, "is not a number"
    reading = found.numbers[0]
    if reading.number is None:
        return None, reading.doubt or "is not a number"
    for word in found.words:
        if trouble := _troubled_by(word, found):
            return None, trouble
    if reading.number == 0 and found.measured != OHMS:
        return None, "is nought"
    return reading.number, ""


def _may_be_left_out(word: str) -> str:
    return f"has '{word}', which may say that the part is left out"


def _troubled_by(word: str, found: _Findings) -> str:
    """Why a word beside the number puts it in doubt; '' when it does not."""
    lower = word.lower().replace(".", "")
    if word in _HARMLESS_LETTERS and found.measured in (OHMS, FARADS) and not found.bare:
        return ""
    if word.startswith("("):
        return "has words in brackets behind a number without a unit" if found.bare and not found.omitted else ""
    if lower in _LEFT_OUT:
        return _may_be_left_out(word)
    if lower in _UNSURE:
        return f"has '{word}' beside the number"
    if word != "Ω" and not all(unicodedata.name(letter, "").startswith("LATIN") for letter in lower if letter != "'"):
        return f"has '{plain(word, 20)}', which is not understood"
    if found.bare and not found.omitted and lower not in _OMITTED_ADJECTIVES:
        return f"has no unit, and '{word}' beside the number"
    return ""


def _letter_tolerance(found: _Findings, number: float | None) -> float | None:
    """The tolerance that a letter behind the number gives; on a potentiometer the letter is a taper."""
    if number is None or found.kind in _VARIABLE:
        return None
    letters = {word for word in found.words if word in _HARMLESS_LETTERS} | {found.numbers[0].letter}
    letters.discard("")
    return TOLERANCES.get(letters.pop()) if len(letters) == 1 else None


def _taper(found: _Findings) -> str | None:
    if found.tapers in ({"antilog"}, {"reversed", "log"}, {"reversed", "antilog"}):
        return "antilog"
    if len(found.tapers) == 1 and "reversed" not in found.tapers:
        return next(iter(found.tapers))
    if not found.tapers and len(found.taper_letters) == 1:
        return f"letter {next(iter(found.taper_letters))}"
    return None
