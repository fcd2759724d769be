"""The ground map: what it draws, what it says, what it leaves out."""

from __future__ import annotations

import dataclasses
import re
from datetime import datetime
from pathlib import Path

import pytest
import report_example as example

from netcheck.intake.assemblycheck import open_assembly
from netcheck.language.values import Unknown
from netcheck.physics.conductors import Conductor, ground_loops
from netcheck.report.display import Names
from netcheck.report.groundmap import MOST_IN_TABLE, MOST_ROWS, GroundMap, conductor_name, ground_map
from netcheck.report.page import render_page
from netcheck.review import Review, plan_of, review
from netcheck.rulebook.book import load_rule_book

ROOT = Path(__file__).parents[2]
SUPPLY, AMP = "supply/net/GND", "amp/net/GND"
POWER = Conductor("cable/power lead/2", "wire", (AMP, SUPPLY), 0.003, "power lead")
BOND = Conductor("bond/amp.H1", "case", (AMP, "case"), Unknown(("not given",), 0.0, 0.3))
OTHER_BOND = Conductor("bond/supply.H1", "case", ("case", SUPPLY), Unknown(("not given",), 0.0, 0.3))


def with_conductors(*conductors: Conductor) -> Review:
    whole = example.review()
    found = ground_loops(whole.circuit, conductors)
    return dataclasses.replace(whole, conductors=conductors, ground_loops=found)


def mapped(*conductors: Conductor) -> GroundMap:
    whole = with_conductors(*conductors)
    found = ground_map(whole, Names(whole.circuit))
    assert found is not None
    return found


def test_one_ground_alone_is_no_map() -> None:
    whole = example.review()
    one = dataclasses.replace(whole, circuit=example.join((whole.circuit.boards[1],)))
    assert ground_map(one, Names(one.circuit)) is None
    assert 'id="grounds"' not in render_page(one, datetime(2026, 7, 3))


def test_boards_that_nothing_joins_are_said_to_be_apart() -> None:
    found = mapped()
    assert found.rows == () and found.rings == ()
    html = render_page(with_conductors(), datetime(2026, 7, 3))
    assert "Nothing that was told joins these grounds." in html


def test_conductors_have_names_and_ohms() -> None:
    found = mapped(POWER, BOND)
    told = {(row.name, row.kind, row.ohms, row.rings) for row in found.rows}
    assert told == {("power lead, wire 2", "wire", "3 mΩ", ()), ("bond at amp.H1", "case", "at most 0.3 Ω", ())}
    assert "power lead, wire 2, 3 mΩ" in found.svg
    assert found.rings == () and 'class="ring"' not in found.svg


def test_ring_over_the_case_is_drawn_closed_and_told() -> None:
    found = mapped(POWER, BOND, OTHER_BOND)
    (ring,) = found.rings
    assert ring.number == 1 and ring.ohms == "3 mΩ to 0.603 Ω"
    for piece in ("power lead, wire 2", "bond at amp.H1", "bond at supply.H1"):
        assert piece in ring.way
    assert "it goes over the case or the earth" in ring.remarks
    assert all(row.rings == (1,) for row in found.rows)
    # Three conductors across and three grounds down, end to end.
    lines = re.findall(r'<line x1="(\S+)" y1="(\S+)" x2="(\S+)" y2="(\S+)" class="ring"/>', found.svg)
    ends = [point for x1, y1, x2, y2 in lines for point in ((x1, y1), (x2, y2))]
    assert len(lines) == 6
    assert all(ends.count(point) == 2 for point in ends)


def test_two_wires_of_two_leads_make_a_ring_beside_each_other() -> None:
    signal = Conductor("cable/signal lead/1", "screen", (AMP, SUPPLY), 0.02, "signal lead")
    found = mapped(POWER, signal)
    assert [ring.ohms for ring in found.rings] == ["23 mΩ"]
    assert 'class="wire screen"' in found.svg


def test_signal_that_a_resistor_ties_to_ground_is_left_out() -> None:
    stub = Conductor("amp/R7", "resistor", (AMP, "amp/net/JACK_L"), 220e3)
    assert [row.name for row in mapped(POWER, stub).rows] == ["power lead, wire 2"]


def test_hostile_names_do_no_harm() -> None:
    name = "<script>alert(1)</script>\u202e"
    whole = with_conductors(dataclasses.replace(POWER, key=f"cable/{name}/2", cable=name))
    html = render_page(whole, datetime(2026, 7, 3))
    assert "<script" not in html and "\u202e" not in html and "&lt;script&gt;" in html
    assert " style=" not in html


def test_many_conductors_stay_within_bounds() -> None:
    many = tuple(dataclasses.replace(POWER, key=f"wire/W{n}", cable="") for n in range(200))
    whole = dataclasses.replace(example.review(), conductors=many)
    found = ground_map(whole, Names(whole.circuit))
    assert found is not None
    assert len(found.rows) == MOST_IN_TABLE and found.svg.count('class="wire"') == MOST_ROWS
    assert "176 more conductors that the drawing has no room for" in found.left_out
    assert len(found.svg) < 40_000


@pytest.mark.parametrize(
    ("conductor", "name"),
    [
        (POWER, "power lead, wire 2"),
        (dataclasses.replace(POWER, members=("a", "b")), "power lead, 2 conductors"),
        (OTHER_BOND, "bond at supply.H1"),
        (dataclasses.replace(BOND, key="wire/inlet.PE to stud"), "inlet.PE to stud"),
        (dataclasses.replace(BOND, key="amp/R7"), "amp.R7"),
    ],
)
def test_names_of_conductors(conductor: Conductor, name: str) -> None:
    assert conductor_name(conductor, Names(example.circuit())) == name


def test_review_carries_what_is_drawn() -> None:
    assembly, netlists = open_assembly(ROOT / "fixtures/assemblies/ground-ring/ring.yaml")
    found = review(plan_of(assembly, netlists, load_rule_book()))
    drawn = ground_map(found, Names(found.circuit))
    assert drawn is not None
    assert [ring.number for ring in drawn.rings] == [1, 2]
    assert any(ring.finding for ring in drawn.rings)


def test_a_ring_too_small_to_be_heard_is_said_to_be(tmp_path: Path) -> None:
    folder = ROOT / "fixtures/assemblies/ground-ring"
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    loud = (tmp_path / "ring.yaml").read_text(encoding="utf-8")
    (tmp_path / "quiet.yaml").write_text(loud.replace("largest level: 100 mV", "largest level: 2 V"), encoding="utf-8")
    said = {}
    for name in ("ring", "quiet"):
        assembly, netlists = open_assembly(tmp_path / f"{name}.yaml", cache=False)
        found = review(plan_of(assembly, netlists, load_rule_book()))
        drawn = ground_map(found, Names(found.circuit))
        assert drawn is not None
        said[name] = " ".join(remark for ring in drawn.rings for remark in ring.remarks)
    assert "it is heard" in said["ring"] and "too little of it to be heard" not in said["ring"]
    assert "too little of it to be heard" in said["quiet"] and "it is heard" not in said["quiet"]
