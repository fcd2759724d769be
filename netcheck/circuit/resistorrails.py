"""Rails that hang on another rail by one resistor: a filter of some ohms before an op-amp, most of all.

Such a rail has the volts of its feed less what its loads draw across the resistor, whatever its name says. Only nets
of which everything is understood count: one resistor to a rail, capacitors, supply pins of packages, and resistors to
elsewhere. A connector, diode, regulator or transistor may feed, hold or load the net in ways that are not known here;
such nets are left to the other evidence.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass

from netcheck.circuit.draft import Draft, Place
from netcheck.circuit.model import Part
from netcheck.circuit.railclaims import Claim
from netcheck.circuit.railvolts import Source, Span

_IDLE = frozenset({"capacitor", "test point", "hole", "mechanical"})  # carry no direct current
MOST_IN_A_ROW = 8  # filters behind each other; what is before more of them is left to the other evidence


@dataclass(frozen=True, slots=True)
class Hanging:
    """A net that one resistor feeds: the resistor, and the net before it."""

    part: Part
    ohms: float
    feed: str


def hanging(draft: Draft, rails: Set[str]) -> dict[str, Hanging]:
    """Nets with supply pins that nothing but one resistor from a rail can feed.

    Filters may follow each other: the last of a chain is found first, and counts as a load of the one before it.

    Args:
        rails: nets that are rails.
    """
    found: dict[str, Hanging] = {}
    left = {net for net in rails if _understood(draft, net)}
    for _ in range(MOST_IN_A_ROW):
        fresh: dict[str, Hanging] = {}
        for net in left:
            ways = [
                Hanging(near.part, near.part.value.number, far.pin.net)
                for near, far in draft.across(net, {"resistor"})
                if far.pin.net in rails and near.part.value.number is not None
                if far.pin.net not in found or found[far.pin.net].feed != net
            ]
            if len(ways) == 1 and 0 < ways[0].ohms <= draft.words.limit("resistor before a package").value:
                fresh[net] = ways[0]
        fresh = {net: way for net, way in fresh.items() if way.feed not in fresh or fresh[way.feed].feed != net}
        if not fresh:
            break
        found |= fresh
        left -= set(fresh)
    return found


def _understood(draft: Draft, net: str) -> bool:
    """Whether nothing is on a net but resistors, capacitors and supply pins, at least one of these."""
    supplied, pins = draft.words.group("supplied"), ("supply plus", "supply minus")
    fed = [place for place in draft.on[net] if place.part.kind in supplied and place.pin.role in pins]
    others = [place for place in draft.on[net] if place not in fed]
    return bool(fed) and all(place.part.kind in _IDLE or _plain(place) for place in others)


def _plain(place: Place) -> bool:
    return place.part.kind == "resistor" and len(place.part.pins) == 2 and bool(place.part.value.number)


def with_signs_of_feeds(rails: Mapping[str, Claim], hangs: Mapping[str, Hanging]) -> dict[str, Claim]:
    """The same rails, those behind a resistor with the sign of their feed."""
    signed = dict(rails)
    for net in hangs:
        root, seen = net, {net}
        while root in hangs and hangs[root].feed not in seen:
            root = hangs[root].feed
            seen.add(root)
        if rails[root].sign and rails[root].sign != rails[net].sign:
            way = hangs[net].part.ref
            signed[net] = Claim(rails[root].sign, f"behind {way}, as its feed is {rails[root].sign}")
    return signed


def volts_behind(
    draft: Draft, net: str, way: Hanging, hangs: Mapping[str, Hanging], volts_of: Callable[[str], Span | None]
) -> Source | None:
    """Volts behind a resistor at rest, over what the loads may draw; None where the feed's volts are not known.

    Where the current of a load is not known, the net has at most the volts of its feed; where what it may be leaves
    much of the feed open, only the ends are told. What signals draw is left out.

    Args:
        volts_of: volts of a net that are known already; 0 for the zero.
    """
    feed = volts_of(way.feed)
    if feed is None or not feed.middle:
        return None
    sign = 1.0 if feed.middle > 0 else -1.0
    least, usual, most = sorted(abs(feed.middle if end is None else end) for end in (feed.low, feed.middle, feed.high))
    origin = f"behind {way.part.ref} from {draft.label(way.feed)}"
    drawn = _drawn(draft, net, hangs, volts_of)
    if drawn is None:
        return Source(_towards(sign, None, None, most), origin)
    amps, siemens, sideways = drawn
    divided = 1 + way.ohms * siemens

    def behind(volts: float, current: float) -> float:
        return max((volts - current * way.ohms) / divided, 0.0)

    low = behind(least, amps.high or 0.0)
    low = max(low - 2 * most * sideways * way.ohms, 0.0)  # a signal lies between the rails
    middle = behind(usual, (amps.middle or 0.0) + usual * sideways)
    open_volts = ((amps.high or 0.0) - (amps.low or 0.0) + 2 * most * sideways) * way.ohms
    sure = low > 0 and open_volts <= draft.words.limit("open share of a filter").value * usual
    return Source(_towards(sign, low, middle if sure else None, behind(most, amps.low or 0.0)), origin)


def within(volts: Span, claimed: float) -> bool:
    """Whether volts that a name claims lie between the ends.

    >>> within(Span(7.5, None, 11.2), 15.0), within(Span(None, None, 15.0), 12.0)
    (False, True)
    """
    above = volts.low is None or claimed >= volts.low
    return above and (volts.high is None or claimed <= volts.high)


def _towards(sign: float, low: float | None, middle: float | None, high: float | None) -> Span:
    """A span of volts away from zero, with its sign."""
    if sign > 0:
        return Span(low, middle, high)
    return Span(*(None if end is None else -end for end in (high, middle, low)))


def _drawn(
    draft: Draft, net: str, hangs: Mapping[str, Hanging], volts_of: Callable[[str], Span | None]
) -> tuple[Span, float, float] | None:
    """What a net's loads draw: amperes of packages, siemens of resistors to ground, and of those to elsewhere.

    None where a package tells no current.
    """
    parts = {place.part.key: place.part for place in draft.on[net] if place.part.kind in draft.words.group("supplied")}
    draws = [supply_current(part) for part in parts.values()]
    down = sideways = 0.0
    own = hangs[net]
    for near, far in draft.across(net, {"resistor"}):
        if near.part.key == own.part.key or not near.part.value.number:
            continue
        base = volts_of(far.pin.net)
        if far.pin.net in hangs and hangs[far.pin.net].feed == net:
            beyond = _drawn(draft, far.pin.net, hangs, volts_of)
            if beyond is None:
                return None
            share = 1 / (1 + near.part.value.number * beyond[1])
            draws.append(beyond[0])
            down, sideways = down + beyond[1] * share, sideways + beyond[2]
        elif base is not None and base.middle == 0:
            down += 1 / near.part.value.number
        elif any(place.part.key != near.part.key and place.part.kind not in _IDLE for place in draft.on[far.pin.net]):
            sideways += 1 / near.part.value.number
    if any(draw is None for draw in draws):
        return None
    known = [draw for draw in draws if draw is not None]
    return Span(*(sum(getattr(d, end) or 0.0 for d in known) for end in ("low", "middle", "high"))), down, sideways


def supply_current(part: Part) -> Span | None:
    """Amperes that a whole package draws at rest, as the part book tells; None where it does not.

    The book tells what each amplifier draws, and the most of all together. The middle is the geometric one.

    >>> from netcheck.circuit.model import Figure, Record
    >>> from netcheck.ground.quantities import PartValue
    >>> record = Record("TL072", "opamp", {"supply_current": Figure(0.0014, 0.0014), "amplifiers": Figure(2, 2)})
    >>> supply_current(Part("b/U1", "b", "U1", "opamp", "", PartValue("TL072"), (), record=record))
    Span(low=0.0028, middle=0.0028, high=0.0028)
    """
    figures = part.record.figures if part.record else {}
    each, whole, number = (figures.get(n) for n in ("supply_current", "supply_current_total_most", "amplifiers"))
    if each is None or each.low is None or each.high is None:
        return None
    outputs = sum(pin.role == "output" for pin in part.pins)
    count = max(outputs, int(number.high) if number is not None and number.high else 1)
    low, high = each.low * count, each.high * count
    if whole is not None and whole.high is not None:
        high = max(high, whole.high)
    return Span(low, math.sqrt(low * high), high)
