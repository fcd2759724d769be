"""A path with a load as a network whose input can be moved, each capacitor taken as what it is at 1 kHz."""

from __future__ import annotations

import math
from collections.abc import Mapping

from netcheck.physics.modelling import ZERO
from netcheck.physics.network.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import Network, NoOperatingPoint, OperatingPoint, operating_point, terminals
from netcheck.physics.pathmodel import MIDDLE, SHORT_OHMS, PathModel
from netcheck.physics.points import Points, current_into

NUDGES = (1e-3, 1e-2, 1e-1)  # volts in by which the gain at rest is measured, until it grows no more
CLIPPED = 0.97  # an output that is this much of what the gain at rest asks for is taken for the last undistorted one
LEAST_BIAS = 1e-5  # amps at rest below which a diode is no part of a bias network
BETWEEN = (0.1, 0.3, 0.6, 1.0)  # of the way from the nearest point that was found
EFFORT = 5_000  # about as much as one search from a near start takes; lost points are not searched for by steps


class Moved:
    """The static network of a path with a load, to be solved at any input."""

    def __init__(self, points: Points, made: PathModel, ohms: float) -> None:
        self.points, self.made = points, made
        self.source, self.output = made.path.input.node, made.output
        rest = made.point.volts
        self.begun = rest[self.source]
        elements: list[Element] = []
        for element in made.network.elements:
            elements += _static(element, rest)
        self.held = abs(rest[self.output]) > 1.0
        if math.isfinite(ohms):
            siemens = 1 / max(ohms, SHORT_OHMS)
            elements.append(Resistor("load", self.output, ZERO, 1 / siemens))
            if self.held:  # a load behind a coupling capacitor: its direct volts stay where they are
                elements.append(CurrentSource("load at rest", ZERO, self.output, siemens * rest[self.output]))
        self.elements = tuple(elements)
        self.known = {ZERO: 0.0} | dict(made.network.known)
        self.amplifiers = [e for e in elements if isinstance(e, OperationalAmplifier)]
        self.rest: Mapping[str, float] = rest
        self.slopes: Mapping[str, float] = {}
        self.found: dict[float, Mapping[str, float]] = {}
        self.stopped = ""  # what ended the current of a shorted output, a clause

    def nudge(self) -> tuple[float, float] | None:
        """The output at rest and the gain there; finds how every node follows the input. None where there is none.

        A stage that stands still around zero, as class B does, is nudged further until it moves.
        """
        rest = self.at(0.0)
        if rest is None:
            return None
        self.rest = rest.volts
        zero, gain = rest.volts[self.output], 0.0
        for small in NUDGES:
            nudged = self.at(small)
            if nudged is None:
                return (zero, gain) if gain else None
            found = (nudged.volts[self.output] - zero) / small
            if abs(found) <= abs(gain) / CLIPPED:
                break
            gain = found
            self.slopes = {node: (volts - rest.volts[node]) / small for node, volts in nudged.volts.items()}
        return zero, gain

    def at(self, change: float, begin: Mapping[str, float] | None = None) -> OperatingPoint | None:
        """The point with the input moved; None where there is none.

        Sought from a start or from where a straight line through the nearest points leads, then from the nearest
        point, then by way of points between that and this.
        """
        found = self._from(change, self._led_to(change) if begin is None else begin)
        if found is None and self.found:
            nearest = min(self.found, key=lambda one: abs(one - change))
            for part in BETWEEN:
                at = nearest + part * (change - nearest)
                found = self._from(at, self.found[min(self.found, key=lambda one: abs(one - at))])
                if found is None:
                    break
        return found

    def _led_to(self, change: float) -> Mapping[str, float]:
        """Volts to begin with: on a straight line through the two nearest points, or along the slopes at rest."""
        side = sorted((one for one in self.found if one * change >= 0), key=lambda one: abs(one - change))[:2]
        if len(side) < 2 or change == 0:
            return {node: volts + self.slopes.get(node, 0.0) * change for node, volts in self.rest.items()}
        near, far = side
        share = (change - near) / (near - far)
        first, second = self.found[near], self.found[far]
        return {node: volts + share * (volts - second[node]) for node, volts in first.items()}

    def _from(self, change: float, begin: Mapping[str, float]) -> OperatingPoint | None:
        network = Network(self.elements, self.known | {self.source: self.begun + change})
        try:
            found = operating_point(network, begin, EFFORT)
        except NoOperatingPoint:
            return None
        self.found[change] = found.volts
        return found

    def limit_of(self, point: OperatingPoint, reached: bool) -> str:
        """What acts at a point, a clause; '' when nothing does."""
        limit = self._amplifier_limit(point)
        if limit or not reached:
            starved = self._starved(point)
            if starved:
                said = self.points.said(self.points.walks.circuit.parts[self.made.part_of[starved]])
                return f"{said} no longer conducts, and what follows it gets no more current"
        return limit or ("" if reached else "what drives the output gives no more")

    def _starved(self, point: OperatingPoint) -> str:
        """A diode that conducts at rest and no longer does: a resistor that feeds bases gives no more."""
        for element in self.elements:
            if isinstance(element, Diode):
                rest = current_into(element, element.anode, self.made.point.volts)
                if rest > LEAST_BIAS and current_into(element, element.anode, point.volts) < rest / 100:
                    return element.name
        return ""

    def overloaded(self, point: OperatingPoint) -> OperationalAmplifier | None:
        """An amplifier that would have to deliver more current than it can, or None."""
        for amplifier in self.amplifiers:
            most = amplifier.model.most_amps
            if most is not None and abs(self.amps_of(amplifier, point)) > most:
                return amplifier
        return None

    def amps_of(self, amplifier: OperationalAmplifier, point: OperatingPoint) -> float:
        """What an amplifier delivers: all that flows from its output into the rest."""
        return sum(
            current_into(element, amplifier.output, point.volts)
            for element in self.elements
            if element is not amplifier and amplifier.output in terminals(element)
        )

    def _amplifier_limit(self, point: OperatingPoint) -> str:
        overloaded = self.overloaded(point)
        if overloaded is not None:
            return f"{self.said(overloaded)} delivers no more current"
        for amplifier in self.amplifiers:
            at = tuple(point.volts[node] for node in amplifier.nodes)
            wanted = amplifier.wanted(at)
            middle, half = amplifier.range_of(at[3], at[4])
            if abs(math.tanh((wanted - middle) / half)) > CLIPPED:
                return f"the output of {self.said(amplifier)} reaches its supply"
        return ""

    def said(self, amplifier: OperationalAmplifier) -> str:
        """An amplifier as it is named in clauses."""
        part = self.points.walks.circuit.parts[self.made.part_of[amplifier.name]]
        unit = amplifier.name.rsplit(":", 1)[-1] if ":" in amplifier.name else ""
        return f"{self.points.said(part)}{unit}"


def _static(element: Element, rest: Mapping[str, float]) -> list[Element]:
    if not isinstance(element, Capacitor):
        return [element]
    siemens = 2 * math.pi * MIDDLE * element.farads
    held = siemens * (rest[element.a] - rest[element.b])
    return [
        Resistor(element.name, element.a, element.b, 1 / siemens, noisy=False),
        CurrentSource(f"{element.name} held", element.b, element.a, held),
    ]
