"""What it does when two nets meet in a plug: facts as words of a closed list, for the rule book's tables to judge."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from types import MappingProxyType

from netcheck.circuit.model import Circuit, Net, Part, Pin
from netcheck.ground.names import natural_key
from netcheck.physics.mating import GROUNDS, Mating

# Every word that `effect` gives.
EFFECTS = (
    "same",  # one net, or two that are meant to meet or can be exchanged: nothing changes
    "mains",
    "rail on rail",
    "rails alike",  # two rails of the same volts
    "rail on ground",
    "rail on signal",
    "grounds exchanged",
    "ground on signal",
    "signals exchanged",
    "ground left open",
    "left open",
)

# Parts that have nothing to say on what a net does.
_BYSTANDERS = frozenset({"connector", "inlet", "test point", "hole", "mechanical"})
# Parts on a net by which two nets can be told to be exchangeable: what they do depends on their ends alone.
_PLAIN = frozenset({"resistor", "capacitor", "inductor", "ferrite", "diode", "bridge", "transformer"})
_THROUGH = frozenset({"ferrite", "inductor", "link"})
_CLAMPS = frozenset({"diode", "zener", "surge diode", "varistor"})

_NONE: Mapping[str, str] = MappingProxyType({})


def wired(circuit: Circuit, matings: Iterable[Mating]) -> Mapping[str, str]:
    """For each net of the circuit, one key that it shares with all that it is joined to.

    Joined are nets that meet when every plug is right, and grounds of one domain.
    """
    senior: dict[str, str] = {key: key for key in circuit.nets}

    def find(key: str) -> str:
        while senior[key] != key:
            senior[key] = senior[senior[key]]
            key = senior[key]
        return key

    def unite(a: str, b: str) -> None:
        first, second = sorted((find(a), find(b)), key=natural_key)
        senior[second] = first

    domains: dict[tuple[str, str], str] = {}
    for net in circuit.nets.values():
        if net.role == "ground" and net.domain:
            unite(net.key, domains.setdefault((net.board, net.domain), net.key))
    for mating in matings:
        for contact in mating.contacts if mating.way == "right" else ():
            if contact.there is not None:
                unite(contact.here, contact.there)
    return MappingProxyType({key: find(key) for key in circuit.nets})


def effect(circuit: Circuit, here: Net, there: Net | None, joined: Mapping[str, str] = _NONE) -> str:
    """What happens where a pin that carries one net touches a position that carries another.

    Args:
        here: net of the pin. there: net of the far position; None when the pin is left open.
        joined: from `wired`; may be left out on a lone board.

    Returns:
        A word of `EFFECTS`. The gravest comes first: mains on ground is 'mains'. A net that goes to this one pin only
        and has no name is taken for a position without a wire.
    """
    if there is not None and _one(here, there, joined):
        return "same"
    if there is None or goes_nowhere(circuit, there) or goes_nowhere(circuit, here):
        roles = {here.role, there.role if there is not None else here.role}
        return "ground left open" if roles & GROUNDS else "left open"
    roles = {here.role, there.role}
    if "mains" in roles:
        return "mains"
    if roles <= GROUNDS:
        return "grounds exchanged"
    if _may_change_places(circuit, here, there, joined):
        return "same"
    if roles == {"rail"}:
        alike = here.volts is not None and there.volts is not None and math.isclose(here.volts, there.volts)
        return "rails alike" if alike else "rail on rail"
    if "rail" in roles:
        return "rail on ground" if roles & GROUNDS else "rail on signal"
    return "ground on signal" if roles & GROUNDS else "signals exchanged"


def _one(here: Net, there: Net, joined: Mapping[str, str]) -> bool:
    if here.key == there.key or joined.get(here.key, here.key) == joined.get(there.key, there.key):
        return True
    grounds = here.role == there.role == "ground" and here.board == there.board
    return grounds and here.domain == there.domain != ""


def goes_nowhere(circuit: Circuit, net: Net) -> bool:
    """Whether a net has no name, no role and no pin but those of one connector: a position that is not used."""
    if net.name or net.role != "signal":
        return False
    return len({pin.part for pin in circuit.pins_on(net)}) <= 1


def palindrome(circuit: Circuit, mating: Mating, joined: Mapping[str, str] = _NONE) -> bool:
    """Whether a connector reads the same turned round, so that a turned plug does nothing.

    Every pin then meets its own net, another ground of its domain, or the other end of the same winding. Asked of a
    mating that is not 'turned', it is the pins as they stand that are compared, first with last.
    """
    contacts = mating.contacts
    if mating.way == "turned":
        pairs = [(contact.here, contact.there) for contact in contacts]
    else:
        pairs = [(a.here, b.there) for a, b in zip(contacts, reversed(contacts), strict=True)]
    return all(
        there is not None and effect(circuit, circuit.nets[here], circuit.nets[there], joined) == "same"
        for here, there in pairs
    )


def ground_lost(circuit: Circuit, mating: Mating) -> bool:
    """Whether the connector carries a ground, something else arrives through it, and no ground meets a ground."""

    def ground(key: str | None) -> bool:
        return key is not None and circuit.nets[key].role in GROUNDS

    contacts = mating.contacts
    kept = any(ground(contact.here) and ground(contact.there) for contact in contacts)
    alive = any(not ground(contact.there) for contact in contacts if contact.there is not None)
    return any(ground(contact.here) for contact in contacts) and alive and not kept


# Two nets that can change places


def _may_change_places(circuit: Circuit, here: Net, there: Net, joined: Mapping[str, str]) -> bool:
    """Whether it makes no difference which of the two is which: both ends of a winding, both sides of a rectifier.

    The plug's side and the pin's side are looked at in turn; it is enough that one of them cannot tell the nets apart.
    """
    if _alike(circuit, here, there):
        return True
    if here.board == there.board:
        return False
    partners = _partners(circuit, here, there, joined), _partners(circuit, there, here, joined)
    return any(_alike(circuit, here, net) for net in partners[0]) or any(
        _alike(circuit, there, net) for net in partners[1]
    )


def _partners(circuit: Circuit, here: Net, there: Net, joined: Mapping[str, str]) -> list[Net]:
    """Nets of the board of `here` that are meant to meet `there`."""
    wanted = joined.get(there.key)
    keys = [key for key, senior in joined.items() if wanted is not None and senior == wanted]
    return [circuit.nets[key] for key in keys if circuit.nets[key].board == here.board]


def _alike(circuit: Circuit, a: Net, b: Net) -> bool:
    if {a.role, b.role} & (GROUNDS | {"mains"}) or a.board != b.board:
        return False
    first, second = _company(circuit, a, b), _company(circuit, b, a)
    return bool(first) and first == second


def _company(circuit: Circuit, net: Net, other: Net) -> list[tuple[object, ...]] | None:
    """What a net is joined to, written so that two nets which do the same have equal texts; None if it cannot be told.

    Connectors are left out, but the two nets must be on the same ones: else they differ elsewhere.
    """
    entries: list[tuple[object, ...]] = []
    plugs: set[str] = set()
    for pin in circuit.pins_on(net):
        part = circuit.part_of(pin)
        if part.kind in ("connector", "inlet"):
            plugs.add(part.key)
        elif part.kind not in _BYSTANDERS:
            entry = _entry(circuit, part, pin, net, other)
            if entry is None:
                return None
            entries.append(entry)
    if not entries or len(plugs) > 1:
        return None
    return [("plugs", *sorted(plugs)), *sorted(entries, key=repr)]


def _entry(circuit: Circuit, part: Part, pin: Pin, net: Net, other: Net) -> tuple[object, ...] | None:
    if part.kind not in _PLAIN or (part.kind in ("diode", "bridge") and not pin.role):
        return None
    if part.kind == "transformer" and not _one_winding(circuit, part, {net.key, other.key}):
        return None
    if part.kind not in ("bridge", "transformer") and len(part.pins) != 2:
        return None
    # One and the same bridge or transformer between them; of other parts two that are equal do as well.
    which: object = part.key if part.kind in ("bridge", "transformer") else (part.value.text, part.library_part)
    names = {net.key: "*", other.key: "*"}
    rest = sorted((mate.role, names.get(mate.net, mate.net)) for mate in part.pins if mate.key != pin.key)
    return part.kind, which, pin.role, *rest


def _one_winding(circuit: Circuit, part: Part, pair: set[str]) -> bool:
    """Whether two nets at a transformer are the ends of one winding.

    So it is when the transformer has, away from the mains, no more ends (with or without a centre on ground), or when
    a connector brings out these two of its nets, with nothing else on them, and all its other ends are used.
    """
    ends = {pin.net for pin in part.pins if circuit.nets[pin.net].role not in {"mains"} | GROUNDS}
    if len(ends) <= 2:
        return True
    company = {pin.part for key in pair for pin in circuit.pins_on(circuit.nets[key])} - {part.key}
    if len(company) != 1 or any(len(circuit.nets[key].pins) != 2 for key in pair):
        return False
    plug = circuit.parts[next(iter(company))]
    others_lead_on = all(len(circuit.nets[key].pins) > 1 for key in ends - pair)
    return others_lead_on and {pin.net for pin in plug.pins} & ends == pair


# Protection


def protected(circuit: Circuit, net: Net) -> bool | None:
    """Whether what stands behind a net bears the wrong polarity there.

    Looked for are, in every branch that leads on from the net: a series diode or a bridge; a fuse or thermistor
    followed by a diode across the supply, which then blows the fuse; a P-channel FET with its drain on the net (an
    N-channel one in the return) and its gate on the other side. Links, beads and inductors are looked through.
    Capacitors without polarity bear it by themselves.

    Returns:
        False when something stands there that has none of these; a ground has none but a FET. None when a branch
        cannot be judged: a resistor, a part of unknown kind or pins, another connector.
    """
    if net.role in GROUNDS and not any(circuit.part_of(pin).kind == "nmos" for pin in circuit.pins_on(net)):
        return False
    return _net_protected(circuit, net, frozenset(), False)


def _net_protected(circuit: Circuit, net: Net, passed: frozenset[str], fused: bool) -> bool | None:
    pins = [pin for pin in circuit.pins_on(net) if pin.part not in passed]
    if fused and any(_clamps(circuit, pin) for pin in pins):
        return True
    connectors = {pin.part for pin in pins if circuit.part_of(pin).kind in ("connector", "inlet")}
    branches = [
        _branch_protected(circuit, pin, passed, fused) for pin in pins if circuit.part_of(pin).kind not in _BYSTANDERS
    ]
    if not branches:
        return None
    if False in branches:
        return False
    return None if None in branches or len(connectors) > (0 if passed else 1) else True


def _clamps(circuit: Circuit, pin: Pin) -> bool:
    """Whether a part stands straight from this net to a ground and holds a wrong polarity down."""
    part = circuit.part_of(pin)
    far = _far_net(circuit, pin)
    return part.kind in _CLAMPS and far is not None and far.role in GROUNDS


def _branch_protected(circuit: Circuit, pin: Pin, passed: frozenset[str], fused: bool) -> bool | None:
    part = circuit.part_of(pin)
    far = _far_net(circuit, pin)
    if part.kind == "capacitor":
        return None if part.polarised is None else not part.polarised
    if part.kind in ("nmos", "pmos"):
        return _fet_protects(circuit, part, pin)
    if part.kind == "bridge":
        return True if pin.role == "alternating" else None
    if part.kind in ("resistor", "unknown", "led", "varistor") or (part.kind in _THROUGH | _CLAMPS and far is None):
        return None
    if part.kind in _CLAMPS and far is not None:
        # across the supply without a fuse before it the diode itself is what burns; a series diode must not be a zener
        return part.kind == "diode" and far.role not in GROUNDS
    if part.kind in _THROUGH | {"fuse", "thermistor"} and far is not None:
        if len(passed) > 8 or far.role in GROUNDS:
            return None
        stops = fused or part.kind in ("fuse", "thermistor")
        return _net_protected(circuit, far, passed | {part.key}, stops)
    return False


def _far_net(circuit: Circuit, pin: Pin) -> Net | None:
    """The net at the other end of a part with two ends."""
    part = circuit.part_of(pin)
    others = [mate for mate in part.pins if mate.key != pin.key]
    return circuit.net_of(others[0]) if len(others) == 1 else None


def _fet_protects(circuit: Circuit, part: Part, pin: Pin) -> bool | None:
    """A FET as a diode without a drop: body diode towards the board, gate on the other pole, by a resistor or not."""
    gates = part.by_role("gate")
    if not pin.role or len(gates) != 1:
        return None
    if pin.role != "drain":
        return False
    gate = circuit.net_of(gates[0])
    nets = {gate.key}
    for mate in circuit.pins_on(gate):
        far = _far_net(circuit, mate)
        if circuit.part_of(mate).kind == "resistor" and far is not None:
            nets.add(far.key)
    roles = {circuit.nets[key].role for key in nets}
    return bool(roles & (GROUNDS if part.kind == "pmos" else {"rail"}))
