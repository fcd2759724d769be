"""Told inputs and outputs held against what their pins are on: a signal cannot come in or go out on a ground."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from netcheck.circuit.model import Circuit
from netcheck.ground.names import plain
from netcheck.ground.problems import Problem
from netcheck.intake.assembly import AssemblyFile, SignalInput, SignalOutput

_STILL = frozenset({"ground", "chassis", "earth"})


def end_problems(file: AssemblyFile, circuit: Circuit, pins: Mapping[str, str]) -> Iterator[Problem]:
    """What is wrong with the ends of signals: 'at' on a ground, or on the same net as 'return'.

    Args:
        pins: names that the file uses -> keys of pins.
    """
    ends: Iterable[SignalInput | SignalOutput] = (*file.inputs, *file.outputs)
    for end in ends:
        net = circuit.net_of(circuit.pins[pins[end.at.text]])
        back = circuit.net_of(circuit.pins[pins[end.back.text]]) if end.back is not None else None
        name = plain(net.name, 40) or "a net without a name"
        if back is not None and back.key == net.key:
            what = f"{plain(end.at.text)} and its return are both on {name}; there is no signal between them"
        elif net.role in _STILL and end.back is not None:
            what = f"{plain(end.at.text)} is on {name}, a {_said(net.role)}; are 'at' and 'return' exchanged?"
        elif net.role in _STILL:
            what = (
                f"{plain(end.at.text)} is on {name}, a {_said(net.role)}; the pin that carries the signal is expected"
            )
        else:
            continue
        yield Problem(file.file, end.at.line, end.at.column, what)


def _said(role: str) -> str:
    return {"chassis": "net of the case", "earth": "net of the earth"}.get(role, role)
