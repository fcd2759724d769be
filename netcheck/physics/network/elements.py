"""Elements of a network and their equations.

Every element stands between named nodes. A nonlinear one gives its terminal currents and how they change with each
terminal voltage; a linear one its conductance and capacitance. Currents flow into the element. SI units throughout.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

BOLTZMANN = 1.380649e-23  # J/K, exact by definition of the SI, 2019
ELEMENTARY_CHARGE = 1.602176634e-19  # C, exact by definition of the SI, 2019
NOMINAL_KELVIN = 300.15  # 27 °C, the usual temperature of device models
LARGEST_EXPONENT = 80.0


def thermal_volts(kelvin: float) -> float:
    """kT/q in volts.

    >>> round(thermal_volts(300.0), 5)
    0.02585
    """
    return BOLTZMANN * kelvin / ELEMENTARY_CHARGE


def _exponential(x: float) -> tuple[float, float]:
    """exp(x) and its derivative, continued as a straight line where it would overflow."""
    if x > LARGEST_EXPONENT:
        edge = math.exp(LARGEST_EXPONENT)
        return edge * (1 + x - LARGEST_EXPONENT), edge
    value = math.exp(x) if x > -LARGEST_EXPONENT * 4 else 0.0
    return value, value


@dataclass(frozen=True, slots=True)
class Resistor:
    """A resistance. `noisy`: it makes thermal noise (a model's own helper resistance does not)."""

    name: str
    a: str
    b: str
    ohms: float
    noisy: bool = True


@dataclass(frozen=True, slots=True)
class Capacitor:
    """A capacitance; open for direct current."""

    name: str
    a: str
    b: str
    farads: float


@dataclass(frozen=True, slots=True)
class Inductor:
    """An inductance with its winding resistance; a resistance for direct current."""

    name: str
    a: str
    b: str
    henries: float
    ohms: float = 1e-3


@dataclass(frozen=True, slots=True)
class CurrentSource:
    """A fixed current from a through the source to b."""

    name: str
    a: str
    b: str
    amps: float


@dataclass(frozen=True, slots=True)
class DiodeModel:
    """Junction diode.

    Attributes:
        saturation: IS in A. emission: N. breakdown: volts at which `knee` amps flow backwards, None for none.
        capacitance: in F, constant. kelvin: junction temperature that `saturation` is meant at.
    """

    saturation: float = 1e-14
    emission: float = 1.0
    breakdown: float | None = None
    knee: float = 1e-3
    capacitance: float = 0.0
    kelvin: float = NOMINAL_KELVIN


@dataclass(frozen=True, slots=True)
class Diode:
    """A diode between anode and cathode."""

    name: str
    anode: str
    cathode: str
    model: DiodeModel = field(default_factory=DiodeModel)

    @property
    def nodes(self) -> tuple[str, ...]:
        """Terminals, in the order of `currents`."""
        return self.anode, self.cathode

    def currents(self, volts: tuple[float, ...]) -> tuple[list[float], list[list[float]]]:
        """Terminal currents in A and their derivatives in S.

        Source: Shockley's equation; breakdown as an exponential from the knee on.
        """
        model = self.model
        scale = model.emission * thermal_volts(model.kelvin)
        across = volts[0] - volts[1]
        forward, slope = _exponential(across / scale)
        current, conductance = model.saturation * (forward - 1), model.saturation * slope / scale
        if model.breakdown is not None:
            vt = thermal_volts(model.kelvin)
            back, back_slope = _exponential(-(across + model.breakdown) / vt)
            current -= model.knee * back
            conductance += model.knee * back_slope / vt
        return [current, -current], [[conductance, -conductance], [-conductance, conductance]]

    def capacitances(self, volts: tuple[float, ...]) -> list[tuple[int, int, float]]:
        """Capacitances between terminals at the operating point."""
        return [(0, 1, self.model.capacitance)] if self.model.capacitance else []


@dataclass(frozen=True, slots=True)
class BipolarModel:
    """Bipolar transistor: transport model with Early effect.

    Attributes:
        saturation: IS in A. gain: BF. reverse_gain: BR. early: VAF in V, None for none.
        base_emitter, base_collector: constant junction capacitances in F. transit: TF in s.
    """

    saturation: float = 1e-14
    gain: float = 100.0
    reverse_gain: float = 1.0
    early: float | None = None
    base_emitter: float = 0.0
    base_collector: float = 0.0
    transit: float = 0.0
    kelvin: float = NOMINAL_KELVIN


@dataclass(frozen=True, slots=True)
class Bipolar:
    """A bipolar transistor; `pnp` turns every voltage and current round."""

    name: str
    collector: str
    base: str
    emitter: str
    model: BipolarModel = field(default_factory=BipolarModel)
    pnp: bool = False

    @property
    def nodes(self) -> tuple[str, ...]:
        """Terminals, in the order of `currents`."""
        return self.collector, self.base, self.emitter

    def currents(self, volts: tuple[float, ...]) -> tuple[list[float], list[list[float]]]:
        """Terminal currents and their derivatives.

        Source: Gummel and Poon 1970, reduced to the transport form without high-injection terms.
        """
        sign = -1.0 if self.pnp else 1.0
        collector, base, emitter = (sign * v for v in volts)
        forward, reverse = base - emitter, base - collector
        model, vt = self.model, thermal_volts(self.model.kelvin)
        ef, gf = _exponential(forward / vt)
        er, gr = _exponential(reverse / vt)
        gf, gr = model.saturation * gf / vt, model.saturation * gr / vt
        early = 1.0 - reverse / model.early if model.early else 1.0
        d_early = -1.0 / model.early if model.early else 0.0
        transport = model.saturation * (ef - er)
        ic = transport * early - model.saturation * (er - 1) / model.reverse_gain
        ib = model.saturation * ((ef - 1) / model.gain + (er - 1) / model.reverse_gain)
        ic_f, ic_r = gf * early, -gr * early + transport * d_early - gr / model.reverse_gain
        ib_f, ib_r = gf / model.gain, gr / model.reverse_gain
        rows = [_by_terminal(ic_f, ic_r), _by_terminal(ib_f, ib_r)]
        rows.append([-(a + b) for a, b in zip(*rows, strict=True)])
        return [sign * ic, sign * ib, -sign * (ic + ib)], rows

    def capacitances(self, volts: tuple[float, ...]) -> list[tuple[int, int, float]]:
        """Junction and diffusion capacitance between base and emitter, base and collector."""
        model = self.model
        rows = self.currents(volts)[1]
        transconductance = abs(rows[0][1] + rows[0][0])
        return [(1, 2, model.base_emitter + model.transit * transconductance), (1, 0, model.base_collector)]


def _by_terminal(forward: float, reverse: float) -> list[float]:
    """Derivatives by base-emitter and base-collector voltage, turned into those by collector, base, emitter."""
    return [-reverse, forward + reverse, -forward]


@dataclass(frozen=True, slots=True)
class FetModel:
    """Square-law field-effect transistor.

    Attributes:
        threshold: VTO in V (negative for depletion). factor: beta in A/V². modulation: LAMBDA in 1/V.
        junction: the gate is a junction and conducts when forward biased (JFET); a JFET's current is beta·v²,
            a MOSFET's half of it.
        gate_source, gate_drain: constant capacitances in F.
    """

    threshold: float = 2.0
    factor: float = 1.0
    modulation: float = 0.0
    junction: bool = False
    saturation: float = 1e-14
    gate_source: float = 0.0
    gate_drain: float = 0.0
    kelvin: float = NOMINAL_KELVIN


@dataclass(frozen=True, slots=True)
class Fet:
    """A field-effect transistor; `p_channel` turns every voltage and current round."""

    name: str
    drain: str
    gate: str
    source: str
    model: FetModel = field(default_factory=FetModel)
    p_channel: bool = False

    @property
    def nodes(self) -> tuple[str, ...]:
        """Terminals, in the order of `currents`."""
        return self.drain, self.gate, self.source

    def currents(self, volts: tuple[float, ...]) -> tuple[list[float], list[list[float]]]:
        """Terminal currents and their derivatives.

        Source: Shichman and Hodges 1968.
        """
        sign = -1.0 if self.p_channel else 1.0
        drain, gate, source = (sign * v for v in volts)
        turned = drain < source
        if turned:
            drain, source = source, drain
        current, gm, gds = self._channel(gate - source, drain - source)
        first, second = [gds, gm, -gm - gds], [-gds, -gm, gm + gds]
        if turned:
            first, second = [second[2], second[1], second[0]], [first[2], first[1], first[0]]
            current = -current
        ig, rows = self._gate(sign, volts)
        out = [sign * current + ig[0], ig[1], -sign * current + ig[2]]
        matrix = [first, [0.0, 0.0, 0.0], second]
        return out, [[a + b for a, b in zip(m, r, strict=True)] for m, r in zip(matrix, rows, strict=True)]

    def _channel(self, vgs: float, vds: float) -> tuple[float, float, float]:
        model = self.model
        beta = 2 * model.factor if model.junction else model.factor
        over = vgs - model.threshold
        if over <= 0:
            return 0.0, 0.0, 0.0
        length = 1 + model.modulation * vds
        if vds >= over:
            current = beta / 2 * over * over
            return current * length, beta * over * length, current * model.modulation
        current = beta * (over - vds / 2) * vds
        return (
            current * length,
            beta * vds * length,
            beta * (over - vds) * length + current * model.modulation,
        )

    def _gate(self, sign: float, volts: tuple[float, ...]) -> tuple[list[float], list[list[float]]]:
        currents, rows = [0.0, 0.0, 0.0], [[0.0] * 3 for _ in range(3)]
        if not self.model.junction:
            return currents, rows
        vt = thermal_volts(self.model.kelvin)
        for other in (0, 2):
            value, slope = _exponential(sign * (volts[1] - volts[other]) / vt)
            current, g = self.model.saturation * (value - 1), self.model.saturation * slope / vt
            currents[1] += sign * current
            currents[other] -= sign * current
            rows[1][1] += g
            rows[1][other] -= g
            rows[other][other] += g
            rows[other][1] -= g
        return currents, rows

    def capacitances(self, volts: tuple[float, ...]) -> list[tuple[int, int, float]]:
        """Gate to source and gate to drain."""
        return [(1, 2, self.model.gate_source), (1, 0, self.model.gate_drain)]


@dataclass(frozen=True, slots=True)
class AmplifierModel:
    """Operational amplifier with one pole.

    Attributes:
        gain: open loop at DC. bandwidth: gain-bandwidth product in Hz, None for no pole. output_ohms: open loop.
        from_plus, from_minus: how far the output stays from its rails, V. bias: current into each input, A.
        offset: at the + input, V. noise_volts, noise_amps: densities, V/rtHz and A/rtHz, each input.
        most_amps: short-circuit current, None without limit.
    """

    gain: float = 1e5
    bandwidth: float | None = 1e6
    output_ohms: float = 50.0
    from_plus: float = 1.5
    from_minus: float = 1.5
    bias: float = 0.0
    offset: float = 0.0
    noise_volts: float = 0.0
    noise_amps: float = 0.0
    most_amps: float | None = None


@dataclass(frozen=True, slots=True)
class OperationalAmplifier:
    """An op-amp between its supply nodes."""

    name: str
    output: str
    plus: str
    minus: str
    supply_plus: str
    supply_minus: str
    model: AmplifierModel = field(default_factory=AmplifierModel)

    @property
    def nodes(self) -> tuple[str, ...]:
        """Terminals, in the order of `currents`."""
        return self.output, self.plus, self.minus, self.supply_plus, self.supply_minus

    def drive(self, volts: tuple[float, ...], gain: float) -> tuple[float, list[float]]:
        """The voltage behind the output resistance and its derivatives by each terminal.

        It follows gain times the input difference and bends into the limits of the output.
        """
        _, plus, minus, high, low = volts
        found, slope, by_high, by_low = self.bent(gain * (plus - minus + self.model.offset), high, low)
        return found, [0.0, gain * slope, -gain * slope, by_high, by_low]

    def wanted(self, volts: tuple[float, ...]) -> float:
        """The voltage that the inputs ask of the output, limits aside."""
        return self.model.gain * (volts[1] - volts[2] + self.model.offset)

    def range_of(self, high: float, low: float) -> tuple[float, float]:
        """Middle and half width of what the output reaches between its supplies."""
        top, bottom = high - self.model.from_plus, low + self.model.from_minus
        return (top + bottom) / 2, max((top - bottom) / 2, 1e-3)

    def bent(self, wanted: float, high: float, low: float) -> tuple[float, float, float, float]:
        """The wanted voltage within the limits of the output, and its derivatives by it and by both supplies.

        It bends into the limits as a hyperbolic tangent, which is smooth: the true shape of clipping is not claimed.
        """
        middle, half = self.range_of(high, low)
        reach = (wanted - middle) / half
        bent = math.tanh(max(-40.0, min(40.0, reach)))
        slope = 1 - bent * bent
        by_middle, by_half = 1 - slope, bent - slope * reach
        if half <= 1e-3:
            return middle + half * bent, slope, 0.5, 0.5
        return middle + half * bent, slope, (by_middle + by_half) / 2, (by_middle - by_half) / 2


Nonlinear = Diode | Bipolar | Fet
Element = Resistor | Capacitor | Inductor | CurrentSource | Diode | Bipolar | Fet | OperationalAmplifier
