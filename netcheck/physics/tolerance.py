"""How far tolerances of resistors and capacitors move a response: the worst case, to first order.

The gain answers to each value by a sensitivity, d ln|H| / d ln(value), and to all of them together by the sum; in the
worst case every value lies at that end of its tolerance at which it moves the gain the same way. What two values do to
each other is not looked at: of an RC with 20 % that is a tenth of what is told.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from netcheck.circuit.model import Part
from netcheck.ground.names import natural_key
from netcheck.physics.pathmodel import FREQUENCIES, PathModel
from netcheck.physics.points import Points

Real = NDArray[np.float64]
Value = TypeVar("Value", float, Real)
PER_NEPER = 20 / math.log(10)  # decibels
MOST_NAMED = 4


def tolerance_of(part: Part | None, by_kind: Mapping[str, float]) -> float:
    """The tolerance of a part as a fraction: what its value or a field says, else what its kind usually has.

    What stands for a source or a lead is no part; it is taken as it is told.
    """
    if part is None:
        return 0.0
    stated = part.value.tolerance
    return stated if stated is not None else by_kind.get(part.kind, 0.0)


@dataclass(frozen=True)
class Loose:
    """How a path answers to the tolerances of its parts.

    Attributes:
        gain: dB either way at 1 kHz. spread: dB either way against 1 kHz, at each of the frequencies.
        by_part: parts by what they do to the gain at 1 kHz, dB, most first.
    """

    gain: float
    spread: Real
    by_part: tuple[tuple[str, float], ...]


def loose(points: Points, made: PathModel) -> Loose:
    """The worst case of a path over the tolerances of its resistors and capacitors."""
    curves, _ = made.small.sensitivity_curves(made.path.input.node, made.output, FREQUENCIES)
    middle = by_part(made, made.at_middle)
    parts = points.walks.circuit.parts
    spread = np.zeros(len(FREQUENCIES))
    each: dict[str, float] = {}
    for part, curve in by_part(made, curves).items():
        off = tolerance_of(parts.get(part), points.tolerances)
        spread += np.abs(curve - middle[part]) * off
        each[part] = abs(middle[part]) * off * PER_NEPER
    ranked = sorted(each, key=lambda part: (-round(each[part], 6), natural_key(part)))
    told = tuple((part, each[part]) for part in ranked[:MOST_NAMED] if each[part] > 0.01)
    return Loose(sum(each.values()), spread * PER_NEPER, told)


def by_part(made: PathModel, found: Mapping[str, Value]) -> dict[str, Value]:
    """Sensitivities of elements added up by part: the halves of a potentiometer are one piece of carbon."""
    added: dict[str, Value] = {}
    for name, value in found.items():
        part = made.part_of[name]
        added[part] = added[part] + value if part in added else value
    return added


def off_by(points: Points, sensitivities: Mapping[str, float]) -> float:
    """The natural logarithm of what a quantity may be off by, from its sensitivities to parts: the worst case."""
    parts = points.walks.circuit.parts
    return sum(abs(value) * tolerance_of(parts.get(part), points.tolerances) for part, value in sensitivities.items())
