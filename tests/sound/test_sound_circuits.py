"""Published circuits, typed in: the rule book must leave them alone, and must have understood them."""

from __future__ import annotations

import pytest
from sound_circuits import SoundCircuit, facts_about, findings, sound_circuits, told, verdicts_of

from netcheck.rulebook.book import RuleBook

CIRCUITS = sound_circuits()
LEAST_CIRCUITS = 20
MOST_UNDECIDED_SHARE = 0.1
WITH_ROLES = ("npn", "pnp", "nmos", "njfet", "opamp", "comparator", "buffer", "power amplifier", "regulator", "diode")

each_circuit = pytest.mark.parametrize("circuit", CIRCUITS, ids=lambda circuit: circuit.name)


def test_there_are_enough_and_each_has_its_source() -> None:
    assert len(CIRCUITS) >= LEAST_CIRCUITS
    assert len({circuit.title for circuit in CIRCUITS}) == len(CIRCUITS)
    for circuit in CIRCUITS:
        assert circuit.source.startswith("source: ")
        assert "read" in circuit.source or "from memory" in circuit.source


@each_circuit
def test_nothing_is_found_in_a_sound_circuit(circuit: SoundCircuit, book: RuleBook) -> None:
    assert told(findings(verdicts_of(circuit.netlist, circuit.hints, book, told=circuit.told))) == []


@each_circuit
def test_the_circuit_is_understood(circuit: SoundCircuit, book: RuleBook) -> None:
    """Quiet because it is sound, not because nobody looked: kinds, roles and the volts of rails are known."""
    facts = facts_about(circuit.netlist, circuit.hints, book, circuit.told)
    board = next(board for board in facts.circuit.boards if board.name == "b")
    assert [part.ref for part in board.parts if part.kind == "unknown"] == []
    actives = [part for part in board.parts if part.kind in WITH_ROLES]
    assert [pin.key for part in actives for pin in part.pins if not pin.role] == []
    rails = {net.name: net.volts for net in board.nets if net.role == "rail"}
    named = {net.name for net in board.nets if net.name[:1] in "+-" and net.name[1:2].isdigit()}
    assert named <= set(rails)
    assert {name: rails[name] for name in named} == {
        name: pytest.approx(float(name.rstrip("V")), rel=0.05) for name in named
    }


def test_little_is_undecided_and_it_says_why(book: RuleBook) -> None:
    verdicts = [
        verdict
        for circuit in CIRCUITS
        for verdict in verdicts_of(circuit.netlist, circuit.hints, book, told=circuit.told)
    ]
    undecided = [verdict for verdict in verdicts if verdict.outcome == "undecided"]
    assert all(verdict.reasons and all(verdict.reasons) for verdict in undecided)
    assert len(undecided) <= MOST_UNDECIDED_SHARE * len(verdicts)
