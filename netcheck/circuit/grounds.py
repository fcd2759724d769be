"""The grounds of a board, its earth and chassis, the domains they form, and which of them is the zero.

A ground is told by its name, by what returns to it, or by a link to another; a net that is called GND may all the
same be the negative supply of a circuit whose signals return elsewhere.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from netcheck.circuit.draft import Draft, Place, distinct, refs, spread
from netcheck.circuit.mainsside import earth_nets
from netcheck.ground.names import natural_key

RETURNS = ("ground", "sleeve", "shield")


@dataclass(frozen=True)
class Grounds:
    """Grounds of a board.

    Attributes:
        roles: net -> (role, reason): ground, earth and chassis.
        domains: ground net -> key of the senior net of its domain.
        zero: the domain that is 0 V, or '' when there is none.
        joined: ground nets that are at 0 V though of another domain, with the reason.
        negative: nets that are called a ground and are a negative supply, with the reason.
    """

    roles: Mapping[str, tuple[str, str]]
    domains: Mapping[str, str]
    zero: str
    joined: Mapping[str, str]
    negative: Mapping[str, str]


def find_grounds(draft: Draft, mains: Mapping[str, str]) -> Grounds:
    """See `Grounds`. `mains`: nets on the mains side, which are never grounds."""
    roles = _told(draft) | {net: ("earth", why) for net, why in earth_nets(draft).items() if net not in mains}
    negative: dict[str, str] = {}
    for net, why in _named(draft, mains).items():
        roles.setdefault(net, ("ground", why))
    for net, why in _by_ground_pins(draft, mains).items():
        roles.setdefault(net, ("ground", why))
    kinds = {"bridge"} if any(role == "ground" for role, _ in roles.values()) else {"bridge", "battery"}
    for net in draft.nets:
        if is_middle(draft, net, kinds) and _free(draft, mains, net):
            roles.setdefault(net, ("ground", f"between {refs(draft.of_kind(net, kinds))}"))
    for low, middle, why in _virtual(draft, roles):
        roles[middle] = ("ground", why)
        if draft.told.get(low) is None:
            roles.pop(low, None)
            negative[low] = f"called {draft.label(low)}, but signals return to {draft.label(middle)}"
    if not any(role == "ground" for role, _ in roles.values()):
        roles |= _structural_zero(draft, mains, roles)
    roles = _outer(draft, mains, roles)
    roles |= _linked(draft, mains, roles, negative)
    roles |= _lowest(draft, mains, roles, negative)
    roles |= _behind(draft, mains, roles, negative)
    domains = _domains(draft, {net for net, (role, _) in roles.items() if role == "ground"})
    zero = _zero(draft, domains)
    return Grounds(roles, domains, zero, _at_zero(draft, domains, zero), negative)


def _told(draft: Draft) -> dict[str, tuple[str, str]]:
    wanted = ("ground", "earth", "chassis")
    return {net: (told[0], draft.told_by(net)) for net, told in draft.told.items() if told[0] in wanted}


def _free(draft: Draft, mains: Mapping[str, str], net: str) -> bool:
    """Whether the role of a net is still open: neither given from outside nor on the mains side."""
    return net not in draft.told and net not in mains


def _named(draft: Draft, mains: Mapping[str, str]) -> dict[str, str]:
    """Nets that are grounds by name; a name that is only a hint needs something that returns there."""
    found = {}
    least = draft.words.limit("parts that make a zero").value
    for net, name in draft.says.items():
        if name.says != "ground" or not _free(draft, mains, net):
            continue
        agrees = draft.with_role(net, *RETURNS, "supply minus") or distinct(draft.of_kind(net, {"capacitor"})) >= least
        if name.sure or agrees:
            found[net] = f"by its name {draft.label(net)}"
    return found


def _by_ground_pins(draft: Draft, mains: Mapping[str, str]) -> dict[str, str]:
    """Nets without a telling name that several packages have their ground pins on."""
    least = draft.words.limit("ground pins that make a ground").value
    kinds = draft.words.group("integrated")
    found = {}
    for net, name in draft.says.items():
        pins = [place for place in draft.with_role(net, "ground") if place.part.kind in kinds]
        open_to = name.says in ("", "rail") and not _numbered(draft, net) and _free(draft, mains, net)
        if open_to and distinct(pins) >= least and not draft.with_role(net, "supply plus"):
            found[net] = f"at the ground pins of {refs(pins)}"
    return found


def _numbered(draft: Draft, net: str) -> bool:
    """Whether a net's name gives it volts."""
    return draft.says[net].volts is not None and draft.says[net].sure


