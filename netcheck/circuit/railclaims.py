"""Which nets are rails: what is on them, what makes them, what they are behind.

Whoever speaks for a net gives a claim: the sign, if it tells one, and the reason. The first claim of a net gives the
reason, the first that has a sign the sign.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from netcheck.circuit.draft import Draft, Place, called, distinct, refs, spread
from netcheck.circuit.grounds import Grounds, looked_through
from netcheck.circuit.model import Part
from netcheck.ground.names import natural_key


@dataclass(frozen=True, slots=True)
class Claim:
    """That a net is a rail: its sign ('' when not known) and the reason, a clause."""

    sign: str
    because: str


def find_rails(draft: Draft, mains: Mapping[str, str], grounds: Grounds) -> dict[str, Claim]:
    """Net -> claim, first from what is on each net, then from what is behind another rail."""
    closed = set(mains) | set(grounds.roles) | {net for net, told in draft.told.items() if told[0] != "rail"}
    zeros = {net for net, (role, _) in grounds.roles.items() if role == "ground"}
    rectified, alternating = _rectified(draft, zeros)
    found: dict[str, Claim] = {}
    for net in draft.nets:
        if net in closed:
            continue
        claims = list(_claims(draft, net, zeros, rectified, grounds.negative))
        if claims:
            sign = next((claim.sign for claim in claims if claim.sign), "") or _hinted_sign(draft, net)
            found[net] = Claim(sign, claims[0].because)
    closed |= alternating - set(found)
    while True:
        more = _behind_rails(draft, found, closed, zeros)
        if not more:
            break
        found |= more
    while True:
        signs = _signs_of_neighbours(draft, found)
        if not signs:
            return found
        found |= signs


def _signs_of_neighbours(draft: Draft, rails: Mapping[str, Claim]) -> dict[str, Claim]:
    """Rails without a sign that a part of few ohms or a diode joins to one with a sign."""
    more: dict[str, Claim] = {}
    for net, claim in rails.items():
        if not claim.sign:
            near = sorted({rails[o].sign for _, o, _ in steps(draft, net) if o in rails and rails[o].sign})
            if len(near) == 1:
                more[net] = replace(claim, sign=near[0])
    return more


def _hinted_sign(draft: Draft, net: str) -> str:
    name = draft.says[net]
    return name.sign if name.says == "rail" and name.sign != "lowest" else ""


def _claims(
    draft: Draft, net: str, zeros: set[str], rectified: Mapping[str, Claim], negative: Mapping[str, str]
) -> Iterator[Claim]:
    """What speaks for a net being a rail, in order of trust."""
    told = draft.told.get(net)
    if told is not None:
        shared = draft.shared[net].sign if net in draft.shared else ""
        yield Claim(shared if not told[1] else "positive" if told[1] > 0 else "negative", draft.told_by(net))
    if net in negative:
        yield Claim("negative", negative[net])
    lonely = len(draft.on[net]) < 2  # an open pin is no rail, whatever it is meant for
    if not lonely:
        yield from _made(draft, net)
    name = draft.says[net]
    sign = "negative" if name.sign == "lowest" else name.sign
    by_name = Claim(sign, f"by its name {draft.label(net)}")
    divided = _is_divided(draft, net, zeros)
    if name.says == "rail" and name.sure and name.volts is not None and not divided:
        if net in rectified:
            yield Claim(sign, rectified[net].because)  # a name says what is meant, also where a diode is reversed
        yield by_name
    elif net in rectified:
        yield rectified[net]
    if lonely:
        if name.says == "rail" and name.sure:
            yield by_name
        return
    supplied = list(_supplied(draft, net))
    if divided and not supplied:
        return
    if name.says == "rail" and (name.sure or supplied or _agrees(draft, net, zeros)):
        pins = supplied[0].sign if supplied and (name.sign == "lowest" or not name.sure) else ""
        yield Claim(pins or sign, by_name.because)
    yield from supplied
    yield from _reservoir(draft, net, zeros)


def _made(draft: Draft, net: str) -> Iterator[Claim]:
    """Outputs of regulators and converters, and the plus of a battery."""
    if draft.says[net].says == "no rail":
        return
    for place in draft.with_role(net, "output"):
        part = place.part
        if part.kind not in draft.words.group("rail makers") or _is_current_source(draft, part, net):
            continue
        if part.kind == "converter" and draft.of_kind(net, {"inductor"}):
            continue  # a switching node; the rail is behind the inductor
        polarity = part.record.polarity if part.record else ""
        output = part.record.output if part.record else None
        sign = polarity or ("" if output is None else "negative" if output < 0 else "positive")
        yield Claim(sign, f"output of {called(part)}")
    kinds = draft.words.group("sources")
    for role, sign in (("plus", "positive"), ("minus", "negative")):
        for place in draft.with_role(net, role):
            if place.part.kind in kinds:
                yield Claim(sign, f"the {role} of {called(place.part)}")


def _is_current_source(draft: Draft, part: Part, net: str) -> bool:
    """Whether an adjustable regulator's output does nothing but feed the resistor to its adjust pin."""
    adjust = {pin.net for pin in part.pins if pin.role == "adjust"}
    others = [place.part for place in draft.on[net] if place.part.key != part.key]
    return bool(adjust and others) and all({pin.net for pin in other.pins} <= adjust | {net} for other in others)


