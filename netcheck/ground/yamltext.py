"""YAML without guessing: every scalar is text with its place, until a schema says what is expected there.

Anchors, aliases, tags, duplicate keys, more than one document, more than 1 MB and more than 40 levels are refused.
`Reader` turns nodes into what a schema wants and gathers every mistake instead of stopping at the first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import yaml

from netcheck.ground.names import did_you_mean, plain
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.units import PLAIN, Quantity, Unit, read_quantity

MOST_BYTES = 1_000_000
MOST_LEVELS = 40

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar: its text and where it stands. `style` is 'plain', 'quoted' or 'block'."""

    text: str
    line: int
    column: int
    style: str = "plain"


@dataclass(frozen=True, slots=True)
class Items:
    """A sequence."""

    nodes: tuple[Node, ...]
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Table:
    """A mapping, in the order of the file."""

    entries: tuple[tuple[Text, Node], ...]
    line: int
    column: int

    def get(self, key: str) -> Node | None:
        """The node under a key, or None."""
        return next((node for name, node in self.entries if name.text == key), None)

    def keys(self) -> tuple[str, ...]:
        """The keys, in order."""
        return tuple(name.text for name, _ in self.entries)


Node = Text | Items | Table
Load = Callable[[str, str], Node]  # how the text of a file becomes nodes: `load`, or one that remembers


def load(text: str, file: str) -> Node:
    """The one document of a YAML text as nodes with places.

    Raises:
        Refused: with file, line and column, when the text is no YAML or uses what is not allowed.

    >>> load("on: 1e3", "a.yaml").entries[0][0].text
    'on'
    """
    try:
        size = len(text.encode("utf-8"))
    except UnicodeEncodeError as error:
        line, column = _place_of(text, error.start)
        raise Refused(Problem(file, line, column, "half a surrogate pair stands here; the text is damaged")) from None
    if size > MOST_BYTES:
        raise Refused(Problem(file, 0, 0, "the file is larger than 1 MB"))
    try:
        return _build_all(_events(_loader()(text), file), file)
    except yaml.reader.ReaderError as error:
        forbidden = str(error.character) if isinstance(error.character, str) else chr(int(error.character or 0))
        line, column = _place_of(text, max(0, text.find(forbidden)))  # the parsers count bytes or letters
        what = f"a character that YAML forbids stands here: {plain(forbidden)}"
        raise Refused(Problem(file, line, column, what)) from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        what = plain(error.problem or error.context or "its structure cannot be made out")
        raise Refused(Problem(file, line, column, f"this is not YAML: {what}")) from None
    except (yaml.YAMLError, ValueError) as error:
        raise Refused(Problem(file, 0, 0, f"this is not YAML: {plain(str(error))}")) from None
    except RecursionError:
        raise Refused(Problem(file, 0, 0, f"nested deeper than {MOST_LEVELS} levels")) from None


def _loader() -> Callable[[str], yaml.SafeLoader]:
    """The parser in C where it is installed, else the one in Python; both give the same events."""
    found: Callable[[str], yaml.SafeLoader] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    return found


def _place_of(text: str, position: int) -> tuple[int, int]:
    before = text[:position]
    return before.count("\n") + 1, position - (before.rfind("\n") + 1) + 1


def _place(event: yaml.Event) -> tuple[int, int]:
    mark = event.start_mark
    return (mark.line + 1, mark.column + 1) if mark is not None else (0, 0)


def _events(loader: yaml.SafeLoader, file: str) -> list[yaml.Event]:
    """All events of one document, each checked before anything is built from it."""
    events: list[yaml.Event] = []
    depth = documents = 0
    while loader.check_event():
        event: yaml.Event = loader.get_event()  # type: ignore[no-untyped-call]
        line, column = _place(event)
        documents += isinstance(event, yaml.DocumentStartEvent)
        refusal = _refusal(event)
        if documents > 1:
            refusal = "a second document begins here; one file holds one"
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > MOST_LEVELS:
                refusal = f"nested deeper than {MOST_LEVELS} levels"
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        if refusal:
            raise Refused(Problem(file, line, column, refusal))
        events.append(event)
    return events


def _refusal(event: yaml.Event) -> str:
    """Why an event is not allowed, or ''."""
    if isinstance(event, yaml.AliasEvent):
        return "an alias (*name) is not allowed here; write the value again, or quote the text"
    if isinstance(event, yaml.NodeEvent) and event.anchor is not None:
        return "an anchor (&name) is not allowed here; leave it out, or quote the text"
    if getattr(event, "tag", None) is not None:
        return "a tag (!name) is not allowed here; leave it out, or quote the text"
    return ""


def _build_all(events: list[yaml.Event], file: str) -> Node:
    wanted = (yaml.ScalarEvent, yaml.CollectionStartEvent, yaml.CollectionEndEvent)
    body = [event for event in events if isinstance(event, wanted)]
    if not body:
        raise Refused(Problem(file, 0, 0, "the file is empty"))
    node, _ = _build(body, 0, file)
    return node