def is_middle(draft: Draft, net: str, kinds: Collection[str]) -> bool:
    """Whether a net is the minus of one rectifier or battery and the plus of another, and more returns to it.

    Cells in series have such a net too: batteries count only where nothing else is a ground.
    """
    both = {place.part.key for place in draft.of_kind(net, kinds)}
    tops, bottoms = ({p.part.key for p in draft.with_role(net, role)} & both for role in ("plus", "minus"))
    enough = distinct(draft.on[net]) >= draft.words.limit("parts that make a zero").value
    return enough and bool(tops and bottoms) and len(tops | bottoms) > 1


def _virtual(draft: Draft, roles: Mapping[str, tuple[str, str]]) -> Iterator[tuple[str, str, str]]:
    """Pairs (supply called ground, net in the middle that the signals return to), with the reason.

    The middle carries contacts that signals return by, the lower net none, and the middle is made from it: by an
    amplifier's output or by a resistor from the lower net. One contact alone on a net without a telling name does
    not count: it may be the far end of a bridged output.
    """
    lows = [net for net, (role, _) in roles.items() if role == "ground" and draft.with_role(net, "supply minus")]
    for low in lows:
        if draft.with_role(low, "sleeve", "shield") or draft.told.get(low) is not None:
            continue
        joined = spread({low}, lambda net: _tied(draft, net))
        for middle in draft.nets:
            sleeves = draft.with_role(middle, "sleeve")
            if not sleeves or middle in joined or (middle in roles and roles[middle][0] != "ground"):
                continue
            driven = [place for place in draft.with_role(middle, "output") if place.part.kind != "regulator"]
            divided = any(far.pin.net == low for _, far in draft.across(middle, {"resistor"}))
            called = draft.says[middle].says in ("bias", "ground")
            if (driven or divided) and (called or distinct(sleeves) > 1):
                yield low, middle, f"carries the return of {refs(sleeves)}; made from {draft.label(low)}"
                break


def _structural_zero(
    draft: Draft, mains: Mapping[str, str], roles: Mapping[str, tuple[str, str]]
) -> dict[str, tuple[str, str]]:
    """The net that most parts return to, when no name and no pin tells a ground."""
    least = draft.words.limit("parts that make a zero").value
    candidates = {
        net: _returning(draft, net)
        for net in draft.nets
        if net not in roles
        and _free(draft, mains, net)
        and _returning(draft, net) >= least
        and _may_be_zero(draft, net)
    }
    below = {net for net in candidates if _has_middle(draft, net, candidates)}
    for net in sorted(set(candidates) - below, key=lambda net: _rank(draft, net, candidates[net])):
        return {net: ("ground", f"most parts return to it ({candidates[net]})")}
    return {}


def _rank(draft: Draft, net: str, returning: int) -> tuple[object, ...]:
    """Most first; of equals the one without a supply pin, then by key."""
    return (-returning, bool(draft.with_role(net, "supply minus")), natural_key(net))


def _may_be_zero(draft: Draft, net: str) -> bool:
    name = draft.says[net]
    if name.says in ("bias", "alternating") or (name.says == "rail" and name.sign != "lowest"):
        return False
    tops = [place for place in draft.with_role(net, "plus") if place.part.kind in ("bridge", "battery")]
    return (not tops or is_middle(draft, net, {"bridge", "battery"})) and bool(
        draft.with_role(net, *RETURNS, "supply minus") or draft.of_kind(net, {"capacitor", "battery", "bridge"})
    )


