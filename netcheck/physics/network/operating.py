"""The operating point of a network: nodal equations by Newton's method, with steps that help it along."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import mul

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
from netcheck.physics.network.junctions import Junctions, begun, held_back

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

LEAST_CONDUCTANCE = 1e-12  # from every node to zero, as circuit simulators have it; keeps floating nodes solvable
MOST_ITERATIONS = 120
MOST_STEP = 1.0  # volts that a node may move in one iteration
# A step below this is the last: the error left is about its square over twice the thermal volts, 2e-13 V.
CLOSE_VOLTS, CLOSE_WANTED = 1e-7, 1e-6
NEARLY_CLOSE, NEARLY_OFTEN = 1e-4, 8  # volts, and how often in a row: what is left is what rounding leaves
MOST_SPAN = 3.0  # times the highest of the volts given that a node may move in one iteration, junctions held back
SATURATED = 2.0  # times half its range from which on an output no longer answers to what is wanted of it


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
    """Elements, and the nodes whose voltage is given (rails, ground).

    Attributes:
        nodes: those to be found, where not just all that elements touch.
    """

    elements: tuple[Element, ...]
    known: Mapping[str, float]
    nodes: tuple[str, ...] = ()

    def free_nodes(self) -> tuple[str, ...]:
        """Nodes whose voltage is to be found, in order of first mention."""
        if self.nodes:
            return self.nodes
        seen = dict.fromkeys(node for element in self.elements for node in terminals(element))
        return tuple(node for node in seen if node not in self.known)


def terminals(element: Element) -> tuple[str, ...]:
    """The nodes of any element."""
    if isinstance(element, Resistor | Capacitor | Inductor | CurrentSource):
        return element.a, element.b
    return element.nodes


def operating_point(
    network: Network, start: Mapping[str, float] | None = None, effort: float = math.inf
) -> OperatingPoint:
    """The voltages at rest.

    Newton's method from the start given (or from zero), with junctions held back; where it does not settle, with short
    steps instead, then gains and conductances are raised in steps.

    Args:
        effort: how many equations of curved elements may be worked out before giving up; a solution of n linear
            equations counts as n cubed over 30000 of them.

    Raises:
        NoOperatingPoint: when it does not settle.
    """
    solver = _Solver(network, effort)
    guess = np.array([(start or {}).get(node, 0.0) for node in solver.nodes])
    found = solver.held_back(guess)
    if found is None:
        found = solver.solve(guess, 1.0, 0.0)
    if found is None:
        found = solver.by_steps(guess)
    if found is None:
        raise NoOperatingPoint("the equations of the operating point do not settle")
    return solver.told(found)


def sensitivities(network: Network, point: OperatingPoint) -> tuple[Matrix | None, bool]:
    """How node voltages answer to currents into nodes at an operating point, and whether the point stays.

    Returns:
        The inverse of the Jacobian in ohms, in the order of the free nodes, or None where there is none; and False
        where its determinant is negative: then the point is one on which the circuit turns to one side or the other,
        whatever its capacitances (the product of the eigenvalues of C^-1 J is positive wherever all decay).
    """
    solver = _Solver(network)
    size = len(solver.nodes)
    wanted = [element.wanted(tuple(point.volts[node] for node in element.nodes)) for element in solver.amplifiers]
    unknowns = np.array([*(point.volts[node] for node in solver.nodes), *wanted])
    _, jacobian = solver._equations(unknowns, 1.0, 0.0)
    sign, _ = np.linalg.slogdet(jacobian)
    try:
        return np.asarray(np.linalg.inv(jacobian)[:size, :size]), bool(sign >= 0)
    except np.linalg.LinAlgError:
        return None, True


class _Solver:
    def __init__(self, network: Network, effort: float = math.inf) -> None:
        self.network, self.effort = network, effort
        self.nodes = network.free_nodes()
        self.index = {node: number for number, node in enumerate(self.nodes)}
        self.linear, self.sources = self._linear_part()
        self.curved = [e for e in network.elements if isinstance(e, Diode | Bipolar | Fet)]
        self.amplifiers = [e for e in network.elements if isinstance(e, OperationalAmplifier)]
        self.junctions: list[Junctions | None] | None = None  # of curved elements, while they are held back
        self.apart = False  # whether one of them was held back in the last iteration
        self.span = max((abs(volts) for volts in network.known.values()), default=0.0)
        self._number()

    def _number(self) -> None:
        """Where the terminals of each element stand: in the list of all volts, in rows and in the flat Jacobian."""
        given = [node for node in self.network.known if node not in self.index]
        place = {node: number for number, node in enumerate((*self.nodes, *given))}
        self.given = [self.network.known[node] for node in given]
        self.places = [tuple(place[node] for node in element.nodes) for element in self.curved]
        self.amplifier_places = [tuple(place[node] for node in element.nodes) for element in self.amplifiers]
        size, width = len(self.nodes), len(self.nodes) + len(self.amplifiers)
        ends = [at for places in self.places for at in places]
        pairs = [(row, column) for places in self.places for row in places for column in places]
        self.picked_ends = np.array([n for n, at in enumerate(ends) if at < size], dtype=np.intp)
        self.picked_pairs = np.array([n for n, pair in enumerate(pairs) if max(pair) < size], dtype=np.intp)
        self.rows = np.array([at for at in ends if at < size], dtype=np.intp)
        self.flat = np.array([row * width + at for row, at in pairs if max(row, at) < size], dtype=np.intp)

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

    def _equations(self, unknowns: Vector, gain: float, leak: float) -> tuple[Vector, Matrix]:
        """Currents that are left over at each node, then volts at each amplifier's input, and how they change."""
        conductance, size, width = LEAST_CONDUCTANCE + leak, len(self.nodes), len(unknowns)
        volts = unknowns[:size]
        jacobian = np.zeros((width, width))
        jacobian[:size, :size] = self.linear
        jacobian.ravel()[: size * width : width + 1] += conductance
        left = np.zeros(width)
        left[:size] = self.linear @ volts - self.sources + conductance * volts
        at = volts.tolist() + self.given
        for number, (amplifier, places) in enumerate(zip(self.amplifiers, self.amplifier_places, strict=True), size):
            self._amplifier(amplifier, places, number, float(unknowns[number]), at, gain, left, jacobian)
        if self.curved:
            amps, siemens = self._curved(at)
            left += np.bincount(self.rows, amps[self.picked_ends], width)
            jacobian += np.bincount(self.flat, siemens[self.picked_pairs], width * width).reshape(width, width)
        return left, jacobian

    def _curved(self, at: Sequence[float]) -> tuple[Vector, Vector]:
        """Currents of all curved elements, terminal by terminal, and their derivatives by each terminal."""
        amps: list[float] = []
        siemens: list[float] = []
        self.apart = False
        for number, (element, places) in enumerate(zip(self.curved, self.places, strict=True)):
            wanted = tuple(at[place] for place in places)
            if self.junctions is None:
                currents, slopes = element.currents(wanted)
            else:
                held, self.junctions[number] = held_back(element, wanted, self.junctions[number])
                currents, slopes = element.currents(held)
                rest = [one - other for one, other in zip(wanted, held, strict=True)]
                if any(abs(volts) > CLOSE_VOLTS for volts in rest):
                    self.apart = True
                    pairs = zip(currents, slopes, strict=True)
                    currents = [amps + sum(map(mul, row, rest)) for amps, row in pairs]
            amps += currents
            for row in slopes:
                siemens += row
        return np.array(amps), np.array(siemens)

    def _amplifier(
        self,
        element: OperationalAmplifier,
        places: Sequence[int],
        number: int,
        wanted: float,
        at: Sequence[float],
        gain: float,
        left: Vector,
        jacobian: Matrix,
    ) -> None:
        """Two equations: the output follows what is wanted of it within its limits, and gain makes that of the inputs.

        What is wanted is an unknown of its own: the output bends slowly with it, while with the difference of the
        inputs it would jump from one limit to the other within microvolts.
        """
        total, size = max(1.0, element.model.gain * gain), len(self.nodes)
        output, plus, minus, high, low = places
        drive, slope, by_high, by_low = element.bent(wanted, at[high], at[low])
        left[number] = wanted / total - (at[plus] - at[minus] + element.model.offset)
        jacobian[number, number] = 1 / total
        for place, sign in ((plus, -1.0), (minus, 1.0)):
            if place < size:
                jacobian[number, place] += sign
        if output >= size:
            return
        siemens = 1.0 / element.model.output_ohms
        left[output] += siemens * (at[output] - drive)
        jacobian[output, output] += siemens
        jacobian[output, number] -= siemens * slope
        for place, change in ((high, by_high), (low, by_low)):
            if place < size:
                jacobian[output, place] -= siemens * change

    def _begun(self, guess: Vector, gain: float) -> Vector:
        """Unknowns to begin with: what is wanted of each amplifier is its output, as long as it is not known better."""
        if len(guess) == len(self.nodes) + len(self.amplifiers):
            return guess.copy()
        wanted = [self._at(guess, element.nodes)[0] for element in self.amplifiers]
        return np.concatenate([guess, np.array(wanted)])

    def held_back(self, guess: Vector) -> Vector | None:
        """Newton's method with junctions held back, which takes few and long steps; None when it does not settle."""
        unknowns, size = self._begun(guess, 1.0), len(self.nodes)
        at = [*guess.tolist(), *self.given]
        ends = [tuple(at[place] for place in places) for places in self.places]
        cold = not guess.any()
        self.junctions = [None if cold else begun(*pair) for pair in zip(self.curved, ends, strict=True)]
        often = 0
        try:
            for _ in range(MOST_ITERATIONS):
                step = self._step(unknowns, 1.0, 0.0)
                if step is None:
                    return None
                largest = float(np.max(np.abs(step[:size]), initial=0.0))
                most = MOST_SPAN * self.span
                unknowns[:size] -= step[:size] * (most / largest if 0 < most < largest else 1.0)
                at_ease = self._turn(unknowns, step) and not self.apart
                often = often + 1 if at_ease and largest < NEARLY_CLOSE else 0
                if (largest < CLOSE_VOLTS and at_ease) or often == NEARLY_OFTEN:
                    return unknowns
        finally:
            self.junctions = None
        return None

    def _step(self, unknowns: Vector, gain: float, leak: float) -> Vector | None:
        """What Newton's method takes off the unknowns; None when it cannot tell or the effort is spent."""
        self.effort -= 1 + len(self.curved) + len(self.amplifiers) + len(unknowns) ** 3 / 30_000
        if self.effort < 0:
            return None
        left, jacobian = self._equations(unknowns, gain, leak)
        try:
            step: Vector = np.asarray(np.linalg.solve(jacobian, left), dtype=np.float64)
        except np.linalg.LinAlgError:
            return None
        return step if np.all(np.isfinite(step)) else None

    def solve(self, guess: Vector, gain: float, leak: float) -> Vector | None:
        """Newton's method; None when it does not settle."""
        unknowns, size = self._begun(guess, gain), len(self.nodes)
        bound = MOST_STEP
        for iteration in range(MOST_ITERATIONS):
            step = self._step(unknowns, gain, leak)
            if step is None:
                return None
            largest = float(np.max(np.abs(step[:size]), initial=0.0))
            if iteration == 40:
                bound = MOST_STEP / 5
            limit = max(bound, 0.2 * self.span) if not self.curved else bound
            whole = min(1.0, limit / largest if largest > limit else 1.0)
            unknowns[:size] -= step[:size] * whole
            at_ease = self._turn(unknowns, step)
            if largest < CLOSE_VOLTS and at_ease:
                return unknowns
        return None

    def _turn(self, unknowns: Vector, step: Vector) -> bool:
        """Move what is wanted of amplifiers, by half their range at most or back to the middle; True when it is still.

        Beyond their limits it may go out as far as it likes: it can be thousands of volts there and matters to nothing.
        """
        still = True
        for number, element in enumerate(self.amplifiers, len(self.nodes)):
            *_, high, low = self._at(unknowns, element.nodes)
            middle, half = element.range_of(high, low)
            beyond = unknowns[number] - middle
            outward = abs(beyond) > SATURATED * half and beyond * step[number] < 0
            most = math.inf if outward else max(half, abs(beyond))
            change = min(max(float(step[number]), -most), most)
            unknowns[number] -= change
            still = still and abs(step[number]) < CLOSE_WANTED * max(1.0, abs(unknowns[number]))
        return still

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
