"""The words of recognition: named groups of kinds, limits, cautions, and what nets are called.

All of it stands in rules/words.yaml, each entry with its source. This module reads that file and answers questions
about it; it judges nothing by itself.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from netcheck.circuit.model import KINDS
from netcheck.ground.names import did_you_mean
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.units import VOLT, Quantity
from netcheck.ground.yamltext import Load, Node, Reader, Table, load

MOST_PATTERN = 40
MOST_STARS = 2
MOST_NAME = 200
MOST_TOGETHER = 200  # groups of patterns that are kept as one expression

# What a name may say about a net.
NAME_GROUPS = ("rails", "grounds", "earths", "chassis", "biases", "alternating", "no rails", "no grounds")
STATUSES = ("read", "memory", "common practice", "choice")
Entry = TypeVar("Entry")
_OWN = ("groups", "cautions", "recognition", "net names", "text words")


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of recognition: how far the program looks, not what is good enough."""

    name: str
    value: Quantity
    why: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Group:
    """A named group of kinds; `why` says what the kinds have in common."""

    name: str
    kinds: frozenset[str]
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution that is printed with every finding of its sort."""

    name: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class NetWord:
    """One pattern of a net's name: `*` stands for any text, `#` for digits or none; case does not count.

    Attributes:
        sign: of a rail, 'positive', 'negative', 'lowest' (negative, or ground where there is no other) or ''.
        sure: the name alone is enough. Otherwise something on the net must agree.
        volts, low, high: where the name implies them, else None.
    """

    like: str
    sign: str = ""
    sure: bool = True
    volts: float | None = None
    low: float | None = None
    high: float | None = None

    def fits(self, name: str) -> bool:
        """Whether a name is of this pattern.

        >>> NetWord("VCC#").fits("Vcc2"), NetWord("*_GND").fits("PWR_GND"), NetWord("VCC#").fits("VCC_EN")
        (True, True, False)
        """
        return _expression(self.like).fullmatch(name[:MOST_NAME]) is not None


_COMPILED: dict[str, re.Pattern[str]] = {}


def _expression(like: str) -> re.Pattern[str]:
    if like not in _COMPILED:
        _COMPILED[like] = re.compile(_written(like), re.IGNORECASE | re.DOTALL)
    return _COMPILED[like]


def _written(like: str) -> str:
    pieces = {"*": ".*", "#": r"\d*"}
    return "".join(pieces.get(letter, re.escape(letter)) for letter in like)


_TOGETHER: dict[int, tuple[tuple[NetWord, ...], re.Pattern[str]]] = {}


def _any_of(words: tuple[NetWord, ...]) -> re.Pattern[str]:
    """One expression for all patterns of a group, told by identity: most names fit none of them."""
    if id(words) not in _TOGETHER:
        if len(_TOGETHER) > MOST_TOGETHER:
            _TOGETHER.clear()
        text = "|".join(f"(?:{_written(word.like)})" for word in words)
        _TOGETHER[id(words)] = words, re.compile(text, re.IGNORECASE | re.DOTALL)
    return _TOGETHER[id(words)][1]


@dataclass(frozen=True)
class Words:
    """Everything of words.yaml.

    Attributes:
        groups, limits, cautions: by name. nets: patterns by a name of `NAME_GROUPS`.
        texts: lists of words that are looked for in values, library names or names of pins, by name.
        sections: top-level sections of the file that other modules read, as nodes; `file` names it in messages.
    """

    groups: Mapping[str, Group]
    limits: Mapping[str, Limit]
    cautions: Mapping[str, Caution]
    nets: Mapping[str, tuple[NetWord, ...]]
    texts: Mapping[str, frozenset[str]]
    sections: Mapping[str, Node] = field(default_factory=lambda: MappingProxyType({}))
    file: str = ""

    def group(self, name: str) -> frozenset[str]:
        """Kinds of a named group.

        Raises:
            KeyError: if there is no such group; the message names the nearest.
        """
        return _of(self.groups, "group of kinds", name).kinds

    def limit(self, name: str) -> Quantity:
        """Value of a limit of recognition. Raises: KeyError: as `group`."""
        return _of(self.limits, "limit of recognition", name).value

    def caution(self, name: str) -> str:
        """Text of a caution. Raises: KeyError: as `group`."""
        return _of(self.cautions, "caution", name).text

    def text_words(self, name: str) -> frozenset[str]:
        """A list of words, upper case. Raises: KeyError: as `group`."""
        return _of(self.texts, "list of words", name)

    def net_word(self, group: str, name: str) -> NetWord | None:
        """The first pattern of a name group that fits a net's name, or None."""
        words = self.nets.get(group, ())
        if not words or _any_of(words).fullmatch(name[:MOST_NAME]) is None:
            return None
        return next((word for word in words if word.fits(name)), None)


def _of(table: Mapping[str, Entry], what: str, name: str) -> Entry:
    if name not in table:
        raise KeyError(f"there is no {what} named '{name}'{did_you_mean(name, table)}")
    return table[name]


# Files beside words.yaml that hold more sections: what parts, connectors and pins are called.
_BESIDE = ("names.yaml", "pins.yaml")