def _returning(draft: Draft, net: str) -> int:
    """Parts on a net, less twice those that speak against a zero: supply plus pins and outputs.

    Twice, since a positive rail has as many capacitors as packages.
    """
    return distinct(draft.on[net]) - 2 * distinct(draft.with_role(net, "supply plus", "output"))


def _has_middle(draft: Draft, net: str, candidates: Mapping[str, int]) -> bool:
    """Whether a net with negative supply pins has another between it and the positive supply: two supplies."""
    if not draft.with_role(net, "supply minus"):
        return False
    for _, far in draft.across(net, {"capacitor"}):
        other = far.pin.net
        if other in candidates and not draft.with_role(other, "supply minus", "supply plus"):
            tops = [top.pin.net for _, top in draft.across(other, {"capacitor"})]
            if any(draft.with_role(top, "supply plus") for top in tops):
                return True
    return False


def _outer(draft: Draft, mains: Mapping[str, str], roles: Mapping[str, tuple[str, str]]) -> dict[str, tuple[str, str]]:
    """Add earth and chassis nets: named so, or of mounting holes and shells only.

    Where such a net feeds packages, or more parts return to it than to any ground, it is one, whatever its name.
    """
    found = dict(roles)
    bare = draft.words.group("mechanics")
    others = [net for net, (role, _) in roles.items() if role == "ground"]
    most = max((distinct(draft.on[net]) for net in others), default=-1)
    for net, name in draft.says.items():
        if net in roles or not _free(draft, mains, net):
            continue
        if name.says in ("earth", "chassis"):
            used = distinct(draft.on[net]) > most or draft.with_role(net, "ground", "supply minus", "supply plus")
            found[net] = ("ground" if used else name.says, f"by its name {draft.label(net)}")
        elif draft.on[net] and others and name.says == "":
            holes = draft.of_kind(net, {"hole"})
            if holes and all(place.part.kind in bare or place.pin.role == "shield" for place in draft.on[net]):
                found[net] = ("chassis", f"joins nothing but {refs(draft.on[net])}")
    return found


def _tied(draft: Draft, net: str) -> Iterator[str]:
    """Nets joined to a net as one potential: by links, closed jumpers and resistors of no ohms."""
    for near, far in draft.across(net, draft.words.group("joints") | {"resistor"}):
        if is_tie(draft, near):
            yield far.pin.net


def is_tie(draft: Draft, place: Place) -> bool:
    """Whether a part is drawn to be a wire: a link, a jumper closed by its symbol, a resistor of no ohms."""
    part = place.part
    if part.kind == "link":
        return True
    if part.kind == "resistor":
        return part.value.number is not None and part.value.number <= draft.words.limit("zero ohms").value
    text = f"{part.library_part} {part.value.text} {part.footprint}".upper()
    return any(word in text for word in draft.words.text_words("closed jumpers"))


def _open_to_ground(
    draft: Draft, mains: Mapping[str, str], roles: Mapping[str, tuple[str, str]], negative: Mapping[str, str], net: str
) -> bool:
    """Whether a net may still become a ground."""
    if net in roles or net in negative or not _free(draft, mains, net):
        return False
    return not _numbered(draft, net) and draft.says[net].sign != "positive" and not draft.with_role(net, "supply plus")


def _linked(
    draft: Draft, mains: Mapping[str, str], roles: Mapping[str, tuple[str, str]], negative: Mapping[str, str]
) -> dict[str, tuple[str, str]]:
    """Nets joined to a ground by a link that carry something that returns there."""
    entries = draft.words.group("entries") | draft.words.group("mechanics")

    def step(net: str) -> Iterator[str]:
        for other in _tied(draft, net):
            carries = draft.with_role(other, *RETURNS, "supply minus") or draft.of_kind(other, entries)
            if carries and _open_to_ground(draft, mains, roles, negative, other):
                yield other

    grounds = {net for net, (role, _) in roles.items() if role == "ground"}
    return {
        net: ("ground", f"joined to {draft.label(origin)} by a link")
        for net, origin in spread(grounds, step).items()
        if net not in roles
    }


