"""Networks that are the same but for the names of their nodes: the channels of a board, a stage that is repeated.

What is found for one holds for all of them to the last digit, so it is worked out once. Two networks are the same here
when their elements, in the order in which they are given, have the same figures between nodes that correspond; no
likeness is looked for beyond that order, and none is guessed.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter

from netcheck.physics.network.elements import (
    Bipolar,
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    Fet,
    Inductor,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import terminals

_FIGURES = {
    Resistor: attrgetter("ohms", "noisy"),
    Capacitor: attrgetter("farads"),
    Inductor: attrgetter("henries", "ohms"),
    CurrentSource: attrgetter("amps"),
    Diode: attrgetter("model"),
    Bipolar: attrgetter("model", "pnp"),
    Fet: attrgetter("model", "p_channel"),
    OperationalAmplifier: attrgetter("model"),
}


SETTLED = 9  # digits of a volt to which an operating point settles; what differs less is the same point


def figures_of(element: Element) -> Hashable:
    """What an element is, its name and its nodes aside.

    >>> figures_of(Resistor("R1", "a", "b", 10.0)) == figures_of(Resistor("R2", "c", "d", 10.0))
    True
    """
    return _FIGURES[type(element)](element)  # type: ignore[no-any-return]


@dataclass(frozen=True)
class Structure:
    """A network without its names.

    Attributes:
        key: equal for networks that are the same. names: of the elements, in order. nodes: those not known, in order
            of first mention; the n-th of one network is the n-th of the other.
    """

    key: Hashable
    names: tuple[str, ...]
    nodes: tuple[str, ...]


def structure(
    elements: Sequence[Element],
    known: Mapping[str, float],
    ends: Sequence[str] = (),
    nodes: Sequence[str] = (),
    at: Mapping[str, float] | None = None,
) -> Structure:
    """What a network is, its names aside.

    Args:
        known: nodes whose volts are given; of these only the volts count. ends: nodes with a part of their own, as the
            input and the output of a path. nodes: those that are to be found, in case that no element touches them.
        at: volts of the nodes that are not known, where they count: for a network made linear there.

    >>> one = structure((Resistor("R1", "a", "b", 10.0), Capacitor("C1", "b", "gnd", 1e-6)), {"gnd": 0.0})
    >>> other = structure((Resistor("R9", "x", "y", 10.0), Capacitor("C7", "y", "0V", 1e-6)), {"0V": 0.0})
    >>> one.key == other.key, dict(zip(one.nodes, other.nodes, strict=True))
    (True, {'a': 'x', 'b': 'y'})
    """
    labels: dict[str, object] = {node: f"end {number}" for number, node in enumerate(ends)}
    free = [node for node in ends if node not in known]
    lines = []
    for element in elements:
        line: list[object] = [type(element).__name__, _FIGURES[type(element)](element)]
        for node in terminals(element):
            label = labels.get(node)
            if label is None:
                label = labels[node] = (known[node],) if node in known else len(free)
                if node not in known:
                    free.append(node)
            line.append(label)
        lines.append(tuple(line))
    free += [node for node in dict.fromkeys(nodes) if node not in labels and node not in known]
    given = tuple(known.get(node) for node in ends)
    volts = () if at is None else tuple(round(at[node], SETTLED) if node in at else None for node in free)
    return Structure((tuple(lines), given, volts, len(free)), tuple(element.name for element in elements), tuple(free))
