"""Functions of the rule language about supplies."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from netcheck.circuit.model import Net
from netcheck.circuit.netnames import read_net_name
from netcheck.ground.units import VOLT
from netcheck.language.scope import Trace
from netcheck.language.types import Function, Number, Type
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions import PLACE, net_key


def _named_volts(facts: Facts, trace: Trace, a: object) -> float | None:
    net = facts.circuit.nets[net_key(a)]
    return volts_of_name(facts, net)


def volts_of_name(facts: Facts, net: Net) -> float | None:
    """Volts that a net's given name states for a rail, with their sign; None when it states none, or only a range."""
    if not net.name:
        return None
    read = read_net_name(net.name, facts.words)
    if read.says != "rail" or read.low is not None or read.high is not None:
        return None
    return read.volts


def _fixed(kind: Type) -> Callable[[Sequence[Type], Mapping[str, Type]], Type | str]:
    return lambda types, named: kind


SUPPLY_FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("named_volts", (PLACE,), _fixed(Number(VOLT)), _named_volts,
                 "volts that the name of a net states for a rail, nothing when it states none"),
    )
}  # fmt: skip
