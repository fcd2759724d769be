"""Mistakes to be planted in sound circuits: each kind finds the places where it can be made, and makes it there.

A kind is a function that takes a circuit and yields `Planted`: what was done, the keys of which a finding must speak
(any of them), and the netlist with the mistake in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType

from netcheck.circuit.model import Amplifier, Board, Hints, Net, Part, Pin
from netcheck.intake.netlist import Component, Netlist, Node, Oddity

SUPPLIES = ("rail", "ground")
CONDUCTING = ("resistor", "potentiometer", "trimmer", "inductor")
SMALL_EMITTER_RESISTOR = 22.0
RATINGS = (4.0, 6.3, 10.0, 16.0, 25.0, 35.0, 50.0)


@dataclass(frozen=True)
class Site:
    """A sound circuit, as typed and as understood; `told` is the text of what is told of it."""

    name: str
    netlist: Netlist
    hints: Hints
    board: Board
    told: str = ""

    def net(self, pin: Pin) -> Net:
        return next(net for net in self.board.nets if net.key == pin.net)

    def parts(self, *kinds: str) -> list[Part]:
        return [part for part in self.board.parts if part.kind in kinds]

    def pin(self, key: str | None) -> Pin:
        return next(pin for part in self.board.parts for pin in part.pins if pin.key == key)

    def on(self, key: str) -> list[tuple[Part, Pin]]:
        """Parts and pins on a net."""
        return [(part, pin) for part in self.board.parts for pin in part.pins if pin.net == key]

    def role(self, pin: Pin) -> str:
        return self.net(pin).role


@dataclass(frozen=True)
class Planted:
    """A mistake in its place: a finding must speak of one of the keys."""

    site: str
    what: str
    keys: frozenset[str]
    netlist: Netlist
    hints: Hints
    told: str = ""


Kind = Callable[[Site], Iterator[Planted]]


# Changing a netlist


def with_nodes(netlist: Netlist, change: Callable[[str, Node], str | None]) -> Netlist:
    """Each node on the net that `change` gives (from its net and itself), or on none."""
    nodes: dict[str, list[Node]] = {}
    codes = {net.name: net.code for net in netlist.nets}
    for net in netlist.nets:
        for node in net.nodes:
            name = change(net.name, node)
            if name is not None:
                nodes.setdefault(name, []).append(node)
    nets = tuple(
        replace(netlist.nets[0], code=codes.get(name, f"9{at}"), name=name, nodes=tuple(found), line=found[0].line)
        for at, (name, found) in enumerate(nodes.items())
    )
    return replace(netlist, nets=nets)


def moved(netlist: Netlist, places: Mapping[tuple[str, str], str]) -> Netlist:
    """Pins, by reference and number, put on other nets."""
    return with_nodes(netlist, lambda net, node: places.get((node.reference, node.pin), net))


def without(netlist: Netlist, references: Iterable[str]) -> Netlist:
    gone = set(references)
    left = with_nodes(netlist, lambda net, node: None if node.reference in gone else net)
    return replace(left, components=tuple(each for each in netlist.components if each.reference not in gone))


def merged(netlist: Netlist, kept: str, lost: str) -> Netlist:
    return with_nodes(netlist, lambda net, node: kept if net == lost else net)


def changed(netlist: Netlist, reference: str, change: Callable[[Component], Component]) -> Netlist:
    parts = tuple(change(each) if each.reference == reference else each for each in netlist.components)
    return replace(netlist, components=parts)


def exchanged(site: Site, one: Pin, other: Pin) -> Netlist:
    """Two pins of a part with their nets exchanged."""
    names = {net.key: net.name or net.code for net in site.board.nets}
    reference = one.part.split("/")[1]
    places = {(reference, one.number): names[other.net], (reference, other.number): names[one.net]}
    return moved(site.netlist, places)


def planted(
    site: Site, what: str, keys: Iterable[str], netlist: Netlist, hints: Hints | None = None, told: str | None = None
) -> Planted:
    about = site.told if told is None else told
    return Planted(site.name, f"{site.name}: {what}", frozenset(keys), netlist, hints or site.hints, about)


def ends(part: Part) -> tuple[Pin, Pin]:
    first, second = part.pins
    return first, second


def both_on_supplies(site: Site, part: Part) -> bool:
    return len(part.pins) == 2 and all(site.role(pin) in SUPPLIES for pin in part.pins)


def both_rails(site: Site, part: Part) -> bool:
    return len(part.pins) == 2 and all(site.role(pin) == "rail" for pin in part.pins)


def name_of(site: Site, pin: Pin) -> str:
    return site.net(pin).name


# Where direct current comes from


def reached(site: Site, start: str, past: str) -> set[str]:
    """Keys of nets that direct current reaches from one, past a part, not going on from rails and grounds."""
    seen, waiting = {start}, [start]
    while waiting:
        for part, _ in site.on(waiting.pop()):
            if part.kind not in CONDUCTING or part.ref == past:
                continue
            for pin in part.pins:
                if pin.net not in seen:
                    seen.add(pin.net)
                    if site.role(pin) == "signal":
                        waiting.append(pin.net)
    return seen


def has_source(site: Site, nets: set[str], but: Pin) -> bool:
    """Whether one of the nets gives direct current: a supply, an output, a connector, a transistor or diode."""
    for key in nets:
        for part, pin in site.on(key):
            if site.role(pin) in SUPPLIES or part.kind == "connector":
                return True
            if pin.role in ("output", "emitter", "collector", "source", "anode", "cathode") and pin is not but:
                return True
    return False


def working(site: Site) -> Iterator[tuple[Part, Amplifier]]:
    """Op-amps whose output goes somewhere, not spare ones."""
    for amp in site.board.amplifiers:
        part = next(part for part in site.board.parts if part.key == amp.part)
        if part.kind != "opamp" or amp.output is None or amp.plus is None or amp.minus is None:
            continue
        if any(other.key != part.key for other, _ in site.on(site.pin(amp.output).net)):
            yield part, amp


# The kinds of mistake


def reversed_electrolytic(site: Site) -> Iterator[Planted]:
    for part in site.parts("capacitor"):
        if part.polarised and both_on_supplies(site, part):
            yield planted(site, f"{part.ref} turned round", [part.key], exchanged(site, *ends(part)))


def shorted_emitter_resistor(site: Site) -> Iterator[Planted]:
    found = []
    for part in site.parts("resistor"):
        for near, far in (ends(part), ends(part)[::-1]):
            roles = {pin.role: other.key for other, pin in site.on(near.net) if other.kind in ("npn", "pnp")}
            if (
                "emitter" in roles
                and site.role(far) == "signal"
                and (part.value.number or 1e9) < SMALL_EMITTER_RESISTOR
            ):
                found.append((part, near, far))
    for part, near, far in found:
        if sum(other_far.net == far.net for _, _, other_far in found) > 1:
            devices = [other.key for other, _ in site.on(near.net) if other.kind in ("npn", "pnp")]
            netlist = merged(without(site.netlist, [part.ref]), name_of(site, far), name_of(site, near))
            yield planted(site, f"{part.ref} shorted", devices, netlist)


def cut_bias_resistor(site: Site) -> Iterator[Planted]:
    for part, amp in working(site):
        pin = site.pin(amp.plus)
        for other, _ in site.on(pin.net):
            if other.kind == "resistor" and not has_source(site, reached(site, pin.net, other.ref), pin):
                keys = [part.key, amp.key, pin.key]
                yield planted(site, f"{other.ref} left out", keys, without(site.netlist, [other.ref]))


def exchanged_inputs(site: Site) -> Iterator[Planted]:
    for part, amp in working(site):
        plus, minus = site.pin(amp.plus), site.pin(amp.minus)
        keys = [part.key, amp.key, plus.key, minus.key]
        yield planted(site, f"inputs of {part.ref}{amp.unit} exchanged", keys, exchanged(site, plus, minus))


def exchanged_emitter_and_collector(site: Site) -> Iterator[Planted]:
    for part in site.parts("npn", "pnp"):
        (emitter,), (collector,) = part.by_role("emitter"), part.by_role("collector")
        if any(site.role(pin) in SUPPLIES for pin in (emitter, collector)):
            yield planted(site, f"{part.ref} reversed", [part.key], exchanged(site, emitter, collector))


def removed_decoupling(site: Site) -> Iterator[Planted]:
    for net in site.board.nets:
        fed = [part.key for part, pin in site.on(net.key) if part.kind == "opamp" and pin.role.startswith("supply")]
        small = [p.ref for p, _ in site.on(net.key) if p.kind == "capacitor" and (p.value.number or 0) < 1e-6]
        small = [ref for ref in small if both_on_supplies(site, next(p for p in site.board.parts if p.ref == ref))]
        if net.role == "rail" and fed and small:
            what = f"{' and '.join(small)} of {net.name} left out"
            yield planted(site, what, [net.key, *fed], without(site.netlist, small))


def exchanged_supply_pins(site: Site) -> Iterator[Planted]:
    for part in site.parts("opamp", "comparator", "buffer"):
        plus = part.by_role("supply plus")
        minus = part.by_role("supply minus") or part.by_role("ground")
        if plus and minus:
            keys = [part.key, plus[0].key, minus[0].key]
            yield planted(site, f"supply pins of {part.ref} exchanged", keys, exchanged(site, plus[0], minus[0]))


def bypassed_part(site: Site) -> Iterator[Planted]:
    for part in site.parts("resistor", "capacitor", "diode"):
        if len(part.pins) != 2 or any(site.role(pin) != "signal" for pin in part.pins):
            continue
        kept, lost = (name_of(site, pin) for pin in part.pins)
        if kept != lost:
            keys = [part.key, *(f"{part.board}/net/{name}" for name in (kept, lost))]
            yield planted(site, f"both ends of {part.ref} on {kept}", keys, merged(site.netlist, kept, lost))


def coils(site: Site) -> Iterator[tuple[Part, Part]]:
    """Relays with the diode across their coil."""
    for relay in site.parts("relay"):
        nets = {pin.net for pin in relay.by_role("coil")}
        yield from ((relay, diode) for diode in site.parts("diode") if {pin.net for pin in diode.pins} == nets)


def removed_coil_diode(site: Site) -> Iterator[Planted]:
    for relay, diode in coils(site):
        yield planted(site, f"{diode.ref} left out", [relay.key], without(site.netlist, [diode.ref]))


def reversed_coil_diode(site: Site) -> Iterator[Planted]:
    for relay, diode in coils(site):
        yield planted(site, f"{diode.ref} turned round", [relay.key, diode.key], exchanged(site, *ends(diode)))


def downstream(site: Site, amp: Amplifier, past: str) -> set[str]:
    """Keys of nets that an amplifier's output moves, past a part: through whatever conducts and other amplifiers."""
    output = site.pin(amp.output).net
    seen, waiting = {output}, [output]
    while waiting:
        key = waiting.pop()
        if next(net for net in site.board.nets if net.key == key).role != "signal":
            continue
        for part, pin in site.on(key):
            if part.ref == past or (part.key == amp.part and pin.unit == amp.unit and pin.role in ("plus", "minus")):
                continue
            ahead = [other.net for other in part.pins if part.kind in (*CONDUCTING, "diode", "npn", "pnp")]
            if pin.role in ("plus", "minus", "input"):
                ahead = [other.net for other in part.pins if other.role == "output" and other.unit == pin.unit]
            waiting += [net for net in ahead if net not in seen]
            seen.update(ahead)
    return seen


