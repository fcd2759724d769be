"""Models of semiconductors and amplifiers from the figures of the part book.

A figure that the book gives as a range makes a model with a nominal value and, by a `Setting`, one towards either end.
What the book does not tell is taken from the usual figures of `rules/words.yaml`; how a junction's current grows with
its volts and its temperature, which all of a sort share, stands here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TypeVar

from netcheck.circuit.model import Part, Record
from netcheck.physics.network.elements import (
    NOMINAL_KELVIN,
    AmplifierModel,
    BipolarModel,
    DiodeModel,
    FetModel,
    thermal_volts,
)

# Change of a silicon junction's forward volts with temperature at constant current. Source: any semiconductor text.
JUNCTION_PER_KELVIN = -2e-3
# Slope of the logarithm: 1 for an ideal junction, about 1.8 for a small silicon diode, 2 for a light-emitting one.
EMISSION = MappingProxyType({"diode": 1.8, "led": 2.0, "zener": 1.2, "surge diode": 1.2, "bridge": 1.8})
SCHOTTKY_BELOW, SCHOTTKY_EMISSION = 0.5, 1.05  # volts; a diode that conducts below this is a Schottky one


@dataclass(frozen=True, slots=True)
class Setting:
    """What is assumed of everything that a netlist leaves open; all zero and empty is the nominal case.

    Attributes:
        supply: -1 all rails at their low end, 0 nominal, 1 at their high end.
        diodes, transistors: -1 junctions with few volts, 1 with many. gain: -1 least current gain, 1 most.
        fets: -1 low thresholds, 1 high ones. bias: 1 bias current and offset at their worst, -1 the other way round.
        kelvin: of all junctions, None for nominal.
        positions: of potentiometers, 0 to 1 by key. ohms: of parts without a value, by name of the element.
        joined: contacts taken as closed, by name. outside: what connectors are joined to, 'open' or 'zero'.
    """

    supply: int = 0
    diodes: int = 0
    transistors: int = 0
    gain: int = 0
    fets: int = 0
    bias: int = 0
    kelvin: float | None = None
    positions: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    ohms: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    joined: frozenset[str] = frozenset()
    outside: str = "open"


NOMINAL = Setting()


@dataclass(frozen=True, slots=True)
class Usual:
    """Figures of parts of whom the book does not tell them.

    Attributes:
        early: volts. base_emitter, base_collector, gate: farads. small, led, zener: amps at which a figure holds that
            names none. junction: volts of a conducting junction. gain, output_ohms: of op-amps with the loop open;
            power_ohms: the latter of power amplifiers. headroom: volts that an output keeps from its supply.
            spread_of_gain: most by least current gain.
    """

    early: float
    base_emitter: float
    base_collector: float
    gate: float
    small: float
    led: float
    zener: float
    junction: float
    gain: float
    output_ohms: float
    power_ohms: float
    headroom: float
    spread_of_gain: float


@dataclass(frozen=True, slots=True)
class Spread:
    """How far parts and surroundings are from nominal.

    Attributes:
        junction: volts that junctions of one type differ by at one current, either way.
        cold, hot: kelvin of all junctions, coldest and hottest.
        usual: figures where the book tells none.
    """

    junction: float
    cold: float
    hot: float
    usual: Usual


def figure(record: Record | None, name: str, way: int = 0) -> float | None:
    """A figure of the book: its low end, its high end, or between.

    Args:
        way: -1 for the low end, 1 for the high end, 0 for the geometric middle (the mean where an end is not positive).
    """
    found = record.figures.get(name) if record is not None else None
    if found is None or found.low is None or found.high is None:
        return None
    if way:
        return found.low if way < 0 else found.high
    return math.sqrt(found.low * found.high) if found.low > 0 and found.high > 0 else (found.low + found.high) / 2


def _volts(record: Record | None, name: str, way: int, spread: Spread) -> float | None:
    """Volts of a junction: of a known type within its spread, of any part of a kind within all of its range."""
    middle, end = figure(record, name), figure(record, name, way)
    if middle is None or end is None or record is None or not way:
        return middle
    if record.generic:
        return end
    return max(end, middle - spread.junction) if way < 0 else min(end, middle + spread.junction)


def _saturation(volts: float, amps: float, emission: float, kelvin: float) -> float:
    """IS that gives these volts at this current at nominal temperature, moved to the temperature of the junction."""
    at = volts + JUNCTION_PER_KELVIN * (kelvin - NOMINAL_KELVIN)
    return amps * math.exp(-min(at / (emission * thermal_volts(kelvin)), 200.0))


def diode_model(part: Part, setting: Setting, spread: Spread) -> DiodeModel | None:
    """A diode, LED or zener from the volts at which it conducts; None where the book does not tell."""
    kelvin = setting.kelvin or NOMINAL_KELVIN
    return _by_record(_make_diode, part.record, part.kind, setting.diodes, kelvin, spread)


def bipolar_model(part: Part, setting: Setting, spread: Spread) -> BipolarModel | None:
    """A bipolar transistor from the volts and the current gain of its record; None where the book does not tell."""
    kelvin = setting.kelvin or NOMINAL_KELVIN
    return _by_record(_make_bipolar, part.record, setting.transistors, setting.gain, kelvin, spread)


def fet_model(part: Part, setting: Setting, spread: Spread) -> FetModel | None:
    """A field-effect transistor from its threshold and its resistance or saturation current."""
    kelvin = setting.kelvin or NOMINAL_KELVIN
    return _by_record(_make_fet, part.record, part.kind, setting.fets, kelvin, spread)


_KEPT: dict[tuple[int, object, tuple[object, ...]], tuple[Record, object]] = {}
_MOST_KEPT = 20_000

Model = TypeVar("Model")


def _by_record(make: Callable[..., Model | None], record: Record | None, *rest: object) -> Model | None:
    """A model, made once for a record, which is told by identity: it holds tables and cannot be hashed."""
    if record is None:
        return None
    key = (id(record), make, rest)
    if key not in _KEPT:
        if len(_KEPT) > _MOST_KEPT:
            _KEPT.clear()
        _KEPT[key] = (record, make(record, *rest))
    return _KEPT[key][1]  # type: ignore[return-value]


def _make_diode(record: Record, kind: str, way: int, kelvin: float, spread: Spread) -> DiodeModel | None:
    forward = _volts(record, "forward_volts", way, spread)
    if forward is None:
        forward = None if kind in ("diode", "led") else spread.usual.junction + way * 2 * spread.junction
    if forward is None:
        return None
    typical = figure(record, "forward_volts") or forward
    emission = SCHOTTKY_EMISSION if kind == "diode" and typical < SCHOTTKY_BELOW else EMISSION.get(kind, 1.8)
    amps = figure(record, "forward_current") or (spread.usual.led if kind == "led" else spread.usual.small)
    breakdown, knee = None, spread.usual.zener
    if kind in ("zener", "reference"):
        breakdown = _first(record, way, "zener_volts", "reference_volts", "output_volts")
        if breakdown is None:
            return None
        knee = figure(record, "zener_current") or spread.usual.zener
    return DiodeModel(_saturation(forward, amps, emission, kelvin), emission, breakdown, knee, 0.0, kelvin)


def _first(record: Record, way: int, *names: str) -> float | None:
    return next((found for name in names if (found := figure(record, name, way)) is not None), None)


def _make_bipolar(record: Record, way: int, gain: int, kelvin: float, spread: Spread) -> BipolarModel | None:
    volts = _volts(record, "base_emitter_volts", way, spread)
    least, most = figure(record, "gain_least"), figure(record, "gain_most")
    if volts is None or least is None:
        return None
    most = most or spread.usual.spread_of_gain * least
    factor = math.sqrt(least * most) if not gain else least if gain < 0 else most
    amps = figure(record, "gain_at_current") or spread.usual.small
    frequency = figure(record, "transition_frequency")
    return BipolarModel(
        saturation=_saturation(volts, amps, 1.0, kelvin),
        gain=factor,
        reverse_gain=1.0,
        early=spread.usual.early,
        base_emitter=spread.usual.base_emitter,
        base_collector=figure(record, "output_capacitance") or spread.usual.base_collector,
        transit=1 / (2 * math.pi * frequency) if frequency else 0.0,
        kelvin=kelvin,
    )


def _make_fet(record: Record, kind: str, way: int, kelvin: float, spread: Spread) -> FetModel | None:
    gate = figure(record, "input_capacitance") or 0.0
    if kind in ("njfet", "pjfet"):
        pinch, amps = figure(record, "pinch_off_volts", way), figure(record, "saturation_drain_current", way)
        if not pinch or not amps:
            return None
        return FetModel(-pinch, amps / pinch**2, 0.005, True, gate_source=gate or spread.usual.gate, kelvin=kelvin)
    threshold = figure(record, "gate_threshold", way)
    if threshold is None:
        return None
    factor = _factor(record, threshold)
    return None if factor is None else FetModel(threshold, factor, 0.005, gate_source=gate, kelvin=kelvin)


def _factor(record: Record, threshold: float) -> float | None:
    """Beta of a MOSFET: 1 / (Ron (VGS - VT)) deep in its resistive region."""
    ohms, gate = figure(record, "on_resistance_most"), figure(record, "on_resistance_gate_volts")
    if not ohms or not gate or gate <= threshold:
        return None
    return 1 / (ohms * (gate - threshold))


def amplifier_model(record: Record | None, setting: Setting, usual: Usual) -> AmplifierModel | None:
    """An op-amp from its record; None for a part of which the book knows nothing.

    Bias current goes into the inputs unless the book says otherwise; nominal it is the typical one.
    """
    if record is None:
        return None
    typical, worst = figure(record, "bias_current", 1) or 0.0, figure(record, "bias_current_most", 1)
    offset = figure(record, "offset_volts_most", 1) or 0.0
    direction = record.figures["bias_direction"].word if "bias_direction" in record.figures else "either"
    sign = -1.0 if direction == "out" else 1.0
    most = worst if worst is not None else typical
    power = record.kind == "power amplifier"
    bias = sign * typical if direction != "either" else 0.0
    if setting.bias:
        bias = sign * (most if setting.bias > 0 else 0.0) if direction != "either" else setting.bias * most
    return AmplifierModel(
        gain=figure(record, "open_loop_gain") or usual.gain,
        bandwidth=figure(record, "gain_bandwidth"),
        output_ohms=max(figure(record, "output_resistance") or (usual.power_ohms if power else usual.output_ohms), 0.1),
        from_plus=_headroom(record, "output_from_plus", usual),
        from_minus=_headroom(record, "output_from_minus", usual),
        bias=bias,
        offset=setting.bias * offset,
        noise_volts=figure(record, "noise_voltage") or 0.0,
        noise_amps=figure(record, "noise_current") or 0.0,
        most_amps=figure(record, "output_current" if power else "short_circuit_current", -1),
    )


def _headroom(record: Record, name: str, usual: Usual) -> float:
    volts = figure(record, name)
    return max(volts if volts is not None else usual.headroom, 0.0)
