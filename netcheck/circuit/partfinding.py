"""Finding the record of the part book that a text stands for: type numbers, suffixes, volts in a name, pin-outs."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from types import MappingProxyType

from netcheck.circuit.model import Figure, Record

MOST_LETTERS = 200
MOST_TOKENS = 4

_VOLTS = r"(?P<volts>\d{1,3}V\d?|\d{1,2}\.\d|\d{1,3})"
_SUFFIX = r"(?P<suffix>(?:[A-Z][A-Z0-9]{0,9})?(?:[-.+#][A-Z0-9.+#-]{0,30})?)"
# What may stand before a type inside one text: a distributor's number and a dash.
_DISTRIBUTOR = re.compile(r"^\d{2,4}-(?=[A-Z0-9])")
_MOST_KEPT = 4096
_SEPARATORS = re.compile(r"[\s/_,;:|=&\[\]]+")


@dataclass(frozen=True)
class Pattern:
    """A spelling of a type; its expression is compiled when a token is first held against it, few ever are."""

    expression: str
    literal: int
    record: int

    @property
    def regex(self) -> re.Pattern[str]:
        """The expression, ready."""
        return _compiled(self.expression)


@lru_cache(maxsize=8192)
def _compiled(expression: str) -> re.Pattern[str]:
    return re.compile(expression)


@dataclass(frozen=True)
class Entry:
    """A record with what is needed to recognise it and to fit it to a spelling."""

    record: Record
    grades: Mapping[str, Mapping[str, Figure]]
    volts: tuple[float, ...] = ()
    tolerance: float = 0.0
    suffixes: tuple[str, ...] | None = None
    family: bool = False


@dataclass(frozen=True, eq=False)
class PartBook:
    """All records of a folder. `records` are in the order of files and lines; types with `{volts}` stand once."""

    records: tuple[Record, ...]
    generics: tuple[tuple[str, str, Record], ...]
    entries: tuple[Entry, ...] = ()
    index: Mapping[str, tuple[Pattern, ...]] = field(default_factory=dict)
    _kept: dict[str, Record | None] = field(default_factory=dict, init=False, repr=False)

    def find(self, names: Iterable[str]) -> Record | None:
        """The record that the first of the names with a known type number stands for.

        Args:
            names: texts in order of trust: value, MPN field, library part. What stands in brackets is left out
                ("TCRT5000 (PC817 base)" is no PC817); the first type among the first words counts.

        Returns:
            The record, its figures fitted to suffix and volts, or None.
        """
        for name in names:
            found = self._find(name[:MOST_LETTERS])
            if found is not None:
                return found
        return None

    def generic(self, kind: str, like: str = "") -> Record | None:
        """What any part of a kind is like, with wide ranges; `like` narrows it: 'small', 'power', 'red', 'schottky'.

        Without an entry for `like` the one for the whole kind is given; None when the kind has none.
        """
        by_like = {word: record for of, word, record in self.generics if of == kind}
        return by_like.get(like, by_like.get(""))

    def _find(self, name: str) -> Record | None:
        for token in _tokens(name):
            if token not in self._kept:  # a board has the same type many times
                if len(self._kept) >= _MOST_KEPT:
                    self._kept.clear()
                self._kept[token] = self._match(token)
            found = self._kept[token]
            if found is not None:
                return found
        return None

    def _match(self, token: str) -> Record | None:
        best: tuple[int, int, Record] | None = None
        for spelling in (*self.index.get(token[:2], ()), *self.index.get("", ())):
            match = spelling.regex.fullmatch(token)
            if match is None:
                continue
            entry = self.entries[spelling.record]
            length = match.start("suffix")
            record = _fitted(entry, match)
            if record is not None and (best is None or (length, spelling.literal) > best[:2]):
                best = (length, spelling.literal, record)
        return None if best is None else best[2]


@lru_cache(maxsize=4096)
def _tokens(name: str) -> tuple[str, ...]:
    """The words of a text that may be type numbers, in upper case.

    >>> _tokens("Amplifier_Operational:TL072")
    ('AMPLIFIER', 'OPERATIONAL', 'TL072')
    >>> _tokens("µA741CN (old stock)")
    ('UA741CN',)
    """
    text = unicodedata.normalize("NFKC", name.replace("µ", "u").replace("μ", "u")).upper()
    before = text.split("(")[0]
    words = [_DISTRIBUTOR.sub("", word, count=1) for word in _SEPARATORS.split(before) if word]
    words = words[:MOST_TOKENS]
    # "NE 5532": letters and figures of one type, written apart.
    if len(words) > 1 and words[0].isalpha() and len(words[0]) <= 4 and words[1][:1].isdigit():
        return (words[0] + words[1], *words)
    return tuple(words)


def _fitted(entry: Entry, match: re.Match[str]) -> Record | None:
    """The record with the figures that suffix and volts of a spelling stand for; None when they do not fit."""
    suffix = match["suffix"].lstrip("-")
    if entry.suffixes is not None and suffix and not suffix.startswith(entry.suffixes or ("\0",)):
        return None
    record, figures = entry.record, dict(entry.record.figures)
    grade = max((grade for grade in entry.grades if suffix.startswith(grade)), key=len, default=None)
    if grade is not None:
        figures |= entry.grades[grade]
    if grade is not None or entry.family:
        name = match.string[: match.start("suffix")] if entry.family else record.name
        record = replace(record, name=name, figures=MappingProxyType(figures))
    written = match.groupdict().get("volts")
    if written is None:
        return record
    volts = _read_volts(written)
    if volts is None or volts not in entry.volts:
        return None
    name = {"zener": "zener_volts", "surge diode": "reverse_volts_most"}.get(record.kind, "output_volts")
    spread = volts * entry.tolerance
    figures[name] = Figure(volts - spread, volts + spread, source=record.source, status="memory")
    sign = -1.0 if record.polarity == "negative" else 1.0
    return replace(
        record,
        name=record.name.replace("{volts}", written),
        figures=MappingProxyType(figures),
        output=sign * volts if name == "output_volts" else record.output,
    )


def _read_volts(written: str) -> float | None:
    """Volts as they stand in a type number.

    >>> _read_volts("05"), _read_volts("5V1"), _read_volts("3.3"), _read_volts("12V")
    (5.0, 5.1, 3.3, 12.0)
    """
    try:
        return float(written.replace("V", "."))
    except ValueError:
        return None


def pinout_for(record: Record, package: str, numbers: Iterable[str]) -> Mapping[str, tuple[str, str]] | None:
    """The pin-out of a record that fits a part: by its package, else by its count of pins, else None.

    Args:
        package: 'TO-220', 'SOT-223', 'DIP-8', … or ''.
        numbers: pin numbers that the part has in the file or in its library.

    Returns:
        number -> (role, unit letter). A pad without a role in the book (a heat tab) is left out.
    """
    present = set(numbers)
    wanted = package.upper()
    count = int(tail[1]) if (tail := re.search(r"-(\d{1,3})$", wanted)) and wanted.count("-") >= _dashes(wanted) else 0
    for name, pins in record.pinouts.items():
        if wanted == name.upper() or (wanted.startswith(name.upper() + "-") and count in (len(pins), len(pins) + 1)):
            return pins
    by_count = [(int(name.split()[0]), pins) for name, pins in record.pinouts.items() if name.endswith(" pins")]
    largest = max((int(number) for number in present if number.isdecimal() and len(number) < 4), default=0)
    for size, pins in by_count:
        if count in (size, size + 1) or (not count and size - 2 < largest <= size + 1):
            return pins
    return _agreed(record, present) if not wanted else None


def _dashes(package: str) -> int:
    """How many dashes a package name has when a count of pins ends it: SOIC-8 one, TO-220-5 and SOT-23-5 two."""
    return 2 if package.startswith(("TO-", "SOT-")) else 1


def _agreed(record: Record, present: set[str]) -> Mapping[str, tuple[str, str]] | None:
    """The pin-out of a part whose package the file does not name: only when all of that count are the same."""
    fits = [pins for name, pins in record.pinouts.items() if not name.endswith(" pins") and present == set(pins)]
    return fits[0] if fits and all(dict(pins) == dict(fits[0]) for pins in fits) else None


def pattern(text: str, record: int) -> Pattern:
    """A spelling as a pattern. A type that ends in a digit must not be followed by one.

    >>> bool(pattern("TL072", 0).regex.fullmatch("TL072CDR")), bool(pattern("TL072", 0).regex.fullmatch("TL0720"))
    (True, False)
    """
    body = re.escape(text).replace(r"\{volts\}", _VOLTS).replace(r"\#", r"\d")
    literal = len(text.replace("{volts}", "").replace("#", ""))
    return Pattern(body + _SUFFIX, literal, record)