def opened_feedback(site: Site) -> Iterator[Planted]:
    """The last path of direct current from output to - input is cut.

    Where a capacitor, or a leg to ground, is left at the - input. With neither, an amplifier between two signals cannot
    be told from a comparator.
    """
    for part, amp in working(site):
        minus, output = site.pin(amp.minus), site.pin(amp.output)
        for other, _ in site.on(minus.net):
            if other.kind != "resistor" or minus.net not in downstream(site, amp, ""):
                continue
            left = [each for each, _ in site.on(minus.net) if each.ref != other.ref]
            telling = [
                each
                for each in left
                if each.kind == "capacitor" or (each.kind == "resistor" and "ground" in map(site.role, each.pins))
            ]
            if minus.net not in downstream(site, amp, other.ref) and telling:
                keys = [part.key, amp.key, minus.key, output.key]
                yield planted(site, f"{other.ref} left out", keys, without(site.netlist, [other.ref]))


def blanked_value(site: Site) -> Iterator[Planted]:
    for part in site.parts("resistor", "capacitor", "inductor", "potentiometer", "trimmer"):
        netlist = changed(site.netlist, part.ref, lambda component: replace(component, value="TBD"))
        yield planted(site, f"no value at {part.ref}", [part.key], netlist)


def reversed_supply_diode(site: Site) -> Iterator[Planted]:
    for part in site.parts("diode"):
        if both_on_supplies(site, part):
            yield planted(site, f"{part.ref} turned round", [part.key], exchanged(site, *ends(part)))


