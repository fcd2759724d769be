"""Boards, cables, chassis parts and the case of one assembly, joined to one circuit.

Each board stays a board with nets of its own; what joins nets of different boards is listed as `Wire`s. What one
board knows of a net is shared with the nets that wires join it to (`sharing`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from netcheck.circuit.board import understand
from netcheck.circuit.chassis import HOUSE_EARTH, Draft, chassis_board, draft_chassis, inner, needs_chassis, spelled
from netcheck.circuit.model import KINDS, Board, Circuit, Hints, Net, Part, Pin, Shared, join
from netcheck.circuit.partbook import PartBook
from netcheck.circuit.sampling import FAMILIES
from netcheck.circuit.sharing import groups, shared
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key
from netcheck.ground.problems import Problem, Refused
from netcheck.intake.assembly import CASE, CHASSIS, AssemblyFile, Cable, ChassisPart, Position, Spot
from netcheck.intake.assemblycheck import word_problems
from netcheck.intake.assemblyplaces import Place, Places
from netcheck.intake.netlist import Netlist

# Pads of a connector that hold it to the board; a cable does not join them.
_MOUNTING = ("MP", "SH")
_GROUNDS = frozenset({"ground", "chassis", "earth"})
_CONTACTS = ("sleeve", "shield", "ground")


@dataclass(frozen=True, slots=True)
class Wire:
    """Something that joins nets of different boards, or a net with the case or with the world outside.

    Attributes:
        key: 'cable/power lead/1', 'wire/inlet.PE', 'bond/supply.H1', …
        kind: 'wire', 'screen', 'case' (a bond to the case), 'earth' (from inlet to house), 'outside' (other equipment).
        ends: keys of pins, '' where an end is no pin. nets: keys of the nets. cable: key of the lead, or ''.
        length, area: in metres and square metres, None when not told. doubt: why it may not be there, or ''.
    """

    key: str
    kind: str
    ends: tuple[str, str]
    nets: tuple[str, str]
    cable: str = ""
    length: float | None = None
    area: float | None = None
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Lead:
    """A cable between two connectors, or the joint of two that are plugged together.

    Attributes:
        key: 'cable/NAME'. near, far: part keys. numbers: (pin number at the near end, at the far end) of each wire.
        screen: wires of kind 'screen', one where it is joined at both ends; screened: it has a screen at all.
        screen_ends: keys of the nets that the screen is joined to. bundled: keys of leads that run side by side with
            it, as told of either.
    """

    key: str
    name: str
    near: str
    far: str
    numbers: tuple[tuple[str, str], ...]
    wires: tuple[Wire, ...]
    keyed: bool | None = None
    direct: bool = False
    length: float | None = None
    area: float | None = None
    balanced: bool = False
    screened: bool = False
    screen_ends: tuple[str, ...] = ()
    bundled: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Sink:
    """A heatsink: keys of the parts on it, kelvins per watt to the air (None when not told), which are insulated."""

    key: str
    parts: tuple[str, ...]
    to_air: float | None = None
    insulated: tuple[str, ...] = ()


@dataclass(frozen=True)
class Assembled:
    """An assembly, joined.

    Attributes:
        wires: all of them, those of leads too. joined: net -> nets that wires inside the box join it with.
        mated: keys of connector pins of which is told what they are joined to. unused: keys of connectors that nothing
            is plugged into. positions: part key -> how it stands.
        alone: net key -> what its own board takes the net for, before anything is shared.
        chassis: part key -> chassis part. case: key of the net of the case, or ''.
        twins: board -> the board built from the same netlist that comes first. pins: the file's names -> pin keys.
        sinks: the heatsinks. remarks: what the file leaves open, sentences.
    """

    file: AssemblyFile
    circuit: Circuit
    leads: tuple[Lead, ...] = ()
    wires: tuple[Wire, ...] = ()
    joined: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    mated: frozenset[str] = frozenset()
    unused: frozenset[str] = frozenset()
    positions: Mapping[str, str] = field(default_factory=dict)
    alone: Mapping[str, Net] = field(default_factory=dict)
    chassis: Mapping[str, ChassisPart] = field(default_factory=dict)
    case: str = ""
    twins: Mapping[str, str] = field(default_factory=dict)
    pins: Mapping[str, str] = field(default_factory=dict)
    sinks: tuple[Sink, ...] = ()
    remarks: tuple[str, ...] = ()


def assemble(
    assembly: AssemblyFile,
    netlists: Mapping[str, Netlist],
    book: PartBook,
    words: Words,
    hints: Mapping[str, Hints] | None = None,
) -> Assembled:
    """The boards of an assembly, understood and joined.

    Args:
        assembly: held against its netlists already (`assemblycheck.check_against`).
        netlists: by name of board, in the order in which boards are listed.
        hints: what is known of boards beside the file, such as the words of a sample.

    Raises:
        Refused: when the file tells kinds or families of parts that there are not.
    """
    return _Assembler(assembly, netlists, book, words, hints or {}).assembled()


class _Assembler:
    def __init__(
        self,
        assembly: AssemblyFile,
        netlists: Mapping[str, Netlist],
        book: PartBook,
        words: Words,
        hints: Mapping[str, Hints],
    ) -> None:
        _refuse_words(assembly)
        self.file, self.netlists, self.book, self.words = assembly, netlists, book, words
        self.places = Places(assembly, netlists)
        self.hints = {name: _told(assembly, self.places, name, hints.get(name, Hints())) for name in netlists}
        self.draft: Draft | None = draft_chassis(assembly, self.places) if needs_chassis(assembly) else None
        if self.draft is not None:
            self.hints[CHASSIS] = _told(assembly, self.places, CHASSIS, Hints())
        self.remarks: list[str] = []

    def assembled(self) -> Assembled:
        """Understand, join, share what is known, understand again."""
        boards = {name: self._understand(name, self.hints[name]) for name in self.hints}
        self.circuit = join(tuple(boards.values()))
        leads = tuple(self._lead(cable) for cable in self.file.cables)
        wires = (*(wire for lead in leads for wire in lead.wires), *self._chassis_wires(), *self._bonds())
        joined = _both_ways(wires)
        alone = dict(self.circuit.nets)
        circuit = self._share(boards, groups(joined))
        wires = (*wires, *self._outside())
        pins = dict(self._declared())
        case = f"{CHASSIS}/net/{CASE}"
        return Assembled(
            file=self.file,
            circuit=circuit,
            leads=leads,
            wires=wires,
            joined=MappingProxyType(joined),
            mated=self._mated(leads, pins),
            unused=frozenset(self.places.part(spot).key for spot in self.file.unused),
            positions=MappingProxyType({p.key: text for p, text in self._positions()}),
            alone=MappingProxyType(alone),
            chassis=MappingProxyType({f"{CHASSIS}/{part.name}": part for part in self.file.chassis}),
            case=case if case in circuit.nets else "",
            twins=MappingProxyType(_twins(self.file)),
            pins=MappingProxyType(pins),
            sinks=tuple(self._sinks()),
            remarks=tuple(dict.fromkeys(self.remarks)),
        )

    def _understand(self, name: str, hints: Hints) -> Board:
        if name == CHASSIS and self.draft is not None:
            return chassis_board(self.draft, self.file, self.book, self.words, hints)
        return understand(self.netlists[name], name, self.book, self.words, hints)

    def _share(self, boards: dict[str, Board], joined: Sequence[Sequence[str]]) -> Circuit:
        """Tell boards what they share, until nothing new follows; each round tells at least one net more."""
        circuit, known = self.circuit, {key for key in self.circuit.nets if self._is_told(key)}
        for _ in range(len(circuit.nets)):
            told = shared(circuit, joined, frozenset(known))
            if not told:
                break
            known |= set(told)
            for name in dict.fromkeys(circuit.nets[key].board for key in told):
                mine = {key.split("/", 1)[1]: what for key, what in told.items() if circuit.nets[key].board == name}
                self.hints[name] = _with_shared(self.hints[name], mine)
                boards[name] = self._understand(name, self.hints[name])
            circuit = join(tuple(boards.values()))
        return circuit

    def _is_told(self, key: str) -> bool:
        net = self.circuit.nets[key]
        return net.name in self.hints[net.board].net_roles

    # Wires

    def _pin(self, place: Place) -> Pin | None:
        return self.circuit.pins.get(place.key)

    def _end(self, place: Place) -> tuple[str, str]:
        """Key of the pin and of the net at a place; of a point only the net."""
        if place.board == CHASSIS:
            assert self.draft is not None
            spot = spelled(place, self.file)
            if place.is_point:
                return "", self._point(self.draft.net_names[spot])
            pin = self.circuit.pins[f"{CHASSIS}/{spot}"]
            return pin.key, pin.net
        pin = self.circuit.pins[place.key]
        return pin.key, pin.net

    def _point(self, name: str) -> str:
        return f"{CHASSIS}/net/{name}"

    def _lead(self, cable: Cable) -> Lead:
        near, far = self.places.part(cable.near), self.places.part(cable.far)
        numbers = self._numbers(cable, near, far)
        key = f"cable/{cable.name}"
        wires = []
        for here, there in numbers:
            ends = [self._end(replace(place, pin=number)) for place, number in ((near, here), (far, there))]
            (a, net_a), (b, net_b) = ends
            name = here if here == there else f"{here} to {there}"
            wires.append(Wire(f"{key}/{name}", "wire", (a, b), (net_a, net_b), key, cable.length, cable.area))
        screen, ends_at = self._screen(cable, key, near, far)
        return Lead(
            key=key,
            name=cable.name,
            near=near.key,
            far=far.key,
            numbers=numbers,
            wires=(*wires, *screen),
            keyed=cable.keyed,
            direct=cable.direct,
            length=cable.length,
            area=cable.area,
            balanced=cable.balanced,
            screened=cable.screen is not None,
            screen_ends=ends_at,
            bundled=frozenset(f"cable/{name}" for name in _beside(cable, self.file.cables)),
        )

    def _numbers(self, cable: Cable, near: Place, far: Place) -> tuple[tuple[str, str], ...]:
        if cable.wires is not None:
            pairs = ((self.places.pin_of(near, a).pin, self.places.pin_of(far, b).pin) for a, b in cable.wires)
            return tuple(dict.fromkeys(pairs))
        there = set(self.places.numbers(far))
        both = (number for number in self.places.numbers(near) if number in there)
        return tuple((number, number) for number in both if not number.upper().startswith(_MOUNTING))

    def _screen(self, cable: Cable, key: str, near: Place, far: Place) -> tuple[list[Wire], tuple[str, ...]]:
        """The screen as a wire, where it is joined at two ends, and the nets that it is joined to."""
        if cable.screen is None:
            return [], ()
        ends: list[tuple[str, str]] = [self._end(self.places.pin(spot)) for spot in cable.screen.pins]
        named = {spot.text for spot in cable.screen.ends}
        for place in (near, far):
            if "both" in named or place.board in named:
                end = self._ground_of(place)
                if end is not None:
                    ends.append(end)
                else:
                    part = f"{place.board}.{place.reference}"
                    self.remarks.append(f"On which pin the screen of the {cable.name} ends at {part} is not given.")
        nets = tuple(dict.fromkeys(net for _, net in ends))
        if len(nets) < 2:
            return [], nets
        pins = (ends[0][0], ends[1][0])
        return [Wire(f"{key}/screen", "screen", pins, (nets[0], nets[1]), key, cable.length, cable.area)], nets

    def _ground_of(self, place: Place) -> tuple[str, str] | None:
        """The pin of a connector that is a shell, or on its only ground."""
        part = self.circuit.parts.get(place.key)
        if part is None:
            return None
        shells = [pin for pin in part.pins if pin.role in ("shield", "sleeve")]
        grounded = [pin for pin in part.pins if self.circuit.nets[pin.net].role in _GROUNDS]
        for pins in (shells, grounded):
            if len({pin.net for pin in pins}) == 1:
                return pins[0].key, pins[0].net
        return None

    def _chassis_wires(self) -> Iterator[Wire]:
        """Wires from chassis parts to boards; those between chassis parts are nets already."""
        for part in self.file.chassis:
            for wire in part.wires:
                there = self.places.pin(wire.to)
                if there.board == CHASSIS:
                    continue
                pin, net = self._end(there)
                own = self.circuit.pins[f"{CHASSIS}/{inner(part, wire.pin.text)}"]
                key = f"wire/{part.name}.{wire.pin.text} to {wire.to.text}"
                yield Wire(key, "wire", (own.key, pin), (own.net, net), "", part.length, part.area)

    def _bonds(self) -> Iterator[Wire]:
        """What touches the case."""
        if self.file.case is None:
            return
        case = self._point(CASE)
        for spot in self.file.case.touched_by:
            place = self.places.part_or_pin(spot)
            pins = [self._end(place)] if place.pin else self._touching(place)
            if not pins:
                self.remarks.append(f"Which pin of {spot.text} touches the case is not given.")
            for at, (pin, net) in enumerate(pins):
                if net != case:
                    yield Wire(f"bond/{spot.text}{f' {at + 1}' * (at > 0)}", "case", (pin, ""), (net, case))

    def _touching(self, place: Place) -> list[tuple[str, str]]:
        """Pins of a part that can touch the case: its shell or sleeve, else its only pin or net."""
        part = self.circuit.parts.get(place.key)
        pins = part.pins if part is not None else ()
        shells = tuple(pin for pin in pins if pin.role in ("shield", "sleeve"))
        by_net = {pin.net: pin.key for pin in reversed(shells or pins)}
        return [(pin, net) for net, pin in by_net.items()] if shells or len(by_net) == 1 else []

    def _outside(self) -> Iterator[Wire]:
        """The lead to the earth of the house, and what other equipment joins to it."""
        house = self._point(HOUSE_EARTH)
        if house not in self.circuit.nets:
            return
        for part in self.file.chassis:
            earth = self.circuit.pins.get(f"{CHASSIS}/{part.name}.PE") if part.sort == "mains inlet" else None
            if earth is not None and any(wire.pin.text == "PE" for wire in part.wires):
                yield Wire(f"wire/{part.name}.PE to {HOUSE_EARTH}", "earth", (earth.key, ""), (earth.net, house))
        for outside in self.file.outside:
            if outside.earthed is False:
                continue
            place = self.places.part_or_pin(outside.at)
            pins = [self._end(place)] if place.pin else self._outer_contacts(self.circuit.parts[place.key])
            if not pins:
                self.remarks.append(f"Which pin of {outside.at.text} is joined to the ground outside is not given.")
            doubt = "" if outside.earthed else f"whether what is at {outside.at.text} is earthed is not given"
            for pin, net in pins[:1]:
                yield Wire(f"outside/{outside.at.text}", "outside", (pin, ""), (net, house), doubt=doubt)

    def _outer_contacts(self, part: Part) -> list[tuple[str, str]]:
        for role in _CONTACTS:
            found = part.by_role(role)
            if found:
                return [(found[0].key, found[0].net)]
        grounded = {pin.net: pin.key for pin in part.pins if self.circuit.nets[pin.net].role in _GROUNDS}
        return [(pin, net) for net, pin in grounded.items()] if len(grounded) == 1 else []

    # What is told of heatsinks, ends and positions

    def _sinks(self) -> Iterator[Sink]:
        for sink in self.file.heatsinks:
            parts, insulated = (
                tuple(dict.fromkeys(self.places.part(spot).key for spot in spots))
                for spots in (sink.parts, sink.insulated)
            )
            yield Sink(" + ".join(sorted(parts, key=natural_key)), parts, sink.to_air, insulated)

    def _declared(self) -> Iterator[tuple[str, str]]:
        """Pins that the file names as inputs and outputs, by the name that it uses."""
        ends = [spot for end in self.file.inputs for spot in (end.at, end.back) if spot is not None]
        ends += [spot for end in self.file.outputs for spot in (end.at, end.back) if spot is not None]
        for spot in ends:
            yield spot.text, self._end(self.places.pin(spot))[0]

    def _mated(self, leads: Sequence[Lead], pins: Mapping[str, str]) -> frozenset[str]:
        """Pins of every connector of which the file tells what is plugged into it or soldered to it."""
        parts = {key for lead in leads for key in (lead.near, lead.far)}
        parts |= {replace(self.places.part_or_pin(outside.at), pin="").key for outside in self.file.outside}
        parts |= {self.places.part(spot).key for spot in self.file.unused}
        told = {pins[spot] for spot in pins}
        told |= {pin for wire in self._chassis_wires() for pin in wire.ends if pin}
        parts |= {self.circuit.pins[pin].part for pin in told if pin}
        found = (self.circuit.parts.get(key) for key in parts)
        return frozenset(pin.key for part in found if part is not None for pin in part.pins)

    def _positions(self) -> Iterator[tuple[Part, str]]:
        for position in self.file.positions:
            part = self.circuit.parts.get(self.places.part(position.at).key)
            if part is not None and (text := _position_text(position, part)):
                yield part, text


def _beside(cable: Cable, cables: Sequence[Cable]) -> Iterator[str]:
    """Names of the cables that run side by side with one, directly or by way of others."""
    seen, todo = {cable.name}, [cable]
    while todo:
        here = todo.pop()
        named = {spot.text for spot in here.bundled}
        for other in cables:
            if other.name not in seen and (other.name in named or any(s.text == here.name for s in other.bundled)):
                seen.add(other.name)
                todo.append(other)
                yield other.name


def _position_text(position: Position, part: Part) -> str:
    """A position as conduction has it: 'open', 'closed', or the pins that are joined, '1+2 4+5'.

    A number is understood of a part with three contacts a pole, the common one in the middle (common practice).
    """
    if position.word:
        return position.word
    if position.joins:
        return " ".join("+".join(group) for group in position.joins)
    poles: dict[str, list[str]] = {}
    for pin in part.pins:
        if pin.role not in ("coil", "shield"):
            poles.setdefault(pin.unit, []).append(pin.number)
    if position.number in (1, 2) and all(len(pole) == 3 for pole in poles.values()):
        at = position.number - 1
        return " ".join(f"{pole[at]}+{pole[at + 1]}" for pole in poles.values())
    return ""


def _both_ways(wires: Sequence[Wire]) -> dict[str, tuple[str, ...]]:
    """Net -> nets that wires join it with, natural order; one net with itself is left out."""
    near: dict[str, set[str]] = {}
    for wire in wires:
        a, b = wire.nets
        if a != b:
            near.setdefault(a, set()).add(b)
            near.setdefault(b, set()).add(a)
    return {key: tuple(sorted(others, key=natural_key)) for key, others in near.items()}


def _twins(assembly: AssemblyFile) -> dict[str, str]:
    """Boards that are built from the same netlist as one before them."""
    first: dict[tuple[object, ...], str] = {}
    found: dict[str, str] = {}
    for entry in assembly.boards:
        same = (entry.netlist, tuple(s.text for s in entry.sheets), tuple(p.text for p in entry.parts))
        senior = first.setdefault(same, entry.name)
        if senior != entry.name and entry.netlist:
            found[entry.name] = senior
    return found


def _with_shared(hints: Hints, told: Mapping[str, tuple[str, float | None, Shared]]) -> Hints:
    roles = {**hints.net_roles, **{name: (role, volts) for name, (role, volts, _) in told.items()}}
    return replace(hints, net_roles=roles, shared={**hints.shared, **{name: what[2] for name, what in told.items()}})


def _told(assembly: AssemblyFile, places: Places, board: str, hints: Hints) -> Hints:
    """What the file tells of the parts and nets of one board."""

    def own(told: Sequence[tuple[Spot, Spot]]) -> dict[str, str]:
        found = ((places.part(spot), word.text) for spot, word in told)
        return {place.reference: word for place, word in found if place.board == board}

    keyed = {places.part(spot).reference: yes for spot, yes in assembly.keyed if places.part(spot).board == board}
    missing = {place.reference for place in map(places.part, assembly.not_fitted) if place.board == board}
    nets = {
        places.net(board, told.net.text): (told.role, told.volts) for told in assembly.volts if told.board.text == board
    }
    return replace(
        hints,
        kinds={**hints.kinds, **own(assembly.kinds)},
        families={**hints.families, **own(assembly.families)},
        keyed={**hints.keyed, **keyed},
        not_fitted=hints.not_fitted | missing,
        net_roles={**hints.net_roles, **nets},
    )


def _refuse_words(assembly: AssemblyFile) -> None:
    problems: list[Problem] = [
        *word_problems(assembly.file, assembly.kinds, KINDS, "kind of part"),
        *word_problems(assembly.file, assembly.families, FAMILIES, "family of connectors"),
    ]
    if problems:
        raise Refused(problems)
