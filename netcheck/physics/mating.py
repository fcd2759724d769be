"""How a connector and its partner can physically go together, and which net then meets which.

A plug has positions, numbered like the pins it belongs on. Each way of mating says which position of the plug sits on
which pin:

    right    position k on pin k.
    turned   half a turn round. In one row of n, and in two rows numbered to and fro (odd pins in one row, even pins in
             the other), position n + 1 - k comes to sit on pin k. In two rows numbered round like a chip the far row
             runs backwards, and it is position k + n / 2.
    shifted  one place along, either way; in two rows by a whole column (two numbers, when they are to and fro), or
             across, so that one row of the plug sits on the other row of pins.

What such a meeting does is asked of `netcheck.physics.meeting`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from netcheck.circuit.model import Circuit, Part, Pin
from netcheck.ground.names import natural_key

WAYS = ("right", "turned", "shifted")

# Families of connectors whose plug may go on the wrong way unless something keys it; '' is a connector of which nothing
# is known. A round, stepped or one-sided shape (jack, XLR, barrel, USB), a screw and a single blade leave one way only.
PLUGGABLE = frozenset({"", "header", "socket", "shrouded header", "box header", "wire to board"})
# Of those, families that are keyed by their make when the part itself does not tell.
KEYED = frozenset({"shrouded header", "box header", "wire to board"})

GROUNDS = frozenset({"ground", "chassis", "earth"})

_ONE_WAY_ROLES = frozenset({"tip", "ring", "sleeve", "switch contact"})
_MOST_POSITIONS = 1000  # a pin number beyond this is no place in a row


@dataclass(frozen=True, slots=True)
class Contact:
    """One pin in one way of mating.

    Attributes:
        pin: key of the pin of the near connector. meets: number of the far position it touches, or '' for none.
        here: key of the net of the pin. there: key of the net that the far position carries, or None when the
            pin is left open.
    """

    pin: str
    meets: str
    here: str
    there: str | None


@dataclass(frozen=True, slots=True)
class Mating:
    """One way in which a connector can be mated.

    Attributes:
        key: keys of the members, joined, and the way. near: part key. far: part key, or None on a lone board.
        cable: name of the cable, or ''. way: 'right', 'turned' or 'shifted'. step: how it is shifted, a clause
            ("by one pin towards pin 1", "by one column towards pin 1", "across the rows, towards the odd pins"),
            else ''.
        possible: None when not known (whether the housing is keyed).
        supply_entry: up to six pins that carry rails and grounds only.
        contacts: one per pin of the near connector, in natural order.
    """

    key: str
    near: str
    far: str | None
    cable: str
    way: str
    step: str
    possible: bool | None
    supply_entry: bool
    contacts: tuple[Contact, ...]


@dataclass(frozen=True, slots=True)
class Joint:
    """Two connectors of an assembly that belong together, by a cable or by plugging one board onto the other.

    Attributes:
        near, far: part keys. cable: its name, or ''.
        wires: (number at the near end, number at the far end) of each wire; None for number to same number.
        keyed: whether the plugs fit one way only; None to go by the connectors themselves.
    """

    near: str
    far: str
    cable: str = ""
    wires: tuple[tuple[str, str], ...] | None = None
    keyed: bool | None = None


# What sits at each position of a plug: the number of the far position, and the key of the net it carries.
_Plug = Mapping[str, tuple[str, str | None]]


def matings(
    circuit: Circuit,
    joints: Sequence[Joint] = (),
    *,
    most_supply_pins: int,
    pluggable: Collection[str] = PLUGGABLE,
) -> tuple[Mating, ...]:
    """Every way in which the connectors of a circuit can be mated.

    A connector that no joint names is mated with a plug that carries, at each position, the net that the board itself
    has there: what the designer meant it to carry. A cable with two loose plugs can be wrong at either end; where
    both mistakes make the same contacts they are listed once, under the end that comes first in natural order.

    Args:
        circuit: the boards. joints: what belongs together.
        most_supply_pins: a connector with more pins is not taken for a supply entry.
        pluggable: families of connectors for which other ways than the right one are thought of.

    Returns:
        Matings in natural order of the near connector; right, turned, shifted. Turned and shifted ones are left out
        where the housing is keyed; where that is not known they are there, with `possible` None.

    Raises:
        KeyError: if a joint names a part that the circuit does not have.
    """
    found: dict[str, Mating] = {}
    for joint in joints:
        for mating in _of_joint(circuit, joint, most_supply_pins, pluggable):
            found.setdefault(mating.key, mating)
    joined = {key for joint in joints for key in (joint.near, joint.far)}
    for part in circuit.parts.values():
        if part.key in joined or not part.fitted or not _counts(part, pluggable):
            continue
        plug = {_position(pin.number): (pin.number, pin.net) for pin in part.pins}
        entry = is_supply_entry(circuit, part, most_supply_pins)
        for way, step, places in _ways(part, _may_be_wrong(part, None, pluggable)):
            mating = _mate(part, plug, way, step, places, entry)
            found[mating.key] = replace(mating, possible=_possible(way, part, None))
    return tuple(sorted(found.values(), key=_order))


def _order(mating: Mating) -> tuple[object, ...]:
    return (natural_key(mating.near), natural_key(mating.far or ""), WAYS.index(mating.way), mating.step, mating.key)


def _of_joint(circuit: Circuit, joint: Joint, most: int, pluggable: Collection[str]) -> list[Mating]:
    """Matings at both ends; one of the second end that makes the same contacts as one of the first is left out."""
    first, second = sorted(_ends(circuit, joint), key=lambda end: natural_key(end[0].key))
    found = list(_at_end(circuit, joint, first, most, pluggable))
    known = {(mating.way, _meetings(circuit, mating)): place for place, mating in reversed(list(enumerate(found)))}
    for mating in _at_end(circuit, joint, second, most, pluggable):
        twin = known.get((mating.way, _meetings(circuit, mating)))
        if twin is None:
            found.append(mating)
        elif mating.possible:  # the housing at the other end is known to allow it
            found[twin] = replace(found[twin], possible=True)
    return found


def _at_end(
    circuit: Circuit, joint: Joint, end: tuple[Part, Part, dict[str, str]], most: int, pluggable: Collection[str]
) -> Iterator[Mating]:
    near, far, wires = end
    nets = {pin.number: pin.net for pin in far.pins}
    plug = {_position(number): (other, nets.get(other)) for number, other in wires.items()}
    entry = is_supply_entry(circuit, near, most)
    members = " + ".join(sorted((near.key, far.key), key=natural_key))
    for way, step, places in _ways(near, _may_be_wrong(near, joint, pluggable)):
        at = "" if way == "right" else f" at {near.key}"
        yield replace(
            _mate(near, plug, way, step, places, entry),
            key=f"{members} {_spelled(way, step)}{at}",
            far=far.key,
            cable=joint.cable,
            possible=_possible(way, near, joint),
        )


def _meetings(circuit: Circuit, mating: Mating) -> frozenset[frozenset[str]]:
    """Which pins of the two connectors touch, whichever end it is looked at from."""
    far = {pin.number: pin.key for pin in circuit.parts[mating.far or mating.near].pins}
    return frozenset(
        frozenset((contact.pin, far[contact.meets])) for contact in mating.contacts if contact.meets in far
    )


def _ends(circuit: Circuit, joint: Joint) -> tuple[tuple[Part, Part, dict[str, str]], ...]:
    near, far = circuit.parts[joint.near], circuit.parts[joint.far]
    there = {pin.number for pin in far.pins}
    wires = joint.wires
    if wires is None:
        wires = tuple((pin.number, pin.number) for pin in near.pins if pin.number in there)
    return (near, far, dict(wires)), (far, near, {b: a for a, b in wires})


def _counts(part: Part, pluggable: Collection[str]) -> bool:
    return (
        part.kind == "connector"
        and part.family in pluggable
        and len(_places(part)) >= 2
        and not any(pin.role in _ONE_WAY_ROLES for pin in part.pins)
    )


def _keyed(part: Part, joint: Joint | None) -> bool | None:
    if joint is not None and joint.keyed is not None:
        return joint.keyed
    return True if part.keyed is None and part.family in KEYED else part.keyed


def _may_be_wrong(part: Part, joint: Joint | None, pluggable: Collection[str]) -> bool:
    return _counts(part, pluggable) and _keyed(part, joint) is not True


def _possible(way: str, part: Part, joint: Joint | None) -> bool | None:
    if way == "right":
        return True
    keyed = _keyed(part, joint)
    return None if keyed is None else not keyed


def is_supply_entry(circuit: Circuit, part: Part, most: int) -> bool:
    """Whether a connector has at most so many pins and carries rails and grounds only, at least one rail.

    Pins that nothing else is joined to are not counted as carrying anything.
    """
    nets = [circuit.nets[pin.net] for pin in _places(part).values()]
    if not 0 < len(nets) <= most:
        return False
    roles = [net.role for net in nets if net.role != "signal" or net.name or len(circuit.pins_on(net)) > 1]
    return "rail" in roles and all(role == "rail" or role in GROUNDS for role in roles)


def _places(part: Part) -> dict[int, Pin]:
    """Pins by their place in the row; pins that are not numbered like one (mounting pads, shells) have none.

    Where more pins are numbered than the housing has positions, those with higher numbers are mounting pads.
    """
    found: dict[int, Pin] = {}
    for pin in part.pins:
        position = _position(pin.number)
        if position.isdecimal() and len(position) <= 4 and 1 <= int(position) <= _MOST_POSITIONS:
            found.setdefault(int(position), pin)
    if part.positions is None or len(found) <= part.positions:
        return found
    return {place: pin for place, pin in found.items() if place <= part.positions}


def _position(number: str) -> str:
    """A pin number without leading zeros: 01 and 1 are one place.

    >>> _position("01"), _position("A1"), _position("0")
    ('1', 'A1', '0')
    """
    return number.lstrip("0") or number if number.isascii() and number.isdecimal() else number


def _spelled(way: str, step: str) -> str:
    return f"{way} {step}" if step else way


def _mate(part: Part, plug: _Plug, way: str, step: str, places: Mapping[int, int], entry: bool) -> Mating:
    """A mating on a lone board; places: pin's place -> the position of the plug that comes to sit on it."""
    placed = {pin.key: place for place, pin in _places(part).items()}
    contacts = []
    for pin in sorted(part.pins, key=lambda pin: natural_key(pin.number)):
        if pin.key not in placed:
            position = _position(pin.number)  # a shell or mounting pad touches itself either way
        else:
            position = str(places.get(placed[pin.key], ""))
        meets, there = plug.get(position, ("", None))
        contacts.append(Contact(pin.key, meets, pin.net, there))
    return Mating(f"{part.key} {_spelled(way, step)}", part.key, None, "", way, step, None, entry, tuple(contacts))