def lowered_rating(site: Site) -> Iterator[Planted]:
    for part in site.parts("capacitor"):
        if not (part.polarised and both_on_supplies(site, part)):
            continue
        volts = abs((site.net(part.pins[0]).volts or 0) - (site.net(part.pins[1]).volts or 0))
        lower = [rating for rating in RATINGS if rating < volts]
        if lower:
            value = f"{part.value.text.split()[0]} {lower[-1]:g}V"
            netlist = changed(site.netlist, part.ref, lambda component, value=value: replace(component, value=value))
            yield planted(site, f"{part.ref} for {lower[-1]:g} V at {volts:g} V", [part.key], netlist)


def removed_footprint(site: Site) -> Iterator[Planted]:
    for part in site.board.parts:
        netlist = changed(site.netlist, part.ref, lambda component: replace(component, footprint=""))
        yield planted(site, f"no footprint at {part.ref}", [part.key], netlist)


def misspelt_net(site: Site) -> Iterator[Planted]:
    """A pin of a passive part on a net whose name has a letter too much."""
    for part in site.parts("resistor", "capacitor"):
        for pin in part.pins:
            name = name_of(site, pin)
            if len(site.on(pin.net)) > 2 and len(name) > 3:
                keys = [part.key, pin.key, pin.net, f"{pin.net}S"]
                netlist = moved(site.netlist, {(part.ref, pin.number): f"{name}S"})
                yield planted(site, f"{part.ref} on {name}S instead of {name}", keys, netlist)


