"""YAML files that were read before, kept as JSON in the user's cache folder: reading a rule book is mostly scanning.

A document is found again under the hash of its text and of the scanner's own source. A file of kept documents that is
not exactly as it was written is ignored, and the YAML read anew.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from functools import cache as once
from pathlib import Path
from typing import Any

from netcheck.ground import yamltext
from netcheck.ground.files import cache_folder, write_whole
from netcheck.ground.yamltext import Items, Node, Table, Text

MOST_KEPT_BYTES = 20_000_000
ITEMS, TABLE = 0, 1
STAMP = "stamp"


class KeptDocuments:
    """Documents of one set of files: those that were read before, for as long as none of the files changes.

    Args:
        name: of the file in the cache folder, apart for each set. stamp: a hash over the files and what reads them.
        without: key of the top level that is not kept, for who can do without it.
    """

    def __init__(self, name: str, stamp: str, without: str = "") -> None:
        self.name, self.stamp, self.without = name, stamp, without
        kept = _read(name)
        self.sound = kept.pop(STAMP, None) == stamp
        self._kept: dict[str, Any] = kept if self.sound else {}
        self._read_now: dict[str, Any] = {}

    def load(self, text: str, file: str) -> Node:
        """As `yamltext.load`, without scanning again what was scanned before."""
        key = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
        if key in self._kept:
            with contextlib.suppress(TypeError, ValueError, IndexError, RecursionError):
                return _node(self._kept[key])
        node = yamltext.load(text, file)
        self._read_now[key] = _plain(node, self.without)
        return node

    def keep(self) -> None:
        """Keep what was read now, all of it sound; a cache that cannot be written is done without."""
        if not self._read_now:
            return
        try:
            body = json.dumps({**self._read_now, STAMP: self.stamp}, separators=(",", ":"), ensure_ascii=False)
            if len(body) < MOST_KEPT_BYTES:
                write_whole(_path(self.name), f"{_seal(body.encode())}\n{body}")
        except (OSError, RuntimeError, ValueError):
            return


@once
def _version() -> bytes:
    digest = hashlib.sha256()
    for module in (yamltext.__file__, __file__):
        digest.update(Path(module).read_bytes())
    return digest.digest()


def _path(name: str) -> Path:
    return cache_folder() / "rules" / f"{name}.json"


def _seal(body: bytes) -> str:
    return hashlib.sha256(_version() + body).hexdigest()


def _read(name: str) -> dict[str, Any]:
    try:
        path = _path(name)
        if path.stat().st_size > MOST_KEPT_BYTES:
            return {}
        head, _, body = path.read_bytes().partition(b"\n")
        found = json.loads(body) if head.decode("ascii") == _seal(body) else {}
        return found if isinstance(found, dict) else {}
    except (OSError, RuntimeError, ValueError, RecursionError):
        return {}


def _plain(node: Node, without: str = "") -> list[Any]:
    """A node as a list: a text begins with its text, the others with a number."""
    if isinstance(node, Text):
        return [node.text, node.line, node.column, node.style]
    if isinstance(node, Items):
        return [ITEMS, node.line, node.column, [_plain(one) for one in node.nodes]]
    return [
        TABLE,
        node.line,
        node.column,
        [[_plain(key), _plain(one)] for key, one in node.entries if key.text != without or not without],
    ]


def _node(kept: list[Any]) -> Node:
    what, line, column, rest = kept
    if isinstance(what, str):
        return Text(what, line, column, rest)
    if what == ITEMS:
        return Items(tuple([_node(one) for one in rest]), line, column)
    if what != TABLE:
        raise ValueError("no such node")
    return Table(tuple([(Text(*key), _node(one)) for key, one in rest]), line, column)
