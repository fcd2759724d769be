"""How long the numbers of a board take, and how that grows; figures are printed as in `test_bench`.

Each is the work of one processor, the best of several: 400 frequencies, three loads and three positions of a control.
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from conftest import ROOT
from synthetic_boards import cascade, exported, netlist_text
from test_bench import FULL, Note, note, own_cache

from netcheck.intake.assemblycheck import open_assembly
from netcheck.intake.contents import read_contents
from netcheck.intake.scan import scan
from netcheck.physics.behaviour import Behaviour
from netcheck.review import BoardPlan, Plan, facts_of, plan_of
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts

__all__ = ["note", "own_cache"]  # fixtures

pytestmark = pytest.mark.bench

DEMO_SECONDS = 0.5
LONG_PATH_SECONDS = 1.0
STAGES_MS_A_PART = 5.0
GROWTH_FOURFOLD = 5.0


def numbers(facts: Facts) -> dict[str, Behaviour]:
    """All that is computed, with its operating points, from facts that nobody has asked yet."""
    return {board.name: facts.at_rest.numbers(board.name) for board in facts.circuit.boards}


def board(text: str, book: RuleBook) -> Plan:
    netlist = read_contents(scan(text, "bench.net")[0], "bench.net", f"{len(text):064}")
    return Plan("bench", (BoardPlan("bench", netlist),), book)


def took(plan: Plan, times: int = 3) -> float:
    """Seconds for the numbers alone; understanding the board is not counted.

    The lesser of the clock on the wall, which other work holds up, and of the time of the process, which counts every
    thread of numpy by itself.
    """
    numbers(facts_of(plan))  # imports, and models that are kept for a process
    best = float("inf")
    for _ in range(times):
        facts = facts_of(plan)
        facts.walks.amplifiers  # noqa: B018  recognised before the numbers are asked for, as in a review
        wall, own = time.perf_counter(), time.process_time()
        numbers(facts)
        best = min(best, time.perf_counter() - wall, time.process_time() - own)
    return best


def test_the_numbers_of_the_demo(book: RuleBook, note: Note) -> None:
    path = ROOT / "fixtures" / "bandroom" / "revision-b" / "bandroom.yaml"
    assembly, netlists = open_assembly(Path(path))
    plan = plan_of(assembly, netlists, book)
    paths = [path for found in numbers(facts_of(plan)).values() for path in found.paths]
    assert len(paths) >= 2 and all(len(path.frequencies) == 400 for path in paths)
    for path in paths:
        assert len({one.ohms for one in path.variants}) == 3
        assert {one.position for one in path.variants if one.control} == {0.0, 0.5, 1.0}
    note("numbers of the demo", took(plan, 5), "s", DEMO_SECONDS)


def test_a_path_of_two_hundred_nodes(book: RuleBook, note: Note) -> None:
    plan = board(exported(cascade(200)), book)
    (path,) = numbers(facts_of(plan))["bench"].paths
    assert not path.reasons and len(path.frequencies) == 400
    note("numbers of a path of 200 nodes", took(plan), "s", LONG_PATH_SECONDS)


@pytest.mark.parametrize(("small", "large"), [(250, 1000)] if FULL else [(50, 200)])
def test_growth_of_the_numbers_of_equal_stages(small: int, large: int, book: RuleBook, note: Note) -> None:
    found = numbers(facts_of(board(netlist_text(large), book)))["bench"]
    assert found.paths and not any(path.reasons for path in found.paths)
    few, many = took(board(netlist_text(small), book)), took(board(netlist_text(large), book))
    note(f"numbers of {large} parts in equal stages, a part", 1000 * many / large, "ms", STAGES_MS_A_PART)
    note(f"growth of numbers from {small} to {large} parts", many / few, "times", GROWTH_FOURFOLD)


def test_growth_along_one_path(book: RuleBook, note: Note) -> None:
    """The equations of a path are solved densely: between the square and the cube of its nodes."""
    few, many = took(board(exported(cascade(100)), book)), took(board(exported(cascade(200)), book))
    note("growth of numbers from 100 to 200 nodes in a path", many / few, "times", 8.0)
