"""Where the direct voltage of a net has a say: along what conducts and through amplifiers from input to output.

It tells whether an amplifier is inside a loop, also one that closes through its neighbours (an integrator of a filter,
a servo). Nothing is computed: how much gets through, and with which sign, is not asked here.
"""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.circuit.conduction import AMPLIFIERS
from netcheck.circuit.model import Circuit, Net, Part, Pin
from netcheck.circuit.walk import STOPS, Walks
from netcheck.ground.names import natural_key
from netcheck.language.values import unite

Kinds = frozenset[str]
Reasons = tuple[str, ...]

_STIFF = ("opamp", "buffer", "power amplifier")  # a comparator's output only pulls, the fifth sort's gives a current
_STEERED = frozenset({"nmos", "pmos"})  # what their gate has a say in, though no current goes from it
_PACKAGES = frozenset(
    {"logic", "microcontroller", "integrated circuit", "module", "converter", "transistor array", "optocoupler"}
    | {"valve", "unknown"}
)
_TAKES_IN = frozenset({"plus", "minus", "input", "control", "reference", "adjust"})
_SUPPLIES = frozenset({"supply plus", "supply minus", "ground", "not connected"})


def followed(walks: Walks, start: str, kinds: Kinds) -> tuple[tuple[Net, ...], tuple[tuple[Net, Reasons], ...]]:
    """Nets in which the direct voltage of a net has a say.

    Args:
        start: key of a net. kinds: of the parts that conduct.

    Returns:
        The nets, natural order, the first one among them; and those that perhaps belong to them, with the reasons: a
        switch whose position is not given, a package of whose insides nothing is known. Rails, grounds and mains are
        neither passed nor listed, nor is a net that another amplifier's output holds, when the way to it leads
        through a part.
    """
    circuit = walks.circuit
    sure = _spread(walks, {start: ()}, kinds, sure_only=True)
    all_of_them = _spread(walks, sure, kinds, sure_only=False)
    perhaps = {net: reasons for net, reasons in all_of_them.items() if net not in sure}
    return (
        tuple(circuit.nets[net] for net in sorted(sure, key=natural_key)),
        tuple((circuit.nets[net], perhaps[net]) for net in sorted(perhaps, key=natural_key)),
    )


def _spread(walks: Walks, begun: dict[str, Reasons], kinds: Kinds, sure_only: bool) -> dict[str, Reasons]:
    found = dict(begun)
    todo = sorted(found, key=natural_key)
    at = 0
    while at < len(todo):
        net = todo[at]
        at += 1
        for other, doubt in sorted(_steps(walks, net, kinds)):
            role = walks.circuit.nets[other].role
            if other not in found and role not in STOPS and not (sure_only and doubt):
                for joined in walks.joined_by_cable(other):
                    found.setdefault(joined, unite(found[net], doubt))
                    todo.append(joined)
    return found


def _steps(walks: Walks, net: str, kinds: Kinds) -> Iterator[tuple[str, Reasons]]:
    for kind, pins in walks.on(net).items():
        for pin in pins:
            part = walks.circuit.parts[pin.part]
            if kind in kinds:
                yield from ((other.net, doubt) for other, doubt in walks.across(pin) if not _held(walks, other.net))
                if kind in _STEERED and pin.role == "gate":
                    yield from ((other.net, ()) for other in part.pins if other.role in ("drain", "source"))
            if pin.role in _TAKES_IN and (kind in AMPLIFIERS or (kind in _PACKAGES and _is_amplifier(part))):
                yield from ((other.net, ()) for other in _outputs(part, pin))
            elif kind == "transistor array" and pin.unit:
                yield from ((other.net, ()) for other in part.pins if other.unit == pin.unit)
            elif kind in _PACKAGES and pin.role not in _SUPPLIES and pin.role != "output":
                reasons = (f"what goes on inside {walks.said(part)} is not known",)
                yield from ((other.net, reasons) for other in part.pins if _may_answer(walks.circuit, other))


def _held(walks: Walks, net: str) -> bool:
    """Whether an amplifier's output holds a net, so that what arrives through a part does not move it."""
    return any(pin.role == "output" for kind in _STIFF for pin in walks.on(net).get(kind, ()))


def _outputs(part: Part, pin: Pin) -> Iterator[Pin]:
    """Outputs of the amplifier that an input belongs to; of all in the package where no units are told."""
    for other in part.pins:
        if other.role == "output" and (not pin.unit or other.unit in (pin.unit, "")):
            yield other


def _is_amplifier(part: Part) -> bool:
    """Whether a package has the inputs and the output of an amplifier, whatever else is in it."""
    return all(part.by_role(role) for role in ("plus", "minus", "output"))


def _may_answer(circuit: Circuit, pin: Pin) -> bool:
    """Whether a pin of a package can pass on what another took in."""
    return pin.role not in _SUPPLIES and pin.type != "input" and circuit.nets[pin.net].role == "signal"
