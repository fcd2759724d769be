"""Facts of boards, side by side or joined by an assembly; what a transformer makes of its rails is told to the boards.

Boards are understood first. Where a winding whose volts are told charges a rail whose volts are not, the rail is told
what it has, over mains and load, and the boards are understood once more, so that everything behind it follows. What
the assembly states goes before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from netcheck.circuit.assemble import Assembled, assemble
from netcheck.circuit.board import understand
from netcheck.circuit.model import Hints, Net, Shared, join
from netcheck.circuit.partbook import PartBook
from netcheck.circuit.shapeparts import Shape
from netcheck.circuit.words import Words
from netcheck.intake.assembly import AssemblyFile
from netcheck.intake.netlist import Netlist
from netcheck.physics.rectifying_rails import Rectified
from netcheck.physics.supplying import Span, supply_of
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.supplies import rectified, spoken_rail

Bind = Callable[[Facts], Mapping[str, Shape]]
Boards = Mapping[str, tuple[Netlist, Hints]]


def facts_of_boards(boards: Boards, words: Words, book: PartBook, bind: Bind, given: bool = False) -> Facts:
    """Facts of boards that stand side by side."""

    def made(told: Mapping[str, Hints]) -> Facts:
        found = tuple(understand(netlist, name, book, words, told[name]) for name, (netlist, _) in boards.items())
        return Facts(join(found), words, book, bind, given)

    return _told_supplies(made, {name: hints for name, (_, hints) in boards.items()})


def facts_of_assembly(assembly: AssemblyFile, boards: Boards, words: Words, book: PartBook, bind: Bind) -> Facts:
    """Facts of the boards of an assembly, joined.

    Raises:
        Refused: as `assemble`.
    """
    netlists = {name: netlist for name, (netlist, _) in boards.items()}

    def made(told: Mapping[str, Hints]) -> Facts:
        assembled: Assembled = assemble(assembly, netlists, book, words, told)
        return Facts(assembled.circuit, words, book, bind, True, assembled)

    return _told_supplies(made, {name: hints for name, (_, hints) in boards.items()})


def _told_supplies(made: Callable[[Mapping[str, Hints]], Facts], hints: dict[str, Hints]) -> Facts:
    """Facts with the volts of rectified rails, where these are not told otherwise."""
    facts = made(hints)
    told = dict(hints)
    for rail, span in _spans(facts).values():
        net = facts.circuit.nets[rail.net]
        if net.board not in told or not _open(net):
            continue
        name, own = net.key.split("/", 1)[1].removeprefix("net/"), told[net.board]
        sign = "positive" if rail.sign > 0 else "negative"
        shared = Shared(f"rectified from {spoken_rail(facts, rail)}", span.low, span.high, sign)
        told[net.board] = replace(
            own,
            net_roles={**own.net_roles, name: ("rail", round(span.nominal, 1))},
            shared={**own.shared, name: shared},
        )
    return made(told) if told != hints else facts


def _spans(facts: Facts) -> dict[str, tuple[Rectified, Span]]:
    """Volts against ground of rectified rails, by net: those on a ground, and those on top of one, as in a doubler."""
    found: dict[str, tuple[Rectified, Span]] = {}
    rails = [(rail, supply_of(rail, facts.words).span()) for rail in rectified(facts)]
    for rail, span in rails:
        if facts.circuit.nets[rail.back].role == "ground":
            found[rail.net] = rail, span
    for rail, span in rails:
        below = found.get(rail.back)
        if rail.net not in found and below is not None and below[0].sign == rail.sign:
            found[rail.net] = rail, span.on_top_of(below[1])
    return found


def _open(net: Net) -> bool:
    """Whether a rail's volts are not known, or by a name only."""
    return net.role in ("rail", "signal") and (net.volts is None or net.origin.startswith("by its name"))
