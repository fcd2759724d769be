"""YAML without guessing: every scalar is text with its place, until a schema says what is expected there.

Anchors, aliases, tags, duplicate keys, more than one document, more than 1 MB and more than 40 levels are refused.
`Reader` turns nodes into what a schema wants and gathers every mistake instead of stopping at the first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

import yaml

from netcheck.ground.names import did_you_mean, plain
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.units import Quantity, read_quantity

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


def load(text: str, file: str) -> Node:
    """The one document of a YAML text as nodes with places.

    Raises:
        Refused: with file, line and column, when the text is no YAML or uses what is not allowed.

    >>> load("on: 1e3", "a.yaml").entries[0][0].text
    'on'
    """
    if len(text.encode("utf-8", "surrogatepass")) > MOST_BYTES:
        raise Refused(Problem(file, 0, 0, "the file is larger than 1 MB"))
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)(text)
    try:
        return _document(loader, file)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        raise Refused(Problem(file, line, column, f"this is not YAML: {error.problem or error.context}")) from None
    except yaml.YAMLError as error:
        raise Refused(Problem(file, 0, 0, f"this is not YAML: {plain(str(error))}")) from None
    finally:
        loader.dispose()


def _document(loader: yaml.SafeLoader, file: str) -> Node:
    events: list[yaml.Event] = []
    depth = 0
    while loader.check_event():
        event = loader.get_event()
        place = (event.start_mark.line + 1, event.start_mark.column + 1) if event.start_mark else (0, 0)
        if isinstance(event, yaml.AliasEvent):
            raise Refused(Problem(file, *place, "an alias (*name) is not allowed here; write the value again"))
        if isinstance(event, yaml.NodeEvent) and event.anchor is not None:
            raise Refused(Problem(file, *place, "an anchor (&name) is not allowed here; leave it out"))
        if getattr(event, "tag", None) not in (None, "!"):
            raise Refused(Problem(file, *place, "a tag (!name) is not allowed here; leave it out or quote the text"))
        if isinstance(event, yaml.DocumentStartEvent) and any(isinstance(e, yaml.DocumentEndEvent) for e in events):
            raise Refused(Problem(file, *place, "a second document begins here; one file holds one"))
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth > MOST_LEVELS:
                raise Refused(Problem(file, *place, f"nested deeper than {MOST_LEVELS} levels"))
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        events.append(event)
    wanted = (yaml.ScalarEvent, yaml.CollectionStartEvent, yaml.CollectionEndEvent)
    body = [event for event in events if isinstance(event, wanted)]
    if not body:
        raise Refused(Problem(file, 0, 0, "the file is empty"))
    node, _ = _build(body, 0, file)
    return node


def _build(events: list[yaml.Event], at: int, file: str) -> tuple[Node, int]:
    event = events[at]
    line, column = event.start_mark.line + 1, event.start_mark.column + 1
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
            known = (*needed, *allowed)
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

    def quantity(self, node: Node | None) -> Quantity | None:
        """A quantity written out in full: 4.7 kohm."""
        found = self.text(node)
        if found is None or node is None:
            return None
        try:
            return read_quantity(found)
        except ValueError as error:
            self.note(node, str(error))
            return None

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
