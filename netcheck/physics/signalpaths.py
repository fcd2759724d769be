"""What a signal path does, between its source and its load: one number at a time, each when it is asked for.

The source stands behind its ohms, where these are told, the lead and the load at the output. Gain is from the volts of
the source to those at the output. Of a balanced input both pins are driven, half the volts each and opposite; at a
balanced output the difference of its pins counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from netcheck.circuit.conduction import VARIABLE
from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown
from netcheck.physics.devices import NOMINAL, Setting
from netcheck.physics.modelling import WIRE_OHMS, ZERO
from netcheck.physics.network.elements import (
    AmplifierModel,
    Bipolar,
    Capacitor,
    Diode,
    Fet,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import Network, OperatingPoint
from netcheck.physics.network.response import Singular, Transfer
from netcheck.physics.pathmodel import MIDDLE, UNREAD, PathModel, crossing, path_model, pieces_at
from netcheck.physics.paths import input_ohms
from netcheck.physics.points import Points
from netcheck.physics.ports import Port, SignalPath
from netcheck.physics.tolerance import tolerance_of

Real = NDArray[np.float64]

SOURCE, SOURCE_BACK, LOAD, LEAD = "source", "source back", "load", "lead"
DIFFERENCE = "difference"  # the node that stands for the volts between the pins of a balanced output
AROUND = {SOURCE, SOURCE_BACK, LOAD, LEAD, DIFFERENCE}
COARSE = np.logspace(-2, 8, 121)  # where a corner is looked for: twelve frequencies a decade
FINE = 9
QUIETEST = 1e-6  # what passes less than a millionth at 1 kHz is no path
OPEN = math.inf
FAR_VOLTS = 1e6  # supply of an amplifier that has no limits
HALF = 0.5  # cosine of the phase at 1 kHz below which a signal is neither upright nor inverted: 60 degrees
MOST_CONTROLS = 6


class PathNumbers:
    """The numbers of one path.

    Args:
        points: of the circuit. path: its way. told: positions of its potentiometers, 0 to 1 by key of the part.
        closes: decibels between both ends of a potentiometer from which it is taken for one that closes the path; such
            a one stands where most comes out unless its position is told, any other in the middle.
        assumed: reasons why volts of rails are not known where the points assume some. Then small signals alone are
            computed, and only where nothing but amplifiers, resistors, capacitors and coils has a say: what these do
            to a small signal does not depend on the supply.
    """

    def __init__(
        self,
        points: Points,
        path: SignalPath,
        told: Mapping[str, float],
        closes: float,
        assumed: tuple[str, ...] = (),
    ) -> None:
        self.points, self.path, self.told, self.closes, self.assumed = points, path, told, closes, assumed
        self._models: dict[tuple[object, ...], PathModel | tuple[str, ...]] = {}

    # The network

    @cached_property
    def loads(self) -> tuple[float, ...]:
        """Loads that are told, the heaviest first; none at all counts as one, open."""
        told = self.path.sink.loads if self.path.sink is not None else ()
        return tuple(sorted(told)) or (OPEN,)

    @cached_property
    def controls(self) -> tuple[str, ...]:
        """Potentiometers of the path, in natural order."""
        made = path_model(self.points, self.path)
        if isinstance(made, tuple):
            return ()
        parts = self.points.walks.circuit.parts
        found = {part for part in made.part_of.values() if parts[part].kind in VARIABLE}
        return tuple(sorted(found, key=natural_key)[:MOST_CONTROLS])

    @cached_property
    def ends(self) -> dict[str, tuple[float, float]]:
        """Gain in dB at 1 kHz with each control at its first and at its last end, the others in the middle."""
        found = {}
        for key in self.controls:
            gains = [self._plain_gain(Setting(positions=MappingProxyType({key: at}))) for at in (0.0, 1.0)]
            found[key] = (gains[0], gains[1])
        return found

    def closing(self) -> tuple[str, ...] | Unknown:
        """Keys of the controls that can close the path."""
        if self.reasons:
            return Unknown(self.reasons)
        return self.closing_keys()

    def closing_keys(self) -> tuple[str, ...]:
        """The same where all is computed."""
        return tuple(key for key, (first, last) in self.ends.items() if abs(first - last) >= self.closes)

    def _setting(self, full: bool) -> Setting:
        positions = {}
        for key, (first, last) in self.ends.items():
            closing = abs(first - last) >= self.closes
            if key in self.told and not (full and closing):
                positions[key] = self.told[key]
            elif closing:
                positions[key] = 0.0 if first > last else 1.0
        return Setting(positions=MappingProxyType(positions)) if positions else NOMINAL

    @cached_property
    def usual(self) -> Setting:
        """Controls as told; those that close the path fully open, all others in the middle."""
        return self._setting(full=False)

    @cached_property
    def full(self) -> Setting:
        """The same with all that closes the path fully open."""
        return self._setting(full=True)

    def _plain_gain(self, setting: Setting) -> float:
        made = self.model(OPEN, setting)
        if isinstance(made, tuple):
            return 0.0
        return 20 * math.log10(max(abs(self.middle(made)), 1e-30))

    def model(self, load: float, setting: Setting) -> PathModel | tuple[str, ...]:
        """The path between source and load."""
        asked = (load, tuple(sorted(setting.positions.items())))
        if asked not in self._models:
            made = path_model(self.points, self.path, setting)
            self._models[asked] = made if isinstance(made, tuple) else self._between(made, load)
        return self._models[asked]

    def _between(self, made: PathModel, load: float) -> PathModel:
        path, source, sink = made.path, self.path.source, self.path.sink
        ohms = (source.source_ohms if source is not None else None) or WIRE_OHMS
        first = path.input.node
        added: list[Resistor | Capacitor] = [Resistor(SOURCE, SOURCE, first, ohms, noisy=ohms > WIRE_OHMS)]
        known = {node: volts for node, volts in made.network.known.items() if node != first}
        known |= {SOURCE: made.point.volts[first], ZERO: 0.0}
        if path.input.back and path.input.back in made.point.volts:
            added.append(Resistor(SOURCE_BACK, SOURCE_BACK, path.input.back, ohms, noisy=ohms > WIRE_OHMS))
            known |= {SOURCE_BACK: made.point.volts[path.input.back]}
        other = path.output.back if path.output.back in made.point.volts else ZERO
        if math.isfinite(load):
            added.append(Resistor(LOAD, path.output.node, other, max(load, WIRE_OHMS), noisy=False))
        if sink is not None and sink.cable_farads:
            added.append(Capacitor(LEAD, path.output.node, other, sink.cable_farads))
        volts = dict(made.point.volts) | known
        network = Network((*made.network.elements, *added), known)
        amps = dict(made.point.currents) | {element.name: (0.0, 0.0) for element in added}
        parts = dict(made.part_of) | {element.name: element.name for element in added}
        ends = replace(path, input=replace(path.input, node=SOURCE))
        opposite = SOURCE_BACK if SOURCE_BACK in known else ""
        return PathModel(ends, network, OperatingPoint(volts, amps), MappingProxyType(parts), opposite)

    @cached_property
    def reasons(self) -> tuple[str, ...]:
        """Why nothing is computed; empty when all is well."""
        if self.path.doubt:
            return self.path.doubt
        made = self.model(self.loads[0], self.usual)
        if isinstance(made, tuple):
            return made
        if unread := self._unread():
            return unread
        if self.assumed and any(isinstance(element, Diode | Bipolar | Fet) for element in made.network.elements):
            return self.assumed
        try:
            found = self.middle(made)
        except Singular as singular:
            return (str(singular),)
        if not np.isfinite(found) or abs(found) < QUIETEST:
            return ("nothing to speak of comes from the input to the output",)
        return ()

    def _unread(self) -> tuple[str, ...]:
        """Parts of the path whose resistance is not known."""
        points, found = self.points, []
        for piece in pieces_at(points, self.path.nodes):
            if any(name.startswith(UNREAD) for name in piece.varies):
                part = points.walks.circuit.parts[piece.part]
                said, text = points.said(part), part.value.text.strip()
                if part.kind == "resistor" or part.kind in VARIABLE:
                    found.append(f"{said} has the value '{text}'" if text else f"{said} has no value")
                elif part.kind != "relay":
                    found.append(f"the resistance of {said} is not given")
        return tuple(dict.fromkeys(found))

    def asked(self, load: float, setting: Setting | None = None) -> PathModel | Unknown:
        """The model for a load, or why there is none."""
        if self.reasons:
            return Unknown(self.reasons)
        made = self.model(load, setting or self.usual)
        if isinstance(made, tuple):
            return Unknown(made)
        if not made.path.output.back:
            return made
        key = (DIFFERENCE, load, tuple(sorted((setting or self.usual).positions.items())))
        found = self._models.setdefault(key, _between_pins(made))
        assert isinstance(found, PathModel)
        return found

    def once(self, made: PathModel, asked: tuple[object, ...], compute: Callable[[], object]) -> object:
        """A number that all paths of one structure share, worked out once."""
        key = ("signal path", made.structure.key, *asked)
        if key not in self.points.kept:
            self.points.kept[key] = compute()
        return self.points.kept[key]

    # Transfer

    def _transfer(self, made: PathModel, frequencies: Real) -> Transfer:
        if made.output not in made.small.index:  # the input itself is the output
            one = np.ones(len(frequencies), dtype=complex)
            return Transfer(frequencies, one, 0 * one)
        return made.small.transfer(SOURCE, made.output, frequencies)

    def middle(self, made: PathModel) -> complex:
        """What comes out of one volt at 1 kHz."""
        found = self.once(made, ("middle",), lambda: complex(self._transfer(made, np.array([MIDDLE])).values[0]))
        assert isinstance(found, complex)
        return found

    def _decibels(self, load: float, frequencies: Sequence[float], setting: Setting | None = None) -> Real | Unknown:
        made = self.asked(load, setting)
        if isinstance(made, Unknown):
            return made
        asked = ("decibels", tuple(frequencies))
        found = self.once(made, asked, lambda: self._transfer(made, np.array(frequencies)).decibels)
        assert isinstance(found, np.ndarray)
        return found

    def gain(self, hertz: float, load: float | None = None) -> float | Unknown:
        """Decibels at a frequency, with the heaviest load unless another is named."""
        found = self._decibels(self.loads[0] if load is None else load, (hertz,))
        return found if isinstance(found, Unknown) else float(found[0])

    def full_gain(self) -> float | Unknown:
        """Decibels at 1 kHz with all that closes the path fully open."""
        found = self._decibels(self.loads[0], (MIDDLE,), self.full)
        return found if isinstance(found, Unknown) else float(found[0])

    def inverts(self) -> bool | Unknown:
        """Whether the output goes down when the input goes up, at 1 kHz."""
        made = self.asked(self.loads[0])
        if isinstance(made, Unknown):
            return made
        value = self.middle(made)
        share = value.real / abs(value)
        if abs(share) < HALF:
            degrees = round(math.degrees(math.atan2(value.imag, value.real)))
            return Unknown((f"at 1 kHz the output is neither upright nor inverted: its phase is {degrees}°",))
        return share < 0

    def flatness(self, low: float, high: float) -> float | Unknown:
        """Largest deviation from the gain at 1 kHz between two frequencies, in dB, over all loads."""
        grid = (MIDDLE, *(float(one) for one in np.geomspace(low, high, 61)))
        most = 0.0
        for load in self.loads:
            found = self._decibels(load, grid)
            if isinstance(found, Unknown):
                return found
            most = max(most, float(np.max(np.abs(found - found[0]))))
        return most

    def delay(self, hertz: float) -> float | Unknown:
        """Group delay at a frequency, in seconds."""
        found = self._delays(self.loads[0], (hertz,))
        return found if isinstance(found, Unknown) else float(found[0])

    def delay_spread(self, low: float, high: float) -> float | Unknown:
        """Longest less shortest group delay between two frequencies, over all loads."""
        most = 0.0
        for load in self.loads:
            found = self._delays(load, tuple(float(one) for one in np.geomspace(low, high, 121)))
            if isinstance(found, Unknown):
                return found
            most = max(most, float(np.max(found) - np.min(found)))
        return most

    def _delays(self, load: float, frequencies: Sequence[float]) -> Real | Unknown:
        made = self.asked(load)
        if isinstance(made, Unknown):
            return made
        asked = ("delays", tuple(frequencies))
        found = self.once(made, asked, lambda: self._transfer(made, np.array(frequencies)).group_delay)
        assert isinstance(found, np.ndarray)
        return found

    # Corners

    def corner(self, side: str, drop: float) -> tuple[float | None, float] | Unknown:
        """Where the response has fallen by so many dB from what it is at 1 kHz: the one nearest to 1 kHz of all loads.

        Returns:
            Hertz, None where nothing falls that far between 0.01 Hz and 100 MHz; and the load of it.
        """
        best: tuple[float | None, float] = (None, self.loads[0])
        for load in self.loads:
            made = self.asked(load)
            if isinstance(made, Unknown):
                return made
            hertz = self.once(made, ("corner", side, drop), self._finder(made, side, drop))
            assert hertz is None or isinstance(hertz, float)
            if hertz is not None and (best[0] is None or abs(math.log(hertz / 1e3)) < abs(math.log(best[0] / 1e3))):
                best = (hertz, load)
        return best

    def _finder(self, made: PathModel, side: str, drop: float) -> Callable[[], float | None]:
        return lambda: self._corner_of(made, side, drop)

    def _corner_of(self, made: PathModel, side: str, drop: float) -> float | None:
        level = float(self._transfer(made, np.array([MIDDLE])).decibels[0]) - drop
        grid = COARSE[COARSE <= MIDDLE * 2] if side == "low" else COARSE[COARSE >= MIDDLE / 2]
        found = crossing((grid, self._transfer(made, grid).decibels), level, side)
        for _ in range(2):
            if found is None:
                return None
            step = 10 ** (1 / 12)
            near = np.geomspace(found / step, found * step, FINE)
            finer = _through(near, self._transfer(made, near).decibels, level, side)
            found = finer if finer is not None else found
        return found

    def set_by(self, side: str, drop: float, least: float) -> tuple[tuple[str, float], ...] | Unknown:
        """Keys of the parts that set a corner with their shares, capacitors first; 1 for an RC by itself.

        Args:
            drop: in dB. least: share below which a part is not named.
        """
        found = self._sensitive(side, drop)
        if isinstance(found, Unknown):
            return found
        shares, parts = found[0], self.points.walks.circuit.parts
        ranked = sorted(shares, key=lambda key: (parts[key].kind != "capacitor", -shares[key], natural_key(key)))
        return tuple((key, round(shares[key], 3)) for key in ranked if shares[key] >= least)

    def steepness(self, side: str, drop: float) -> float | Unknown:
        """Slope of the response at a corner, as a power of the frequency: 0.5 at -3 dB of an RC by itself."""
        found = self._sensitive(side, drop)
        return found if isinstance(found, Unknown) else found[1]

    def corner_range(self, side: str, drop: float) -> tuple[float, float] | Unknown | None:
        """Ends of a corner over the tolerances of its parts, worst case, to first order; None where there is none."""
        at, found = self.corner(side, drop), self._sensitive(side, drop)
        if isinstance(at, Unknown):
            return at
        if isinstance(found, Unknown):
            return found
        if at[0] is None:
            return None
        parts, tolerances = self.points.walks.circuit.parts, self.points.tolerances
        off = sum(share * tolerance_of(parts[key], tolerances) for key, share in found[0].items())
        return at[0] * math.exp(-off), at[0] * math.exp(off)

    def _sensitive(self, side: str, drop: float) -> tuple[dict[str, float], float] | Unknown:
        """How much of a corner each part sets, and the slope there."""
        at = self.corner(side, drop)
        if isinstance(at, Unknown):
            return at
        made = self.asked(at[1])
        if isinstance(made, Unknown):
            return made
        hertz = at[0]
        if hertz is None:
            return {}, 0.0
        told = self.once(made, ("set by", side, drop), lambda: _set_by(made, hertz))
        assert isinstance(told, tuple)
        shares, slope = told
        by_part: dict[str, float] = {}
        for name, share in zip(made.structure.names, shares, strict=True):
            part = made.part_of[name]
            if part not in AROUND:
                by_part[part] = by_part.get(part, 0.0) + share
        return {part: abs(share) for part, share in by_part.items()}, slope

    # Ends, noise, levels

    def input_ohms(self) -> float | Unknown:
        """What a source meets at 1 kHz."""
        made = self.asked(OPEN)
        if isinstance(made, Unknown):
            return made
        plain = path_model(self.points, self.path, self.usual)
        return Unknown(plain) if isinstance(plain, tuple) else input_ohms(plain)

    def ohms_at(self, node: str, hertz: float) -> float | Unknown:
        """What a node of the path shows at a frequency with its source at rest and no load; 0 where it is held."""
        made = self.asked(OPEN)
        if isinstance(made, Unknown):
            return made
        if node not in made.small.index:
            return 0.0
        return float(np.abs(made.small.impedance(node, np.array([hertz])))[0])

    def output_ohms(self, hertz: float) -> float | Unknown:
        """What a load meets at a frequency, its lead and itself aside."""
        made = path_model(self.points, self.path, self.usual)
        if self.reasons or isinstance(made, tuple):
            return Unknown(self.reasons or (made if isinstance(made, tuple) else ()))
        if made.output not in made.small.index:
            return 0.0
        return float(np.abs(made.small.impedance(made.output, np.array([hertz])))[0])


def _between_pins(made: PathModel) -> PathModel:
    """A path with a node for the volts between the pins of its balanced output: that of an ideal amplifier."""
    out, back, volts = made.output, made.path.output.back, made.point.volts
    high, low = f"{DIFFERENCE} high", f"{DIFFERENCE} low"
    ideal = AmplifierModel(gain=1.0, bandwidth=None, output_ohms=WIRE_OHMS, from_plus=0.0, from_minus=0.0)
    network = Network(
        (*made.network.elements, OperationalAmplifier(DIFFERENCE, DIFFERENCE, out, back, high, low, ideal)),
        dict(made.network.known) | {high: FAR_VOLTS, low: -FAR_VOLTS},
    )
    found = dict(volts) | {high: FAR_VOLTS, low: -FAR_VOLTS, DIFFERENCE: volts.get(out, 0.0) - volts.get(back, 0.0)}
    point = OperatingPoint(found, dict(made.point.currents) | {DIFFERENCE: (0.0, 0.0, 0.0)})
    path = replace(made.path, output=Port(DIFFERENCE, made.path.output.pin))
    parts = MappingProxyType(dict(made.part_of) | {DIFFERENCE: DIFFERENCE})
    return PathModel(path, network, point, parts, made.opposite)


def _through(frequencies: Real, decibels: Real, level: float, side: str) -> float | None:
    """Where a short piece of a curve goes through a level, between points by straight lines over the logarithm."""
    above = decibels >= level
    steps = [at for at in range(len(above) - 1) if above[at] != above[at + 1]]
    if not steps:
        return None
    at = steps[-1] if side == "low" else steps[0]
    share = (level - decibels[at]) / (decibels[at + 1] - decibels[at])
    return float(frequencies[at] * (frequencies[at + 1] / frequencies[at]) ** share)


def _set_by(made: PathModel, hertz: float) -> tuple[tuple[float, ...], float]:
    """How much of a corner each element sets, in the order of the structure's names; and the slope there.

    The corner moves so that the response there stays where it is against that at 1 kHz: d ln f / d ln C is the change
    of the one against the other, divided by the slope of the response.
    """
    there, slope = made.small.sensitivities(SOURCE, made.output, hertz)
    middle, _ = made.small.sensitivities(SOURCE, made.output, MIDDLE)
    if abs(slope) < 1e-9:
        return tuple(0.0 for _ in made.structure.names), slope
    shares = tuple((there.get(name, 0.0) - middle.get(name, 0.0)) / slope for name in made.structure.names)
    return shares, slope
