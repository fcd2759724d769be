"""What each net of a board is for: mains, ground, earth, chassis, rail or signal; rails with sign and volts.

Evidence, in order of trust: what is told from outside, the mains side (`mainsside`), grounds (`grounds`), outputs
of regulators, rectifiers and batteries, sure names, supply pins, names that are hints, reservoirs, and what is
behind a fuse, a bead, a small resistor or a diode from a rail. Whatever no evidence speaks for is a signal. Volts
come from regulators first, then from names, then from the rail in front; they are None where nothing tells them. What
hangs on a rail by one resistor has the volts of that rail less what is drawn, whatever it is called.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from netcheck.circuit.draft import Draft, Place, called, draft_board
from netcheck.circuit.grounds import Grounds, find_grounds, is_tie
from netcheck.circuit.mainsside import mains_side
from netcheck.circuit.model import Hints, Net, Part, Shared
from netcheck.circuit.railclaims import Claim, find_rails, steps
from netcheck.circuit.railvolts import Source, Span, battery_volts, regulator_output, zener_volts
from netcheck.circuit.resistorrails import Hanging, hanging, volts_behind, with_signs_of_feeds, within
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key


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
    rails = find_rails(draft, mains, grounds)
    hangs = hanging(draft, set(rails) - set(draft.told))
    rails = with_signs_of_feeds(rails, hangs)
    volts = _find_volts(draft, grounds, rails, hangs)
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
        if source and source.volts.middle:
            reasons.append(source.origin)
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


# ---- volts ----------------------------------------------------------------------------------------------------


def _find_volts(
    draft: Draft, grounds: Grounds, rails: Mapping[str, Claim], hangs: Mapping[str, Hanging]
) -> dict[str, Source]:
    """Volts of grounds and rails: told, regulated, by name, then carried on from the rail in front."""
    found: dict[str, Source] = {}
    for net, domain in grounds.domains.items():
        told = draft.told.get(net, ("", None))[1]
        if told is not None:
            found[net] = Source(Span(told, told, told), draft.told_by(net))
        elif domain == grounds.zero:
            found[net] = Source(Span(0.0, 0.0, 0.0), "the zero of the board")
        elif net in grounds.joined:
            found[net] = Source(Span(None, 0.0, None), grounds.joined[net])
    for net in rails:
        told = draft.told.get(net, ("", None))[1]
        if told is not None:
            shared = draft.shared.get(net, Shared(""))
            found[net] = Source(Span(shared.low, told, shared.high), draft.told_by(net))
    firm, makers = draft.words.group("bypassed"), draft.words.group("rail makers")
    _carry_on(draft, grounds, rails, found, firm, hangs)
    made = {pin.net for part in draft.parts if part.kind in makers for pin in part.pins if pin.role == "output"}
    # A regulator's output, and what hangs on a rail by a resistor, only when all else has told what it can.
    for nets in (set(rails) - made - set(hangs), set(rails) - made, set(rails)):
        for net in nets - set(found):
            named = _by_name(draft, net, rails[net])
            if named is not None and _not_refuted(draft, net, named, found, hangs):
                found[net] = named
        _carry_on(draft, grounds, rails, found, firm, hangs)
    _carry_on(draft, grounds, rails, found, None, hangs)
    return found


def _by_name(draft: Draft, net: str, claim: Claim) -> Source | None:
    """Volts in a name, unless the sign that was found otherwise speaks against it."""
    name = draft.says[net]
    if name.volts is None:
        return None
    if claim.sign and (name.volts > 0) != (claim.sign == "positive"):
        return None
    return Source(Span(name.low, name.volts, name.high), f"by its name {draft.label(net)}")


def _not_refuted(
    draft: Draft, net: str, named: Source, found: Mapping[str, Source], hangs: Mapping[str, Hanging]
) -> bool:
    """Whether the volts of a name can be had behind the resistor that the net hangs on, if it hangs on one."""
    way, claimed = hangs.get(net), named.volts.middle
    if way is None or claimed is None:
        return True
    fed = volts_behind(draft, net, way, hangs, lambda key: found[key].volts if key in found else None)
    return fed is None or within(fed.volts, claimed)


def _carry_on(
    draft: Draft,
    grounds: Grounds,
    rails: Mapping[str, Claim],
    found: dict[str, Source],
    firm: frozenset[str] | None,
    hangs: Mapping[str, Hanging],
) -> None:
    """Add volts round by round until nothing more follows. `firm`: only through parts of these kinds."""
    while True:
        more = _regulated(draft, rails, found) or _grounds_on_rails(draft, grounds, rails, found)
        more = more or _behind_resistors(draft, found, hangs, bounds=False)
        if not more:
            more = _one_step_on(draft, rails, found, firm)
        if not more and firm is None:
            more = _last_resort(draft, rails, found) or _behind_resistors(draft, found, hangs, bounds=True)
        if not more:
            return
        found |= more


def _grounds_on_rails(
    draft: Draft, grounds: Grounds, rails: Mapping[str, Claim], found: Mapping[str, Source]
) -> dict[str, Source]:
    """Volts of grounds, other than the zero, that a link joins to a rail: the ground of a part that hangs on it."""
    more: dict[str, Source] = {}
    for net, domain in grounds.domains.items():
        for near, far in draft.across(net, draft.words.group("joints") | {"resistor"}):
            other = far.pin.net
            if other in rails and other in found and is_tie(draft, near) and domain != grounds.zero:
                origin = f"joined to {draft.label(other)} by {near.part.ref}"
                members = [key for key, value in grounds.domains.items() if value == domain and key not in found]
                more |= {key: Source(found[other].volts, origin) for key in members if key not in more}
    return more


def _regulated(draft: Draft, rails: Mapping[str, Claim], found: Mapping[str, Source]) -> dict[str, Source]:
    more: dict[str, Source] = {}
    makers = draft.words.group("rail makers")
    for part in draft.parts:
        if part.kind in makers:
            result = regulator_output(part, draft, lambda net: found[net].volts if net in found else None)
            if result is not None and result[0] in rails and result[0] not in found:
                more.setdefault(*result)
    return more


def _behind_resistors(
    draft: Draft, found: Mapping[str, Source], hangs: Mapping[str, Hanging], bounds: bool
) -> dict[str, Source]:
    """Volts of rails that hang on others by a resistor. `bounds`: also where only their bounds are known."""
    more: dict[str, Source] = {}
    for net, way in hangs.items():
        if net in found or way.feed not in found:
            continue
        source = volts_behind(draft, net, way, hangs, lambda key: found[key].volts if key in found else None)
        if source is not None and (bounds or source.volts.middle is not None):
            more[net] = source
    return more


def _one_step_on(
    draft: Draft, rails: Mapping[str, Claim], found: Mapping[str, Source], firm: frozenset[str] | None
) -> dict[str, Source]:
    """Volts of rails that lie one part behind a rail whose volts are known."""
    more: dict[str, Source] = {}
    for net in sorted(set(found) & set(rails), key=natural_key):
        for near, other, way in steps(draft, net):
            if other not in rails or other in found or other in more:
                continue
            if firm is not None and near.part.kind not in firm:
                continue
            span = _dropped(draft, near, way, found[net].volts, rails[net].sign)
            if span is not None and near.part.kind == "diode" and _otherwise_fed(draft, near, net, other):
                continue
            selects = len({pin.net for pin in near.part.pins}) > 2 and near.part.kind in draft.words.group("breakers")
            if span is not None and not selects:
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


def _otherwise_fed(draft: Draft, near: Place, net: str, other: str) -> bool:
    """Whether a diode's far side has a source of its own, so that the diode only holds it up (or is reversed).

    The source is a rectifier, another diode that conducts the same way, or whatever feeds the regulator that the
    diode protects.
    """
    role = "cathode" if near.pin.role == "anode" else "anode"
    for place in draft.on[other]:
        if place.part.key == near.part.key:
            continue
        if place.part.kind == "bridge" or (place.part.kind == "diode" and place.pin.role == role):
            return True
        protected = place.part.kind in draft.words.group("rail makers") and place.pin.role == "input"
        if protected and any(pin.role == "output" and pin.net == net for pin in place.part.pins):
            return True
    return False


def _less(value: float | None, drop: float) -> float | None:
    return None if value is None else value - drop


def _last_resort(draft: Draft, rails: Mapping[str, Claim], found: Mapping[str, Source]) -> dict[str, Source]:
    """Batteries with a stated value and zener diodes."""
    more: dict[str, Source] = {}
    zeros = {net: source.volts for net, source in found.items() if source.volts.middle == 0}
    for net in rails:
        if net in found:
            continue
        for place in draft.with_role(net, "plus", "minus"):
            others = {pin.net for pin in place.part.pins if pin.role in ("plus", "minus")} - {net}
            volts = battery_volts(place.part) if place.part.kind in draft.words.group("sources") else None
            if volts is not None and others & set(zeros):
                signed = volts if place.pin.role == "plus" else -volts
                more.setdefault(net, Source(Span(None, signed, None), f"the {place.pin.role} of {called(place.part)}"))
        if net not in more and (held := zener_volts(draft, net, zeros)) is not None:
            more[net] = held
    return more
