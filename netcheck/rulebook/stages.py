"""The stages of a board, from the shapes of the rule book: rows for the account of what it was taken for."""

from __future__ import annotations

from netcheck.circuit.shapeparts import Match
from netcheck.circuit.understanding import Row
from netcheck.language.values import Lot
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.identity import keys_of
from netcheck.rulebook.vocabulary import name_of


def stage_rows(facts: Facts, board: str) -> tuple[Row, ...]:
    """Every match of every shape on a board, gravest shapes first; those that are part of a larger one left out."""
    rows: list[Row] = []
    inside = _inside(facts)
    for name, shape in facts.shapes.items():
        for match in facts.matches(name).matches:
            keys = keys_of(facts, match)
            if not shape.shown or match.key in inside or not keys or keys[0].split("/", 1)[0] != board:
                continue
            form = f", {match.form}" if len(shape.forms) > 1 else ""
            unsure = f"; unsure: {'; '.join(match.unsure)}" if match.unsure else ""
            rows.append(Row(keys, f"{name.replace('-', ' ')}{form}: {name_of(facts, match)}", f"{shape.title}{unsure}"))
    return tuple(rows)


def _inside(facts: Facts) -> frozenset[str]:
    """Keys of matches that another match is made of."""
    found: set[str] = set()
    for name in facts.shapes:
        for match in facts.matches(name).matches:
            for value in match.names.values():
                members = value.members if isinstance(value, Lot) else (value,)
                found.update(member.key for member in members if isinstance(member, Match))
    return frozenset(found)
