"""How much room an amplifier's inputs have at rest, above the lowest and below the highest volts that they may have."""

from __future__ import annotations

from netcheck.circuit.model import Amplifier
from netcheck.language.values import Unknown
from netcheck.physics.devices import figure
from netcheck.physics.points import Points, Range

FIGURES = {"below": "common_mode_from_minus", "above": "common_mode_from_plus"}


def input_room(points: Points, amplifier: Amplifier, side: str, guaranteed: bool) -> Range | Unknown:
    """Volts at rest between an amplifier's input and the end of its common-mode range; less than zero is outside.

    Looked at is the + input, which the - input follows; the - input where there is no other. Input and supply are
    taken at the same time, so that a bias that follows the supply is not held against it.

    Args:
        side: 'below' for the room down to the lowest volts allowed, 'above' for that up to the highest.
        guaranteed: the range that every piece has, else that of a usual one.
    """
    circuit = points.walks.circuit
    pin = amplifier.plus or amplifier.minus
    supply = amplifier.supply_minus if side == "below" else amplifier.supply_plus
    part = circuit.parts[amplifier.part]
    if pin is None or supply is None:
        return Unknown((f"the pins of {points.said(part)} are not known",))
    keep = figure(part.record, FIGURES[side], 1 if guaranteed else -1)
    if keep is None:
        return Unknown((f"the part book has no {FIGURES[side].replace('_', ' ')} for {points.said(part)}",))
    ends = (circuit.pins[supply].net, circuit.pins[pin].net)
    found = points.across(*(ends if side == "above" else reversed(ends)))
    if isinstance(found, Unknown):
        return found
    return Range(found.nominal - keep, found.low - keep, found.high - keep)
