"""A finding stays the same finding, whatever the order, the codes or the generation of the file with the board."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from functools import cache
from random import Random

import pytest
from conftest import ROOT, SHARED
from rewriting import (
    old_text,
    read_by_scan,
    read_by_scan_of,
    shuffled,
    with_net_names,
    with_references,
    with_strangers,
    without,
)
from sound_circuits import counted, findings, sound_circuits, told, verdicts_of

from netcheck.circuit.model import Hints
from netcheck.intake.netlist import Netlist
from netcheck.review import BoardPlan, Plan, facts_of
from netcheck.rulebook.book import RuleBook, load_rule_book
from netcheck.rulebook.verdicts import Verdict

ORDERINGS = 40
BOARDS_OF_THE_CORPUS = 10
LARGEST_OF_THE_CORPUS = 300_000  # bytes
CORPUS = SHARED / "netlists"


@cache
def board() -> Netlist:
    return read_by_scan(ROOT / "fixtures" / "bandroom" / "revision-a" / "amp.net")


@cache
def judged() -> tuple[Verdict, ...]:
    return tuple(review_of(board()))


def review_of(netlist: Netlist, hints: Hints = Hints()) -> list[Verdict]:  # noqa: B008
    return verdicts_of(netlist, hints, load_book())


@cache
def load_book() -> RuleBook:
    return load_rule_book()


def said(verdicts: Iterable[Verdict]) -> list[tuple[str, ...]]:
    """All that a reader sees of verdicts, but for the lines."""
    return sorted(
        (v.rule, v.outcome, v.identity, v.subject, v.consequence, v.cure, v.sentence, v.remedy) for v in verdicts
    )


def identities(verdicts: Iterable[Verdict]) -> set[tuple[str, str]]:
    return {(verdict.rule, verdict.identity) for verdict in findings(verdicts)}


def test_the_board_has_findings_of_many_rules() -> None:
    assert len({verdict.rule for verdict in findings(judged())}) >= 10


def test_every_verdict_has_an_identity_of_its_own() -> None:
    seen = Counter((verdict.rule, verdict.identity) for verdict in judged())
    assert [key for key, count in seen.items() if count > 1] == []


@pytest.mark.parametrize("seed", range(ORDERINGS))
def test_another_order_gives_the_same_verdicts(seed: int) -> None:
    assert said(review_of(shuffled(board(), Random(seed)))) == said(judged())


def test_strangers_leave_the_findings_alone() -> None:
    with_them = review_of(with_strangers(board()))
    assert identities(judged()) <= identities(with_them)
    touched = {key for v in findings(with_them) if (v.rule, v.identity) not in identities(judged()) for key in v.keys}
    assert all("901" in key or "902" in key or "STRANGE" in key for key in touched)


def test_parts_that_no_finding_looked_at_can_go() -> None:
    parts = {component.reference for component in board().components}
    looked_at = {key for verdict in findings(judged()) for key in (*verdict.keys, *verdict.evidence)}
    spoken_of = {reference for reference in parts if any(_of(key, reference) for key in looked_at)}
    unrelated = [each for each in parts - spoken_of if each[0] in "HT"]
    assert unrelated
    assert identities(review_of(without(board(), unrelated))) == identities(judged())


def _of(key: str, reference: str) -> bool:
    return key == f"b/{reference}" or key.startswith((f"b/{reference}.", f"b/{reference}:"))


def test_the_clauses_of_another_generation_leave_the_findings_alone() -> None:
    old = read_by_scan_of(old_text(board()))
    assert {node.type for net in old.nets for node in net.nodes} != {""}  # the library told it
    assert identities(judged()) <= identities(review_of(old))


def test_an_old_file_in_another_order_gives_the_same_verdicts() -> None:
    """Nets without a name are called after another pin then."""
    expected = said(review_of(read_by_scan_of(old_text(board()))))
    for seed in range(5):
        other = read_by_scan_of(old_text(shuffled(board(), Random(seed))))
        assert said(review_of(other)) == expected


def test_other_references_give_as_many_findings_of_each_rule() -> None:
    names = {each.reference: f"X{at}" for at, each in enumerate(board().components, start=1)}
    assert counted(findings(review_of(with_references(board(), names)))) == counted(findings(judged()))


def rails(netlist: Netlist, hints: Hints) -> dict[str, float | None]:
    """Codes of rails and their volts."""
    (one,) = facts_of(Plan("test", (BoardPlan("b", netlist, hints),), load_book())).circuit.boards
    return {net.code: net.volts for net in one.nets if net.role == "rail"}


def without_names_of_rails(netlist: Netlist, hints: Hints) -> Netlist:
    codes = rails(netlist, hints)
    return with_net_names(netlist, {code: f"N{at}" for at, code in enumerate(codes, start=1)})


@pytest.mark.parametrize("circuit", sound_circuits(), ids=lambda circuit: circuit.name)
def test_volts_without_names_are_never_wrong(circuit) -> None:  # type: ignore[no-untyped-def]
    before = rails(circuit.netlist, circuit.hints)
    netlist = without_names_of_rails(circuit.netlist, circuit.hints)
    for code, found in rails(netlist, circuit.hints).items():
        if found is not None:
            assert found == pytest.approx(before[code], rel=0.05), code
    assert told(findings(review_of(netlist, circuit.hints))) == []


@pytest.mark.parametrize(("name", "regulated"), [("adjustable-supply", 15.0), ("fixed-supply", 12.0)])
def test_regulators_tell_the_volts_of_rails_without_names(name: str, regulated: float) -> None:
    circuit = next(circuit for circuit in sound_circuits() if circuit.name == name)
    netlist = without_names_of_rails(circuit.netlist, circuit.hints)
    found = sorted(volts for volts in rails(netlist, circuit.hints).values() if volts is not None)
    assert found == pytest.approx([-regulated, regulated], rel=0.05)


def test_the_board_without_names_of_rails_has_no_wrong_volts() -> None:
    before = rails(board(), Hints())
    after = rails(without_names_of_rails(board(), Hints()), Hints())
    assert len(before) >= 6
    assert {code: found for code, found in after.items() if found not in (None, before.get(code))} == {}


def corpus() -> list[str]:
    files = sorted(path.name for path in CORPUS.glob("*.net") if path.stat().st_size <= LARGEST_OF_THE_CORPUS)
    return Random("boards").sample(files, min(BOARDS_OF_THE_CORPUS, len(files)))


@pytest.mark.parametrize("name", corpus() or ["none"])
def test_real_boards_in_another_order_give_the_same_verdicts(name: str) -> None:
    if name == "none":
        pytest.skip("the netlists beside the project are not there")
    netlist = read_by_scan(CORPUS / name)
    expected = said(review_of(netlist))
    for seed in (1, 2):
        assert said(review_of(shuffled(netlist, Random(seed)))) == expected
