"""What hangs on a net for a signal: ohms at 1 kHz of all that takes current from it, part by part.

Resistors, capacitors and coils are added up as they are drawn; inputs of amplifiers and gates take nothing, an
inverting input that is held by feedback is as good as ground, a base takes what is in the emitter divided by the gain.
What is not known leaves the load unknown; what is known of it is then a bound from above.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from netcheck.circuit.assemble import Assembled
from netcheck.circuit.conduction import SWITCHED, VARIABLE
from netcheck.circuit.model import Part
from netcheck.circuit.walk import STOPS
from netcheck.language.values import Unknown
from netcheck.physics.places import Place, PlaceMap

HERTZ = 1000.0
FURTHEST = 12  # parts in a row; what is behind them counts as nothing
_AMPLIFIERS = frozenset({"opamp", "comparator", "buffer", "power amplifier", "transconductance amplifier"})
_LINKS = frozenset({"link", "fuse", "ferrite"})
_NOTHING = frozenset({"diode", "led", "zener", "surge diode", "varistor"})
_BIPOLAR = frozenset({"npn", "pnp"})
_GATES = frozenset({"nmos", "pmos", "njfet", "pjfet"})
_OPEN = 0.0 + 0.0j
_SHORT = complex(math.inf)


@dataclass
class _Look:
    """One question: places that do not count, and what could not be found."""

    seen: set[str]
    doubts: dict[str, None] = field(default_factory=dict)


class Loading:
    """Loads of a circuit.

    Args:
        places: of the circuit. ohms_outside: connector pin -> ohms of what is told to hang on it, `inf` for nothing.
    """

    def __init__(self, places: PlaceMap, ohms_outside: Mapping[str, float] | None = None) -> None:
        self.places, self.walks = places, places.walks
        self.outside = ohms_outside or {}

    def at(self, node: str, without: str = "") -> float | Unknown:
        """Ohms from a node to all that is quiet, `inf` when nothing hangs there.

        Args:
            node: see `PlaceMap`. without: key of a place that does not count, the track of a volume control.
        """
        look = _Look({without})
        admittance = self._on(node, look, FURTHEST)
        size = abs(admittance)
        ohms = math.inf if size == 0 else 1 / size if math.isfinite(size) else 0.0
        if look.doubts:
            return Unknown(tuple(look.doubts), 0.0, None if math.isinf(ohms) else ohms)
        return ohms

    def _on(self, node: str, look: _Look, left: int) -> complex:
        """Admittance of all that hangs on a node, in siemens."""
        if self.places.net(node).role in STOPS or self._driven(node):
            return _SHORT
        total = _OPEN
        for role, place in self.places.at.get(node, ()) if left else ():
            if place.key not in look.seen:
                look.seen.add(place.key)
                total += self._of(place, role, node, look, left)
                look.seen.discard(place.key)
        return total

    def _driven(self, node: str) -> bool:
        """Whether an amplifier holds a node, or holds it by feedback where its other input is quiet."""
        for role, place in self.places.at.get(node, ()):
            if place.kind in _AMPLIFIERS and (role == "output" or (role == "minus" and self._held(place))):
                return True
        return False

    def _held(self, place: Place) -> bool:
        ends = dict(place.ends)
        plus, output = ends.get("plus"), ends.get("output")
        if place.kind != "opamp" or plus is None or output is None:
            return False
        quiet = self.places.net(plus).role in STOPS or any(
            p.kind in ("capacitor", "resistor") and any(self.places.net(n).role in STOPS for _, n in p.ends)
            for _, p in self.places.at[plus]
            if len(self.places.at[plus]) <= 3
        )
        return quiet and any(
            p.kind in ("resistor", "capacitor", *VARIABLE) and any(n == output for _, n in p.ends)
            for _, p in self.places.at[ends["minus"]]
        )

    def _of(self, place: Place, role: str, node: str, look: _Look, left: int) -> complex:
        part = self.walks.circuit.parts[place.part]
        others = [end for end in place.ends if end[1] != node]
        if place.kind in ("resistor", "capacitor", "inductor") or place.kind in _LINKS:
            return self._through(self._impedance(part, look), others, look, left)
        if place.kind in VARIABLE:
            return self._track(place, part, role, others, look, left)
        if place.kind in SWITCHED:
            if any(self.places.net(end).role not in STOPS for _, end in others):
                self._doubt(look, f"what {self.walks.said(part)} joins is not known")
            return _OPEN  # a contact to ground mutes; it is no load of what is played
        if place.kind in _AMPLIFIERS or place.kind in _NOTHING or (place.kind in _GATES and role == "gate"):
            return _OPEN
        if place.kind in _BIPOLAR and role == "base":
            return self._base(place, part, look, left)
        if place.kind == "connector":
            return self._socket(place, part, look)
        self._doubt(look, f"what {self.walks.said(part)} takes is not known")
        return _OPEN

    def _through(self, ohms: complex | None, others: list[tuple[str, str]], look: _Look, left: int) -> complex:
        """A part in series with what hangs on its other ends."""
        if ohms is None or not others:
            return _OPEN
        behind = sum((self._on(end, look, left - 1) for _, end in others), _OPEN)
        if behind == 0:
            return _OPEN
        whole = ohms + (0 if not math.isfinite(abs(behind)) else 1 / behind)
        return _SHORT if whole == 0 else 1 / whole

    def _impedance(self, part: Part, look: _Look) -> complex | None:
        if part.kind in _LINKS:
            return 0j
        value = part.value.number
        if value is None:
            text = part.value.text.strip()
            said = f"the value '{text}'" if text else "no value"
            self._doubt(look, f"{self.walks.said(part)} has {said}")
            return None
        if part.kind == "resistor":
            return complex(value)
        if part.kind == "inductor":
            return 2j * math.pi * HERTZ * value
        return 1 / (2j * math.pi * HERTZ * value) if value > 0 else None

    def _track(
        self, place: Place, part: Part, role: str, others: list[tuple[str, str]], look: _Look, left: int
    ) -> complex:
        """A track from end to end; a wiper may stand anywhere."""
        ends = [end for end in others if end[0] == "end"]
        if role == "wiper" or part.value.number is None:
            self._doubt(look, f"the setting of {self.walks.said(part)} is not given")
            return _OPEN
        return self._through(complex(part.value.number), ends, look, left)

    def _base(self, place: Place, part: Part, look: _Look, left: int) -> complex:
        gain = part.record.figures.get("gain_least") if part.record is not None else None
        emitter = next((node for role, node in place.ends if role == "emitter"), None)
        if gain is None or gain.low is None or emitter is None:
            self._doubt(look, f"what {self.walks.said(part)} takes at its base is not known")
            return _OPEN
        behind = self._on(emitter, look, left - 1)
        if not math.isfinite(abs(behind)):
            self._doubt(look, f"what {self.walks.said(part)} takes at its base is not known")
            return _OPEN
        return behind / (1 + gain.low)

    def _socket(self, place: Place, part: Part, look: _Look) -> complex:
        pin = place.pins[0]
        if pin in self.outside:
            ohms = self.outside[pin]
            return _OPEN if math.isinf(ohms) else complex(1 / ohms) if ohms > 0 else _SHORT
        node = place.ends[0][1]
        if any(one.key == pin for one in self.walks.leaves_board(node)):
            self._doubt(look, f"what {self.walks.said(part)} is joined to is not given")
        return _OPEN

    def _doubt(self, look: _Look, why: str) -> None:
        look.doubts[why] = None


def ohms_told(assembled: Assembled | None) -> dict[str, float]:
    """Least ohms that an assembly tells to hang on each connector pin where a signal goes out."""
    if assembled is None:
        return {}
    outputs = assembled.file.outputs
    return {assembled.pins[entry.at.text]: min(entry.loads) for entry in outputs if entry.loads}
