"""What each net of a board is for: mains, ground, earth, chassis, rail or signal; rails with sign and volts.

Evidence, in order of trust: what is told from outside, the mains side (`mainsside`), grounds (`grounds`), outputs
of regulators, rectifiers and batteries, sure names, supply pins, names that are hints, reservoirs, and what is
behind a fuse, a bead, a small resistor or a diode from a rail. Whatever no evidence speaks for is a signal. Volts
come from regulators first, then from names, then from the rail in front; they are None where nothing tells them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from netcheck.circuit.draft import Draft, Place, called, distinct, draft_board, refs, spread
from netcheck.circuit.grounds import Grounds, find_grounds, looked_through
from netcheck.circuit.mainsside import mains_side
from netcheck.circuit.model import Hints, Net, Part
from netcheck.circuit.railvolts import Source, Span, battery_volts, regulator_output, zener_volts
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key

_OPPOSITE = {"positive": "negative", "negative": "positive"}


@dataclass(frozen=True, slots=True)
class Claim:
    """That a net is a rail: its sign ('' when not known) and the reason, a clause."""

    sign: str
    because: str


def assign_net_roles(
    parts: tuple[Part, ...], nets: tuple[Net, ...], words: Words, hints: Hints | None = None
) -> tuple[Net, ...]:
    """The same nets, in the same order, with role, sign, volts, origin and ground domain.

    Args:
        parts: with kinds, pin roles, values and records; parts that are not fitted say nothing.
        nets: without roles.
        words: names of nets, groups of kinds and limits of recognition.
        hints: what is given from outside; it overrules everything.
    """
    draft = draft_board(parts, nets, words, hints or Hints())
    mains = mains_side(draft)
    grounds = find_grounds(draft, mains)
    rails = _find_rails(draft, mains, grounds)
    volts = _find_volts(draft, grounds, rails)
    return tuple(_described(net, mains, grounds, rails, volts) for net in nets)


def _described(
    net: Net,
    mains: Mapping[str, str],
    grounds: Grounds,
    rails: Mapping[str, Claim],
    volts: Mapping[str, Source],
) -> Net:
    source = volts.get(net.key)
    span = source.volts if source else Span()
    if net.key in mains:
        return replace(net, role="mains", origin=mains[net.key])
    if net.key in grounds.roles:
        role, because = grounds.roles[net.key]
        reasons = [because, grounds.joined.get(net.key, "")]
        if net.key == grounds.zero:
            reasons.append("the zero of the board")
        origin = "; ".join(reason for reason in reasons if reason)
        domain = grounds.domains.get(net.key, "")
        return replace(net, role=role, volts=span.middle, low=span.low, high=span.high, origin=origin, domain=domain)
    if net.key in rails:
        claim = rails[net.key]
        return replace(
            net,
            role="rail",
            sign=claim.sign,
            volts=span.middle,
            low=span.low,
            high=span.high,
            origin=_origin(claim, source),
        )
    return replace(net, role="signal")


def _origin(claim: Claim, source: Source | None) -> str:
    if source is None:
        return claim.because
    if source.origin.startswith("by its name") and "rectified" in claim.because:
        return f"{source.origin} only; {claim.because}"
    return source.origin


# ---- which nets are rails -------------------------------------------------------------------------------------


def _find_rails(draft: Draft, mains: Mapping[str, str], grounds: Grounds) -> dict[str, Claim]:
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
            sign = next((claim.sign for claim in claims if claim.sign), "")
            found[net] = Claim(sign, claims[0].because)
    closed |= alternating - set(found)
    while True:
        more = _behind_rails(draft, found, closed, zeros)
        if not more:
            return found
        found |= more


def _claims(
    draft: Draft, net: str, zeros: set[str], rectified: Mapping[str, Claim], negative: Mapping[str, str]
) -> Iterator[Claim]:
    """What speaks for a net being a rail, in order of trust."""
    told = draft.told.get(net)
    if told is not None:
        yield Claim("" if not told[1] else "positive" if told[1] > 0 else "negative", "given in the assembly")
    if net in negative:
        yield Claim("negative", negative[net])
    yield from _made(draft, net)
    name = draft.says[net]
    sign = "negative" if name.sign == "lowest" else name.sign
    if name.says == "rail" and name.sure and name.volts is not None:
        yield from [rectified[net]] if net in rectified else []
        yield Claim(sign, f"by its name {draft.label(net)}")
    elif net in rectified:
        yield rectified[net]
    supplied = list(_supplied(draft, net, zeros))
    if name.says == "rail" and (name.sure or supplied or _agrees(draft, net, zeros)):
        pins = "" if name.sign != "lowest" or not supplied else supplied[0].sign
        yield Claim(pins or sign, f"by its name {draft.label(net)}")
    yield from supplied
    yield from _reservoir(draft, net, zeros)


def _made(draft: Draft, net: str) -> Iterator[Claim]:
    """Outputs of regulators and converters, and the plus of a battery."""
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


def _supplied(draft: Draft, net: str, zeros: set[str]) -> Iterator[Claim]:
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
    if draft.says[net].says != "bias" and not _is_driven(draft, net):
        taking = [p for p in draft.on[net] if p.pin.type.startswith("power") and p.pin.role in ("", "supply plus")]
        if taking:
            yield Claim("", f"at a power pin of {refs(taking)}")


def _is_driven(draft: Draft, net: str) -> bool:
    """Whether an amplifier's input or output is on the net, as on a signal."""
    kinds = draft.words.group("amplifiers")
    return any(place.part.kind in kinds for place in draft.with_role(net, "output", "plus", "minus", "input"))


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
    """A net that comes in from outside onto a large polarised capacitor to ground."""
    entries = [p for p in draft.of_kind(net, draft.words.group("entries")) if p.part.kind != "test point"]
    if not entries or _is_driven(draft, net):
        return
    least = draft.words.limit("reservoir least").value
    for near, _ in _to_ground(draft, net, zeros, least):
        sign = {"plus": "positive", "minus": "negative"}.get(near.pin.role, "")
        if sign and near.part.value.number is not None:
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
            if net not in zeros and (whole or (feeding and _to_ground(draft, net, zeros, least))):
                found.setdefault(net, Claim(sign, f"rectified by {refs([near for near, _ in feeding], 4)}"))
                alternating |= {far.pin.net for _, far in feeding} if whole else set()
    return found, alternating


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
        for near, other, way in _steps(draft, net):
            if other in rails or other in closed or other in found or not other:
                continue
            if _follows(draft, near, other, way, rails, zeros):
                word = "before" if way == "back" else "behind"
                found[other] = Claim(rails[net].sign, f"{word} {near.part.ref} from {draft.label(net)}")
    return found