def _supplied(draft: Draft, net: str) -> Iterator[Claim]:
    """Packages that the net feeds: at supply pins, at regulator inputs, at pins marked as taking power."""
    kinds = draft.words.group("supplied")
    plus = [place for place in draft.with_role(net, "supply plus") if place.part.kind in kinds]
    minus = [place for place in draft.with_role(net, "supply minus") if place.part.kind in kinds]
    needed = draft.words.limit("packages that make a rail").value
    if _is_driven(draft, net):
        needed = draft.words.limit("packages that make a rail of a signal").value
    if distinct(plus + minus) >= needed:
        balance = distinct(plus) - distinct(minus)
        sign = "" if not balance else "positive" if balance > 0 else "negative"
        yield Claim(sign, f"at the supply pins of {refs(plus + minus)}")
    makers = draft.words.group("rail makers")
    inputs = [place for place in draft.with_role(net, "input") if place.part.kind in makers]
    if inputs:
        signs = {place.part.record.polarity for place in inputs if place.part.record} - {""}
        yield Claim(signs.pop() if len(signs) == 1 else "", f"feeds {called(inputs[0].part)}")
    if draft.says[net].says not in ("bias", "no rail") and not _is_driven(draft, net):
        taking = [p for p in draft.on[net] if p.pin.type.startswith("power") and p.pin.role in ("", "supply plus")]
        if taking:
            yield Claim("", f"at a power pin of {refs(taking)}")


def _is_driven(draft: Draft, net: str) -> bool:
    """Whether an amplifier's input or output is on the net, as on a signal."""
    kinds = draft.words.group("amplifiers")
    return any(place.part.kind in kinds for place in draft.with_role(net, "output", "plus", "minus", "input"))


def _is_divided(draft: Draft, net: str, zeros: set[str]) -> bool:
    """Whether a net without a sign in its name is the middle of a divider: 4.5V may be a bias that feeds nothing."""
    name = draft.says[net]
    if name.sure and name.volts is None:
        return False
    if draft.label(net).startswith(("+", "-")) or draft.of_kind(net, draft.words.group("entries")):
        return False
    ends = [far for near, far in draft.across(net, {"resistor"}) if not looked_through(draft, near)]
    down = any(far.pin.net in zeros for far in ends)
    up = any(draft.says[far.pin.net].says == "rail" for far in ends if far.pin.net in draft.says)
    return down and up and not draft.with_role(net, "output")


