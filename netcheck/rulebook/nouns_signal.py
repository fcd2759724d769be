"""Signal paths as rules see them: from which pin to which, what is told of both ends."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from netcheck.circuit.model import Net, Part, Pin
from netcheck.ground.names import natural_key
from netcheck.ground.units import FARAD, OHM, VOLT
from netcheck.language.types import Attribute, ListOf, Number, Thing, YesNo
from netcheck.language.values import Lot, Unknown
from netcheck.physics.ports import Port, SignalPath
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signals import signals_of
from netcheck.rulebook.signatures import attr


def paths_of(facts: Facts) -> tuple[SignalPath, ...]:
    """All signal paths of a circuit."""
    return signals_of(facts).paths


def path_text(facts: Facts, path: SignalPath) -> str:
    """A path as it is named in sentences: J1 tip to J2 tip."""
    ends = [_end_text(facts, port) for port in (path.input, path.output)]
    return " to ".join(end for end in ends if end)


def keys_of_path(path: SignalPath) -> tuple[str, ...]:
    """Keys of its ends: of a connector's pin, else of a net."""
    return tuple(key for key in (path.input.pin or path.input.node, path.output.pin or path.output.node) if key)


def _end_text(facts: Facts, port: Port) -> str:
    if port.pin:
        return facts.pin_text(facts.circuit.pins[port.pin])
    return facts.net_text(facts.circuit.nets[port.node]) if port.node else ""


def _pin(facts: Facts, port: Port) -> Pin | None:
    return facts.circuit.pins.get(port.pin)


def _net(facts: Facts, port: Port) -> Net | None:
    pin = _pin(facts, port)
    return facts.circuit.nets.get(pin.net if pin is not None else port.node)


def _parts(facts: Facts, path: SignalPath) -> Lot:
    """Parts that have a say in what comes out."""
    from netcheck.physics.pathmodel import pieces_at

    keys = {piece.part for piece in pieces_at(facts.at_rest.points, path.nodes)}
    parts: list[Part] = [facts.circuit.parts[key] for key in sorted(keys, key=natural_key)]
    return Lot(tuple(part for part in parts if part.kind != "connector"))


def _told(end: str, name: str, said: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, path: SignalPath) -> object:
        told, port = (path.source, path.input) if end == "source" else (path.sink, path.output)
        found = getattr(told, name, None)
        if found is not None:
            return found
        where = _end_text(facts, port)
        return Unknown((f"the {said} at {where} is not given" if where else f"the {said} is not given",), low=0.0)

    return get


def _least_load(facts: Facts, path: SignalPath) -> object:
    loads = path.sink.loads if path.sink is not None else ()
    return min(loads) if loads else Unknown((f"the loads at {_end_text(facts, path.output)} are not given",), low=0.0)


def _at_part(facts: Facts, part: Part) -> Lot:
    """Paths that begin or end at a part."""
    mine = {pin.key for pin in part.pins}
    return Lot(tuple(path for path in paths_of(facts) if mine & {path.input.pin, path.output.pin}))


PATHS_OF_PART: dict[str, Attribute] = {"signal_paths": attr(ListOf(Thing("signal path")), _at_part)}
SIGNAL_ATTRIBUTES: dict[str, Attribute] = {
    "input": attr(Thing("pin"), lambda facts, path: _pin(facts, path.input)),
    "output": attr(Thing("pin"), lambda facts, path: _pin(facts, path.output)),
    "input_net": attr(Thing("net"), lambda facts, path: _net(facts, path.input)),
    "output_net": attr(Thing("net"), lambda facts, path: _net(facts, path.output)),
    "parts": attr(ListOf(Thing("part")), _parts),
    "declared": attr(YesNo(), lambda facts, path: path.declared),
    "source_ohms": attr(Number(OHM), _told("source", "source_ohms", "source impedance")),
    "largest_volts": attr(Number(VOLT), _told("source", "largest_volts", "largest level")),
    "loads": attr(ListOf(Number(OHM)), lambda facts, path: Lot(path.sink.loads if path.sink else ())),
    "least_load": attr(Number(OHM), _least_load),
    "cable_farads": attr(Number(FARAD), _told("sink", "cable_farads", "capacitance of the lead")),
    "sensitivity_given": attr(YesNo(), lambda facts, path: path.sink is not None and path.sink.sensitivity is not None),
    "wanted_volts": attr(Number(VOLT), _told("sink", "wanted_volts", "level wanted")),
}