def pin_on_two_nets(site: Site) -> Iterator[Planted]:
    nets = [net for net in site.netlist.nets if len(net.nodes) > 1]
    for one, other in pairwise(nets):
        node = one.nodes[0]
        if node.reference in {each.reference for each in other.nodes}:
            continue
        second = replace(other, nodes=(*other.nodes, node))
        oddity = Oddity("pin on two nets", node.reference, node.pin, (one.code, other.code), node.line)
        netlist = replace(
            site.netlist, nets=tuple(second if net is other else net for net in site.netlist.nets), oddities=(oddity,)
        )
        keys = [f"b/{node.reference}", f"b/{node.reference}.{node.pin}"]
        yield planted(site, f"{node.reference}.{node.pin} on {one.name} and {other.name}", keys, netlist)


def unfed_rail(site: Site) -> Iterator[Planted]:
    for net in site.board.nets:
        entries = [(part, pin) for part, pin in site.on(net.key) if part.kind == "connector"]
        made = any(p.kind == "regulator" and pin.role in ("output", "input") for p, pin in site.on(net.key))
        makers = {"diode", "bridge", "npn", "nmos"} & {part.kind for part, _ in site.on(net.key)}
        behind = any(both_rails(site, p) for p, _ in site.on(net.key) if p.kind == "resistor")
        if net.role == "rail" and len(entries) == 1 and not made and not makers and not behind:
            part, pin = entries[0]
            fed = [other.key for other, _ in site.on(net.key)]
            netlist = moved(site.netlist, {(part.ref, pin.number): f"unconnected-({part.ref}-Pad{pin.number})"})
            yield planted(site, f"{part.ref}.{pin.number} off {net.name}", [net.key, *fed], netlist)


def plain_supply_header(site: Site) -> Iterator[Planted]:
    """A supply plug without a key whose ends carry different supplies; a diode in series would bear it."""
    protected = {pin.net for part in site.parts("diode") for pin in part.by_role("anode")}
    for part in site.parts("connector"):
        nets = [site.net(pin) for pin in part.pins]
        supply = all(net.role in SUPPLIES for net in nets) and nets[0].key != nets[-1].key
        if not supply or part.family == "screw terminal" or any(net.key in protected for net in nets):
            continue
        size = f"1x{len(nets):02}"
        footprint = f"Connector_PinHeader_2.54mm:PinHeader_{size}_P2.54mm_Vertical"
        hints = replace(
            site.hints,
            families=MappingProxyType({**site.hints.families, part.ref: "header"}),
            keyed=MappingProxyType({**site.hints.keyed, part.ref: False}),
        )
        netlist = changed(site.netlist, part.ref, lambda each, footprint=footprint: replace(each, footprint=footprint))
        yield planted(site, f"{part.ref} a plain header", [part.key], netlist, hints)


def open_spare_amplifier(site: Site) -> Iterator[Planted]:
    in_use = {amp.key for _, amp in working(site)}
    for amp in site.board.amplifiers:
        part = next(part for part in site.board.parts if part.key == amp.part)
        if amp.key in in_use or part.kind != "opamp":
            continue
        pins = [site.pin(key) for key in (amp.output, amp.plus, amp.minus)]
        netlist = moved(site.netlist, {(part.ref, pin.number): f"Net-({part.ref}-Pad{pin.number})" for pin in pins})
        yield planted(site, f"{part.ref}{amp.unit} left open", [part.key, amp.key], netlist)


