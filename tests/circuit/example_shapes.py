"""Shapes as a rule book has them, their expressions written as functions."""

from __future__ import annotations

from collections.abc import Mapping

from netcheck.circuit.model import Circuit, Net, Part
from netcheck.circuit.shapes import Evaluator, Form, Found, NetSlot, PartSlot, Passes, Shape, Tie, find_matches
from netcheck.circuit.walk import Walks
from netcheck.language.values import Lot, Unknown

Names = Mapping[str, object]
SERIES = frozenset({"resistor", "fuse", "ferrite", "link", "inductor", "capacitor"})
SOFT = Passes(frozenset({"resistor", "fuse", "ferrite", "link"}), 470.0)


def word(text: str) -> Evaluator:
    return lambda names: text


def pin(name: str, role: str) -> Evaluator:
    def offer(names: Names) -> object:
        part = names[name]
        assert isinstance(part, Part)
        return part.by_role(role)[0]

    return offer


def _device_form(
    name: str, kinds: tuple[str, str], supply: NetSlot, at_supply: str, at_output: str, sends: str
) -> Form:
    return Form(
        name,
        (PartSlot("device", frozenset(kinds)),),
        (supply, NetSlot("output", frozenset({"signal"}))),
        (Tie("~", ("supply",), "device", at_supply), Tie("~", ("output",), "device", at_output)),
        (("sends", word(sends)), ("feed", pin("device", at_output))),
    )


PLUS = NetSlot("supply", frozenset({"rail"}), "positive")
NOT_PLUS = NetSlot("supply", frozenset({"rail", "ground"}), "not positive")
NPN, PNP = ("npn", "nmos"), ("pnp", "pmos")
SOUND_FORMS = (
    _device_form("npn follower", NPN, PLUS, "collector", "emitter", "out"),
    _device_form("pnp follower", PNP, NOT_PLUS, "collector", "emitter", "back"),
    _device_form("pnp from the supply", PNP, PLUS, "emitter", "collector", "out"),
    _device_form("npn from the supply", NPN, NOT_PLUS, "emitter", "collector", "back"),
)
REVERSED_FORMS = (
    _device_form("npn the wrong way round", NPN, PLUS, "emitter", "collector", "out"),
    _device_form("pnp the wrong way round", PNP, NOT_PLUS, "emitter", "collector", "back"),
)


def drives_no_other(walks: Walks, role: str) -> Evaluator:
    """No base of another transistor is on the net of a pin."""

    def condition(names: Names) -> object:
        device = names["device"]
        assert isinstance(device, Part)
        net = walks.circuit.nets[device.by_role(role)[0].net]
        if net.role != "signal":
            return True
        return not any(p.role in ("base", "gate") and p.part != device.key for p in walks.circuit.pins_on(net))

    return condition


def output_device(walks: Walks, forms: tuple[Form, ...] = SOUND_FORMS) -> Shape:
    where = (drives_no_other(walks, "emitter"), drives_no_other(walks, "collector"))
    return Shape("output-device", "A transistor that carries load current", forms, SOFT, where)


def feeds_a_load(walks: Walks) -> Evaluator:
    def condition(names: Names) -> object:
        output = names["output"]
        assert isinstance(output, Net)
        found = walks.reach(output.key, SERIES)

        def loaded(net: Net) -> bool:
            kinds = {walks.circuit.part_of(one).kind for one in walks.circuit.pins_on(net)}
            return bool(kinds & {"connector", "opamp"})

        if any(loaded(net) for net in found.nets):
            return True
        doubt = [reasons for net, reasons in found.perhaps if loaded(net)]
        return Unknown(doubt[0]) if doubt else False

    return condition


def _arms(names: Names) -> object:
    sources, sinks = names["sources"], names["sinks"]
    assert isinstance(sources, Lot) and isinstance(sinks, Lot)
    return Lot(sources.members + sinks.members, sources.perhaps + sinks.perhaps)


def output_stage(walks: Walks) -> Shape:
    form = Form(
        "",
        (
            PartSlot("sources", shape="output-device", equals=(("sends", "out"),), many=True),
            PartSlot("sinks", shape="output-device", equals=(("sends", "back"),), many=True),
        ),
        ties=(Tie("=", ("output",), "sources", "output"), Tie("=", ("output",), "sinks", "output")),
    )
    return Shape(
        "output-stage",
        "Transistors of both directions that feed a load from one net",
        (form,),
        where=(feeds_a_load(walks),),
        one_per=("output",),
        takes=("sources.device", "sinks.device"),
        known_by=("sources", "sinks"),
        offers=(("arms", _arms),),
    )


NON_INVERTING = Shape(
    "non-inverting-amplifier",
    "An amplifier with its input on + and a divider from its output to -",
    (
        Form(
            "",
            (
                PartSlot("amp", frozenset({"amplifier"})),
                PartSlot("upper", frozenset({"resistor"})),
                PartSlot("lower", frozenset({"resistor"})),
            ),
            (NetSlot("reference", frozenset({"ground", "rail"})),),
            (
                Tie("=", ("out",), "amp", "output"),
                Tie("=", ("tap",), "amp", "minus"),
                Tie("joins", ("out", "tap"), "upper"),
                Tie("joins", ("tap", "foot"), "lower"),
                Tie("~", ("foot", "reference")),
            ),
        ),
    ),
    Passes(frozenset({"capacitor"})),
    one_per=("amp",),
    takes=("amp",),
)


class Looked:
    """Shapes looked for in a circuit, each once."""

    def __init__(self, made: Circuit, forms: tuple[Form, ...] = SOUND_FORMS) -> None:
        self.walks = Walks(made)
        self.shapes = {
            shape.name: shape for shape in (output_device(self.walks, forms), output_stage(self.walks), NON_INVERTING)
        }
        self._found: dict[str, Found] = {}

    def __call__(self, name: str) -> Found:
        if name not in self._found:
            self._found[name] = find_matches(self.shapes[name], self.walks, self)
        return self._found[name]
