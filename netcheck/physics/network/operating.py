"""The operating point of a network: nodal equations by Newton's method, with steps that help it along."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netcheck.physics.network.elements import (
    Bipolar,
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    Fet,
    Inductor,
    OperationalAmplifier,
    Resistor,
)

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

LEAST_CONDUCTANCE = 1e-12  # from every node to zero, as circuit simulators have it; keeps floating nodes solvable
MOST_ITERATIONS = 120
MOST_STEP = 0.5  # volts that a node may move in one iteration
CLOSE_VOLTS, CLOSE_AMPS = 1e-9, 1e-12


class NoOperatingPoint(Exception):
    """No operating point was found; the text says why and names what stands out."""


@dataclass(frozen=True)
class OperatingPoint:
    """Node voltages at rest.

    Attributes:
        volts: by node, known nodes too. currents: by element name, amps into each of its terminals in order.
    """

    volts: Mapping[str, float]
    currents: Mapping[str, tuple[float, ...]]


@dataclass(frozen=True)
class Network:
    """Elements, and the nodes whose voltage is given (rails, ground)."""

    elements: tuple[Element, ...]
    known: Mapping[str, float]

    def free_nodes(self) -> tuple[str, ...]:
        """Nodes whose voltage is to be found, in order of first mention."""
        seen = dict.fromkeys(node for element in self.elements for node in terminals(element))
        return tuple(node for node in seen if node not in self.known)


def terminals(element: Element) -> tuple[str, ...]:
    """The nodes of any element."""
    if isinstance(element, Resistor | Capacitor | Inductor | CurrentSource):
        return element.a, element.b
    return element.nodes


def operating_point(network: Network, start: Mapping[str, float] | None = None) -> OperatingPoint:
    """The voltages at rest.

    Newton's method from the start given (or from zero); where it does not settle, gains and conductances are raised
    in steps.

    Raises:
        NoOperatingPoint: when it does not settle.
    """
    solver = _Solver(network)
    guess = np.array([(start or {}).get(node, 0.0) for node in solver.nodes])
    found = solver.solve(guess, 1.0, 0.0)
    if found is None:
        found = solver.by_steps(guess)
    if found is None:
        raise NoOperatingPoint("the equations of the operating point do not settle")
    return solver.told(found)


class _Solver:
    def __init__(self, network: Network) -> None:
        self.network = network
        self.nodes = network.free_nodes()
        self.index = {node: number for number, node in enumerate(self.nodes)}
        self.linear, self.sources = self._linear_part()
        self.curved = [e for e in network.elements if isinstance(e, Diode | Bipolar | Fet | OperationalAmplifier)]
        self.span = max((abs(volts) for volts in network.known.values()), default=0.0)

    def _linear_part(self) -> tuple[Matrix, Vector]:
        size = len(self.nodes)
        matrix, right = np.zeros((size, size)), np.zeros(size)
        for element in self.network.elements:
            if isinstance(element, Resistor | Inductor):
                self._conductance(matrix, right, element.a, element.b, 1.0 / max(element.ohms, 1e-9))
            elif isinstance(element, CurrentSource):
                self._current(right, element.a, -element.amps)
                self._current(right, element.b, element.amps)
            elif isinstance(element, OperationalAmplifier):
                for node in (element.plus, element.minus):
                    self._current(right, node, -element.model.bias)
        return matrix, right

    def _conductance(self, matrix: Matrix, right: Vector, a: str, b: str, siemens: float) -> None:
        for node, other in ((a, b), (b, a)):
            row = self.index.get(node)
            if row is None:
                continue
            matrix[row, row] += siemens
            column = self.index.get(other)
            if column is None:
                right[row] += siemens * self.network.known[other]
            else:
                matrix[row, column] -= siemens

    def _current(self, right: Vector, node: str, amps: float) -> None:
        row = self.index.get(node)
        if row is not None:
            right[row] += amps

    def _at(self, volts: Vector, nodes: Sequence[str]) -> tuple[float, ...]:
        return tuple(
            float(volts[self.index[node]]) if node in self.index else self.network.known[node] for node in nodes
        )

    def _equations(self, volts: Vector, gain: float, leak: float) -> tuple[Vector, Matrix]:
        """Currents that are left over at each node, and how they change."""
        conductance = LEAST_CONDUCTANCE + leak
        jacobian = self.linear.copy()
        jacobian[np.diag_indices_from(jacobian)] += conductance
        left = self.linear @ volts - self.sources + conductance * volts
        for element in self.curved:
            nodes = element.nodes
            at = self._at(volts, nodes)
            if isinstance(element, OperationalAmplifier):
                self._amplifier(element, at, gain, left, jacobian)
                continue
            currents, slopes = element.currents(at)
            for position, node in enumerate(nodes):
                row = self.index.get(node)
                if row is None:
                    continue
                left[row] += currents[position]
                for other, column_node in enumerate(nodes):
                    column = self.index.get(column_node)
                    if column is not None:
                        jacobian[row, column] += slopes[position][other]
        return left, jacobian

    def _amplifier(
        self, element: OperationalAmplifier, at: tuple[float, ...], gain: float, left: Vector, jacobian: Matrix
    ) -> None:
        row = self.index.get(element.output)
        if row is None:
            return
        siemens = 1.0 / element.model.output_ohms
        drive, slopes = element.drive(at, max(1.0, element.model.gain * gain))
        left[row] += siemens * (at[0] - drive)
        jacobian[row, row] += siemens
        for position, node in enumerate(element.nodes):
            column = self.index.get(node)
            if column is not None:
                jacobian[row, column] -= siemens * slopes[position]

    def solve(self, guess: Vector, gain: float, leak: float) -> Vector | None:
        """Newton's method; None when it does not settle."""
        volts = guess.copy()
        bound = MOST_STEP
        for iteration in range(MOST_ITERATIONS):
            left, jacobian = self._equations(volts, gain, leak)
            try:
                step = np.linalg.solve(jacobian, left)
            except np.linalg.LinAlgError:
                return None
            if not np.all(np.isfinite(step)):
                return None
            largest = float(np.max(np.abs(step), initial=0.0))
            if iteration == 40:
                bound = MOST_STEP / 5
            limit = max(bound, 0.2 * self.span) if not self.curved else bound
            volts = volts - step * min(1.0, limit / largest if largest > limit else 1.0)
            if largest < CLOSE_VOLTS:
                return volts
        return None

    def by_steps(self, guess: Vector) -> Vector | None:
        """Leak conductance from large to none, then the gain of amplifiers from one to all."""
        volts = guess.copy()
        for gain_exponent in (-5.0, -4.0, -3.0, -2.0, -1.0, 0.0):
            leaks = [10.0**-power for power in range(2, 13)] if gain_exponent == -5.0 else [0.0]
            for leak in [*leaks, 0.0]:
                found = self.solve(volts, 10.0**gain_exponent, leak)
                if found is None and leak == 0.0:
                    return None
                volts = volts if found is None else found
        return volts

    def told(self, volts: Vector) -> OperatingPoint:
        """Voltages of all nodes and currents of all elements."""
        found = dict(self.network.known) | {node: float(volts[number]) for node, number in self.index.items()}
        currents: dict[str, tuple[float, ...]] = {}
        for element in self.network.elements:
            at = tuple(found[node] for node in terminals(element))
            if isinstance(element, Resistor | Inductor):
                amps = (at[0] - at[1]) / max(element.ohms, 1e-9)
                currents[element.name] = (amps, -amps)
            elif isinstance(element, CurrentSource):
                currents[element.name] = (element.amps, -element.amps)
            elif isinstance(element, Capacitor):
                currents[element.name] = (0.0, 0.0)
            elif isinstance(element, OperationalAmplifier):
                drive, _ = element.drive(at, element.model.gain)
                out = (at[0] - drive) / element.model.output_ohms
                currents[element.name] = (out, element.model.bias, element.model.bias)
            else:
                currents[element.name] = tuple(element.currents(at)[0])
        return OperatingPoint(found, currents)
