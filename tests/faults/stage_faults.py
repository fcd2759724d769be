"""Wrong numbers in supplies and output stages: each kind finds its places and makes the mistake there."""

from __future__ import annotations

import re
from collections.abc import Iterator

from numbers_changed import (
    devices_at,
    emitter_resistors,
    feedback,
    number,
    part,
    scaled,
    told_instead,
    with_resistor,
    with_type,
    with_value,
)
from planting import Planted, Site, both_on_supplies, merged, moved, name_of, planted, with_nodes, without


def small_bleeder(site: Site) -> Iterator[Planted]:
    """A resistor between rails or to ground is a thirtieth: it cooks."""
    for p in site.parts("resistor"):
        if both_on_supplies(site, p):
            volts = [site.net(pin).volts or 0.0 for pin in p.pins]
            watts = (volts[0] - volts[1]) ** 2 / (number(p) / 30)
            if watts > 3:
                yield scaled(site, f"{p.ref} a thirtieth", [p], 1 / 30)


def small_led_resistor(site: Site) -> Iterator[Planted]:
    lamps = {pin.net: p for p in site.parts("led") for pin in p.pins if site.role(pin) == "signal"}
    for p in site.parts("resistor"):
        for pin in p.pins:
            if pin.net in lamps and len(site.on(pin.net)) == 2 and any(site.role(q) == "rail" for q in p.pins):
                yield scaled(site, f"{p.ref} a thirtieth", [p], 1 / 30, [lamps[pin.net].key])


def large_emitter_resistor(site: Site) -> Iterator[Planted]:
    for one, other, net in emitter_resistors(site):
        keys = [*devices_at(site, one), *devices_at(site, other), net]
        yield scaled(site, f"{one.ref} ten times", [one], 10, keys)


def large_emitter_resistors(site: Site) -> Iterator[Planted]:
    """Both of a pair: the swing into the load is what shows, where a load is told or usual."""
    for one, other, net in emitter_resistors(site):
        keys = [*devices_at(site, one), *devices_at(site, other), net, "b/J2", "b/J3"]
        yield scaled(site, f"{one.ref} and {other.ref} ten times", [one, other], 10, keys)


def small_emitter_resistors(site: Site) -> Iterator[Planted]:
    for one, other, _ in emitter_resistors(site):
        keys = [*devices_at(site, one), *devices_at(site, other)]
        yield scaled(site, f"{one.ref} and {other.ref} a thirtieth", [one, other], 1 / 30, keys)


def doubled_rails(site: Site) -> Iterator[Planted]:
    """A supply of twice the volts is plugged in, as the names of the rails say."""
    amps = site.parts("opamp", "power amplifier")
    supplies = {name_of(site, pin) for p in amps for pin in p.pins if pin.role.startswith("supply")}
    names = {name for name in supplies if re.fullmatch(r"[+-]\d+V", name)} if "transformer" not in site.told else set()
    if amps and {name[0] for name in names} == {"+", "-"}:
        double = {name: f"{name[0]}{2 * int(name[1:-1])}V" for name in names}
        netlist = with_nodes(site.netlist, lambda net, node: double.get(net, net))
        yield planted(site, f"{' and '.join(sorted(double.values()))}", [p.key for p in amps], netlist)


def low_secondary(site: Site) -> Iterator[Planted]:
    yield from _secondary(site, 0.6)


def high_secondary(site: Site) -> Iterator[Planted]:
    yield from _secondary(site, 1.6)


def _secondary(site: Site, factor: float) -> Iterator[Planted]:
    found = re.search(r"secondaries: \[(\d+) V, \d+ V\]", site.told)
    if found:
        volts = round(int(found[1]) * factor)
        keys = [p.key for p in site.board.parts if p.kind in ("regulator", "opamp", "power amplifier", "capacitor")]
        new = f"secondaries: [{volts} V, {volts} V]"
        what = f"a transformer of {volts} V"
        yield from told_instead(site, what, r"secondaries: \[[^]]*\]", new, [*keys, "b/J2", "b/J3"])


def small_transformer(site: Site) -> Iterator[Planted]:
    found = re.search(r"power: (\d+) VA", site.told)
    if found:
        new = f"power: {max(1, int(found[1]) // 10)} VA"
        yield from told_instead(site, f"a transformer of {new[7:]}", r"power: \d+ VA", new, ["chassis/transformer"])


def turned_winding(site: Site) -> Iterator[Planted]:
    """One of two windings that take turns is wired the other way round."""
    turned = {"S1: b.J1.1, S2: b.J1.2": "S2: b.J1.1, S1: b.J1.2"}
    for old, new in turned.items():
        keys = [net.key for net in site.board.nets if net.role == "rail"]
        yield from told_instead(site, "a winding turned round", re.escape(old), new, [*keys, "chassis/transformer"])


def small_reservoir(site: Site) -> Iterator[Planted]:
    """The reservoirs of a rail are a fiftieth."""
    if "transformer" in site.told:
        rails = {pin.net for p in site.parts("bridge", "diode") for pin in p.pins if site.role(pin) == "rail"}
        for rail in sorted(rails):
            some = [p for p, _ in site.on(rail) if p.kind == "capacitor" and number(p) > 100e-6]
            if some:
                regulators = [p.key for p, _ in site.on(rail) if p.kind == "regulator"]
                yield scaled(site, f"{[p.ref for p in some]} a fiftieth", some, 1 / 50, [rail, *regulators])


def hot_regulator(site: Site) -> Iterator[Planted]:
    """Something takes half an ampere from a small supply with small heatsinks."""
    if "transformer" in site.told and site.parts("regulator"):
        for rail in ("+15V", "-15V"):
            netlist = with_resistor(site.netlist, part(site, "R1"), "R99", "60/10W", rail, "GND")
            makers = [p.key for p in site.parts("regulator") for pin in p.pins if name_of(site, pin) == rail]
            yield planted(site, f"60 ohm on {rail}", makers, netlist)


