"""The mains side of an assembly: where mains comes in, what is joined to what, what stands across the line.

The mains side itself is found where nets get their roles (`circuit.mainsside`): what is galvanically on an inlet or on
the primary of a mains transformer. Everything here looks through cables. Nothing here judges.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from netcheck.circuit.model import Circuit, Net, Part, Pin
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key

Kinds = frozenset[str]

# Parts that join their ends at any time, and those that do when they are switched on.
ALWAYS = frozenset({"link", "fuse", "inductor", "ferrite", "thermistor"})
SWITCHED = frozenset({"switch", "button", "relay", "jumper"})
_CHOKES = frozenset({"inductor", "ferrite"})
_EARTHS = frozenset({"earth", "chassis"})


@dataclass(frozen=True, slots=True)
class MainsEntry:
    """Where mains comes in: an inlet, or on a board without one the connector that brings both conductors.

    Attributes:
        key: of the part. poles: pins that carry mains, of them line and neutral as far as names tell. earths: pins of
            the protective conductor.
    """

    key: str
    poles: tuple[Pin, ...]
    line: Pin | None = None
    neutral: Pin | None = None
    earths: tuple[Pin, ...] = ()


@dataclass(frozen=True, slots=True)
class MainsSide:
    """Nets on the mains that belong together. key: of its first entry, else of its first part."""

    key: str
    nets: tuple[Net, ...]
    parts: tuple[Part, ...]
    entries: tuple[MainsEntry, ...]


@dataclass(frozen=True, slots=True)
class AcrossLine:
    """What stands across the two conductors of an entry.

    Attributes:
        key: the keys of the capacitors. capacitors: between the conductors. chains: resistors between the conductors,
            each way a list of parts in series. windings: transformers with a winding there. others: parts of which is
            not known whether they discharge the capacitors. switched: as it is with all switches on.
    """

    key: str
    entry: MainsEntry
    capacitors: tuple[Part, ...]
    chains: tuple[tuple[Part, ...], ...]
    windings: tuple[Part, ...]
    others: tuple[Part, ...]
    switched: bool


class Mains:
    """The mains side of a circuit. joined: net -> nets that wires join it with."""

    def __init__(self, circuit: Circuit, words: Words, joined: Mapping[str, Sequence[str]] | None = None) -> None:
        self.circuit, self.words, self._joined = circuit, words, joined or {}
        self._poles: dict[str, list[tuple[Pin, ...]]] = {}

    # Walking

    def conducted(
        self, start: str, through: Kinds, around: Mapping[str, tuple[str, ...]] | None = None
    ) -> dict[str, tuple[str, ...]]:
        """Nets joined to one through parts of some kinds and wires, whatever their role; switches are taken for on.

        Args:
            start: key of a net. around: keys of parts that are not used; with reasons, perhaps not.

        Returns:
            Net -> why it may not be joined; an empty tuple where it surely is.
        """
        found: dict[str, tuple[str, ...]] = {start: ()}
        sure: list[str] = [start]
        doubtful: list[str] = []
        while sure or doubtful:
            net = sure.pop() if sure else doubtful.pop()
            for other, doubt in self._steps(net, through, around or {}):
                reasons = tuple(dict.fromkeys((*found[net], *doubt)))
                if other not in found or (found[other] and not reasons):
                    found[other] = reasons
                    (doubtful if reasons else sure).append(other)
        return found

    def _steps(
        self, net: str, through: Kinds, around: Mapping[str, tuple[str, ...]]
    ) -> Iterator[tuple[str, tuple[str, ...]]]:
        for other in self._joined.get(net, ()):
            yield other, ()
        for part, pin in self._on(net):
            if part.kind in through and around.get(part.key) != ():
                for other_pin, doubt in _inside(part, pin):
                    if part.kind not in SWITCHED or self._one_pole(part, pin, other_pin):
                        yield other_pin.net, (*doubt, *around.get(part.key, ()))

    def _one_pole(self, part: Part, pin: Pin, other: Pin) -> bool:
        if part.key not in self._poles:
            self._poles[part.key] = self._poles_of(part)
        return any(pin in pole and other in pole for pole in self._poles[part.key])

    def _poles_of(self, part: Part) -> list[tuple[Pin, ...]]:
        """Contacts of a switch or relay that belong to one pole.

        By unit where given; four or six contacts are two poles, numbered one after the other (common practice, as in
        symbol libraries), unless that would join both conductors of an inlet or connector.
        """
        contacts = sorted((pin for pin in part.pins if pin.role != "coil"), key=lambda pin: natural_key(pin.number))
        if all(pin.unit for pin in contacts):
            units = dict.fromkeys(pin.unit for pin in contacts)
            return [tuple(pin for pin in contacts if pin.unit == unit) for unit in units]
        if len(contacts) not in (4, 6) or (part.kind == "relay" and not part.by_role("coil")):
            return [tuple(contacts)]
        half = len(contacts) // 2
        ways = ((contacts[:half], contacts[half:]), (contacts[::2], contacts[1::2]))
        fit = next((way for way in ways if not any(self._both_ends(pole) for pole in way)), ways[0])
        return [tuple(pole) for pole in fit]

    def _both_ends(self, pole: Sequence[Pin]) -> bool:
        """Whether the pins of a pole are on different pins of one inlet or connector."""
        doors = [{part.key for part, _ in self._on(pin.net) if part.kind in ("inlet", "connector")} for pin in pole]
        nets = [pin.net for pin in pole]
        return any(
            doors[a] & doors[b] and nets[a] != nets[b] for a in range(len(pole)) for b in range(a + 1, len(pole))
        )

    def _on(self, net: str) -> Iterator[tuple[Part, Pin]]:
        for key in self.circuit.nets[net].pins:
            pin = self.circuit.pins[key]
            part = self.circuit.parts[pin.part]
            if part.fitted:
                yield part, pin

    # Sides and entries

    @cached_property
    def sides(self) -> tuple[MainsSide, ...]:
        """Groups of mains nets that conductors and wires join, each with what is on it."""
        kinds = self.words.group("mains conductors") | {"transformer", "capacitor", "converter", "module"}
        mains = [key for key, net in self.circuit.nets.items() if net.role == "mains"]
        seen: set[str] = set()
        found = []
        for key in sorted(mains, key=natural_key):
            if key not in seen:
                nets = self._group(key, kinds)
                seen |= nets
                found.append(self._side(nets))
        return tuple(sorted(found, key=lambda side: natural_key(side.key)))

    def _group(self, start: str, kinds: Kinds) -> set[str]:
        found, front = {start}, [start]
        while front:
            net = front.pop()
            others = set(self._joined.get(net, ()))
            others |= {pin.net for part, _ in self._on(net) if part.kind in kinds | {"inlet"} for pin in part.pins}
            new = {other for other in others - found if self.circuit.nets[other].role == "mains"}
            found |= new
            front += sorted(new)
        return found

    def _side(self, keys: set[str]) -> MainsSide:
        nets = tuple(self.circuit.nets[key] for key in sorted(keys, key=natural_key))
        parts = {part.key: part for net in nets for part, _ in self._on(net.key)}
        ordered = tuple(parts[key] for key in sorted(parts, key=natural_key))
        entries = self._entries(ordered, keys)
        key = entries[0].key if entries else ordered[0].key if ordered else nets[0].key
        return MainsSide(key, nets, ordered, entries)

    def _entries(self, parts: Sequence[Part], keys: set[str]) -> tuple[MainsEntry, ...]:
        inlets = [self._entry(part, keys) for part in parts if part.kind == "inlet"]
        if inlets:
            return tuple(inlets)
        doors = [self._entry(part, keys) for part in parts if part.kind == "connector"]
        doors = [door for door in doors if self._brings_both(door)]
        named = [door for door in doors if door.line is not None and door.neutral is not None]
        return tuple(named or doors)

    def _entry(self, part: Part, keys: set[str]) -> MainsEntry:
        poles = tuple(pin for pin in part.pins if pin.net in keys)
        names = self.words.text_words("earth pins")
        earths = tuple(
            pin
            for pin in part.pins
            if pin.net not in keys
            and (
                pin.role in ("ground", "shield") or _called(pin) in names or self.circuit.nets[pin.net].role in _EARTHS
            )
        )
        line, neutral = (self._named(poles, self.words.text_words(f"{pole} pins")) for pole in ("line", "neutral"))
        if len({pin.net for pin in poles}) == 2:  # who knows one of two knows the other
            line = line or _other(poles, neutral)
            neutral = neutral or _other(poles, line)
        return MainsEntry(part.key, poles, line, neutral, earths)

    def _named(self, poles: Sequence[Pin], names: frozenset[str]) -> Pin | None:
        """The only conductor that is called so, by its pin or else by its net."""
        for called in (_called, self._called_net):
            found = [pin for pin in poles if called(pin) in names]
            if len({pin.net for pin in found}) == 1:
                return found[0]
        return None

    def _called_net(self, pin: Pin) -> str:
        name = self.circuit.nets[pin.net].name.rsplit("/", 1)[-1]
        return "".join(letter for letter in name.upper() if letter.isalnum())

    def _brings_both(self, entry: MainsEntry) -> bool:
        """Whether two pins of a connector are on conductors that nothing joins when everything is switched on."""
        nets = list(dict.fromkeys(pin.net for pin in entry.poles))
        return len(nets) > 1 and any(net not in self.conducted(nets[0], ALWAYS | SWITCHED) for net in nets[1:])

    # Across the line

    @cached_property
    def across(self) -> tuple[AcrossLine, ...]:
        """What stands across the conductors of each entry: with all switches off, and where that is more, on."""
        found: dict[str, AcrossLine] = {}
        for side in self.sides:
            for entry in side.entries:
                for switched in (False, True):
                    here = self._across(side, entry, switched)
                    if here is not None and here.capacitors:
                        found.setdefault(here.key, here)
        return tuple(found[key] for key in sorted(found, key=natural_key))

    def _across(self, side: MainsSide, entry: MainsEntry, switched: bool) -> AcrossLine | None:
        nets = tuple(dict.fromkeys(pin.net for pin in entry.poles))
        if len(nets) != 2:
            return None
        one, other = self._conductors(nets, ALWAYS | (SWITCHED if switched else frozenset()))
        over = [part for part in side.parts if _touches(part, one) and _touches(part, other)]
        capacitors = tuple(part for part in over if part.kind == "capacitor")
        doubtful = {"converter", "module", "integrated circuit", "unknown"}
        return AcrossLine(
            key=" ".join(part.key for part in capacitors),
            entry=entry,
            capacitors=capacitors,
            chains=tuple(self._chains(one, other)),
            windings=tuple(part for part in over if part.kind == "transformer"),
            others=tuple(part for part in over if part.kind in doubtful or self._says_filter(part)),
            switched=switched,
        )

    def _says_filter(self, part: Part) -> bool:
        if part.kind != "inlet":
            return False
        return any(word in texts(part) for word in self.words.text_words("mains filters"))

    def _conductors(self, nets: Sequence[str], through: Kinds) -> tuple[set[str], set[str]]:
        """The nets of both conductors. Behind a choke with two windings, which is which does not matter here."""
        one, other = (self._surely(net, through) for net in nets)
        for _ in range(8):
            more = self._behind_chokes(one, other, through)
            if not more:
                break
            for near, far in more:
                one |= self._surely(near, through)
                other |= self._surely(far, through)
        return one, other

    def _surely(self, net: str, through: Kinds) -> set[str]:
        return {key for key, doubt in self.conducted(net, through).items() if not doubt}

    def _behind_chokes(self, one: set[str], other: set[str], through: Kinds) -> list[tuple[str, str]]:
        found = []
        for part in {part.key: part for net in sorted(one) for part, _ in self._on(net)}.values():
            pins = sorted(part.pins, key=lambda pin: natural_key(pin.key))
            ends = [pin.net for pin in pins if pin.net not in one | other]
            choke = part.kind in _CHOKES & through and len(pins) == 4
            if choke and _touches(part, other) and len(set(ends)) == 2:
                found.append((ends[0], ends[1]))
        return found

    def _chains(self, one: set[str], other: set[str], most: int = 6) -> Iterator[tuple[Part, ...]]:
        """Ways from one conductor to the other through resistors in series."""
        waiting: list[tuple[str, tuple[Part, ...]]] = [(net, ()) for net in sorted(one, key=natural_key)]
        seen: set[frozenset[str]] = set()
        while waiting:
            net, way = waiting.pop(0)
            for part, pin in self._on(net):
                if part.kind != "resistor" or part in way or len(way) >= most:
                    continue
                for far, _ in _inside(part, pin):
                    longer = (*way, part)
                    if far.net in other and frozenset(p.key for p in longer) not in seen:
                        seen.add(frozenset(p.key for p in longer))
                        yield longer
                    elif far.net not in one | other and len(waiting) < 500:
                        waiting.append((far.net, longer))


def _inside(part: Part, pin: Pin) -> Iterator[tuple[Pin, tuple[str, ...]]]:
    """Other pins of a part that are joined to one of its pins when it conducts, each with a doubt or none."""
    others = [other for other in part.pins if other.net != pin.net and other.role not in ("not connected", "shield")]
    if part.kind == "relay":
        coils = part.by_role("coil")
        if pin.role == "coil":
            return
        doubt = () if coils else (f"the pins of {part.ref} are not known: which is its coil?",)
        yield from ((other, doubt) for other in others if other.role != "coil" and _one_unit(pin, other))
    elif part.kind in ("switch", "button", "jumper", "link"):
        yield from ((other, ()) for other in others if _one_unit(pin, other))
    else:
        known = len(part.pins) <= 2 or (bool(pin.unit) and all(other.unit for other in others))
        doubt = () if known else (f"which pins of {part.ref} belong to one winding is not known",)
        yield from ((other, doubt) for other in others if _one_unit(pin, other))


def _one_unit(pin: Pin, other: Pin) -> bool:
    return not pin.unit or not other.unit or pin.unit == other.unit


def _touches(part: Part, nets: set[str]) -> bool:
    return any(pin.net in nets for pin in part.pins)


def _called(pin: Pin) -> str:
    text = pin.name.strip("~ ") or pin.number
    return "".join(letter for letter in text.upper() if letter.isalnum())


def _other(poles: Iterable[Pin], known: Pin | None) -> Pin | None:
    return None if known is None else next((pin for pin in poles if pin.net != known.net), None)


def texts(part: Part) -> str:
    """All that a part says of itself, upper case."""
    said = (part.value.text, part.description, part.library_part, part.footprint, *part.fields.values())
    return " ".join(said).upper()
