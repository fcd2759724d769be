"""What nets that a cable joins have in common: a board is told what another board knows of them.

Boards are understood one by one. Then whatever stands on one side of a wire only (a rail and its volts, a ground, the
mains) is told to the other side, and boards are understood again, until nothing new follows. All that one round finds
is gathered before any of it is told, so that the order of boards and cables makes no difference. Where the two sides
contradict each other, both keep what they say; that is for the rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from netcheck.circuit.model import Circuit, Net, Shared
from netcheck.ground.names import natural_key

Told = tuple[str, float | None, Shared]

OUTER = ("earth", "chassis")
_BY_NAME = "by its name"
# A pin that tells what its net is for: nobody's rail or ground is told to such a net if it takes itself for a signal.
_SIGNAL_PINS = frozenset({"tip", "ring", "wiper", "base", "gate"})


def groups(wires: Mapping[str, Sequence[str]]) -> tuple[tuple[str, ...], ...]:
    """Nets that wires join, in natural order: each group, and the groups by their first.

    >>> groups({"a/net/G": ["b/net/G"], "c/net/G": ["b/net/G"]})
    (('a/net/G', 'b/net/G', 'c/net/G'),)
    """
    near: dict[str, set[str]] = {}
    for net, others in wires.items():
        for other in others:
            near.setdefault(net, set()).add(other)
            near.setdefault(other, set()).add(net)
    found: list[tuple[str, ...]] = []
    seen: set[str] = set()
    for start in sorted(near, key=natural_key):
        if start in seen:
            continue
        group, todo = {start}, [start]
        while todo:
            fresh = near[todo.pop()] - group
            group |= fresh
            todo.extend(fresh)
        seen |= group
        found.append(tuple(sorted(group, key=natural_key)))
    return tuple(found)


def shared(circuit: Circuit, joined: Iterable[Sequence[str]], known: frozenset[str]) -> dict[str, Told]:
    """What nets can be told by those they are joined to: net key -> (role, volts, where from).

    Volts that a name gives are told only in a round that has nothing firmer to tell.

    Args:
        joined: groups of nets from `groups`. known: nets that were told already.
    """
    firm: dict[str, Told] = {}
    by_name: dict[str, Told] = {}
    for group in joined:
        nets = [circuit.nets[key] for key in group]
        told, rank = _of_group(circuit, nets)
        fresh = {key: what for key, what in told.items() if key not in known}
        (firm if rank > 1 else by_name).update(fresh)
    return firm or by_name


def _of_group(circuit: Circuit, nets: Sequence[Net]) -> tuple[dict[str, Told], int]:
    """What one group tells its members, and how far that can be trusted: 1 for what only names say."""
    mains = [net for net in nets if net.role == "mains"]
    if mains:
        return {net.key: ("mains", None, _from(mains[0])) for net in nets if net.role != "mains"}, 3
    grounds = [net for net in nets if net.role == "ground"]
    rails = [net for net in nets if net.role == "rail"]
    if grounds:
        return _grounds(circuit, nets, grounds), 3
    if rails:
        return _rails(circuit, nets, rails)
    outer = sorted((net for net in nets if net.role in OUTER), key=lambda net: OUTER.index(net.role))
    if outer:
        first = outer[0]
        return {net.key: (first.role, None, _from(first)) for net in nets if _takes(circuit, net)}, 3
    return {}, 3


def _grounds(circuit: Circuit, nets: Sequence[Net], grounds: Sequence[Net]) -> dict[str, Told]:
    """Grounds that are joined share the zero; who does not know that it is one is told."""
    zero = next((net for net in grounds if net.volts == 0), None)
    source, volts = (zero, 0.0) if zero is not None else (grounds[0], grounds[0].volts)
    told: dict[str, Told] = {}
    for net in nets:
        if net.key != source.key and ((net.role == "ground" and net.volts != volts) or _takes(circuit, net)):
            told[net.key] = ("ground", volts, _from(source))
    return told


def _rails(circuit: Circuit, nets: Sequence[Net], rails: Sequence[Net]) -> tuple[dict[str, Told], int]:
    """A rail with volts tells those without, and those that only have a name."""
    ranked = {net.key: _rank(net) for net in rails}
    best = max(ranked.values())
    sources = [net for net in rails if ranked[net.key] == best]
    if len({net.volts for net in sources}) > 1:
        return {}, best
    source = sources[0]
    told: dict[str, Told] = {}
    for net in nets:
        lesser = net.role == "rail" and ranked[net.key] < best and (best > 1 or net.volts is None)
        if lesser or _takes(circuit, net):
            told[net.key] = ("rail", source.volts, _from(source))
    return told, best


def _rank(rail: Net) -> int:
    """How firmly a rail's volts are known: not at all, by a name, by what makes them."""
    if rail.volts is None:
        return 0
    return 1 if rail.origin.startswith(_BY_NAME) else 2


def _from(net: Net) -> Shared:
    name = net.name or net.key.split("/", 1)[1]
    return Shared(f"joined to {name} of {net.board}", net.low, net.high, net.sign)


def _takes(circuit: Circuit, net: Net) -> bool:
    """Whether a net without a role of its own takes the one that it is told: none of its pins says otherwise."""
    if net.role != "signal":
        return False
    for pin in circuit.pins_on(net):
        kind = circuit.part_of(pin).kind
        amplifies = kind in ("opamp", "comparator", "buffer", "power amplifier", "transconductance amplifier")
        if pin.role in _SIGNAL_PINS or (amplifies and pin.role in ("plus", "minus", "input", "output")):
            return False
    return True
