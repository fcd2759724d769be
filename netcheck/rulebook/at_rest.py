"""The operating point as values of the rule language: a number, or unknown with its ends and the reason."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING

from netcheck.circuit.conduction import TRANSISTORS
from netcheck.circuit.model import Net, Part, Pin
from netcheck.circuit.walk import Walks
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key
from netcheck.ground.units import AMPERE, VOLT, WATT, Unit
from netcheck.language.values import Unknown
from netcheck.physics.behaviour import Behaviour
from netcheck.physics.devices import Spread, Usual
from netcheck.physics.volts import spoken_net

if TYPE_CHECKING:  # the solver and numpy behind it are imported when the first number is asked for
    from netcheck.physics.points import Points, Range

COLDEST, HOTTEST = "coldest junctions", "hottest junctions"
JUNCTION, STEADY, SHARE = "spread of junctions", "steady volts", "steady share"
# Usual figures of parts, by their names in `Usual`: limits of recognition.
USUAL = {
    "early": "usual Early volts",
    "base_emitter": "usual base-emitter capacitance",
    "base_collector": "usual base-collector capacitance",
    "gate": "usual gate capacitance",
    "small": "usual current of a junction",
    "led": "usual current of a light-emitting diode",
    "zener": "usual current of a zener diode",
    "junction": "usual volts of a junction",
    "gain": "usual open-loop gain",
    "output_ohms": "usual output resistance",
    "power_ohms": "usual output resistance of a power amplifier",
    "headroom": "usual headroom of an output",
    "spread_of_gain": "usual spread of current gain",
}


def spread_of(words: Words) -> Spread:
    """How far parts and surroundings are from nominal, from the words of recognition."""
    return Spread(
        junction=words.limit(JUNCTION).value,
        cold=words.limit(COLDEST).value + 273.15,
        hot=words.limit(HOTTEST).value + 273.15,
        usual=Usual(**{name: words.limit(limit).value for name, limit in USUAL.items()}),
    )


def tolerances_of(words: Words) -> dict[str, float]:
    """Tolerances by kind of part, where a part states none."""
    named = {
        "tolerance of resistors": ("resistor",),
        "tolerance of tracks": ("potentiometer", "trimmer"),
        "tolerance of capacitors": ("capacitor",),
    }
    return {kind: words.limit(name).value for name, kinds in named.items() for kind in kinds}


class AtRest:
    """Volts, amps and watts of a circuit at rest."""

    def __init__(self, walks: Walks, words: Words, ends: frozenset[str] = frozenset()) -> None:
        self.walks, self.words, self.told_ends = walks, words, ends

    @cached_property
    def points(self) -> Points:
        """The operating points."""
        from netcheck.physics.points import Points
        from netcheck.physics.usualloads import UsualLoads

        phones = (self.words.limit("most headphones").value, self.words.limit("least headphones").value)
        loads = UsualLoads(
            phones, self.words.limit("output for headphones").value, self.words.limit("line input").value
        )
        return Points(self.walks, spread_of(self.words), self.told_ends, tolerances_of(self.words), loads=loads)

    def with_rails(self, supposed: Mapping[str, float]) -> Points:
        """Operating points with supposed volts on some rails, for what does not depend on them."""
        from netcheck.physics.points import Points

        return Points(self.walks, spread_of(self.words), self.told_ends, tolerances_of(self.words), supposed)

    def numbers(self, board: str) -> Behaviour:
        """Everything that is computed of a board."""
        from netcheck.physics.numbers import behaviour

        return behaviour(self.points, board)

    def volts(self, net: Net, bounds: Unknown) -> float | Unknown:
        """Volts of a net; where they are not found, the bounds that hold all the same."""
        found = self.points.volts(net.key)
        if isinstance(found, Unknown):
            return Unknown(found.reasons, bounds.low, bounds.high)
        return self._told(found, f"the DC voltage of {spoken_net(self.walks.circuit, net)}", VOLT)

    def ends(self, net: Net) -> tuple[float, float] | None:
        """Lowest and highest volts of a net, None where they are not found."""
        found = self.points.volts(net.key)
        return None if isinstance(found, Unknown) else (found.low, found.high)

    def across(self, part: Part, a: Net, b: Net, bounds: Unknown) -> float | Unknown:
        """Volts from one net to another at the ends of a part."""
        found = self.points.across(a.key, b.key)
        what = f"the DC voltage across {self.walks.said(part)}"
        if isinstance(found, Unknown):
            return Unknown(found.reasons, bounds.low, bounds.high)
        return self._told(found, what, VOLT)

    def amps(self, part: Part) -> float | Unknown:
        """Current in at the first of two ends, at the plus end or the anode; into a collector or drain."""
        pins = part.by_role("collector") if part.kind in TRANSISTORS else self._first(part)
        if len(pins) != 1:
            return Unknown((f"{self.walks.said(part)} has not two ends",))
        return self.pin_amps(pins[0])

    def pin_amps(self, pin: Pin) -> float | Unknown:
        """Current into a pin."""
        found = self.points.amps(pin)
        part = self.walks.circuit.parts[pin.part]
        return self._told(found, f"the current of {self.walks.said(part)} at rest", AMPERE, 0.0)

    def watts(self, part: Part) -> float | Unknown:
        """What a part takes up."""
        return self._told(self.points.watts(part), f"the heat of {self.walks.said(part)} at rest", WATT, 0.0)

    def _first(self, part: Part) -> tuple[Pin, ...]:
        for role in ("plus", "anode"):
            if len(found := part.by_role(role)) == 1:
                return found
        return tuple(sorted(part.pins, key=lambda pin: natural_key(pin.number)))[:1] if len(part.pins) == 2 else ()

    def _told(self, found: Range | Unknown, what: str, unit: Unit, steady: float | None = None) -> float | Unknown:
        if isinstance(found, Unknown):
            return found
        least = self.words.limit(STEADY).value if steady is None else steady
        return found.told(what, unit, least, self.words.limit(SHARE).value)