def _to_ground(draft: Draft, net: str, zeros: set[str], least: float) -> list[tuple[Place, Place]]:
    """Capacitors of at least so many farads from a net to a ground; one without a readable value counts."""
    return [
        (near, far)
        for near, far in draft.across(net, {"capacitor"})
        if far.pin.net in zeros and (near.part.value.number is None or near.part.value.number >= least)
    ]


def _agrees(draft: Draft, net: str, zeros: set[str]) -> bool:
    """Whether a name that is only a hint is borne out: decoupled, or several transistors live on it."""
    if _is_driven(draft, net):
        return False
    if _to_ground(draft, net, zeros, draft.words.limit("decoupling least").value):
        return True
    living = draft.of_kind(net, draft.words.group("transistors"))
    return distinct(living) >= draft.words.limit("transistors that agree with a name").value


def _reservoir(draft: Draft, net: str, zeros: set[str]) -> Iterator[Claim]:
    """A net that comes in from outside onto a large polarised capacitor to ground and goes on to something.

    Resistors alone do not count: a slow input has them too.
    """
    entries = [p for p in draft.of_kind(net, draft.words.group("entries")) if p.part.kind != "test point"]
    if not entries or _is_driven(draft, net) or not draft.of_kind(net, draft.words.group("fed by reservoirs")):
        return
    least = draft.words.limit("reservoir least").value
    for near, _ in _to_ground(draft, net, zeros, least):
        sign = {"plus": "positive", "minus": "negative"}.get(near.pin.role, "")
        if sign and near.part.polarised is not False and near.part.value.number is not None:
            yield Claim(sign, f"comes in at {refs(entries)} onto {refs([near])}")


# ---- rectifiers -----------------------------------------------------------------------------------------------


def _rectified(draft: Draft, zeros: set[str]) -> tuple[dict[str, Claim], set[str]]:
    """Nets at the plus or minus of a rectifier, grounds left out; and the nets that feed rectifiers."""
    found: dict[str, Claim] = {}
    alternating: set[str] = set()
    for part in draft.parts:
        if part.kind == "bridge":
            for pin in part.pins:
                sign = {"plus": "positive", "minus": "negative"}.get(pin.role, "")
                if sign and pin.net not in zeros:
                    found.setdefault(pin.net, Claim(sign, f"rectified by {part.ref}"))
                elif pin.role == "alternating":
                    alternating.add(pin.net)
    least = draft.words.limit("reservoir least").value
    for role, sign in (("cathode", "positive"), ("anode", "negative")):
        for net in draft.nets:
            diodes = [(near, far) for near, far in draft.across(net, {"diode"}) if near.pin.role == role]
            feeding = [(near, far) for near, far in diodes if _alternates(draft, far.pin.net)]
            whole = len({far.pin.net for _, far in feeding}) > 1
            if not feeding and (feeding := _fed_twice(draft, diodes)):
                whole = True
            if net not in zeros and (whole or (feeding and _to_ground(draft, net, zeros, least))):
                found.setdefault(net, Claim(sign, f"rectified by {refs([near for near, _ in feeding], 4)}"))
                alternating |= {far.pin.net for _, far in feeding} if whole else set()
    return found, alternating


def _fed_twice(draft: Draft, diodes: list[tuple[Place, Place]]) -> list[tuple[Place, Place]]:
    """Diodes that two contacts of one connector feed and nothing else: the two ends of a tapped winding."""
    alone: dict[str, list[tuple[Place, Place]]] = {}
    for near, far in diodes:
        others = [place for place in draft.on[far.pin.net] if place.part.key != near.part.key]
        if len(others) == 1 and others[0].part.kind == "connector":
            alone.setdefault(others[0].part.key, []).append((near, far))
    return next((pair for _, pair in sorted(alone.items()) if len({far.pin.net for _, far in pair}) > 1), [])


