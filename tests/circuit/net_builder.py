"""Parts and nets made by hand, with the pin roles that recognition gives them; nets called P…, M…, O… or x… have no
name that a designer gave."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from netcheck.circuit.model import Figure, Hints, Net, Part, Pin, Record
from netcheck.circuit.rails import assign_net_roles
from netcheck.circuit.words import load_words
from netcheck.ground.quantities import read_part_value

WORDS = load_words(Path(__file__).resolve().parents[2] / "rules" / "words.yaml")
ENDS = {
    "diode": ("anode", "cathode"), "zener": ("anode", "cathode"), "led": ("anode", "cathode"),
    "battery": ("plus", "minus"),
}  # fmt: skip


def make(ref: str, kind: str, *nets: str, value: str = "", record: Record | None = None, **more: object) -> Part:
    """A part: nets of its pins in order (roles by its kind), or by role with underscores for blanks."""
    roles = {key.replace("_", " "): net for key, net in more.items() if key.replace("_", " ") not in FIELDS}
    fields = {key: value for key, value in more.items() if key in FIELDS}
    places = [(ENDS.get(kind, ("end", "end"))[i] if kind in ENDS else _role(kind), net) for i, net in enumerate(nets)]
    for role, net in roles.items():
        places += [(role, one) for one in (net if isinstance(net, tuple) else (net,))]
    pins = tuple(
        Pin(f"b/{ref}.{number}", f"b/{ref}", "b", str(number), f"b/net/{net}", role=role)
        for number, (role, net) in enumerate(places, 1)
    )
    return Part(f"b/{ref}", "b", ref, kind, "", read_part_value(value, kind), pins, record, **fields)  # type: ignore[arg-type]


FIELDS = {"fitted", "library_part", "description"}


def _role(kind: str) -> str:
    return {"connector": "terminal", "hole": "terminal", "fuse": "end", "link": "end"}.get(kind, "end")


def polarised(ref: str, plus: str, minus: str, value: str = "100u") -> Part:
    return make(ref, "capacitor", value=value, plus=plus, minus=minus)


def opamp(ref: str, plus: str, minus: str, tag: str = "") -> Part:
    roles = {"plus": f"P{ref}{tag}", "minus": f"M{ref}{tag}", "output": f"O{ref}{tag}"}
    return make(ref, "opamp", value="NE5532", supply_plus=plus, supply_minus=minus, **roles)


def fixed(name: str, volts: float, spread: float = 0.04) -> Record:
    low, high = abs(volts) * (1 - spread), abs(volts) * (1 + spread)
    polarity = "negative" if volts < 0 else "positive"
    figures = MappingProxyType({"output_volts": Figure(low, high)})
    return Record(name, "regulator", figures, polarity=polarity, output=volts)


def adjustable(name: str, polarity: str = "positive", **figures: tuple[float, float]) -> Record:
    named = {key: Figure(*bounds) for key, bounds in (figures or {"reference_volts": (1.2, 1.3)}).items()}
    return Record(name, "regulator", MappingProxyType(named), polarity=polarity)


def nets_of(parts: list[Part], extra: tuple[str, ...] = (), unnamed: tuple[str, ...] = ()) -> tuple[Net, ...]:
    names = dict.fromkeys([pin.net.split("/", 2)[2] for part in parts for pin in part.pins] + list(extra))
    return tuple(
        Net(
            f"b/net/{name}", "b", "" if name in unnamed or name.startswith(("P", "M", "O", "x")) else name, str(code),
            tuple(pin.key for part in parts for pin in part.pins if pin.net == f"b/net/{name}"),
        )
        for code, name in enumerate(names)
    )  # fmt: skip


def roles(parts: list[Part], hints: Hints | None = None, unnamed: tuple[str, ...] = ()) -> dict[str, Net]:
    """Roles by net, after a check that the order of listing makes no difference."""
    nets = nets_of(parts, unnamed=unnamed)
    first = assign_net_roles(tuple(parts), nets, WORDS, hints)
    assert [net.key for net in first] == [net.key for net in nets]
    other_parts, other_nets = list(parts), list(nets)
    for seed in range(3):
        random.Random(seed).shuffle(other_parts)
        random.Random(seed).shuffle(other_nets)
        again = assign_net_roles(tuple(other_parts), tuple(other_nets), WORDS, hints)
        assert {net.key: net for net in again} == {net.key: net for net in first}
    return {net.key.split("/", 2)[2]: net for net in first}


def said(net: Net) -> tuple[str, str, float | None]:
    return net.role, net.sign, net.volts


DUAL = [
    opamp("U1", "+15V", "-15V"),
    opamp("U2", "+15V", "-15V"),
    make("C1", "capacitor", "+15V", "GND", value="100n"),
    make("C2", "capacitor", "-15V", "GND", value="100n"),
    make("J1", "connector", "+15V", "GND", "-15V"),
    make("R1", "resistor", "PU1", "GND", value="10k"),
    make("J2", "connector", tip="PU1", sleeve="GND"),
]


def renamed(parts: list[Part], names: dict[str, str]) -> list[Part]:
    def pin(p: Pin) -> Pin:
        name = p.net.split("/", 2)[2]
        return replace(p, net=f"b/net/{names.get(name, name)}")

    return [replace(part, pins=tuple(pin(p) for p in part.pins)) for part in parts]


def supply(plus: str, minus: str) -> list[Part]:
    return [
        make("J1", "connector", "AC1", "GND", "AC2"),
        make("D1", "bridge", alternating=("AC1", "AC2"), plus="xa", minus="xb"),
        polarised("C1", "xa", "GND", "2200u"),
        polarised("C2", "GND", "xb", "2200u"),
        make("U3", "regulator", value="LM7815", record=fixed("7815", 15), input="xa", ground="GND", output=plus),
        make("U4", "regulator", value="LM7915", record=fixed("7915", -15), input="xb", ground="GND", output=minus),
        polarised("C3", plus, "GND", "10u"),
        polarised("C4", "GND", minus, "10u"),
        make("J2", "connector", plus, "GND", minus),
    ]
