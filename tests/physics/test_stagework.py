"""Output stages that are driven: class B and class A by their formulas, shorts, loads, equal stages once."""

from __future__ import annotations

import math

import pytest

from netcheck.circuit.sampling import read_sample
from netcheck.ground.units import read_quantity
from netcheck.physics.levels import sound_level
from netcheck.physics.loads import Loads
from netcheck.physics.stagework import StageWork, Work
from netcheck.review import BoardPlan, Plan, facts_of
from netcheck.rulebook.at_rest import spread_of
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts

STAGE = """
J1 rca T=IN S=GND
R1 100k IN GND
U1 OPA2134 1=M 2=FB 3=IN 4=-30V 5=GND 6=X 7=X 8=+30V
R2 10k OUT FB
R3 1k FB GND
R4 2k2 +30V B1
R5 2k2 B2 -30V
D1 1N4148 A=B1 K=M
D2 1N4148 A=M K=B2
Q3 BD139 c=+30V b=B1 e=C1
Q4 BD140 c=-30V b=B2 e=C2
R8 220R C1 C2
Q1 TIP35C c=+30V b=C1 e=E1
Q2 TIP36C c=-30V b=C2 e=E2
R6 0R1 E1 OUT
R7 0R1 E2 OUT
J2 screw terminal 1=OUT 2=GND
"""


def facts_from(text: str, book: RuleBook) -> Facts:
    netlist, hints = read_sample(text, "stage.txt", board="s")
    return facts_of(Plan("s", (BoardPlan("s", netlist, hints),), book))


def stages(text: str, book: RuleBook) -> StageWork:
    facts = facts_from(text, book)
    return StageWork(facts.at_rest.points, spread_of(facts.words))


def driven(text: str, book: RuleBook, ohms: float, net: str = "s/net/OUT") -> Work:
    found = stages(text, book).driven(net, ohms)
    assert isinstance(found, Work), found
    return found


def test_a_pair_without_idle_current_takes_up_what_class_b_does(book: RuleBook) -> None:
    """VCC^2 / (pi^2 RL), 5.7 W from 30 V into 16 ohm. Source: Boylestad and Nashelsky, example 12.8, as read there.

    Between the ends the supply is the same; the drivers and the resistors of 0.1 ohm take a little.
    """
    found = driven(STAGE, book, 16.0).of_part("watts", "s/Q1")
    assert found is not None
    assert found.low == pytest.approx(30.0**2 / (math.pi**2 * 16.1), rel=0.06)


def test_a_follower_in_class_a_is_hottest_at_rest(book: RuleBook) -> None:
    """VCE times idle current, and nothing more with a signal. Source: any text on class A."""
    follower = """
    J1 rca T=IN S=GND
    C1 1u IN B
    R1 100R B GND
    Q1 BD139 c=+15V b=B e=OUT
    R2 150R OUT -15V
    C2 470u OUT PH
    R3 1k PH GND
    J2 jack T=PH S=GND
    """
    facts = facts_from(follower, book)
    found = StageWork(facts.at_rest.points, spread_of(facts.words)).driven("s/net/OUT", 300.0)
    assert isinstance(found, Work), found
    most, rest = found.of_part("watts", "s/Q1"), facts.at_rest.points.watts(facts.circuit.parts["s/Q1"])
    assert most is not None and not hasattr(rest, "reasons")
    assert most.high == pytest.approx(rest.high, rel=0.05)
    assert most.high == pytest.approx((15 + 0.7) * (15 - 0.7) / 150, rel=0.1)


def test_the_peak_current_is_that_of_the_load(book: RuleBook) -> None:
    work = driven(STAGE, book, 16.0)
    amps, swing = work.of_part("amps", "s/Q1"), work.swing
    assert amps is not None and amps.high == pytest.approx(swing.high / 16.0, rel=0.05)
    volts = work.of_part("volts", "s/Q1")
    assert volts is not None and volts.high == pytest.approx(30 + swing.high, rel=0.05)


def test_a_short_brings_more_current_than_any_load_and_all_the_supply(book: RuleBook) -> None:
    work, shorted = driven(STAGE, book, 16.0), driven(STAGE, book, 0.0)
    for part in ("s/Q1", "s/Q2"):
        load, short = work.of_part("amps", part), shorted.of_part("amps", part)
        assert load is not None and short is not None and short.low > 2 * load.high
    volts = shorted.of_part("volts", "s/Q1")
    assert volts is not None and volts.high == pytest.approx(30.0, abs=3.0)