def load_words(path: Path, loaded: Load = load) -> Words:
    """Read words.yaml, and the sections of names.yaml and pins.yaml beside it. loaded: how YAML becomes nodes.

    Raises:
        Refused: with every mistake of the file, or when it cannot be read at all.
    """
    words = read_words(_text(path), str(path), loaded)
    sections = dict(words.sections)
    for beside in (path.with_name(name) for name in _BESIDE):
        if beside.is_file():
            table = loaded(_text(beside), str(beside))
            if isinstance(table, Table):
                sections |= {key.text: node for key, node in table.entries}
    return replace(words, sections=MappingProxyType(sections))


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise Refused(Problem(str(path), 0, 0, f"the file cannot be read as UTF-8 text: {error}")) from None


def read_words(text: str, file: str, loaded: Load = load) -> Words:
    """The same from text. Raises: Refused: with every mistake."""
    reader = Reader(file)
    top = reader.table(loaded(text, file), needed=_OWN)
    words = Words(
        groups=_groups(reader, top.get("groups")),
        limits=_limits(reader, top.get("recognition")),
        cautions=_cautions(reader, top.get("cautions")),
        nets=_net_names(reader, top.get("net names")),
        texts=_texts(reader, top.get("text words")),
        sections=MappingProxyType({key.text: node for key, node in top.entries if key.text not in _OWN}),
        file=file,
    )
    reader.finish()
    return words


def _entries(reader: Reader, node: Node | None) -> tuple[tuple[str, Node], ...]:
    return tuple((key.text, entry) for key, entry in reader.table(node).entries)


def _need(reader: Reader, table: Table, key: str) -> str:
    """A text that must not be empty."""
    found = reader.text(table.get(key)) or ""
    node = table.get(key)
    if node is not None and not found.strip():
        reader.note(node, f"'{key}' is empty")
    return found.strip()


def _groups(reader: Reader, node: Node | None) -> Mapping[str, Group]:
    found = {}
    for name, entry in _entries(reader, node):
        table = reader.table(entry, needed=("kinds", "why", "source"), allowed=())
        kinds = reader.list_of(table.get("kinds"), lambda item: reader.word(item, KINDS))
        found[name] = Group(name, frozenset(kinds), _need(reader, table, "why"), _need(reader, table, "source"))
        if table.get("kinds") is not None and not kinds:
            reader.note(entry, f"the group '{name}' names no kind")
    return MappingProxyType(found)


def _limits(reader: Reader, node: Node | None) -> Mapping[str, Limit]:
    found = {}
    for name, entry in _entries(reader, node):
        table = reader.table(entry, needed=("value", "why", "source", "status"), allowed=())
        value = reader.quantity(table.get("value"))
        status = reader.word(table.get("status"), STATUSES)
        why, source = _need(reader, table, "why"), _need(reader, table, "source")
        if value is not None and status is not None:
            found[name] = Limit(name, value, why, source, status)
    return MappingProxyType(found)


def _cautions(reader: Reader, node: Node | None) -> Mapping[str, Caution]:
    found = {}
    for name, entry in _entries(reader, node):
        table = reader.table(entry, needed=("text", "source"), allowed=())
        text = " ".join(_need(reader, table, "text").split())
        found[name] = Caution(name, text, _need(reader, table, "source"))
    return MappingProxyType(found)


def _net_names(reader: Reader, node: Node | None) -> Mapping[str, tuple[NetWord, ...]]:
    top = reader.table(node, needed=("source", *NAME_GROUPS), allowed=())
    found: dict[str, tuple[NetWord, ...]] = {}
    for group in NAME_GROUPS:
        words: list[NetWord] = []
        for entry in reader.items(top.get(group)):
            words.extend(_net_words(reader, entry))
        found[group] = tuple(words)
    return MappingProxyType(found)


def _net_words(reader: Reader, entry: Node) -> list[NetWord]:
    """An entry: a pattern, or a table of patterns with sign, certainty and volts."""
    if not isinstance(entry, Table):
        like = _pattern(reader, entry)
        return [] if like is None else [NetWord(like)]
    reader.table(entry, needed=("like",), allowed=("sign", "sure", "volts", "low", "high"))
    signs = ("positive", "negative", "lowest")
    sign = reader.word(entry.get("sign"), signs) or ""
    sure = reader.yes_no(entry.get("sure"))
    low, volts, high = (_volts(reader, entry.get(key)) for key in ("low", "volts", "high"))
    likes = reader.list_of(entry.get("like"), lambda item: _pattern(reader, item))
    return [NetWord(like, sign, sure is not False, volts, low, high) for like in likes]


def _pattern(reader: Reader, node: Node) -> str | None:
    like = reader.text(node)
    if like is None:
        return None
    if not 0 < len(like) <= MOST_PATTERN or like.count("*") > MOST_STARS:
        reader.note(node, f"a pattern has 1 to {MOST_PATTERN} characters and at most {MOST_STARS} stars")
        return None
    return like


def _volts(reader: Reader, node: Node | None) -> float | None:
    found = reader.quantity(node)
    if found is None or node is None:
        return None
    if found.unit != VOLT:
        reader.note(node, f"{found} stands here; volts are expected")
        return None
    return found.value


def _texts(reader: Reader, node: Node | None) -> Mapping[str, frozenset[str]]:
    found = {}
    for name, entry in _entries(reader, node):
        table = reader.table(entry, needed=("words", "why", "source"), allowed=())
        words = reader.list_of(table.get("words"), reader.text)
        _need(reader, table, "why")
        _need(reader, table, "source")
        found[name] = frozenset(word.upper() for word in words)
    return MappingProxyType(found)
