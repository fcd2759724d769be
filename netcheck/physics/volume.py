"""Volume controls: a track from a signal to what is quiet, its wiper to an input.

Each gang of a potentiometer is looked at by itself. Balance, pan and tone controls, gain controls inside a feedback
loop, variable resistors, trimmers and controls of a direct voltage are other things and are not found here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from netcheck.circuit.conduction import PASSING
from netcheck.circuit.model import Part, Pin
from netcheck.circuit.opposites import tokens
from netcheck.circuit.walk import STOPS, Walks, natural_key
from netcheck.circuit.words import Words
from netcheck.language.values import Unknown
from netcheck.physics.loading import Loading
from netcheck.physics.places import Place, PlaceMap

FURTHEST = 4  # parts in a row from the track to a source, from the wiper to an input
STEERING, FOOT_SHARE, STILL = "control voltages", "foot of a volume control", "reservoir least"
_AMPLIFIERS = frozenset({"opamp", "buffer", "power amplifier", "transconductance amplifier", "integrated circuit"})
_TRANSISTORS = frozenset({"npn", "pnp", "nmos", "pmos", "njfet", "pjfet", "valve"})
_MAIN = frozenset({"emitter", "collector", "source", "drain", "plate", "cathode"})
_STEERED = frozenset({"base", "gate", "grid"})
_TAKES = frozenset({"plus", "minus", "input"})
_SOURCES = frozenset({"connector", "microphone", "transformer", "source", "module"})
_DIGITAL = frozenset({"logic", "microcontroller"})


@dataclass(frozen=True, slots=True)
class VolumeControl:
    """One gang of a potentiometer that sets a level.

    Attributes:
        key: that of the wiper. part: key. gang: which of several, '' where there is one. wiper, top, foot: keys of
            pins; top is where the signal comes to the track, foot the end that is quiet.
        foot_first: the foot is the end with the lower number; None where numbers do not tell.
        bent_by: keys of resistors from the wiper to the foot's side, that bend the law of the track.
        load: ohms of all that takes current from the wiper, the track left out.
        coupled: a capacitor stands in the way of the signal, before the track or behind it.
    """

    key: str
    part: str
    gang: str
    wiper: str
    top: str
    foot: str
    foot_first: bool | None
    bent_by: tuple[str, ...]
    load: float | Unknown
    coupled: bool


def volume_controls(
    walks: Walks, words: Words, ohms_outside: Mapping[str, float] | None = None
) -> tuple[VolumeControl, ...]:
    """Every gang of a potentiometer that is a volume control, in natural order.

    Args:
        ohms_outside: connector pin -> ohms that are told to hang on it.
    """
    if not walks.by_kind.get("potentiometer"):
        return ()
    places = PlaceMap(walks)
    finder = _Finder(places, words, Loading(places, ohms_outside))
    found: dict[str, VolumeControl] = {}
    for held in places.at.values():
        for _, place in held:
            if place.kind == "potentiometer" and place.key not in found:
                control = finder.control(place)
                if control is not None:
                    found[control.key] = control
    return tuple(found[key] for key in sorted(found, key=natural_key))


class _Finder:
    def __init__(self, places: PlaceMap, words: Words, loading: Loading) -> None:
        self.places, self.walks, self.words, self.loading = places, places.walks, words, loading
        self.circuit = places.walks.circuit

    def control(self, place: Place) -> VolumeControl | None:
        """The volume control that a gang is, or None."""
        pins = [self.circuit.pins[key] for key in place.pins]
        wipers = [pin for pin in pins if pin.role == "wiper"]
        ends = sorted((pin for pin in pins if pin.role == "end"), key=lambda pin: natural_key(pin.number))
        if len(wipers) != 1 or len(ends) != 2:
            return None
        wiper, part = wipers[0], self.circuit.parts[place.part]
        quiet = [pin for pin in ends if self._quiet(pin, part)]
        if len(quiet) != 1 or len({self._node(pin) for pin in pins}) != 3:
            return None
        foot, top = quiet[0], ends[0] if ends[1] is quiet[0] else ends[1]
        if self._net_role(wiper) != "signal" or self._net_role(top) != "signal" or not self._audible(place, top, wiper):
            return None
        return VolumeControl(
            key=wiper.key,
            part=part.key,
            gang=place.key.removeprefix(part.key).removeprefix(":"),
            wiper=wiper.key,
            top=top.key,
            foot=foot.key,
            foot_first=_first(foot, ends),
            bent_by=tuple(self._benders(place, wiper, foot)),
            load=self.loading.at(self._node(wiper), place.key),
            coupled=self._coupled(place, top) or self._coupled(place, wiper),
        )

    def _node(self, pin: Pin) -> str:
        return self.places.node(pin.net)

    def _net_role(self, pin: Pin) -> str:
        return self.circuit.nets[pin.net].role

    # What is quiet

    def _quiet(self, pin: Pin, part: Part) -> bool:
        """Whether an end is on ground or a bias, straight or through a resistor that is small beside the track."""
        node = self._node(pin)
        if self._still(node):
            return True
        held = [place for _, place in self.places.at.get(node, ()) if place.part != part.key]
        if len(held) != 1 or held[0].kind not in ("resistor", "link") or part.value.number is None:
            return False
        ohms = self.circuit.parts[held[0].part].value.number
        least = self.words.limit(FOOT_SHARE).value
        small = held[0].kind == "link" or (ohms is not None and ohms <= least * part.value.number)
        return small and any(self._still(end) for _, end in held[0].ends if end != node)

    def _still(self, node: str) -> bool:
        """Whether a node is a ground, or a bias that a large capacitor holds still and a resistor feeds."""
        net = self.places.net(node)
        if net.role in STOPS:
            return net.role in ("ground", "chassis")
        if net.name and self.words.net_word("biases", net.name.rsplit("/", 1)[-1]):
            return True
        held = [place for _, place in self.places.at.get(node, ()) if self._to_supply(place, node)]
        large = [place for place in held if place.kind == "capacitor" and self._farads(place) >= self._still_farads]
        return bool(large) and any(place.kind == "resistor" for place in held)

    @property
    def _still_farads(self) -> float:
        return self.words.limit(STILL).value

    def _farads(self, place: Place) -> float:
        return self.circuit.parts[place.part].value.number or 0.0

    def _to_supply(self, place: Place, node: str) -> bool:
        return any(self.places.net(end).role in STOPS for _, end in place.ends if end != node)

    # Where the signal comes from and goes to

    def _audible(self, place: Place, top: Pin, wiper: Pin) -> bool:
        """Whether a signal comes to the top and the wiper leads to an input, and neither steers by a direct voltage."""
        steering = self.words.text_words(STEERING)
        for pin in (top, wiper):
            if {word.upper() for word in tokens(self.circuit.nets[pin.net].name)} & steering:
                return False
        sources = list(self._met(self._node(top), place.part, _is_source))
        takers = list(self._met(self._node(wiper), place.part, _is_taker))
        if not sources or not takers or any(self._met(self._node(wiper), place.part, _is_output)):
            return False
        if all(self.circuit.parts[pin.part].kind in _DIGITAL for pin in takers):
            return False
        driven_by = {(pin.part, pin.unit) for pin in sources if pin.role == "output"}
        # a control in the feedback of an amplifier takes its output and gives to its input
        return not any((pin.part, pin.unit) in driven_by and pin.role == "minus" for pin in takers)

    def _met(self, node: str, around: str, wanted: Callable[[Part, Pin], bool]) -> Iterator[Pin]:
        """Pins of a sort within a few parts from a node; rails, grounds, outputs and - inputs are not passed."""
        seen, todo = {node}, [(node, FURTHEST)]
        while todo:
            at, left = todo.pop(0)
            held = self.places.at.get(at, ())
            pins = [(place, pin) for _, place in held if place.part != around for pin in self._pins_at(place, at)]
            yield from (pin for place, pin in pins if wanted(self.circuit.parts[place.part], pin))
            if left and not any(_ends_a_walk(self.circuit.parts[place.part], pin) for place, pin in pins):
                for place, _ in pins:
                    for _, end in place.ends if place.kind in PASSING else ():
                        if end not in seen and self.places.net(end).role not in STOPS:
                            seen.add(end)
                            todo.append((end, left - 1))

    def _pins_at(self, place: Place, node: str) -> list[Pin]:
        here = [key for key, (_, end) in zip(place.pins, place.ends, strict=True) if end == node]
        return [self.circuit.pins[key] for key in here]

    def _coupled(self, place: Place, pin: Pin) -> bool:
        """Whether a capacitor leads on from a net to another signal."""
        node = self._node(pin)
        held = [one for _, one in self.places.at.get(node, ()) if one.part != place.part]
        near = [end for one in held if one.kind == "resistor" for _, end in one.ends if end != node]
        for at in (node, *(end for end in near if self.places.net(end).role not in STOPS)):
            for _, one in self.places.at.get(at, ()):
                others = [end for _, end in one.ends if end != at] if one.kind == "capacitor" else []
                if any(self.places.net(end).role not in STOPS for end in others):
                    return True
        return False

    def _benders(self, place: Place, wiper: Pin, foot: Pin) -> Iterator[str]:
        """Resistors straight from the wiper to the foot or to what is quiet."""
        node = self._node(wiper)
        for _, other in self.places.at.get(node, ()):
            ends = [end for _, end in other.ends if end != node] if other.kind == "resistor" else []
            if any(end == self._node(foot) or self._still(end) for end in ends):
                yield other.part


def _is_output(part: Part, pin: Pin) -> bool:
    return pin.role == "output" and part.kind in _AMPLIFIERS


def _ends_a_walk(part: Part, pin: Pin) -> bool:
    """An output is not passed, nor a - input, which feedback holds."""
    return part.kind in _AMPLIFIERS and pin.role in ("output", "minus")


def _is_source(part: Part, pin: Pin) -> bool:
    transistor = part.kind in _TRANSISTORS and pin.role in _MAIN
    return _is_output(part, pin) or transistor or (part.kind in _SOURCES and pin.role not in ("sleeve", "shield"))


def _is_taker(part: Part, pin: Pin) -> bool:
    amplifier = part.kind in _AMPLIFIERS and (pin.role in _TAKES or (not pin.role and part.kind != "opamp"))
    transistor = part.kind in _TRANSISTORS and pin.role in _STEERED
    return amplifier or transistor or part.kind in _DIGITAL or (part.kind == "connector" and pin.role != "sleeve")


def _first(foot: Pin, ends: list[Pin]) -> bool | None:
    """Whether the foot is the end with the lower number: the one at the stop against the clock, by common practice."""
    numbers = [pin.number for pin in ends]
    if not all(number.isdigit() for number in numbers):
        return None
    return int(foot.number) == min(map(int, numbers))
