"""Wrong numbers in the way of a signal: each kind finds its places and makes the mistake there."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from numbers_changed import feedback, number, part, scaled, with_type, with_value
from planting import Planted, Site, changed, ends, exchanged, merged, moved, name_of, planted, without, working

from netcheck.circuit.model import Part

# Circuits of two channels, and resistors of which one is spoilt; of the crossfeed one stands for all.
STEREO = {
    "headphone-amplifier-stereo": r"R2\d\d",
    "volume-and-balance": r"R\d+",
    "riaa-active-opa1656": r"R\d+",
    "crossfeed": "R10",
}
LARGE = 0.5e-6  # farads: what is smaller is seldom there to pass the lowest notes


def small_coupling_with_target(site: Site) -> Iterator[Planted]:
    """A capacitor in series with the signal is a thirtieth of what it should be, and the band is told."""
    if "passband" in site.told:
        yield from _small_coupling(site)


def small_coupling_without_target(site: Site) -> Iterator[Planted]:
    if "passband" not in site.told:
        yield from _small_coupling(site)


def _small_coupling(site: Site) -> Iterator[Planted]:
    for p in site.parts("capacitor"):
        if len(p.pins) != 2 or number(p) < LARGE or any(site.role(pin) != "signal" for pin in p.pins):
            continue
        if any(far in _legs(site) for far in (pin.net for pin in p.pins)):
            continue
        way = [f"b/{other.ref}" for other in site.parts("connector")]
        yield scaled(site, f"{p.ref} a thirtieth", [p], 1 / 30, [*way, *(pin.net for pin in p.pins)])


def _legs(site: Site) -> set[str]:
    """Nets of - inputs and of multipliers' bases and collectors: a capacitor there is not in series with a signal."""
    return {
        pin.net
        for p in site.board.parts
        for pin in p.pins
        if pin.role == "minus" or (p.kind in ("npn", "pnp") and pin.role == "collector" and site.role(pin) == "signal")
    }


def one_channel_off(site: Site) -> Iterator[Planted]:
    """A resistor of one channel is 1.4 times its partner."""
    if site.name in STEREO:
        for p in site.parts("resistor"):
            if re.fullmatch(STEREO[site.name], p.ref):
                yield scaled(site, f"{p.ref} 1.4 times its partner", [p], 1.4)


def feedback_of_one_channel(site: Site) -> Iterator[Planted]:
    if site.name in STEREO:
        for _, amp in working(site):
            yield from (
                scaled(site, f"{p.ref} three times its partner", [p], 3.0) for p in feedback(site, amp, "resistor")
            )


def reversed_output_electrolytic(site: Site) -> Iterator[Planted]:
    """A polarised capacitor with half the supply on its inner side."""
    places = {
        "adapter-preamplifier": "C6 C8",
        "guitar-pedal": "C8",
        "microphone-preamplifier": "C2 C3",
        "common-emitter-stage": "C1 C2 C3",
        "electret-preamplifier": "C2 C3 C4",
    }
    for reference in places.get(site.name, "").split():
        if any(p.ref == reference and p.polarised for p in site.parts("capacitor")):
            p = part(site, reference)
            yield planted(site, f"{p.ref} turned round", [p.key], exchanged(site, *ends(p)))


def loaded_volume_control(site: Site) -> Iterator[Planted]:
    """The resistor to ground behind a wiper is a third of the track."""
    places = {
        "headphone-amplifier-stereo": (("RV1", "R102"), ("RV1", "R202")),
        "microphone-preamplifier-two-stages": (("RV1", "R5"),),
    }
    for control, load in places.get(site.name, ()):
        p, track = part(site, load), part(site, control)
        netlist = with_value(site.netlist, p, number(track) / 3)
        yield planted(site, f"{load} loads {control}", [track.key, p.key], netlist)


def unstable_type(site: Site) -> Iterator[Planted]:
    """An op-amp that wants a gain of three, without its capacitor, in the place of one that is stable at one."""
    for p, amp in working(site):
        record = p.record.figures if p.record else {}
        if "least_stable_gain" not in record and p.value.text.split()[0] not in ("TL071", "OPA134"):
            continue
        if p.value.text.split()[0] in ("TL071", "OPA134"):
            netlist = with_type(site.netlist, p.ref, "NE5534")
            yield planted(site, f"{p.ref} an NE5534", [p.key, amp.key], netlist)


