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
from netcheck.circuit.conduction import AMPLIFIERS, BIPOLAR, FETS, LINKS, SERIES, SWITCHED, VARIABLE
from netcheck.circuit.model import Part
from netcheck.circuit.walk import STOPS
from netcheck.language.values import Unknown
from netcheck.physics.places import Place, PlaceMap

HERTZ = 1000.0
FURTHEST = 12  # parts in a row; what is behind them counts as nothing
_ADDED = SERIES | {"capacitor"}
_NOTHING = frozenset({"diode", "led", "zener", "surge diode", "varistor"})
_LINK_OHMS = 1e-3
_LEAK = 1e-12  # siemens from every node, so that one that hangs in the air has an answer; far above any resistor


@dataclass
class _Look:
    """One question: what was found between nodes, from nodes to what is quiet, and what could not be found."""

    seen: set[str]
    between: list[tuple[str, str, complex]] = field(default_factory=list)
    quiet: list[tuple[str, complex]] = field(default_factory=list)
    doubts: dict[str, None] = field(default_factory=dict)


class Loading:
    """Loads of a circuit.

    Args:
        places: of the circuit. ohms_outside: connector pin -> ohms of what is told to hang on it.
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
        size = abs(self._admittance(node, look))
        ohms = math.inf if size <= 2 * _LEAK * FURTHEST else 1 / size
        if look.doubts:
            return Unknown(tuple(look.doubts), 0.0, None if math.isinf(ohms) else ohms)
        return ohms

    def _admittance(self, node: str, look: _Look) -> complex:
        """Siemens of all that hangs on a node, by nodal equations."""
        if self._fixed(node):
            return complex(1 / _LINK_OHMS)
        nodes = self._gather(node, look)
        import numpy as np  # only where there is a volume control

        place = {name: at for at, name in enumerate(nodes)}
        matrix = np.zeros((len(nodes), len(nodes)), dtype=complex)
        np.fill_diagonal(matrix, _LEAK)
        for a, siemens in look.quiet:
            matrix[place[a], place[a]] += siemens
        for a, b, siemens in look.between:
            for one, other in ((a, b), (b, a)):
                matrix[place[one], place[one]] += siemens
                matrix[place[one], place[other]] -= siemens
        current = np.zeros(len(nodes), dtype=complex)
        current[0] = 1.0
        return complex(1 / np.linalg.solve(matrix, current)[0])

    def _gather(self, start: str, look: _Look) -> list[str]:
        """Nodes that belong to a load, the one asked for first; what is between them goes to the look."""
        found, front = {start: None}, [start]
        for _ in range(FURTHEST):
            behind: list[str] = []
            for node in front:
                for role, place in self.places.at.get(node, ()):
                    if place.key not in look.seen:
                        look.seen.add(place.key)
                        behind += self._take(place, role, node, look)
            front = [node for node in dict.fromkeys(behind) if node not in found]
            found.update(dict.fromkeys(front))
        return list(found)

    def _fixed(self, node: str) -> bool:
        return self.places.net(node).role in STOPS or self._driven(node)

    def _driven(self, node: str) -> bool:
        """Whether an amplifier holds a node, or holds it by feedback where its other input is quiet."""
        for role, place in self.places.at.get(node, ()):
            if place.kind in AMPLIFIERS and (role == "output" or (role == "minus" and self._held(place))):
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

    def _take(self, place: Place, role: str, node: str, look: _Look) -> list[str]:
        """Put what a place does at a node into the look; the signals that it leads on to."""
        part = self.walks.circuit.parts[place.part]
        others = [end for r, end in place.ends if end != node and (place.kind not in VARIABLE or r == "end")]
        if place.kind in _ADDED or place.kind in VARIABLE:
            ohms = self._impedance(part, look) if role != "wiper" else None
            if role == "wiper":
                self._doubt(look, f"the setting of {self.walks.said(part)} is not given")
            return self._leads(node, others, ohms, look)
        if place.kind in SWITCHED:
            return self._contact(place, part, node, look)
        if place.kind in BIPOLAR and role == "base":
            self._base(place, part, node, look)
        elif place.kind == "connector":
            self._socket(place, part, node, look)
        elif not (place.kind in AMPLIFIERS or place.kind in _NOTHING or (place.kind in FETS and role == "gate")):
            self._doubt(look, f"what {self.walks.said(part)} takes is not known")
        return []

    def _leads(self, node: str, others: list[str], ohms: complex | None, look: _Look) -> list[str]:
        onward = []
        for end in others if ohms is not None else ():
            siemens = 1 / ohms if ohms else complex(1 / _LINK_OHMS)
            if self._fixed(end):
                look.quiet.append((node, siemens))
            else:
                look.between.append((node, end, siemens))
                onward.append(end)
        return onward

    def _impedance(self, part: Part, look: _Look) -> complex | None:
        if part.kind in LINKS:
            return 0j
        value = part.value.number
        if value is None:
            text = part.value.text.strip()
            said = f"the value '{text}'" if text else "no value"
            self._doubt(look, f"{self.walks.said(part)} has {said}")
            return None
        if part.kind == "resistor" or part.kind in VARIABLE:
            return complex(value)
        if part.kind == "inductor":
            return 2j * math.pi * HERTZ * value
        return 1 / (2j * math.pi * HERTZ * value) if value > 0 else None

    def _contact(self, place: Place, part: Part, node: str, look: _Look) -> list[str]:
        """A contact to ground mutes, and is no load of what is played; any other may lead on to one."""
        onward: list[str] = []
        for pin in (self.walks.circuit.pins[key] for key in place.pins):
            for other, reasons in self.walks.across(pin) if self.places.node(pin.net) == node else ():
                end = self.places.node(other.net)
                if end == node or self.places.net(end).role in STOPS:
                    continue
                if reasons:
                    self._doubt(look, f"what {self.walks.said(part)} joins is not known")
                else:
                    onward += self._leads(node, [end], 0j, look)
        return onward

    def _base(self, place: Place, part: Part, node: str, look: _Look) -> None:
        gain = part.record.figures.get("gain_least") if part.record is not None else None
        emitter = next((end for role, end in place.ends if role == "emitter"), None)
        if gain is None or gain.low is None or emitter is None or self._fixed(emitter):
            self._doubt(look, f"what {self.walks.said(part)} takes at its base is not known")
            return
        behind = _Look(set(look.seen))
        look.quiet.append((node, self._admittance(emitter, behind) / (1 + gain.low)))
        look.doubts.update(behind.doubts)

    def _socket(self, place: Place, part: Part, node: str, look: _Look) -> None:
        pin = place.pins[0]
        if pin in self.outside:
            look.quiet.append((node, complex(1 / max(self.outside[pin], _LINK_OHMS))))
        elif any(one.key == pin for one in self.walks.leaves_board(node)):
            self._doubt(look, f"what {self.walks.said(part)} is joined to is not given")

    def _doubt(self, look: _Look, why: str) -> None:
        look.doubts[why] = None


def ohms_told(assembled: Assembled | None) -> dict[str, float]:
    """Least ohms that an assembly tells to hang on each connector pin where a signal goes out."""
    if assembled is None:
        return {}
    outputs = assembled.file.outputs
    return {assembled.pins[entry.at.text]: min(entry.loads) for entry in outputs if entry.loads}
