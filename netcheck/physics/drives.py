"""Paths that are driven, each structure once: what one channel can do, the other can too."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

from netcheck.physics.levels import Driven, drive
from netcheck.physics.pathmodel import PathModel
from netcheck.physics.points import Points

Values = TypeVar("Values")


def drive_once(points: Points, made: PathModel, ohms: float) -> Driven | tuple[str, ...]:
    """What a path does when it is driven with a load; as `drive`, and kept for all paths of its structure.

    Args:
        ohms: the load, infinite for none, 0 for a short.
    """
    key = ("driven", made.structure.key, ohms)
    kept: tuple[PathModel, Driven | tuple[str, ...]] | None = points.kept.get(key)  # type: ignore[assignment]
    names = kept[0].renaming(made) if kept is not None else None
    if kept is None or names is None:
        kept = points.kept[key] = made, drive(points, made, ohms)
        return kept[1]
    model, driven = kept
    if isinstance(driven, tuple) or model is made:
        return driven
    return renamed(points, driven, model, made, names)


def renamed(points: Points, driven: Driven, model: PathModel, made: PathModel, names: Mapping[str, str]) -> Driven:
    """What one path does, told of another of the same structure; names: the parts of the one by those of the other."""
    elements = dict(zip(model.structure.names, made.structure.names, strict=True))

    def told(values: Mapping[str, Values]) -> dict[str, Values]:
        return {elements.get(name, name): value for name, value in values.items()}

    parts = points.walks.circuit.parts
    said = {points.said(parts[old]): points.said(parts[new]) for old, new in names.items() if old in parts}
    level = replace(driven.level, limit=_reworded(driven.level.limit, said))
    return replace(driven, level=level, watts=told(driven.watts), amps=told(driven.amps), across=told(driven.across))


def _reworded(clause: str, said: Mapping[str, str]) -> str:
    """A clause about one part, told of another.

    >>> _reworded("the output of U1A reaches its supply", {"U1": "U2", "U10": "U3"})
    'the output of U2A reaches its supply'
    """
    longest = sorted(said, key=len, reverse=True)
    pattern = "|".join(rf"(?<!\w){re.escape(name)}(?![0-9])" for name in longest)
    return re.sub(pattern, lambda found: said[found.group()], clause) if pattern else clause