def missing_compensation(site: Site) -> Iterator[Planted]:
    """The capacitor at the compensation pins of an LM301 is left out."""
    for p, amp in working(site):
        if p.value.text.startswith("LM301"):
            pins = {pin.net for pin in p.pins if pin.role == "compensation" and len(site.on(pin.net)) > 1}
            for c in site.parts("capacitor"):
                if {pin.net for pin in c.pins} <= pins:
                    yield planted(site, f"{c.ref} left out", [p.key, amp.key], without(site.netlist, [c.ref]))


def large_bias_resistor(site: Site) -> Iterator[Planted]:
    """22 M from a bipolar op-amp's + input to ground."""
    for p, amp in working(site):
        if p.value.text not in ("NE5532", "NE5534", "LM4562"):
            continue
        net = site.pin(amp.plus).net
        for r in site.parts("resistor"):
            nets = [pin.net for pin in r.pins]
            if net in nets and any(site.role(pin) == "ground" for pin in r.pins) and number(r) >= 22e3:
                others = [q for q, _ in site.on(net) if q.kind == "resistor" and q.ref != r.ref]
                open_for_dc = all(_only_capacitors_beyond(site, q, net) for q in others)
                if open_for_dc:
                    yield planted(site, f"{r.ref} of 22 M", [p.key, amp.key], with_value(site.netlist, r, 22e6))


def _only_capacitors_beyond(site: Site, resistor: Part, net: str) -> bool:
    far = next(pin.net for pin in resistor.pins if pin.net != net)
    return {p.kind for p, _ in site.on(far) if p.ref != resistor.ref} <= {"capacitor"}


def large_feedback_capacitor(site: Site) -> Iterator[Planted]:
    """The capacitor across a feedback resistor of kilohms is thirty times: the top of the band goes."""
    for p, amp in working(site):
        ohms = [number(r) for r in feedback(site, amp, "resistor")]
        for c in feedback(site, amp, "capacitor"):
            if ohms and number(c) <= 220e-12 and min(ohms) >= 4.7e3:
                keys = [p.key, amp.key, "b/J2", "b/J3"]
                yield scaled(site, f"{c.ref} thirty times", [c], 30, keys)


def slow_type(site: Site) -> Iterator[Planted]:
    """A slow type before a socket, on 15 V."""
    rails = {net.name for net in site.board.nets if net.role == "rail"}
    for p in site.parts("opamp"):
        if p.value.text in ("NE5532", "TL072", "LM4562") and {"+15V", "-15V"} <= rails and "signal:" in site.told:
            amps = [amp.key for amp in site.board.amplifiers if amp.part == p.key]
            yield planted(site, f"{p.ref} an LM358", [p.key, *amps], with_type(site.netlist, p.ref, "LM358"))


def open_to_radio(site: Site) -> Iterator[Planted]:
    """What keeps radio out of an input is left out: the capacitor, and the resistor before it is a link."""
    places = {
        "headphone-class-ab": (("C1",), ("R1", "W", "P")),
        "lm3886-amplifier": (("C1",), ("R1", "IN", "P")),
        "bridged-line-amplifier": (("C2",), ("R1", "A", "P")),
        "multiple-feedback-low-pass": (("C9",), ("R7", "IN", "I")),
        "microphone-preamplifier-two-stages": (("C1",), ("R1", "IN", "A")),
    }
    if site.name in places:
        gone, (resistor, outer, inner) = places[site.name]
        netlist = merged(without(site.netlist, [*gone, resistor]), outer, inner)
        keys = [p.key for p in site.board.parts if p.kind in ("connector", "opamp", "power amplifier")]
        yield planted(site, f"{gone[0]} and {resistor} left out", keys, netlist)


def reversed_track(site: Site) -> Iterator[Planted]:
    """A volume control on the board with the ends of all its gangs exchanged."""
    for p in site.parts("potentiometer"):
        if site.name in ("headphone-amplifier-stereo",):
            nets = {pin.number: name_of(site, pin) for pin in p.pins}
            places = {
                (p.ref, "1"): nets["3"],
                (p.ref, "3"): nets["1"],
                (p.ref, "4"): nets["6"],
                (p.ref, "6"): nets["4"],
            }
            yield planted(site, f"ends of {p.ref} exchanged", [p.key], moved(site.netlist, places))


