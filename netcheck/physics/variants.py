"""A path with its loads and at positions of its controls, as changes of what is solved once.

A load is a conductance from the output to ground, a position of a potentiometer a change of the conductances of its
two halves: a few ports of one network, which is taken apart once a frequency (`SmallSignal.response`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from netcheck.circuit.conduction import VARIABLE
from netcheck.ground.names import natural_key
from netcheck.physics.behaviour import Variant
from netcheck.physics.devices import Setting
from netcheck.physics.modelling import ZERO, Piece
from netcheck.physics.network.elements import Resistor
from netcheck.physics.network.response import Ports, Transfer
from netcheck.physics.pathmodel import FREQUENCIES, MIDDLE, SHORT_OHMS, PathModel, crossing
from netcheck.physics.points import Points

Real = NDArray[np.float64]

POSITIONS = (0.0, 0.5, 1.0)
MOST_CONTROLS = 4
QUIET = -200.0  # dB; what passes less is told as this


def controls_of(points: Points, made: PathModel) -> tuple[str, ...]:
    """Keys of the potentiometers of a path, in natural order, as many as are looked at."""
    parts = points.walks.circuit.parts
    found = {part for part in made.part_of.values() if part in parts and parts[part].kind in VARIABLE}
    return tuple(sorted(found, key=natural_key)[:MOST_CONTROLS])


class Variants:
    """Transfer functions of a path with any of its loads and any position of one of its controls."""

    def __init__(self, points: Points, made: PathModel, controls: Sequence[str]) -> None:
        elements = {element.name: element for element in made.network.elements}
        self.halves: list[tuple[Piece, Resistor]] = []
        for key in controls:
            for piece in points.plan.by_part.get(key, ()):
                element = elements.get(piece.name)
                if isinstance(element, Resistor):
                    self.halves.append((piece, element))
        pairs = [(made.output, ZERO), *((half.a, half.b) for _, half in self.halves)]
        told = made.small.response(made.path.input.node, made.output, FREQUENCIES, pairs)
        self.transfer: Transfer = told[0]
        self.ports: Ports = told[1]

    def values(self, ohms: float = math.inf, positions: Mapping[str, float] | None = None) -> NDArray[np.complex128]:
        """The transfer function with a load and controls turned; those that are not named stay as they are."""
        setting = Setting(positions=MappingProxyType(dict(positions or {})))
        added = [1 / max(ohms, SHORT_OHMS) if math.isfinite(ohms) else 0.0]
        for piece, half in self.halves:
            turned = piece.make(setting) if piece.part in setting.positions else half
            added.append(1 / turned.ohms - 1 / half.ohms if isinstance(turned, Resistor) else 0.0)
        return self.ports.with_siemens(added)

    def variant(self, ohms: float, control: str = "", position: float = 0.5) -> Variant:
        """What a load, and a control at a position, make of the response."""
        values = self.values(ohms, {control: position} if control else None)
        decibels = np.asarray(20 * np.log10(np.maximum(np.abs(values), 10 ** (QUIET / 20))))
        middle = float(np.interp(math.log(MIDDLE), np.log(FREQUENCIES), decibels))
        ends = [crossing((FREQUENCIES, decibels), middle - 3.0, side) for side in ("low", "high")]
        return Variant(ohms, control, position, middle, ends[0], ends[1], tuple(float(one) for one in decibels))

    def all_of(self, loads: Sequence[float], controls: Sequence[str]) -> tuple[Variant, ...]:
        """Each load with all as it stands, then each control with each load, at both ends and in the middle.

        Args:
            loads: ohms, infinite for none.
        """
        found = [self.variant(ohms) for ohms in loads]
        for control in controls:
            found += [self.variant(ohms, control, position) for ohms in loads for position in POSITIONS]
        return tuple(found)