def _lowest(
    draft: Draft, mains: Mapping[str, str], roles: Mapping[str, tuple[str, str]], negative: Mapping[str, str]
) -> dict[str, tuple[str, str]]:
    """Nets called VSS, VEE or V- that are grounds: something returns there, or there is no other ground."""
    found = {}
    others = any(role == "ground" for role, _ in roles.values())
    for net, name in draft.says.items():
        if name.sign == "lowest" and _open_to_ground(draft, mains, roles, negative, net):
            returns = draft.with_role(net, *RETURNS)
            if returns or (name.sure and not others):
                found[net] = (
                    "ground",
                    f"carries the return of {refs(returns)}" if returns else "the lowest supply there is",
                )
    return found


def _behind(
    draft: Draft, mains: Mapping[str, str], roles: Mapping[str, tuple[str, str]], negative: Mapping[str, str]
) -> dict[str, tuple[str, str]]:
    """Nets behind a bead or a small resistor from a ground that packages or contacts return to."""

    def step(net: str) -> Iterator[str]:
        for near, far in draft.across(net, draft.words.group("series")):
            other = far.pin.net
            carries = draft.with_role(other, *RETURNS, "supply minus")
            if carries and looked_through(draft, near) and _open_to_ground(draft, mains, roles, negative, other):
                yield other

    grounds = {net for net, (role, _) in roles.items() if role == "ground"}
    return {
        net: ("ground", f"behind {refs(_between(draft, origin, net))} from {draft.label(origin)}")
        for net, origin in spread(grounds, step).items()
        if net not in roles
    }


def _between(draft: Draft, here: str, there: str) -> list[Place]:
    return [near for near, far in draft.across(here, draft.words.group("series")) if far.pin.net == there]


def looked_through(draft: Draft, place: Place) -> bool:
    """Whether a part in series is looked through: it has no ohms to speak of, or few enough."""
    part = place.part
    if part.kind != "resistor":
        return True
    return part.value.number is not None and part.value.number <= draft.words.limit("look through").value


def _domains(draft: Draft, grounds: set[str]) -> dict[str, str]:
    """Ground net -> senior net of all that links join to it: with the shortest name that a person gave."""
    found: dict[str, str] = {}
    for net in sorted(grounds, key=natural_key):
        if net not in found:
            members = [key for key in spread({net}, lambda key: _tied(draft, key)) if key in grounds]
            senior = min(members, key=lambda key: _seniority(draft, key))
            found |= dict.fromkeys(members, senior)
    return found


def _seniority(draft: Draft, net: str) -> tuple[object, ...]:
    name = draft.nets[net].name
    return (not name, len(name) if name else 0, natural_key(net))


def _zero(draft: Draft, domains: Mapping[str, str]) -> str:
    """The domain that is the zero: given as 0 V, else the one that most contacts and parts return to."""
    told = [domain for net, domain in domains.items() if draft.told.get(net, ("", None))[1] == 0.0]
    if told:
        return min(told, key=natural_key)

    def weight(domain: str) -> tuple[object, ...]:
        members = [net for net in domains if domains[net] == domain]
        contacts = sum(len(draft.with_role(net, *RETURNS)) for net in members)
        return (-contacts - sum(distinct(draft.on[net]) for net in members), natural_key(domain))

    return min(set(domains.values()), key=weight, default="")


def _at_zero(draft: Draft, domains: Mapping[str, str], zero: str) -> dict[str, str]:
    """Grounds of other domains that something of few ohms joins to the zero."""
    kinds = draft.words.group("series")

    def step(net: str) -> Iterator[str]:
        for near, far in draft.across(net, kinds | draft.words.group("joints")):
            through = is_tie(draft, near) if near.part.kind == "jumper" else looked_through(draft, near)
            if far.pin.net in domains and through:
                yield far.pin.net

    start = {net for net, domain in domains.items() if domain == zero}
    reached = spread(start, step) if start else {}
    return {net: f"joined to {draft.label(zero)} on this board" for net in reached if domains[net] != zero}