def _steps(draft: Draft, net: str) -> Iterator[tuple[Place, str, str]]:
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


# ---- volts ----------------------------------------------------------------------------------------------------


def _find_volts(draft: Draft, grounds: Grounds, rails: Mapping[str, Claim]) -> dict[str, Source]:
    """Volts of grounds and rails: told, regulated, by name, then carried on from the rail in front."""
    found: dict[str, Source] = {}
    for net, domain in grounds.domains.items():
        told = draft.told.get(net, ("", None))[1]
        if told is not None:
            found[net] = Source(Span(told, told, told), "given in the assembly")
        elif domain == grounds.zero:
            found[net] = Source(Span(0.0, 0.0, 0.0), "the zero of the board")
        elif net in grounds.joined:
            found[net] = Source(Span(None, 0.0, None), grounds.joined[net])
    for net in rails:
        told = draft.told.get(net, ("", None))[1]
        if told is not None:
            found[net] = Source(Span(None, told, None), "given in the assembly")
    firm = draft.words.group("bypassed")
    _carry_on(draft, rails, found, firm)
    for net, claim in rails.items():
        if net not in found and (named := _by_name(draft, net, claim)) is not None:
            found[net] = named
    _carry_on(draft, rails, found, None)
    return found


def _by_name(draft: Draft, net: str, claim: Claim) -> Source | None:
    """Volts in a name, unless the sign that was found otherwise speaks against it."""
    name = draft.says[net]
    if name.volts is None:
        return None
    if claim.sign and (name.volts > 0) != (claim.sign == "positive"):
        return None
    return Source(Span(name.low, name.volts, name.high), f"by its name {draft.label(net)}")


