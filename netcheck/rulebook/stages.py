"""The stages of a board, from the shapes of the rule book: rows for the account of what it was taken for."""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.circuit.shapeparts import Match
from netcheck.circuit.understanding import Row
from netcheck.ground.names import spoken_list
from netcheck.language.values import Lot
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.identity import keys_of
from netcheck.rulebook.vocabulary import name_of


def stage_rows(facts: Facts, board: str) -> tuple[Row, ...]:
    """Every match of every shape on a board, gravest shapes first, those that are part of a larger one left out; then
    its volume controls and its channels.
    """
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
    return (*rows, *_volume_rows(facts, board), *_channel_rows(facts, board))


def _volume_rows(facts: Facts, board: str) -> Iterator[Row]:
    for control in facts.volume_controls:
        part = facts.circuit.parts[control.part]
        if part.board == board:
            pins = (facts.circuit.pins[key] for key in (control.top, control.wiper, control.foot))
            ends = [facts.net_text(facts.circuit.nets[pin.net]) for pin in pins]
            because = f"its track goes from {ends[0]} to {ends[2]}, its wiper is on {ends[1]}"
            yield Row((part.key,), f"volume control: {name_of(facts, control)}", because)


def _channel_rows(facts: Facts, board: str) -> Iterator[Row]:
    for pair in facts.channels:
        mine = [couple for couple in pair.couples if facts.circuit.parts[couple.left].board == board]
        if mine:
            over = [facts.text_of(facts.circuit.parts[key]) for key in pair.left_over]
            alone = f"; in one of them only: {spoken_list(over)}" if over else ""
            keys = tuple(dict.fromkeys(key for couple in mine for key in (couple.left, couple.right)))
            said = spoken_list([name_of(facts, couple) for couple in mine])
            yield Row(keys, f"left and right: {said}", f"two channels, known from {pair.told_by}{alone}")


def _inside(facts: Facts) -> frozenset[str]:
    """Keys of matches that another match is made of."""
    found: set[str] = set()
    for name in facts.shapes:
        for match in facts.matches(name).matches:
            for value in match.names.values():
                members = value.members if isinstance(value, Lot) else (value,)
                found.update(member.key for member in members if isinstance(member, Match))
    return frozenset(found)
