"""Small-signal response at an operating point: gain, phase, group delay, impedance, noise.

The network is (G + jωC) v = b with constant matrices: the pole of an op-amp has a node of its own. At each frequency
one solution gives all voltages for a source, and one of the transposed equations what every source makes at an output;
the derivative of the equations gives the group delay exactly.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from netcheck.physics.network.elements import (
    BOLTZMANN,
    ELEMENTARY_CHARGE,
    Bipolar,
    Capacitor,
    Diode,
    Fet,
    Inductor,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import LEAST_CONDUCTANCE, Network, OperatingPoint, terminals

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
_trapezoid = getattr(np, "trapezoid", None) or getattr(np, "trapz")  # noqa: B009  the latter before numpy 2
MOST_ROWS = 8  # rows of the inverse that are kept for a network
CHUNK = 32  # frequencies solved together; larger ones cost memory and gain nothing
ROOM_KELVIN = 300.0
NO_SOLUTION = "the small-signal equations have no solution; is a node left in the air?"


class Singular(Exception):
    """The small-signal equations have no solution; a node hangs in the air."""


@dataclass(frozen=True)
class NoiseShare:
    """What one source of noise adds at the output: density in V²/Hz at each frequency."""

    name: str
    density: Real


class SmallSignal:
    """A network, made linear at an operating point.

    Args:
        opposite: nodes that a balanced source drives by half of its volts, and the other way round by the other half.
    """

    def __init__(self, network: Network, point: OperatingPoint, opposite: tuple[str, str] | None = None) -> None:
        self.network, self.opposite = network, opposite
        self.point = point
        self.nodes = list(network.free_nodes())
        self.index = {node: number for number, node in enumerate(self.nodes)}
        extra = [e for e in network.elements if isinstance(e, Inductor)]
        extra_amps = [e for e in network.elements if isinstance(e, OperationalAmplifier)]
        size = len(self.nodes) + len(extra) + len(extra_amps)
        self.conductance = np.zeros((size, size))
        self.capacitance = np.zeros((size, size))
        self._next = len(self.nodes)
        self.conductance[range(self._next), range(self._next)] += LEAST_CONDUCTANCE
        for element in network.elements:
            self._stamp(element)
        self._rows: dict[tuple[str, bytes], Complex] = {}
        self._states: dict[tuple[str, bytes], Complex] = {}
        self._drives: dict[str, tuple[Real, Real]] = {}

    def _stamp(self, element: object) -> None:
        if isinstance(element, Resistor):
            self._between(self.conductance, element.a, element.b, 1.0 / max(element.ohms, 1e-9))
        elif isinstance(element, Capacitor):
            self._between(self.capacitance, element.a, element.b, element.farads)
        elif isinstance(element, Inductor):
            self._inductor(element)
        elif isinstance(element, OperationalAmplifier):
            self._amplifier(element)
        elif isinstance(element, Diode | Bipolar | Fet):
            self._device(element)

    def _between(self, matrix: Real, a: str, b: str, value: float) -> None:
        for node, other in ((a, b), (b, a)):
            row, column = self.index.get(node), self.index.get(other)
            if row is not None:
                matrix[row, row] += value
                if column is not None:
                    matrix[row, column] -= value

    def _inductor(self, element: Inductor) -> None:
        """A row of its own for the current: v_a - v_b - (R + jωL) i = 0."""
        row = self._next
        self._next += 1
        for node, sign in ((element.a, 1.0), (element.b, -1.0)):
            at = self.index.get(node)
            if at is not None:
                self.conductance[at, row] += sign
                self.conductance[row, at] += sign
        self.conductance[row, row] -= element.ohms
        self.capacitance[row, row] -= element.henries

    def _amplifier(self, element: OperationalAmplifier) -> None:
        """A node of its own for the voltage behind the output resistance: (1 + jω/ω1) x = A (v+ - v-)."""
        row = self._next
        self._next += 1
        at = tuple(self.point.volts[node] for node in element.nodes)
        _, slopes = element.drive(at, element.model.gain)
        self.conductance[row, row] = 1.0
        if element.model.bandwidth is not None:
            self.capacitance[row, row] = element.model.gain / (2 * math.pi * element.model.bandwidth)
        for node, slope in zip(element.nodes[1:3], slopes[1:3], strict=True):
            column = self.index.get(node)
            if column is not None:
                self.conductance[row, column] -= slope
        out = self.index.get(element.output)
        if out is not None:
            siemens = 1.0 / element.model.output_ohms
            self.conductance[out, out] += siemens
            self.conductance[out, row] -= siemens

    def _device(self, element: Diode | Bipolar | Fet) -> None:
        at = tuple(self.point.volts[node] for node in element.nodes)
        _, slopes = element.currents(at)
        for position, node in enumerate(element.nodes):
            row = self.index.get(node)
            if row is None:
                continue
            for other, column_node in enumerate(element.nodes):
                column = self.index.get(column_node)
                if column is not None:
                    self.conductance[row, column] += slopes[position][other]
        for one, other, farads in element.capacitances(at):
            self._between(self.capacitance, element.nodes[one], element.nodes[other], farads)

    # Solutions

    def injected(self, node: str) -> Real:
        """Right side for one ampere into a node."""
        right = np.zeros(len(self.conductance))
        right[self.index[node]] = 1.0
        return right

    def driven(self, source: str) -> Real:
        """Right side for one volt at a known node: every element that joins it to the network carries it in.

        Raises:
            KeyError: if the node is not one of the known ones.
        """
        if source not in self.network.known:
            raise KeyError(source)
        return self._drive_parts(source)[0]

    def _drive_parts(self, source: str) -> tuple[Real, Real]:
        """The conductive and the capacitive part of the drive from a known node."""
        if source not in self._drives:
            found = self._make_drive(source)
            if self.opposite is not None and source == self.opposite[0]:
                back = self._make_drive(self.opposite[1])
                found = (found[0] - back[0]) / 2, (found[1] - back[1]) / 2
            self._drives[source] = found
        return self._drives[source]

    def _share(self, node: str, source: str) -> float:
        """Volts of a known node for a volt of a source."""
        if self.opposite is None or source != self.opposite[0]:
            return float(node == source)
        return 0.5 * (node == source) - 0.5 * (node == self.opposite[1])

    def _make_drive(self, source: str) -> tuple[Real, Real]:
        free = Network(self.network.elements, {k: v for k, v in self.network.known.items() if k != source})
        wider = SmallSignal(free, self.point)
        at = wider.index[source]
        rows = [wider.index[node] for node in self.nodes] + list(range(len(wider.nodes), len(wider.conductance)))
        return -wider.conductance[rows, at], -wider.capacitance[rows, at]

    def inverses(self, frequencies: Real) -> Complex:
        """(G + jωC)^-1 at each frequency, shape (frequencies, unknowns, unknowns).

        Raises:
            Singular: if there is no inverse.
        """
        omega = 2 * math.pi * np.asarray(frequencies, dtype=float)
        try:
            return np.asarray(np.linalg.inv(self.conductance + 1j * omega[:, None, None] * self.capacitance))
        except np.linalg.LinAlgError:
            raise Singular(NO_SOLUTION) from None

    @cached_property
    def _reduced(self) -> _Reduced:
        return _Reduced(self.conductance, self.capacitance, len(self.nodes))

    def _row(self, output: str, frequencies: Real) -> Complex:
        """The row of the inverse that belongs to an output: what an ampere into each node makes there.

        Found from the transposed equations, the adjoint network: a sixth of the work of the whole inverse.
        """
        asked = (output, np.asarray(frequencies, dtype=float).tobytes())
        if asked not in self._rows:
            if len(self._rows) >= MOST_ROWS:
                self.forget()
            unit = self.injected(output).astype(complex)

            def into(omega: Real) -> Complex:
                return np.tile(unit[:, None], (len(omega), 1, 1))

            found = list(
                _solutions(_Reduced(self.conductance.T, self.capacitance.T, len(self.nodes)), frequencies, into)
            )
            self._rows[asked] = np.concatenate(found)[:, :, 0]
        return self._rows[asked]

    def transfer(self, source: str, output: str, frequencies: Real) -> Transfer:
        """From one volt at a known node to the voltage of another node."""
        return self.response(source, output, frequencies)[0]

    def response(
        self, source: str, output: str, frequencies: Real, pairs: Sequence[tuple[str, str]] = ()
    ) -> tuple[Transfer, Ports]:
        """The transfer function, and what conductances between pairs of nodes will change of it.

        The equations are taken apart once a frequency; the pairs are further right sides.

        Args:
            pairs: of nodes, known ones among them too.
        """
        drive, capacitive = self._right_sides(source, pairs)
        states = np.concatenate(list(_solutions(self._reduced, frequencies, drive)))
        self._states[source, np.asarray(frequencies, dtype=float).tobytes()] = states[:, :, 0]
        at = self.index[output]
        # d(v)/dω = Y^-1 (db/dω - jC v)
        change = 1j * capacitive - 1j * (states[:, :, 0] @ self.capacitance.T)
        slope = np.einsum("fj,fj->f", self._row(output, frequencies), change)
        told = Transfer(np.asarray(frequencies, dtype=float), states[:, at, 0], slope)
        ends = self._ends(pairs)
        given = [self._share(a, source) - self._share(b, source) for a, b in pairs]
        across = np.einsum("np,fn->fp", ends, states[:, :, 0]) + np.array(given)
        mutual = np.einsum("np,fnq->fpq", ends, states[:, :, 1:])
        return told, Ports(told.values, across, states[:, at, 1:], mutual)

    def _right_sides(self, source: str, pairs: Sequence[tuple[str, str]]) -> tuple[Callable[[Real], Complex], Real]:
        """The drive from a known node and an ampere through each pair; and the capacitive part of the drive."""
        conductive, capacitive = self._drive_parts(source)
        ends = self._ends(pairs)

        def drive(omega: Real) -> Complex:
            driven = (conductive + 1j * omega[:, None] * capacitive)[:, :, None]
            columns = np.broadcast_to(ends.astype(complex), (len(omega), *ends.shape))
            return np.concatenate([driven, columns], axis=2)

        return drive, capacitive

    def _ends(self, pairs: Sequence[tuple[str, str]]) -> Real:
        """A column a pair: 1 at its first node, -1 at its second, nothing where a node is known."""
        ends = np.zeros((len(self.conductance), len(pairs)))
        for number, pair in enumerate(pairs):
            for node, sign in zip(pair, (1.0, -1.0), strict=True):
                if node in self.index:
                    ends[self.index[node], number] += sign
        return ends

    def sensitivities(self, source: str, output: str, hertz: float) -> tuple[dict[str, float], float]:
        """As `sensitivity_curves`, at one frequency."""
        found, slope = self.sensitivity_curves(source, output, np.array([hertz]))
        return {name: float(values[0]) for name, values in found.items()}, float(slope[0])

    def sensitivity_curves(self, source: str, output: str, frequencies: Real) -> tuple[dict[str, Real], Real]:
        """How the gain answers to each capacitor and resistor, at each frequency.

        Returns:
            d ln|H| / d ln(value) by name of the element, and d ln|H| / d ln(frequency).

        Source: the adjoint network; any text on circuit theory.
        """
        omega = 2 * math.pi * np.asarray(frequencies, dtype=float)
        states = self._states_of(source, frequencies)
        row, value = self._row(output, frequencies), states[:, self.index[output]]
        found: dict[str, Real] = {}
        for element in self.network.elements:
            if isinstance(element, Resistor | Capacitor):
                across = self._pair(states, element.a, element.b)
                across = across + self._share(element.a, source) - self._share(element.b, source)
                back = self._pair(row, element.a, element.b)
                capacitive = isinstance(element, Capacitor)
                siemens = 1j * omega * element.farads if capacitive else -1 / max(element.ohms, 1e-9)  # type: ignore[union-attr]
                found[element.name] = np.asarray((-siemens * across * back / value).real)
        change = 1j * self._drive_parts(source)[1] - 1j * (states @ self.capacitance.T)
        return found, np.asarray((omega * np.einsum("fj,fj->f", row, change) / value).real)

    def _states_of(self, source: str, frequencies: Real) -> Complex:
        """All unknowns for a volt at a known node."""
        asked = (source, np.asarray(frequencies, dtype=float).tobytes())
        if asked not in self._states:
            drive, _ = self._right_sides(source, ())
            self._states[asked] = np.concatenate(list(_solutions(self._reduced, frequencies, drive)))[:, :, 0]
        return self._states[asked]

    def forget(self) -> None:
        """Give back the room of what is kept for further questions at the same frequencies."""
        self._rows.clear()
        self._states.clear()

    def impedance(self, node: str, frequencies: Real) -> Complex:
        """Impedance seen at a node against the known ones, in ohms."""
        return np.asarray(self._row(node, frequencies)[:, self.index[node]])

    def noise(self, output: str, frequencies: Real, kelvin: float = ROOM_KELVIN) -> list[NoiseShare]:
        """What each source of noise adds at a node, by the adjoint network: one row of the inverse serves all.

        Sources: 4kT/R of resistors, 2qI of junctions, the voltage and current noise of amplifiers.
        """
        row = self._row(output, frequencies)
        shares: list[NoiseShare] = []
        for element in self.network.elements:
            for name, density, gain in self._noise_sources(element, row, kelvin):
                shares.append(NoiseShare(name, density * np.abs(gain) ** 2))
        return shares

    def _noise_sources(self, element: object, row: Complex, kelvin: float) -> list[tuple[str, float, Complex]]:
        if isinstance(element, Resistor) and element.noisy:
            density = 4 * BOLTZMANN * kelvin / max(element.ohms, 1e-9)
            return [(element.name, density, self._pair(row, element.a, element.b))]
        if isinstance(element, Diode):
            amps = abs(self.point.currents[element.name][0])
            gain = self._pair(row, element.anode, element.cathode)
            return [(element.name, 2 * ELEMENTARY_CHARGE * amps, gain)]
        if isinstance(element, Bipolar):
            collector, base, _ = (abs(amps) for amps in self.point.currents[element.name])
            return [
                (element.name, 2 * ELEMENTARY_CHARGE * collector, self._pair(row, element.collector, element.emitter)),
                (element.name, 2 * ELEMENTARY_CHARGE * base, self._pair(row, element.base, element.emitter)),
            ]
        if isinstance(element, Fet):
            slopes = element.currents(tuple(self.point.volts[node] for node in element.nodes))[1]
            density = 8.0 / 3.0 * BOLTZMANN * kelvin * abs(slopes[0][1])
            return [(element.name, density, self._pair(row, element.drain, element.source))]
        if isinstance(element, OperationalAmplifier):
            return self._amplifier_noise(element, row)
        return []

    def _amplifier_noise(self, element: OperationalAmplifier, row: Complex) -> list[tuple[str, float, Complex]]:
        model = element.model
        order = [e for e in self.network.elements if isinstance(e, Inductor | OperationalAmplifier)]
        at = len(self.nodes) + order.index(element)
        slopes = element.drive(tuple(self.point.volts[node] for node in element.nodes), model.gain)[1]
        found = [(element.name, model.noise_volts**2, row[:, at] * slopes[1])]
        for node in (element.plus, element.minus):
            if node in self.index:
                found.append((element.name, model.noise_amps**2, row[:, self.index[node]]))
        return found

    def _pair(self, row: Complex, a: str, b: str) -> Complex:
        zero = np.zeros(len(row), dtype=complex)
        one = row[:, self.index[a]] if a in self.index else zero
        other = row[:, self.index[b]] if b in self.index else zero
        return np.asarray(one - other)

    @cached_property
    def terminals(self) -> dict[str, tuple[str, ...]]:
        """Nodes of each element, by its name."""
        return {element.name: terminals(element) for element in self.network.elements}


class _Reduced:
    """(G + jωC) v = b without the unknowns beyond the nodes: behind amplifiers, through inductors.

    Among themselves these have a diagonal block only, so that each is put into the equations of the nodes by hand. That
    takes a third off the size of a chain of amplifiers.
    """

    def __init__(self, conductance: Real, capacitance: Real, size: int) -> None:
        self.size = size
        self.conductance, self.capacitance = conductance[:size, :size], capacitance[:size, :size]
        self.diagonal = np.diagonal(conductance)[size:], np.diagonal(capacitance)[size:]
        self.into, self.from_nodes = conductance[:size, size:], conductance[size:, :size]

    def solve(self, omega: Real, right: Complex) -> Complex:
        """Solutions at each angular frequency, shape (frequencies, unknowns, columns of b)."""
        size = self.size
        matrices = np.empty((len(omega), size, size), dtype=np.complex128)
        matrices.real, matrices.imag = self.conductance, omega[:, None, None] * self.capacitance
        if right.shape[1] == size:
            return np.asarray(np.linalg.solve(matrices, right))
        own = 1 / (self.diagonal[0] + 1j * omega[:, None] * self.diagonal[1])
        for number in range(own.shape[1]):
            for row in np.flatnonzero(self.into[:, number]):
                for column in np.flatnonzero(self.from_nodes[number]):
                    matrices[:, row, column] -= (
                        self.into[row, number] * own[:, number] * self.from_nodes[number, column]
                    )
        beyond = own[:, :, None] * right[:, size:]
        found = np.linalg.solve(matrices, right[:, :size] - self.into @ beyond)
        return np.concatenate([found, beyond - own[:, :, None] * (self.from_nodes @ found)], axis=1)


def _solutions(reduced: _Reduced, frequencies: Real, right: Callable[[Real], Complex]) -> Iterator[Complex]:
    """Solutions in chunks of frequencies, the columns of b by angular frequency.

    Raises:
        Singular: if there is none.
    """
    for start in range(0, len(frequencies), CHUNK):
        omega = 2 * math.pi * np.asarray(frequencies[start : start + CHUNK], dtype=float)
        try:
            with np.errstate(divide="raise", invalid="raise"):
                yield reduced.solve(omega, right(omega))
        except (np.linalg.LinAlgError, FloatingPointError):
            raise Singular(NO_SOLUTION) from None


@dataclass(frozen=True)
class Ports:
    """A transfer function, and what it needs to be told with conductances added, without solving again.

    Attributes:
        values: by frequency. across: volts across each pair of nodes, for a volt at the source. out: ohms from each
            pair to the output. mutual: ohms from each pair to each other.
    """

    values: Complex
    across: Complex
    out: Complex
    mutual: Complex

    def with_siemens(self, siemens: Sequence[float]) -> Complex:
        """The transfer function with a conductance added between each pair.

        Source: the matrix inversion lemma (Woodbury): with E the pairs and D their conductances,
        (Y + E D E')^-1 = Y^-1 - Y^-1 E D (1 + E' Y^-1 E D)^-1 E' Y^-1.
        """
        used = [number for number, value in enumerate(siemens) if value != 0]
        if not used:
            return self.values
        added = np.array([siemens[number] for number in used])
        matrices = np.eye(len(used)) + self.mutual[:, used][:, :, used] * added
        volts = np.linalg.solve(matrices, self.across[:, used, None])[:, :, 0]
        return np.asarray(self.values - np.einsum("fp,fp->f", self.out[:, used], added * volts))


@dataclass(frozen=True)
class Transfer:
    """A transfer function at some frequencies.

    Attributes:
        frequencies: in Hz. values: complex, volts per volt. slopes: derivatives by angular frequency.
    """

    frequencies: Real
    values: Complex
    slopes: Complex

    @property
    def decibels(self) -> Real:
        """Magnitude in dB."""
        return np.asarray(20 * np.log10(np.maximum(np.abs(self.values), 1e-30)))

    @property
    def degrees(self) -> Real:
        """Phase in degrees, between -180 and 180."""
        return np.asarray(np.degrees(np.angle(self.values)))

    @property
    def group_delay(self) -> Real:
        """-dφ/dω in seconds, from the derivative of the equations."""
        return np.asarray(-np.imag(self.slopes / self.values))


def total_noise(shares: Sequence[NoiseShare], frequencies: Real) -> float:
    """RMS noise over a band in volts: the root of the integral of all densities, by trapezoids.

    Args:
        frequencies: those of the shares, rising.
    """
    density = sum((share.density for share in shares), np.zeros(len(frequencies)))
    return math.sqrt(float(_trapezoid(density, frequencies)))