def removed_regulator_capacitors(site: Site) -> Iterator[Planted]:
    """Negative regulators oscillate without a capacitor at their output."""
    for part in site.parts("regulator"):
        for output in part.by_role("output"):
            capacitors = [other.ref for other, _ in site.on(output.net) if other.kind == "capacitor"]
            if part.record is not None and part.record.polarity == "negative" and capacitors:
                keys = [part.key, output.net]
                yield planted(site, f"{capacitors} left out", keys, without(site.netlist, capacitors))


def open_control_pin(site: Site) -> Iterator[Planted]:
    for part in site.parts("power amplifier"):
        for control in part.record.controls if part.record else ():
            number = next(iter(control.numbers.values()), "")
            if control.when_open == "works" or not any(pin.number == number for pin in part.pins):
                continue
            netlist = moved(site.netlist, {(part.ref, number): f"Net-({part.ref}-Pad{number})"})
            yield planted(site, f"{part.ref} {control.name} left open", [part.key, f"{part.key}.{number}"], netlist)


# Places where a mistake cannot be told from a circuit that is meant so, and why. Held true by a test.
NOT_TOLD: Mapping[str, str] = MappingProxyType(
    {
        "guitar-pedal: inputs of U1B exchanged": "half the supply, a few kilohm, seems to lead feedback to the - input",
        "dc-servo: inputs of U1A exchanged": "a comparator with hysteresis could be drawn so",
        "dc-servo: inputs of U1B exchanged": "a comparator made faster by a capacitor could be drawn so",
        "state-variable-filter: inputs of U1A exchanged": "the band-pass output leads feedback to the - input",
        "state-variable-filter: inputs of U1B exchanged": "a comparator made faster by a capacitor could be drawn so",
        "state-variable-filter: inputs of U1C exchanged": "a comparator made faster by a capacitor could be drawn so",
        "baxandall-tone-control: inputs of U1B exchanged": "a comparator with hysteresis could be drawn so",
    }
)

# Each kind of mistake with the rules of which one must find it.
KINDS: Mapping[str, tuple[Kind, frozenset[str]]] = MappingProxyType(
    {
        name: (kind, frozenset(rules.split()))
        for name, kind, rules in (
            ("an electrolytic turned round", reversed_electrolytic, "supply/capacitor-polarity"),
            ("an emitter resistor shorted", shorted_emitter_resistor, "output-stage/emitter-resistors"),
            ("a bias resistor left out", cut_bias_resistor, "signal/bias-path"),
            ("inputs exchanged", exchanged_inputs, "signal/feedback-sense"),
            ("emitter and collector exchanged", exchanged_emitter_and_collector, "build/transistor-reversed"),
            ("decoupling left out", removed_decoupling, "supply/rail-decoupling"),
            ("supply pins exchanged", exchanged_supply_pins, "supply/supply-pins"),
            ("two nets run together at a part", bypassed_part, "build/part-bypassed"),
            ("a coil diode left out", removed_coil_diode, "supply/coil-diode"),
            ("a coil diode turned round", reversed_coil_diode, "supply/coil-diode supply/diode-direction"),
            ("a feedback path cut", opened_feedback, "signal/feedback-complete"),
            ("a value not filled in", blanked_value, "build/values-readable"),
            ("a protection diode turned round", reversed_supply_diode, "supply/diode-direction supply/rail-fed"),
            ("a rating below the rail", lowered_rating, "supply/capacitor-voltage"),
            ("a footprint forgotten", removed_footprint, "build/footprint-present"),
            ("a net misspelt", misspelt_net, "build/near-names"),
            ("a pin on two nets", pin_on_two_nets, "build/pin-on-two-nets"),
            ("a rail cut from its plug", unfed_rail, "supply/rail-fed build/one-pin-net"),
            ("a supply plug without a key", plain_supply_header, "connectors/turned-plug"),
            ("a spare amplifier left open", open_spare_amplifier, "signal/spare-amplifiers"),
            ("a regulator without its capacitor", removed_regulator_capacitors, "supply/regulator-capacitors"),
            ("a mute pin left open", open_control_pin, "supply/control-pins"),
        )
    }
)
