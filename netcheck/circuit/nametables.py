"""The tables by which parts, pins and connectors are recognised, from rules/names.yaml and rules/pins.yaml.

Patterns are plain: `*` stands for anything, `?` for one character, `[ab]` for one of these. They are checked for kind
and role words when they are read; a mistake is told with its place.
"""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from netcheck.circuit.model import KINDS, PIN_ROLES
from netcheck.circuit.words import Words
from netcheck.ground.names import plain
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.yamltext import Node, Reader, Text

MOST_PATTERN = 60
MOST_STARS = 4
MOST_NAME = 200

# The sections that this module reads, all of them needed.
SECTIONS = (
    "library parts", "type numbers", "values", "libraries", "descriptions", "footprints", "reference letters",
    "alike", "any letters", "symbol decides", "not fitted", "type fields", "polarised capacitors", "power cases",
    "connectors", "pin sets", "pin names", "plain pins", "named terminals", "pin numbers", "standard pin-outs",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Patterns:
    """Patterns of names, as one expression."""

    regex: re.Pattern[str]
    texts: tuple[str, ...]

    def fit(self, name: str) -> bool:
        """Whether a whole name is of one of the patterns; case does not matter.

        >>> patterns(["cp_*", "elko"]).fit("CP_Radial_D5.0mm"), patterns(["cp_*"]).fit("C_0603")
        (True, False)
        """
        return self.regex.fullmatch(name[:MOST_NAME].lower()) is not None


def patterns(texts: Iterable[str]) -> Patterns:
    """Patterns from their texts."""
    found = tuple(texts)
    return Patterns(re.compile("|".join(fnmatch.translate(text.lower()) for text in found) or r"(?!)"), found)


@dataclass(frozen=True, eq=False)
class Named:
    """An entry of a table: what a name of these patterns is."""

    kind: str
    patterns: Patterns


@dataclass(frozen=True, eq=False)
class PinSet:
    """Names of pins that tell a kind: all of them there, and no others when `exactly`."""

    kind: str
    names: frozenset[str]
    exactly: bool


@dataclass(frozen=True, eq=False)
class PinNames:
    """Roles of pins by name for some kinds.

    Attributes:
        roles: by whole names. holding: by what a name holds, where no whole name fits.
        units: whether a figure or letter of a unit may be part of the name.
    """

    kinds: frozenset[str]
    roles: Mapping[str, str]
    holding: Mapping[str, str]
    units: bool


@dataclass(frozen=True, eq=False)
class PinNumbers:
    """Roles of pins by number for some kinds; `count` 0 for any number of pins, `patterns` None for any part."""

    kinds: frozenset[str]
    roles: Mapping[str, tuple[str, str]]
    count: int
    patterns: Patterns | None


@dataclass(frozen=True, eq=False)
class Housing:
    """A sort of connector. `keyed` is None where the plug's housing does not decide or is not known."""

    family: str
    keyed: bool | None
    patterns: Patterns
    by_part: bool


@dataclass(frozen=True, eq=False)
class Letters:
    """What letters of a reference stand for; `usually` is '' where they clash."""

    usually: str
    kinds: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class NotFitted:
    """Words by which a designer leaves a part out, upper case."""

    words: frozenset[str]
    fields_set: frozenset[str]
    fields_fitted: frozenset[str]
    fields_of_words: frozenset[str]
    yes: frozenset[str]
    no: frozenset[str]


@dataclass(frozen=True, eq=False)
class Polarised:
    """How a polarised capacitor shows; the three values in farads, `doubtful_above` for those without a footprint."""

    footprints: Patterns
    symbols: Patterns
    cans: Patterns
    unpolarised: Patterns
    bipolar_words: frozenset[str]
    doubtful_above: float
    can_above: float
    never_below: float


@dataclass(frozen=True, eq=False)
class NameTables:
    """All tables. The order of entries counts: the first that fits wins."""

    library_parts: tuple[Named, ...]
    type_numbers: tuple[Named, ...]
    values: tuple[Named, ...]
    libraries: tuple[Named, ...]
    descriptions: tuple[Named, ...]
    footprints: tuple[Named, ...]
    letters: Mapping[str, Letters]
    alike: tuple[frozenset[str], ...]
    any_letters: frozenset[str]
    symbol_decides: frozenset[str]
    not_fitted: NotFitted
    type_fields: frozenset[str]
    polarised: Polarised
    power_cases: Patterns
    housings: tuple[Housing, ...]
    pin_sets: tuple[PinSet, ...]
    pin_names: tuple[PinNames, ...]
    plain_pins: Mapping[str, str]
    named_terminals: frozenset[str]
    pin_numbers: tuple[PinNumbers, ...]
    pin_outs: Mapping[str, Mapping[str, tuple[str, str]]]

    def near(self, one: str, other: str) -> bool:
        """Whether two kinds are the same or near enough not to contradict each other."""
        return one == other or any(one in kinds and other in kinds for kinds in self.alike)

    def roles_by_name(self, kind: str) -> tuple[PinNames, ...]:
        """The tables of pin names that are for a kind."""
        return tuple(entry for entry in self.pin_names if kind in entry.kinds)


_PIN_NAME = str.maketrans("", "", "~{}_\\/ .")


def pin_name(text: str) -> str:
    """A pin's name as the tables have it.

    >>> pin_name("V_{IN}"), pin_name("~{RESET}"), pin_name("Vin-"), pin_name("_")
    ('VIN', 'RESET', 'VIN-', '-')
    """
    return "-" if text == "_" else text[:MOST_NAME].upper().translate(_PIN_NAME)


@lru_cache(maxsize=16384)
def first(entries: tuple[Named, ...], name: str) -> str:
    """The kind of the first entry whose patterns a name fits, or ''."""
    return next((entry.kind for entry in entries if entry.patterns.fit(name)), "") if name else ""


def tables_of(words: Words) -> NameTables:
    """The tables that came with words.yaml; read once.

    Raises:
        Refused: with every mistake of their sections.
    """
    known = _READ.get(id(words))
    if known is None or known[0] is not words:
        known = (words, _tables(words))
        _READ[id(words)] = known
        while len(_READ) > 8:
            _READ.pop(next(iter(_READ)))
    return known[1]


_READ: dict[int, tuple[Words, NameTables]] = {}


def _tables(words: Words) -> NameTables:
    missing = [name for name in SECTIONS if name not in words.sections]
    if missing:
        what = f"the sections {', '.join(missing)} are missing; they stand in names.yaml and pins.yaml beside it"
        raise Refused(Problem(words.file, 0, 0, what))
    reader = Reader(words.file)
    section = {name: words.sections[name] for name in SECTIONS}
    tables = NameTables(
        library_parts=_named(reader, section["library parts"]),
        type_numbers=_named(reader, section["type numbers"]),
        values=_named(reader, section["values"]),
        libraries=_named(reader, section["libraries"]),
        descriptions=_phrases(reader, section["descriptions"]),
        footprints=_named(reader, section["footprints"]),
        letters=_letters(reader, section["reference letters"]),
        alike=reader.list_of(section["alike"], lambda node: _kinds(reader, node)),
        any_letters=_kinds(reader, section["any letters"]),
        symbol_decides=_kinds(reader, section["symbol decides"]),
        not_fitted=_not_fitted(reader, section["not fitted"]),
        type_fields=_words(reader, section["type fields"]),
        polarised=_polarised(reader, section["polarised capacitors"]),
        power_cases=_patterns(reader, section["power cases"]),
        housings=reader.list_of(section["connectors"], lambda node: _housing(reader, node)),
        pin_sets=reader.list_of(section["pin sets"], lambda node: _pin_set(reader, node)),
        pin_names=reader.list_of(section["pin names"], lambda node: _pin_names(reader, node)),
        plain_pins=_plain_pins(reader, section["plain pins"]),
        named_terminals=_kinds(reader, section["named terminals"]),
        pin_numbers=reader.list_of(section["pin numbers"], lambda node: _pin_numbers(reader, node)),
        pin_outs=MappingProxyType(
            {key.text: _roles(reader, node) for key, node in reader.table(section["standard pin-outs"]).entries}
        ),
    )
    reader.finish()
    return tables


def _patterns(reader: Reader, node: Node | None) -> Patterns:
    def one(item: Node) -> str | None:
        text = reader.text(item)
        if text is not None and (len(text) > MOST_PATTERN or text.count("*") > MOST_STARS or not text):
            reader.note(item, f"'{plain(text)}' is no pattern: 1 to {MOST_PATTERN} letters, at most {MOST_STARS} stars")
            return None
        return text

    return patterns(reader.list_of(node, one))


def _words(reader: Reader, node: Node | None) -> frozenset[str]:
    return frozenset(text.upper() for text in reader.list_of(node, reader.text))


def _named(reader: Reader, node: Node | None) -> tuple[Named, ...]:
    def one(item: Node) -> Named | None:
        table = reader.table(item, needed=("is", "like"), allowed=())
        kind = reader.word(table.get("is"), KINDS)
        return Named(kind, _patterns(reader, table.get("like"))) if kind else None

    return reader.list_of(node, one)


def _phrases(reader: Reader, node: Node | None) -> tuple[Named, ...]:
    def one(item: Node) -> Named | None:
        table = reader.table(item, needed=("is", "words"), allowed=())
        kind = reader.word(table.get("is"), KINDS)
        texts = reader.list_of(table.get("words"), reader.text)
        each = "|".join(re.escape(text.lower()) for text in texts if text)
        regex = re.compile(rf"(?s).*?(?<![a-z0-9])(?:{each})(?![a-z0-9]).*")
        return Named(kind, Patterns(regex, texts)) if kind and each else None

    return reader.list_of(node, one)


def _letters(reader: Reader, node: Node | None) -> Mapping[str, Letters]:
    found = {}
    for key, entry in reader.table(node).entries:
        table = reader.table(entry, allowed=("usually", "or"))
        usually = reader.word(table.get("usually"), KINDS) or ""
        others = reader.list_of(table.get("or"), lambda item: reader.word(item, KINDS))
        found[key.text.upper()] = Letters(usually, (usually, *others) if usually else others)
    return MappingProxyType(found)


def _not_fitted(reader: Reader, node: Node | None) -> NotFitted:
    needed = ("words", "fields set", "fields fitted", "fields of words", "yes", "no")
    table = reader.table(node, needed=needed, allowed=())
    read = {name: _words(reader, table.get(name)) for name in needed}
    return NotFitted(
        words=read["words"],
        fields_set=read["fields set"],
        fields_fitted=read["fields fitted"],
        fields_of_words=read["fields of words"],
        yes=read["yes"],
        no=read["no"],
    )


def _polarised(reader: Reader, node: Node | None) -> Polarised:
    names = ("footprints", "symbols", "cans", "unpolarised footprints")
    values = ("doubtful above", "can above", "never below")
    table = reader.table(node, needed=(*names, *values, "bipolar words"), allowed=())
    most = reader.quantity(table.get("doubtful above"))
    can = reader.quantity(table.get("can above"))
    least = reader.quantity(table.get("never below"))
    bipolar = _words(reader, table.get("bipolar words"))
    read = [_patterns(reader, table.get(name)) for name in names]
    limits = (most.value if most else 0.0, can.value if can else 0.0, least.value if least else 0.0)
    return Polarised(read[0], read[1], read[2], read[3], bipolar, *limits)


def _housing(reader: Reader, node: Node) -> Housing | None:
    table = reader.table(node, needed=("family", "like"), allowed=("keyed", "only"))
    family = reader.text(table.get("family"))
    if table.get("only") is not None:
        reader.word(table.get("only"), ("library part",))
    like = _patterns(reader, table.get("like"))
    keyed = reader.yes_no(table.get("keyed"))
    return None if family is None else Housing(family, keyed, like, table.get("only") is not None)


def _pin_set(reader: Reader, node: Node) -> PinSet | None:
    table = reader.table(node, needed=("is",), allowed=("exactly", "includes"))
    kind = reader.word(table.get("is"), KINDS)
    exactly = table.get("exactly") is not None
    names = _words(reader, table.get("exactly") if exactly else table.get("includes"))
    if not names:
        reader.note(node, "this entry names no pins; 'exactly' or 'includes' is expected")
    return PinSet(kind, names, exactly) if kind and names else None


def _kinds(reader: Reader, node: Node | None) -> frozenset[str]:
    return frozenset(reader.list_of(node, lambda item: reader.word(item, KINDS)))


def _pin_names(reader: Reader, node: Node) -> PinNames:
    table = reader.table(node, needed=("for", "roles"), allowed=("units", "holding"))
    roles, holding = _by_word(reader, table.get("roles")), _by_word(reader, table.get("holding"))
    units = reader.yes_no(table.get("units")) if table.get("units") is not None else False
    return PinNames(_kinds(reader, table.get("for")), roles, holding, bool(units))


def _by_word(reader: Reader, node: Node | None) -> Mapping[str, str]:
    """Role by name of a pin, from a table of names by role."""
    found: dict[str, str] = {}
    for role, names in reader.table(node).entries:
        reader.word(role, PIN_ROLES)
        for name in reader.list_of(names, reader.text):
            found.setdefault(pin_name(name), role.text)
    return MappingProxyType(found)


def _plain_pins(reader: Reader, node: Node | None) -> Mapping[str, str]:
    found = {}
    for role, kinds in reader.table(node).entries:
        reader.word(role, PIN_ROLES)
        found.update(dict.fromkeys(_kinds(reader, kinds), role.text))
    return MappingProxyType(found)


def _pin_numbers(reader: Reader, node: Node) -> PinNumbers:
    table = reader.table(node, needed=("for", "roles"), allowed=("pins", "like"))
    count = reader.text(table.get("pins")) if table.get("pins") is not None else "0"
    if count is None or not count.isdecimal():
        reader.note(node, "'pins' is how many pins the part has, a whole number")
        count = "0"
    like = _patterns(reader, table.get("like")) if table.get("like") is not None else None
    return PinNumbers(_kinds(reader, table.get("for")), _roles(reader, table.get("roles")), int(count), like)


def _roles(reader: Reader, node: Node | None) -> Mapping[str, tuple[str, str]]:
    """A pin-out: number to role and letter of the unit; 'output B' is the output of unit B."""
    found = {}
    for number, value in reader.table(node).entries:
        text = reader.text(value) or ""
        role, _, unit = text.rpartition(" ") if re.search(r" [A-Z]$", text) else (text, "", "")
        if isinstance(value, Text) and role not in PIN_ROLES:
            reader.word(Text(role, value.line, value.column), PIN_ROLES)
        found[number.text] = (role, unit)
    return MappingProxyType(found)
