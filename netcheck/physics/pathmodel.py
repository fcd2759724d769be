"""A signal path as a network of its own, its input a source, made linear where it is at rest."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from netcheck.physics.devices import NOMINAL, Setting
from netcheck.physics.modelling import Piece
from netcheck.physics.network.elements import CurrentSource
from netcheck.physics.network.operating import Network, OperatingPoint, terminals
from netcheck.physics.network.response import SmallSignal
from netcheck.physics.points import Points, currents_of
from netcheck.physics.ports import SignalPath
from netcheck.physics.structure import Structure, structure

Real = NDArray[np.float64]
Curve = tuple[Real, Real]

FREQUENCIES = np.logspace(0, 6, 400)
MIDDLE = 1000.0
SHORT_OHMS = 0.01  # of a load that is a short
UNREAD = ("ohms of ", "track of ")  # how names of what varies begin where a value could not be read
MOST_NODES = 200
SOURCE = "source"  # name of the node and of the element of a source with resistance


@dataclass(frozen=True)
class PathModel:
    """A path, made linear: the network with its input as a source, and what was left out.

    Attributes:
        network: its input among the known nodes. point: at rest. part_of: element -> key of its part.
        opposite: the node that a balanced source drives the other way round, '' where there is none.
    """

    path: SignalPath
    network: Network
    point: OperatingPoint
    part_of: Mapping[str, str]
    opposite: str = ""

    @cached_property
    def small(self) -> SmallSignal:
        """The network made linear."""
        ends = (self.path.input.node, self.opposite) if self.opposite else None
        return SmallSignal(self.network, self.point, ends)

    @cached_property
    def at_middle(self) -> Mapping[str, float]:
        """How the gain at 1 kHz answers to each value: d ln|H| / d ln(value) by element."""
        return self.small.sensitivities(self.path.input.node, self.output, MIDDLE)[0]

    @cached_property
    def structure(self) -> Structure:
        """What it is but for its names: paths of one structure do the same."""
        ends = (self.path.input.node, self.path.output.node, *([self.opposite] if self.opposite else []))
        return structure(self.network.elements, self.network.known, ends, at=self.point.volts)

    def renaming(self, other: PathModel) -> dict[str, str] | None:
        """Parts of this path by those of another of the same structure; None where they do not answer one to one."""
        if self.structure.key != other.structure.key:
            return None
        pairs = zip(self.structure.names, other.structure.names, strict=True)
        found: dict[str, str] = {}
        if any(found.setdefault(self.part_of[a], other.part_of[b]) != other.part_of[b] for a, b in pairs):
            return None
        return found if len(set(found.values())) == len(found) else None

    @property
    def output(self) -> str:
        """The node of the output."""
        return self.path.output.node


def path_model(points: Points, path: SignalPath, setting: Setting = NOMINAL) -> PathModel | tuple[str, ...]:
    """The linear network of a path at a setting, or the reasons why there is none."""
    if path.doubt:
        return path.doubt
    if setting is not NOMINAL:
        return _path_model(points, path, setting)
    key = ("model of a path", path)
    if key not in points.kept:
        points.kept[key] = _path_model(points, path, setting)
    return points.kept[key]  # type: ignore[return-value]


def _path_model(points: Points, path: SignalPath, setting: Setting) -> PathModel | tuple[str, ...]:
    if len(path.nodes) > MOST_NODES:
        return (f"the path has more than {MOST_NODES} nodes",)
    found = points.volts_for(path.nodes | {path.input.node})
    if isinstance(found, tuple):
        return found
    known = {node: values[1] for node, values in points.plan.known.items()}
    elements, part_of = [], {}
    setting = replace(setting, joined=setting.joined | path.joined) if path.joined else setting
    for piece in pieces_at(points, path.nodes):
        if all(node in known or node in path.nodes for node in piece.nodes):
            element = points.element(piece, "", 0, NOMINAL) if setting is NOMINAL else piece.make(setting)
            if not isinstance(element, CurrentSource):
                elements.append(element)
                part_of[element.name] = piece.part
    used = {node for element in elements for node in terminals(element)} | {path.input.node}
    volts = {node: known[node] for node in used if node in known} | {
        node: found[node] for node in used if node in found
    }
    sources = {node: volts[node] for node in used if node in known} | {path.input.node: volts[path.input.node]}
    network = Network(tuple(elements), sources)
    point = OperatingPoint(volts, {element.name: currents_of(element, volts) for element in elements})
    return PathModel(path, network, point, MappingProxyType(part_of))


def pieces_at(points: Points, nodes: Iterable[str]) -> tuple[Piece, ...]:
    """Pieces with an end on one of the nodes, in the order of the plan."""
    if "pieces of nodes" not in points.kept:
        index: dict[str, list[int]] = {}
        for number, piece in enumerate(points.plan.pieces):
            for node in piece.nodes:
                index.setdefault(node, []).append(number)
        points.kept["pieces of nodes"] = index
    index = points.kept["pieces of nodes"]  # type: ignore[assignment]
    numbers = {number for node in nodes for number in index.get(node, ())}
    return tuple(points.plan.pieces[number] for number in sorted(numbers))


def crossing(curve: Curve, level: float, side: str) -> float | None:
    """The frequency nearest to 1 kHz at which a response comes down through a level, between points by straight lines.

    >>> frequencies = np.array([10.0, 100.0, 1000.0, 10000.0])
    >>> crossing((frequencies, np.array([-20.0, -1.0, 0.0, 0.0])), -10.5, "low")
    31.62...
    """
    frequencies, decibels = curve
    start = int(np.argmin(np.abs(np.log(frequencies / MIDDLE))))
    step = -1 if side == "low" else 1
    at = start
    while 0 <= at + step < len(frequencies):
        if decibels[at + step] < level <= decibels[at]:
            part = (decibels[at] - level) / (decibels[at] - decibels[at + step])
            return float(math.exp(np.log(frequencies[at]) + part * np.log(frequencies[at + step] / frequencies[at])))
        at += step
    return None