def _build(events: Sequence[yaml.Event], at: int, file: str) -> tuple[Node, int]:
    """The node that begins at an event, and the number of the event behind it."""
    event = events[at]
    line, column = _place(event)
    if isinstance(event, yaml.ScalarEvent):
        style = {"'": "quoted", '"': "quoted", "|": "block", ">": "block"}.get(event.style or "", "plain")
        return Text(event.value, line, column, style), at + 1
    at += 1
    if isinstance(event, yaml.SequenceStartEvent):
        nodes: list[Node] = []
        while not isinstance(events[at], yaml.SequenceEndEvent):
            node, at = _build(events, at, file)
            nodes.append(node)
        return Items(tuple(nodes), line, column), at + 1
    entries: list[tuple[Text, Node]] = []
    seen: set[str] = set()
    while not isinstance(events[at], yaml.MappingEndEvent):
        key, at = _build(events, at, file)
        if not isinstance(key, Text):
            raise Refused(Problem(file, key.line, key.column, "a key must be plain text"))
        if key.text in seen:
            raise Refused(Problem(file, key.line, key.column, f"the key '{plain(key.text)}' stands here twice"))
        seen.add(key.text)
        value, at = _build(events, at, file)
        entries.append((key, value))
    return Table(tuple(entries), line, column), at + 1


def looks_like_split_expression(node: Node) -> bool:
    """Whether commas of an unquoted expression were taken for commas of the table or list in braces around it.

    `{if: resistance(a, b) > 1, then: x}` is three keys to YAML, without any error: a value with an unclosed
    parenthesis, then a key that closes it.

    >>> looks_like_split_expression(load("{if: resistance(a, b) > 1, then: x}", "a.yaml"))
    True
    >>> looks_like_split_expression(load("{if: 'resistance(a, b) > 1', then: x}", "a.yaml"))
    False
    """
    if isinstance(node, Text):
        return False
    if isinstance(node, Table):
        pieces: list[Node] = [piece for entry in node.entries for piece in entry]
    else:
        pieces = list(node.nodes)
    balances = [_open_brackets(piece.text) for piece in pieces if isinstance(piece, Text) and piece.style == "plain"]
    return any(balance > 0 for balance in balances) and any(balance < 0 for balance in balances)


def _open_brackets(text: str) -> int:
    """How many parentheses a text opens more than it closes; words in single quotes do not count."""
    outside = "".join(text.split("'")[::2])
    return outside.count("(") - outside.count(")")


class Reader:
    """Reads nodes by a schema and keeps a list of everything that is wrong with them.

    Each method returns None (or an empty value) for what it could not use, after noting why. Call `finish()` when
    all is read.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def note(self, node: Node, what: str) -> None:
        """Keep a problem at the place of a node."""
        self.problems.append(Problem(self.file, node.line, node.column, what))

    def finish(self) -> None:
        """Raises: Refused: if anything was noted."""
        if self.problems:
            raise Refused(self.problems)

    def table(self, node: Node | None, needed: Iterable[str] = (), allowed: Iterable[str] | None = None) -> Table:
        """A mapping with at least the needed keys and, if given, none but those allowed."""
        if not isinstance(node, Table):
            if node is not None:
                self.note(node, f"{_sort(node)} stands here; a table of keys and values is expected")
            return Table((), node.line if node else 0, node.column if node else 0)
        needed = tuple(needed)
        if allowed is not None:
            known = tuple(dict.fromkeys((*needed, *allowed)))
            for key, _ in node.entries:
                if key.text not in known:
                    self.note(key, f"unknown key '{plain(key.text)}'{did_you_mean(key.text, known)}")
        for name in needed:
            if node.get(name) is None:
                self.note(node, f"the key '{name}' is missing")
        return node

    def text(self, node: Node | None) -> str | None:
        """A scalar, as text."""
        if isinstance(node, Text):
            return node.text
        if node is not None:
            self.note(node, f"{_sort(node)} stands here; one text is expected")
        return None

    def word(self, node: Node | None, closed: Iterable[str]) -> str | None:
        """A scalar out of a closed list."""
        found = self.text(node)
        words = tuple(closed)
        if found is not None and node is not None and found not in words:
            self.note(node, f"'{plain(found)}' is not one of the words for this place{did_you_mean(found, words)}")
            return None
        return found

    def yes_no(self, node: Node | None) -> bool | None:
        """yes or no (true and false are taken too)."""
        found = self.text(node)
        if found is None or node is None:
            return None
        if found in ("yes", "true"):
            return True
        if found in ("no", "false"):
            return False
        self.note(node, f"'{plain(found)}' stands here; yes or no is expected")
        return None

    def quantity(self, node: Node | None, unit: Unit | None = None) -> Quantity | None:
        """A quantity written out in full: 4.7 kohm. With a unit given, one of that unit only."""
        found = self.text(node)
        if found is None or node is None:
            return None
        try:
            quantity = read_quantity(found)
        except ValueError as error:
            self.note(node, str(error))
            return None
        if unit is not None and quantity.unit != unit:
            given = "without a unit" if quantity.unit == PLAIN else f"in {quantity.unit.name}"
            self.note(node, f"'{plain(found)}' is {given}; {unit.name} are expected here")
            return None
        return quantity

    def items(self, node: Node | None) -> tuple[Node, ...]:
        """A list; a single scalar counts as a list of one."""
        if node is None:
            return ()
        if isinstance(node, Items):
            return node.nodes
        if isinstance(node, Text):
            return (node,)
        self.note(node, "a table stands here; a list is expected")
        return ()

    def list_of(self, node: Node | None, read: Callable[[Node], T | None]) -> tuple[T, ...]:
        """A list of whatever `read` gives, those left out that it could not use."""
        return tuple(found for item in self.items(node) if (found := read(item)) is not None)


def _sort(node: Node) -> str:
    return {Text: "a text", Items: "a list", Table: "a table"}[type(node)]