def _carry_on(draft: Draft, rails: Mapping[str, Claim], found: dict[str, Source], firm: frozenset[str] | None) -> None:
    """Add volts round by round until nothing more follows. `firm`: only through parts of these kinds."""
    while True:
        more = _regulated(draft, rails, found)
        if not more:
            more = _one_step_on(draft, rails, found, firm)
        if not more and firm is None:
            more = _last_resort(draft, rails, found)
        if not more:
            return
        found |= more


def _regulated(draft: Draft, rails: Mapping[str, Claim], found: Mapping[str, Source]) -> dict[str, Source]:
    more: dict[str, Source] = {}
    makers = draft.words.group("rail makers")
    for part in draft.parts:
        if part.kind in makers:
            result = regulator_output(part, draft, lambda net: found[net].volts if net in found else None)
            if result is not None and result[0] in rails and result[0] not in found:
                more.setdefault(*result)
    return more


def _one_step_on(
    draft: Draft, rails: Mapping[str, Claim], found: Mapping[str, Source], firm: frozenset[str] | None
) -> dict[str, Source]:
    """Volts of rails that lie one part behind a rail whose volts are known."""
    more: dict[str, Source] = {}
    for net in sorted(set(found) & set(rails), key=natural_key):
        for near, other, way in _steps(draft, net):
            if other not in rails or other in found or other in more:
                continue
            if firm is not None and near.part.kind not in firm:
                continue
            span = _dropped(draft, near, way, found[net].volts, rails[net].sign)
            if span is not None:
                more[other] = Source(span, f"behind {near.part.ref} from {draft.label(net)}")
    return more


def _dropped(draft: Draft, near: Place, way: str, volts: Span, sign: str) -> Span | None:
    """Volts behind a part: the same, less by a diode, or at most the same behind a resistor."""
    if volts.middle is None and volts.low is None and volts.high is None:
        return None
    kind = near.part.kind
    if kind == "diode":
        if (way, sign) not in (("on", "positive"), ("back", "negative")):
            return None
        limit = draft.words.limit
        least, usual, most = (limit(name).value for name in ("diode drop least", "diode drop", "diode drop most"))
        if sign == "negative":
            least, usual, most = -most, -usual, -least
        low, middle, high = volts.low, volts.middle, volts.high
        return Span(_less(low, most), _less(middle, usual), _less(high, least))
    if kind == "resistor":
        end = volts.high if sign == "positive" else volts.low
        end = volts.middle if end is None else end
        return Span(None, volts.middle, end) if sign == "positive" else Span(end, volts.middle, None)
    return volts


def _less(value: float | None, drop: float) -> float | None:
    return None if value is None else value - drop


def _last_resort(draft: Draft, rails: Mapping[str, Claim], found: Mapping[str, Source]) -> dict[str, Source]:
    """Batteries with a stated value and zener diodes."""
    more: dict[str, Source] = {}
    zeros = {net: source.volts for net, source in found.items() if source.volts.middle == 0}
    for net in rails:
        if net in found:
            continue
        for place in draft.with_role(net, "plus"):
            minus = {pin.net for pin in place.part.pins if pin.role == "minus"}
            volts = battery_volts(place.part) if place.part.kind in draft.words.group("sources") else None
            if volts is not None and minus & set(zeros):
                more.setdefault(net, Source(Span(None, volts, None), f"the plus of {called(place.part)}"))
        if net not in more and (held := zener_volts(draft, net, zeros)) is not None:
            more[net] = held
    return more