def _alternates(draft: Draft, net: str) -> bool:
    """Whether a net swings both ways round: a winding, a name that says so, or a corner of a bridge of diodes."""
    if draft.says[net].says == "alternating" or draft.with_role(net, "winding", "alternating"):
        return True
    diodes = {place.pin.role for place in draft.of_kind(net, {"diode"})}
    bare = draft.words.group("entries") | {"diode", "capacitor", "fuse", "resistor", "transformer"}
    return (
        {"anode", "cathode"} <= diodes
        and bool(draft.of_kind(net, draft.words.group("entries")))
        and all(place.part.kind in bare for place in draft.on[net])
    )


# ---- behind another rail --------------------------------------------------------------------------------------


def _behind_rails(draft: Draft, rails: Mapping[str, Claim], closed: set[str], zeros: set[str]) -> dict[str, Claim]:
    """Nets that are rails because a rail feeds them, or because they feed one, one step on."""
    found: dict[str, Claim] = {}
    for net in sorted(rails, key=natural_key):
        for near, other, way in steps(draft, net):
            if other in rails or other in closed or other in found or not other:
                continue
            if _follows(draft, near, other, way, rails, zeros):
                against = rails[net].sign == "negative"
                word = "before" if way == ("on" if against else "back") else "behind"
                found[other] = Claim(rails[net].sign, f"{word} {near.part.ref} from {draft.label(net)}")
    return found


def steps(draft: Draft, net: str) -> Iterator[tuple[Place, str, str]]:
    """Parts that may carry a rail on: (near place, net beyond, 'both', 'on' or 'back')."""
    kinds = draft.words.group("series") | draft.words.group("breakers") - {"button"}
    for near, far in draft.across(net, kinds):
        if looked_through(draft, near) and "coil" not in (near.pin.role, far.pin.role):
            yield near, far.pin.net, "both"
    for near, far in draft.across(net, {"diode"}):
        yield near, far.pin.net, {"anode": "on", "cathode": "back"}.get(near.pin.role, "")


def _follows(draft: Draft, near: Place, other: str, way: str, rails: Mapping[str, Claim], zeros: set[str]) -> bool:
    """Whether the net beyond a part is a rail too."""
    if _is_driven(draft, other) or draft.says[other].says in ("alternating", "bias"):
        return False
    if near.part.kind in draft.words.group("bypassed"):
        return True
    if near.part.kind == "diode":
        if not way:
            return False
        sign = rails[near.pin.net].sign
        if sign == "negative":
            way = "back" if way == "on" else "on"
        if way == "back":
            return _is_entry(draft, other, rails, zeros)
    if draft.with_role(other, "output"):
        return False
    if _is_entry(draft, other, rails, zeros):
        return True
    decoupled = _to_ground(draft, other, zeros, draft.words.limit("decoupling least").value)
    loads = {p.part.key for p in draft.on[other]} - {near.part.key} - {cap.part.key for cap, _ in decoupled}
    return bool(decoupled) and bool(loads)


def _is_entry(draft: Draft, net: str, rails: Mapping[str, Claim], zeros: set[str]) -> bool:
    """Whether a net is where a supply comes in: a contact and nothing that makes a signal of it.

    Fuses, beads, links and switches on the way to the contact are passed. A contact with diodes to two rails is a
    signal with clamps, and one with a capacitor to anything but a ground or a rail too.
    """
    entries = draft.words.group("entries")
    passed = draft.words.group("bypassed") | draft.words.group("breakers")
    others = {"diode", "surge diode", "varistor", "capacitor", "hole"}

    def step(here: str) -> Iterator[str]:
        for _, far in draft.across(here, passed):
            if far.pin.net not in rails and far.pin.net not in zeros:
                yield far.pin.net

    group = set(spread({net}, step))
    places = [place for here in group for place in draft.on[here]]
    if not any(place.part.kind in entries for place in places):
        return False
    if not all(place.part.kind in entries | passed | others for place in places):
        return False
    clamps = {far.pin.net for here in group for _, far in draft.across(here, {"diode"}) if far.pin.net in rails}
    shunts = {far.pin.net for here in group for _, far in draft.across(here, {"capacitor", "varistor"})}
    return len(clamps) <= 1 and shunts <= zeros | set(rails) | group
