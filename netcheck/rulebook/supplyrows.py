"""Rows of supplies for the page, with the temperature of regulators where heatsinks and air are told."""

from __future__ import annotations

from dataclasses import replace

from netcheck.circuit.model import Part
from netcheck.language.logic import add, bounds_of
from netcheck.language.scope import Trace
from netcheck.language.values import Unknown
from netcheck.physics.behaviour import SupplyRow
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions_output import OUTPUT_FUNCTIONS
from netcheck.rulebook.functions_supply import SUPPLY_FUNCTIONS
from netcheck.rulebook.nouns_heat import heatsink_of
from netcheck.rulebook.supplies import supplies


def supply_rows(facts: Facts, board: str) -> tuple[SupplyRow, ...]:
    """A row for each rail of a board that a rectifier or a regulator makes."""
    return tuple(_warmed(facts, row) for row in supplies(facts).rows(board))


def _warmed(facts: Facts, row: SupplyRow) -> SupplyRow:
    part = facts.circuit.parts.get(row.part)
    if part is None or row.watts is None or part.kind != "regulator":
        return row
    sink = heatsink_of(facts, part)
    together: object = row.watts
    if sink is not None and not isinstance(sink, Unknown):
        together = 0.0
        for key in getattr(sink, "parts", ()):
            together = add(together, _heat(facts, facts.circuit.parts[key]))
    found = OUTPUT_FUNCTIONS["celsius"].call(facts, Trace(), part, row.watts, together)
    if isinstance(sink, Unknown):
        return row
    _, high = bounds_of(found)
    return row if high is None else replace(row, junction=high)


def _heat(facts: Facts, part: Part) -> object:
    if part.kind == "regulator":
        return SUPPLY_FUNCTIONS["regulator_watts"].call(facts, Trace(), part)
    return facts.at_rest.watts(part)