def _ways(part: Part, wrong_too: bool) -> Iterator[tuple[str, str, dict[int, int]]]:
    """Each way, the clause of its step, and which position of the plug sits on which place."""
    places = _places(part)
    yield "right", "", {k: k for k in places}
    if not wrong_too:
        return
    size = max(max(places), min(part.positions or 0, _MOST_POSITIONS))
    numbering = numbering_of(part)
    if numbering == "one row":
        yield "turned", "", {k: size + 1 - k for k in places}
        yield "shifted", "by one pin towards pin 1", {k: k + 1 for k in places}
        yield "shifted", "by one pin away from pin 1", {k: k - 1 for k in places}
        return
    size += size % 2
    if numbering == "to and fro":
        yield "turned", "", {k: size + 1 - k for k in places}
        yield "shifted", "across the rows, towards the even pins", {k: k - 1 for k in places if k % 2 == 0}
        yield "shifted", "across the rows, towards the odd pins", {k: k + 1 for k in places if k % 2 == 1}
        yield "shifted", "by one column away from pin 1", {k: k - 2 for k in places}
        yield "shifted", "by one column towards pin 1", {k: k + 2 for k in places}
        return
    half = size // 2
    yield "turned", "", {k: k + half if k <= half else k - half for k in places}
    yield "shifted", "across the rows, towards the far row", {k: size + 1 - k for k in places if k > half}
    yield "shifted", "across the rows, towards the row of pin 1", {k: size + 1 - k for k in places if k <= half}
    away = {k: k - 1 if k <= half else k + 1 for k in places if k not in (1, size)}
    near = {k: k + 1 if k <= half else k - 1 for k in places if k not in (half, half + 1)}
    yield "shifted", "by one column away from pin 1", away
    yield "shifted", "by one column towards pin 1", near


def numbering_of(part: Part) -> str:
    """How the places of a connector are counted: 'one row', 'to and fro' (odd and even) or 'round'.

    Only the footprint tells how pads lie: one made for a chip in two rows counts round. A header in two rows counts to
    and fro; one of which nothing is known is taken for a single row.
    """
    footprint = part.footprint.rsplit(":", 1)[-1].upper().replace("-", "_")
    if footprint.startswith(("DIP_", "SOIC_", "SO_")) or "COUNTER_CLOCKWISE" in footprint:
        return "round"
    return "to and fro" if part.rows == 2 else "one row"
