"""The current that a lead brings, from which end, and where it is not known."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import ROOT

from netcheck.intake.assemblycheck import open_assembly
from netcheck.language.values import Unknown
from netcheck.review import facts_of, plan_of
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.nouns_leads import LEAD_WIRE_ATTRIBUTES

DEMO = ROOT / "fixtures" / "bandroom" / "revision-b"


def facts_of_text(text: str, tmp_path: Path, book: RuleBook) -> Facts:
    for name in ("supply", "amp", "panel"):
        (tmp_path / f"{name}.net").write_bytes((DEMO / f"{name}.net").read_bytes())
    (tmp_path / "box.yaml").write_text(text, encoding="utf-8")
    file, netlists = open_assembly(tmp_path / "box.yaml", cache=False)
    return facts_of(plan_of(file, netlists, book))


@pytest.fixture(scope="module")
def demo(book: RuleBook, tmp_path_factory: pytest.TempPathFactory) -> Facts:
    text = (DEMO / "bandroom.yaml").read_text(encoding="utf-8")
    return facts_of_text(text, tmp_path_factory.mktemp("demo"), book)


def amps(facts: Facts, key: str) -> object:
    return LEAD_WIRE_ATTRIBUTES["amps"].get(facts, facts.wires[key])


def test_the_far_side_s_current_comes_through_the_lead(demo: Facts) -> None:
    plus, minus = (amps(demo, f"cable/power lead/{pin}") for pin in ("3", "1"))
    assert isinstance(plus, float) and isinstance(minus, float)
    # two channels of 15 V into 32 ohm and 3.3 ohm + 4.7 ohm: 35 % of 2 x 0.375 A / pi, and what is drawn at rest
    music = 0.35 * 2 * 15.0 / (32 + 8.0) / 3.1416
    assert music < minus < plus < music + 0.25
    lamp = amps(demo, "cable/lamp lead/2")
    assert isinstance(lamp, float) and lamp < 0.01  # a lamp on the panel, not the amplifier


def test_wires_of_signals_and_grounds_bring_no_rail(demo: Facts) -> None:
    assert amps(demo, "cable/power lead/2") is None and amps(demo, "cable/input lead/1") is None


def test_wires_side_by_side_are_counted(demo: Facts) -> None:
    beside = LEAD_WIRE_ATTRIBUTES["beside"].get
    assert beside(demo, demo.wires["cable/power lead/1"]) == 2
    assert beside(demo, demo.wires["cable/power lead/3"]) == 1


def test_what_is_not_told_leaves_what_is_drawn_at_rest(tmp_path: Path, book: RuleBook) -> None:
    facts = facts_of_text(
        "assembly: box\nboards: {supply: supply.net, amp: amp.net}\n"
        "cables: [{name: power lead, from: supply.J2, to: amp.J1}]\n",
        tmp_path,
        book,
    )
    found = amps(facts, "cable/power lead/3")
    assert isinstance(found, Unknown) and found.low is not None and 0.01 < found.low < 0.2
    assert found.high == pytest.approx(3.4)  # the LM317 gives no more
    assert "what amp.J2 is joined to is not given" in found.reasons
    area = LEAD_WIRE_ATTRIBUTES["area"].get(facts, facts.wires["cable/power lead/3"])
    assert isinstance(area, Unknown) and area.reasons == ("the gauge of the power lead is not given",)


def test_a_rail_that_comes_by_two_leads_is_not_parted(tmp_path: Path, book: RuleBook) -> None:
    facts = facts_of_text(
        "assembly: box\nboards: {supply: supply.net, amp: amp.net}\n"
        "cables:\n  - {name: power lead, from: supply.J2, to: amp.J1}\n"
        "  - {name: second, from: supply.TP1, to: amp.J2, wires: {1: 2}}\n",
        tmp_path,
        book,
    )
    pins = {pin.net for pin in facts.circuit.parts["supply/TP1"].pins}
    assert pins == {"supply/net/+15V"}
    found = amps(facts, "cable/power lead/3")
    assert isinstance(found, Unknown) and found.reasons == ("its current comes by another way too",)