def wrong_regulator_divider(site: Site) -> Iterator[Planted]:
    for p in site.parts("regulator"):
        named = any(re.fullmatch(r"[+-]\d+V", name_of(site, pin)) for pin in p.by_role("output"))
        for pin in p.by_role("adjust") if named else ():
            for r in site.parts("resistor"):
                if pin.net in [q.net for q in r.pins] and any(site.role(q) == "ground" for q in r.pins):
                    yield scaled(site, f"{r.ref} 1.7 times", [r], 1.7, [p.key])


def missing_discharge(site: Site) -> Iterator[Planted]:
    """What empties the capacitors of a high rail is left out."""
    if site.name == "valve-preamplifier":
        yield planted(
            site, "R1, R2 and R4 left out", ["b/net/+300V", "b/net/+280V"], without(site.netlist, ["R1", "R2", "R4"])
        )


def unprotected_adapter(site: Site) -> Iterator[Planted]:
    if site.name == "adapter-preamplifier":
        netlist = merged(without(site.netlist, ["Q1"]), "+12V", "DC")
        yield planted(site, "Q1 left out", ["b/J1"], netlist)


def small_output_devices(site: Site) -> Iterator[Planted]:
    """Small-signal transistors where 32 ohm are driven."""
    if site.name == "headphone-amplifier-stereo":
        for pair in (("Q102", "Q103"), ("Q202", "Q203")):
            netlist = site.netlist
            for reference, name in zip(pair, ("BC547", "BC557"), strict=True):
                netlist = with_type(netlist, reference, name)
            yield planted(site, f"{' and '.join(pair)} small", [f"b/{reference}" for reference in pair], netlist)


def low_volts_devices(site: Site) -> Iterator[Planted]:
    """Output transistors for less than lies between the rails."""
    for low in ({"2SC5200": "TIP31A", "2SA1943": "TIP32A"},):
        found = [p for p in site.parts("npn", "pnp") if p.value.text in low]
        if found and site.name == "power-amplifier-with-limiters":
            netlist = site.netlist
            for p in found:
                netlist = with_type(netlist, p.ref, low[p.value.text])
            yield planted(site, f"{[p.ref for p in found]} for 60 V", [p.key for p in found], netlist)


def small_heatsink(site: Site) -> Iterator[Planted]:
    if "heatsinks" in site.told and site.parts("npn"):
        keys = [p.key for p in site.parts("npn", "pnp")]
        yield from told_instead(site, "a heatsink of 200 K/W", r"to air: [\d.]+ K/W", "to air: 200 K/W", keys)


def too_much_bias(site: Site) -> Iterator[Planted]:
    """The upper resistor of a VBE multiplier is twice."""
    places = {"headphone-amplifier-stereo": "R106 R206", "headphone-class-ab": "R5"}
    for reference in places.get(site.name, "").split():
        keys = [p.key for p in site.parts("npn", "pnp")]
        yield scaled(site, f"{reference} twice", [part(site, reference)], 2.0, keys)


def feedback_before_the_stage(site: Site) -> Iterator[Planted]:
    """Feedback taken at the op-amp's own output."""
    places = {
        "headphone-class-ab": ("R3", "OUT", "D"),
        "headphone-amplifier-stereo": ("R104", "OL", "DL"),
        "class-a-follower": ("R4", "O", "D"),
    }
    if site.name in places:
        reference, old, new = places[site.name]
        p = part(site, reference)
        pin = next(pin for pin in p.pins if name_of(site, pin) == old)
        keys = [q.key for q in site.parts("npn", "pnp")] + [amp.key for amp in site.board.amplifiers]
        yield planted(site, f"{reference} on {new}", keys, moved(site.netlist, {(reference, pin.number): new}))


def direct_volts_at_the_output(site: Site) -> Iterator[Planted]:
    """A resistor from the + rail to the input pulls the output of a headphone amplifier up."""
    places = {
        "headphone-class-ab": ("R15", "+12V", "P"),
        "headphone-amplifier-stereo": ("R102", "+15V", "PL"),
        "class-a-follower": ("R2", "+12V", "P"),
    }
    if site.name in places:
        reference, rail, net = places[site.name]
        netlist = with_resistor(site.netlist, part(site, reference), "R99", "22k", rail, net)
        keys = [p.key for p in site.parts("npn", "pnp")] + ["b/net/OUT", "b/net/OL", "b/net/O"]
        yield planted(site, f"22k from {rail} to {net}", keys, netlist)


def low_chip_gain(site: Site) -> Iterator[Planted]:
    """The feedback resistor of a power amplifier in one package is a tenth: it works below its least stable gain."""
    for amp in site.board.amplifiers:
        chip = next(p for p in site.board.parts if p.key == amp.part)
        if chip.kind == "power amplifier" and chip.value.text in ("LM3886", "TDA7294"):
            for p in feedback(site, amp, "resistor"):
                yield scaled(site, f"{p.ref} a tenth", [p], 0.1, [chip.key, amp.key])


def large_output_resistor(site: Site) -> Iterator[Planted]:
    """A hundred ohms in series with headphones of 32 ohm, of which a level is wanted."""
    if site.name == "headphone-amplifier-stereo":
        for reference in ("R112", "R212"):
            p = part(site, reference)
            keys = [p.key, "b/J2", "b/J3", "b/net/OL", "b/net/OR"]
            yield planted(site, f"{reference} of 100 ohm", keys, with_value(site.netlist, p, 100.0))
