"""All facts about one circuit, each computed when it is first asked for and then kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from netcheck.circuit.assemble import Assembled, Lead, Wire
from netcheck.circuit.model import Amplifier, Board, Circuit, Control, Net, Part, Pin
from netcheck.circuit.partbook import PartBook
from netcheck.circuit.shapeparts import Found, Match, Shape
from netcheck.circuit.shapes import find_matches
from netcheck.circuit.walk import Walks
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key
from netcheck.intake.assembly import CHASSIS
from netcheck.language.scope import TooManySteps
from netcheck.language.values import Kept, Lot, Unknown
from netcheck.physics.bonds import conductors_of, joints, references, signal_ends
from netcheck.physics.channels import ChannelPair, channels
from netcheck.physics.conductors import Conductor, GroundLoop, Island, ground_islands, ground_loops
from netcheck.physics.feeding import Feeding, feeding
from netcheck.physics.loading import ohms_told
from netcheck.physics.mains import Mains
from netcheck.physics.mating import Mating, matings
from netcheck.physics.meeting import wired
from netcheck.physics.volts import net_volts
from netcheck.physics.volume import VolumeControl, volume_controls
from netcheck.rulebook.at_rest import AtRest

SUPPLY_ENTRY_PINS = "supply entry pins"


@dataclass(frozen=True, slots=True)
class SupplyPin:
    """A pin through which a package is fed. `sign`: 'positive', 'negative' or 'ground'."""

    key: str
    pin: Pin
    sign: str
    package: Part


@dataclass(frozen=True, slots=True)
class ControlPin:
    """A pin that decides whether a part works, with what the part book says of it."""

    key: str
    pin: Pin
    control: Control
    package: Part


@dataclass(frozen=True, slots=True)
class Oddity:
    """Something odd that the reader kept: the pin, the part (None when missing) and the nets meant."""

    key: str
    what: str
    pin: str
    part: Part | None
    nets: tuple[Net, ...]
    line: int


@dataclass(eq=False)
class Facts:
    """The facts of a circuit.

    Attributes:
        circuit, words, book: what was read. bind: makes the shapes whose conditions speak of these facts.
        assembled: how the boards are joined; None where boards stand alone or side by side.
    """

    circuit: Circuit
    words: Words
    book: PartBook
    bind: Callable[[Facts], Mapping[str, Shape]]
    assembly_given: bool = False
    assembled: Assembled | None = None
    _found: dict[str, Found] = field(default_factory=dict)
    _volts: dict[str, float | Unknown] = field(default_factory=dict)
    _feeding: dict[tuple[str, float], Feeding] = field(default_factory=dict)
    _finding: list[str] = field(default_factory=list)
    _given_up: set[str] = field(default_factory=set)
    _by_name: dict[tuple[str, str], Mapping[str, tuple[Match, ...]]] = field(default_factory=dict)
    _pins: dict[str, Kept] = field(default_factory=dict)
    _on_boards: dict[tuple[str, str], Kept] = field(default_factory=dict)

    @cached_property
    def several_boards(self) -> bool:
        """Whether references need the board's name before them."""
        return len(self.circuit.boards) > 1

    @cached_property
    def walks(self) -> Walks:
        """The graph, ready to be walked."""
        if self.assembled is None:
            return Walks(self.circuit)
        return Walks(self.circuit, self.assembled.joined, self.assembled.mated, self.assembled.positions)

    @cached_property
    def boards(self) -> tuple[Board, ...]:
        """The boards, without the parts of the chassis."""
        return tuple(board for board in self.circuit.boards if board.name != CHASSIS)

    @cached_property
    def extra_conductors(self) -> tuple[Conductor, ...]:
        """Wires, screens and bonds of the assembly."""
        return conductors_of(self.assembled, self.words) if self.assembled is not None else ()

    @cached_property
    def _wiring(self) -> Mapping[str, Lead | Wire]:
        return {**self.leads, **self.wires}

    def boards_of(self, key: str) -> set[str]:
        """Boards that a key speaks of: of a part or net its own, of a cable those at its ends."""
        found: set[str] = set()
        for piece in key.split(" + "):
            one = self._wiring.get(piece)
            ends = (one.near, one.far) if isinstance(one, Lead) else one.nets if isinstance(one, Wire) else (piece,)
            found |= {end.split("/", 1)[0] for end in ends}
        return found

    def line_of(self, key: str) -> int | None:
        """The line of the assembly file where a cable, or the cable of a wire, is described; None for other keys."""
        one = self._wiring.get(key.split(" + ")[0])
        if one is None or self.assembled is None:
            return None
        lead = one.key if isinstance(one, Lead) else one.cable
        return next((cable.line for cable in self.assembled.file.cables if f"cable/{cable.name}" == lead), 0)

    def is_mated(self, part: Part) -> bool:
        """Whether it is told what a connector is joined to."""
        return self.assembled is not None and any(pin.key in self.assembled.mated for pin in part.pins)

    @cached_property
    def shapes(self) -> Mapping[str, Shape]:
        """Every shape of the rule book, by name."""
        return self.bind(self)

    def matches(self, shape: str) -> Found:
        """Everything in the circuit that has a shape, and its blind spots."""
        if shape in self._given_up:
            raise TooManySteps
        if shape not in self._found:
            if shape in self._finding:
                raise RecursionError(f"the shape {shape} asks for itself")
            self._finding.append(shape)
            try:
                self._found[shape] = find_matches(self.shapes[shape], self.walks, self.matches)
            except TooManySteps:
                self._given_up.add(shape)
                raise
            finally:
                self._finding.pop()
        return self._found[shape]

    def matches_with(self, shape: str, name: str, key: str) -> Sequence[Match]:
        """Matches of a shape in which a name stands for the thing with a key, or for a list that holds it."""
        asked = (shape, name)
        if asked not in self._by_name:
            index: dict[str, dict[Match, None]] = {}
            for match in self.matches(shape).matches:
                for held in _keys_in(match.names.get(name)):
                    index.setdefault(held, {})[match] = None
            self._by_name[asked] = {held: tuple(matches) for held, matches in index.items()}
        return self._by_name[asked].get(key, ())

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Fitted parts, in natural order of their keys."""
        fitted = (part for part in self.circuit.parts.values() if part.fitted)
        return tuple(sorted(fitted, key=lambda part: natural_key(part.key)))

    @cached_property
    def by_kind(self) -> Mapping[str, tuple[Part, ...]]:
        """Fitted parts of each kind."""
        found: dict[str, list[Part]] = {}
        for part in self.parts:
            found.setdefault(part.kind, []).append(part)
        return {kind: tuple(parts) for kind, parts in found.items()}

    @cached_property
    def nets(self) -> tuple[Net, ...]:
        """Nets, in natural order of their keys."""
        return tuple(sorted(self.circuit.nets.values(), key=lambda net: natural_key(net.key)))

    def pins_of(self, net: Net) -> Kept:
        """Pins of fitted parts on a net, the same list whenever it is asked for."""
        if net.key not in self._pins:
            self._pins[net.key] = Kept(self.circuit.pins_on(net))
        return self._pins[net.key]

    def on_board(self, what: str, board: str, things: Callable[[Facts], Iterable[Any]]) -> Kept:
        """Those of some things that are on a board, the same list whenever it is asked for."""
        if (what, board) not in self._on_boards:
            self._on_boards[what, board] = Kept(tuple(thing for thing in things(self) if thing.board == board))
        return self._on_boards[what, board]

    def nets_of(self, *roles: str) -> tuple[Net, ...]:
        """Nets of given roles."""
        return tuple(net for net in self.nets if net.role in roles)

    @cached_property
    def amplifiers(self) -> tuple[Amplifier, ...]:
        """Amplifiers of fitted packages."""
        fitted = (amp for amp in self.circuit.amplifiers.values() if self.circuit.parts[amp.part].fitted)
        return tuple(sorted(fitted, key=lambda amp: natural_key(amp.key)))

    @cached_property
    def supply_pins(self) -> tuple[SupplyPin, ...]:
        """Supply pins of all fitted parts."""
        signs = {"supply plus": "positive", "supply minus": "negative"}
        return tuple(
            SupplyPin(pin.key, pin, signs[pin.role], part)
            for part in self.parts
            for pin in part.pins
            if pin.role in signs
        )

    @cached_property
    def matings(self) -> tuple[Mating, ...]:
        """Every way in which every connector can be mated."""
        most = self.words.limit(SUPPLY_ENTRY_PINS).value
        if self.assembled is None:
            return matings(self.circuit, most_supply_pins=int(most))
        found = matings(self.circuit, joints(self.assembled), most_supply_pins=int(most))
        return tuple(mating for mating in found if mating.near not in self.assembled.unused)

    @cached_property
    def joined_nets(self) -> Mapping[str, str]:
        """For each net, one key that it shares with all that it is joined to."""
        return wired(self.circuit, self.matings)

    @cached_property
    def mains(self) -> Mains:
        """What is on the mains, looked at through cables."""
        return Mains(self.circuit, self.words, self.assembled.joined if self.assembled is not None else None)

    @cached_property
    def control_pins(self) -> tuple[ControlPin, ...]:
        """Pins that the part book calls controls."""
        found = []
        for part in self.parts:
            for control in part.record.controls if part.record is not None else ():
                number = _number_of(control, part)
                found += [ControlPin(pin.key, pin, control, part) for pin in part.pins if pin.number == number]
        return tuple(found)

    @cached_property
    def _nets_by_last_name(self) -> Mapping[tuple[str, str], tuple[Net, ...]]:
        found: dict[tuple[str, str], list[Net]] = {}
        for net in self.nets:
            if net.name:
                found.setdefault((net.board, _last_name(net.name)), []).append(net)
        return {key: tuple(nets) for key, nets in found.items()}

    def nets_of_similar_name(self, net: Net) -> tuple[Net, ...]:
        """Other nets of the board whose names end alike: the part after the last '/', letter case and signs aside."""
        if not net.name:
            return ()
        alike = self._nets_by_last_name.get((net.board, _last_name(net.name)), ())
        return tuple(other for other in alike if other.key != net.key)

    @cached_property
    def ground_loops(self) -> tuple[GroundLoop, ...]:
        """Rings of ground conductors."""
        return ground_loops(self.circuit, self.extra_conductors, self.references)

    @cached_property
    def references(self) -> frozenset[str] | None:
        """Keys of the conductors that signals are measured against; None where no assembly tells."""
        return references(self.assembled) if self.assembled is not None else None

    @cached_property
    def wires(self) -> Mapping[str, Wire]:
        """Wires of the assembly by key."""
        return {wire.key: wire for wire in self.assembled.wires} if self.assembled is not None else {}

    @cached_property
    def leads(self) -> Mapping[str, Lead]:
        """Leads of the assembly by key."""
        return {lead.key: lead for lead in self.assembled.leads} if self.assembled is not None else {}

    @cached_property
    def ground_islands(self) -> tuple[Island, ...]:
        """Grounds that nothing joins to the others."""
        return ground_islands(self.circuit, self.extra_conductors)

    @cached_property
    def oddities(self) -> tuple[Oddity, ...]:
        """What the reader kept because real files contain it."""
        return tuple(sorted(self._oddities(), key=lambda odd: natural_key(odd.key)))

    def _oddities(self) -> Sequence[Oddity]:
        found = []
        for board in self.circuit.boards:
            by_code = {net.code: net for net in board.nets}
            for odd in board.netlist.oddities:
                nets = tuple(by_code[code] for code in odd.nets if code in by_code)
                key = f"{board.name}/{odd.reference}.{odd.pin}"
                part = self.circuit.parts.get(f"{board.name}/{odd.reference}")
                found.append(Oddity(key, odd.what, f"{odd.reference} pin {odd.pin}", part, nets, odd.line))
        return found

    def feeding(self, net: str, most_ohms: float) -> Feeding:
        """What can feed a rail, looking through resistors up to so many ohms."""
        asked = (net, most_ohms)
        if asked not in self._feeding:
            self._feeding[asked] = feeding(self.walks, net, most_ohms)
        return self._feeding[asked]

    def fed_from(self, net: str, most_ohms: float) -> tuple[Net, ...]:
        """Rails that a rail is fed through, the one that is furthest back first."""

        def place(key: str) -> tuple[int, object]:
            return len(self.feeding(key, most_ohms).rails), natural_key(key)

        return tuple(self.circuit.nets[key] for key in sorted(self.feeding(net, most_ohms).rails, key=place))

    def volts(self, net: Net) -> float | Unknown:
        """DC volts of a net against the zero, nominal; unknown with its ends where they are apart."""
        if net.key not in self._volts:
            found = net_volts(self.circuit, net.key)
            if isinstance(found, Unknown) and net.role == "signal":
                found = self.at_rest.volts(net, found)
            self._volts[net.key] = found
        return self._volts[net.key]

    @cached_property
    def channels(self) -> tuple[ChannelPair, ...]:
        """Stretches of circuit that are there twice, left and right."""
        return channels(self.walks, self.words)

    @cached_property
    def volume_controls(self) -> tuple[VolumeControl, ...]:
        """Gangs of potentiometers that set a level."""
        return volume_controls(self.walks, self.words, ohms_told(self.assembled))

    @cached_property
    def at_rest(self) -> AtRest:
        """The operating point, solved where it is asked for."""
        return AtRest(self.walks, self.words, signal_ends(self.assembled) if self.assembled else frozenset())

    def text_of(self, part: Part) -> str:
        """A part as it is named in sentences."""
        return f"{part.board}.{part.ref}" if self.several_boards else part.ref

    def pin_text(self, pin: Pin) -> str:
        """A pin as it is named in sentences: by its role when that is telling, else by number."""
        part = self.circuit.parts[pin.part]
        telling = pin.role not in ("", "end", "terminal", "contact", "winding", "control", "not connected")
        if telling and len(part.by_role(pin.role)) == 1:
            return f"{self.text_of(part)} {pin.role}"
        if telling and pin.unit:
            return f"{self.text_of(part)}{pin.unit} {pin.role}"
        return f"{self.text_of(part)} pin {pin.number}"

    def net_text(self, net: Net) -> str:
        """A net by its given name, or by up to three of its pins."""
        if net.name:
            return f"{net.board}.{net.name}" if self.several_boards else net.name
        pins = [self.circuit.pins[key] for key in net.pins]
        if len(pins) == 1:
            wired = self.assembled is not None and net.key in self.assembled.joined
            return f"the {'' if wired else 'open '}net of {self.pin_text(pins[0])}"
        ranked = sorted(pins, key=lambda pin: (len(self.circuit.parts[pin.part].pins) < 3, natural_key(pin.key)))
        shown = [
            self.text_of(self.circuit.parts[pin.part])
            if len(self.circuit.parts[pin.part].pins) == 2
            else self.pin_text(pin)
            for pin in ranked[:3]
        ]
        return f"the net of {', '.join(dict.fromkeys(shown))}"


def _keys_in(value: object) -> Iterator[str]:
    """The keys of a thing, or of the things that surely are in a list."""
    if isinstance(value, Lot):
        for member in value.members:
            yield from _keys_in(member)
    elif isinstance(key := getattr(value, "key", None), str):
        yield key


def _number_of(control: Control, part: Part) -> str | None:
    """The number of a control's pin in the package of a part; None when packages differ and it is not known."""
    for package in (part.package, f"{len(part.pins)} pins"):
        if package in control.numbers:
            return control.numbers[package]
    numbers = set(control.numbers.values())
    return numbers.pop() if len(numbers) == 1 else None


def _last_name(name: str) -> str:
    return "".join(letter for letter in name.rsplit("/", 1)[-1].lower() if letter.isalnum() or letter in "+-")