def opposite_gang(site: Site) -> Iterator[Planted]:
    """One gang of a volume control with its ends exchanged."""
    for p in site.parts("potentiometer"):
        if site.name in ("headphone-amplifier-stereo",):
            nets = {pin.number: name_of(site, pin) for pin in p.pins}
            places = {(p.ref, "4"): nets["6"], (p.ref, "6"): nets["4"]}
            yield planted(site, f"a gang of {p.ref} exchanged", [p.key], moved(site.netlist, places))


def linear_volume(site: Site) -> Iterator[Planted]:
    for p in site.parts("potentiometer"):
        if " log" in p.value.text:
            netlist = changed(
                site.netlist,
                p.ref,
                lambda component: replace(
                    component,
                    value=component.value.replace(" log", " lin"),
                    fields=tuple((name, "B" if text == "A" else text) for name, text in component.fields),
                ),
            )
            yield planted(site, f"{p.ref} linear", [p.key], netlist)


def channels_run_together(site: Site) -> Iterator[Planted]:
    """The same place of both channels on one net."""
    places = {
        "headphone-amplifier-stereo": (("WL", "WR"), ("PL", "PR")),
        "volume-and-balance": (("AL", "AR"), ("WL", "WR")),
    }
    for one, other in places.get(site.name, ()):
        keys = [f"b/net/{one}", *(p.key for p, _ in [*site.on(f"b/net/{one}"), *site.on(f"b/net/{other}")])]
        yield planted(site, f"{one} and {other} one net", keys, merged(site.netlist, one, other))


def channels_exchanged(site: Site) -> Iterator[Planted]:
    """Left goes out on the right contact."""
    places = {"headphone-amplifier-stereo": ("J3", "PHL", "PHR"), "volume-and-balance": ("", "", "")}
    plug, left, right = places.get(site.name, ("", "", ""))
    if plug:
        pins = {name_of(site, pin): pin for pin in part(site, plug).pins}
        keys = ["b/net/INL", "b/net/INR"]
        yield planted(site, f"left and right of {plug} exchanged", keys, exchanged(site, pins[left], pins[right]))


def class_two_coupling(site: Site) -> Iterator[Planted]:
    """A coupling capacitor of class 2 ceramic, small enough for the bass to lie across it."""
    places = {"preamplifier-and-supply": ("C9", 47e-9), "bridged-line-amplifier": ("C1", 100e-9)}
    if site.name in places:
        reference, farads = places[site.name]
        p = part(site, reference)
        netlist = changed(
            with_value(site.netlist, p, farads, "X7R 50V"),
            reference,
            lambda component: replace(component, footprint="Capacitor_SMD:C_0805_2012Metric"),
        )
        yield planted(site, f"{reference} X7R", [p.key], netlist)


def missing_bleed(site: Site) -> Iterator[Planted]:
    """No way for direct current behind an output capacitor."""
    places = {"adapter-preamplifier": ("R9", "C8"), "guitar-pedal": ("R9", "C8"), "common-emitter-stage": ("R5", "C3")}
    if site.name in places:
        resistor, capacitor = places[site.name]
        if any(p.ref == resistor for p in site.board.parts):
            yield planted(site, f"{resistor} left out", [f"b/{capacitor}"], without(site.netlist, [resistor]))


def much_gain(site: Site) -> Iterator[Planted]:
    """The feedback resistor is thirty times: the output clips whatever one does."""
    if "largest level" in site.told:
        for p, amp in working(site):
            legs = [q for q, _ in site.on(site.pin(amp.minus).net) if q.kind == "resistor"]
            for r in feedback(site, amp, "resistor") if len(legs) > 1 else ():
                keys = ["b/J2", "b/J3", p.key, amp.key]
                yield scaled(site, f"{r.ref} thirty times", [r], 30, keys)


def no_output_resistor(site: Site) -> Iterator[Planted]:
    """The op-amp straight on the socket."""
    places = {
        "microphone-preamplifier-two-stages": ("R8", "O2", "L2"),
        "bridged-line-amplifier": ("R7", "HOTD", "HOT"),
        "active-volume-control": ("R5", "O", "L"),
    }
    if site.name in places:
        reference, near, far = places[site.name]
        keys = [amp.key for amp in site.board.amplifiers]
        yield planted(site, f"{reference} a link", keys, merged(without(site.netlist, [reference]), near, far))