def test_more_current_gain_gives_more_level(book: RuleBook) -> None:
    """Without drivers the bias resistors end the current, so the least gain decides."""
    lines = [line for line in STAGE.splitlines() if not line.startswith(("Q3", "Q4", "R8"))]
    text = "\n".join(lines).replace("b=C1", "b=B1").replace("b=C2", "b=B2")
    work = driven(text, book, 16.0)
    assert work.swing.low < work.swing.high
    assert "no longer conducts" in work.least.level.limit


def test_equal_stages_are_worked_out_once_and_told_of_their_own_parts(book: RuleBook) -> None:
    other = "\n".join(" ".join(_second(word) for word in line.split()) for line in STAGE.strip().splitlines())
    two = stages(STAGE + other, book)
    first, second = two.driven("s/net/OUT", 16.0), two.driven("s/net/OUTb", 16.0)
    assert isinstance(first, Work) and isinstance(second, Work)
    assert second.least is first.least
    assert first.of_part("watts", "s/Q1") == second.of_part("watts", "s/Q101")
    assert first.of_part("watts", "s/Q101") is None


def _second(word: str) -> str:
    """The word of a line for a second stage: references a hundred on, nets with a letter more, rails the same."""
    if word[0] in "JRUDQ" and word[1:].isdigit():
        return f"{word[0]}{int(word[1:]) + 100}"
    name, equals, net = word.rpartition("=")
    if net in ("IN", "OUT", "M", "FB", "X", "B1", "B2", "C1", "C2", "E1", "E2"):
        return f"{name}{equals}{net}b"
    return word


def test_a_value_that_cannot_be_read_leaves_it_open(book: RuleBook) -> None:
    found = stages(STAGE.replace("R4 2k2", "R4 TBD"), book).driven("s/net/OUT", 16.0)
    assert found == ("R4 has the value 'TBD'",)


def test_without_a_way_in_it_is_said_so(book: RuleBook) -> None:
    lines = [line for line in STAGE.splitlines() if not line.startswith(("J1", "R1 ", "U1"))]
    found = stages("\n".join(lines), book).driven("s/net/OUT", 16.0)
    assert isinstance(found, tuple) and found


def test_sockets_tell_the_load_and_feedback_does_not(book: RuleBook) -> None:
    def loads(text: str) -> tuple[float, ...]:
        facts = facts_from(text, book)
        return Loads(facts.walks, (), frozenset({"PHONES"}), (32.0, 300.0), 22.0, 10e3, 680.0).ohms_at("s/net/OUT")

    assert loads(STAGE) == ()
    assert loads(STAGE.replace("R2 10k", "R2 470R").replace("J1 rca T=IN", "J1 rca T=FB")) == (10e3,)
    assert loads(STAGE.replace("J2 screw terminal 1=OUT", "J2 jack T=OUT").replace("2=GND", "S=GND")) == (32.0, 300.0)
    assert loads(STAGE.replace("J2 screw terminal 1=OUT", "R9 100R OUT A\nJ2 jack T=A").replace("2=GND", "S=GND")) == (
        10e3,
    )
    assert loads(STAGE.replace("J2 screw terminal", "J2 header Phones")) == (32.0, 300.0)


def test_how_loud_a_level_is() -> None:
    """110 dB from 90 dB/mW are 100 mW, 2.12 V into 45 ohm. Source: TI, Amp up your cans, part 1, as read there."""
    assert sound_level(2.12, 45.0, read_quantity("90 dB/mW")) == pytest.approx(110.0, abs=0.05)


def test_an_op_amp_that_feeds_the_bases_ends_the_current_of_a_short(book: RuleBook) -> None:
    """24 mA, what a NE5532 usually gives, times the least current gain of 40, less what goes through the resistor."""
    text = """
    J1 rca T=IN S=GND
    R1 100k IN GND
    U1 NE5532 1=B 2=FB 3=IN 4=-15V 5=GND 6=X 7=X 8=+15V
    R2 10k OUT FB
    R3 10k FB GND
    Q1 BD139 c=+15V b=B e=OUT
    Q2 BD140 c=-15V b=B e=OUT
    R4 47R B OUT
    J2 jack T=OUT S=GND
    """
    work = driven(text, book, 0.0)
    amps = work.of_part("amps", "s/Q1")
    assert amps is not None and 0.2 < amps.low < 0.024 * 40
    assert work.least.level.limit == "U1A delivers no more current"
