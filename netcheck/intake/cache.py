"""Netlists that were read before, kept as JSON in the user's cache folder.

A netlist is found again under the hash of its bytes and of the reader's own source, so that neither another file nor
another reader can be mistaken for it. Whatever is not exactly as it was written is ignored and read anew.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import json
from functools import cache as once
from pathlib import Path
from typing import Any

from netcheck import __version__
from netcheck.ground.files import cache_folder, write_whole
from netcheck.intake.netlist import Component, LibraryPin, Netlist, NetlistNet, Node, Oddity, Unit

MOST_BYTES = 50_000_000
MOST_FILES = 200


@once
def reader_version() -> str:
    """A hash over the source of everything that takes part in reading, kinparse's version in it."""
    from importlib.metadata import PackageNotFoundError, version

    digest = hashlib.sha256(__version__.encode())
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    for package in ("kinparse", "pyparsing"):
        with contextlib.suppress(PackageNotFoundError):
            digest.update(version(package).encode())
    return digest.hexdigest()


def fetch(digest: str, file: str) -> Netlist | None:
    """The netlist with the given hash, under the name that the file has now; None when it is not kept or unsound."""
    try:
        path = _path(digest)
        if path.stat().st_size > MOST_BYTES:
            return None
        head, _, body = path.read_bytes().partition(b"\n")
        if head.decode("ascii") != _seal(digest, body):
            return None
        found = json.loads(body)
        return _netlist(found, file, digest)
    except (OSError, RuntimeError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def keep(netlist: Netlist) -> None:
    """Keep a netlist for the next time; a cache that cannot be written is done without."""
    try:
        body = json.dumps(dataclasses.asdict(netlist), default=sorted, separators=(",", ":"))
        if len(body) < MOST_BYTES:
            # Two writers of one file write the same; each replaces the other's whole.
            write_whole(_path(netlist.digest), f"{_seal(netlist.digest, body.encode())}\n{body}")
            _tidy(_path(netlist.digest).parent)
    except (OSError, RuntimeError, ValueError):
        return


def _path(digest: str) -> Path:
    name = hashlib.sha256(f"{digest} {reader_version()}".encode()).hexdigest()
    return cache_folder() / "netlists" / f"{name}.json"


def _seal(digest: str, body: bytes) -> str:
    """A check sum: a changed letter would still be JSON, and another circuit."""
    return hashlib.sha256(f"{digest} {reader_version()} ".encode() + body).hexdigest()


def _tidy(folder: Path) -> None:
    """Keep the newest files only."""
    aged = []
    for path in folder.glob("*.json"):
        with contextlib.suppress(FileNotFoundError):  # another run may be tidying too
            aged.append((path.stat().st_mtime, path))
    for _, path in sorted(aged)[: max(0, len(aged) - MOST_FILES)]:
        path.unlink(missing_ok=True)


def _netlist(found: dict[str, Any], file: str, digest: str) -> Netlist:
    return Netlist(
        **found
        | {
            "file": file,
            "digest": digest,
            "components": tuple(_component(item) for item in found["components"]),
            "nets": tuple(
                NetlistNet(**net | {"nodes": tuple(Node(**node) for node in net["nodes"])}) for net in found["nets"]
            ),
            "oddities": tuple(Oddity(**item | {"nets": tuple(item["nets"])}) for item in found["oddities"]),
            "notes": tuple(found["notes"]),
        }
    )


def _component(found: dict[str, Any]) -> Component:
    return Component(
        **found
        | {
            "fields": tuple((name, text) for name, text in found["fields"]),
            "properties": tuple((name, text) for name, text in found["properties"]),
            "flags": frozenset(found["flags"]),
            "units": tuple(Unit(unit["name"], tuple(unit["pins"])) for unit in found["units"]),
            "library_pins": tuple(LibraryPin(**pin) for pin in found["library_pins"]),
            "timestamps": tuple(found["timestamps"]),
        }
    )
