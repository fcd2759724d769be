"""What rules ask of amplifiers in their loops: numbers with their reasons and what was looked at."""

from __future__ import annotations

import pytest
from test_judge import facts_of

from netcheck.language.scope import Trace
from netcheck.language.values import Unknown
from netcheck.rulebook.functions_amplifier import AMPLIFIER_FUNCTIONS

STAGE = (
    "U1 {} 1=OUT 2=M 3=IN 4=-15V 5=GND 6=O2 7=O2 8=+15V\nR1 10k OUT M\nR2 {} M GND\nR3 100k IN GND\n"
    "C9 10u OUT LINE\nR9 1M LINE GND\nJ1 jack T=IN S=GND\nJ2 jack T=LINE S=GND\n"
)
FAST = "U1 NE5534 2=OUT 3=IN 4=-15V 6=OUT 7=+15V 5={} 8={} 1=open\nR3 100k IN GND\n"


def called(name: str, text: str, book, *more: object) -> tuple[object, Trace]:
    facts, trace = facts_of(text, book), Trace()
    return AMPLIFIER_FUNCTIONS[name].call(facts, trace, facts.amplifiers[0], *more), trace


def test_a_number_leaves_what_it_was_made_of_as_evidence(book) -> None:
    found, trace = called("noise_gain", STAGE.format("NE5532", "1k"), book, 1e3)
    assert found == pytest.approx(11, rel=1e-3)
    assert {"amp/U1", "amp/R1", "amp/R2"} <= set(trace.evidence) and "amp/R3" not in trace.evidence


def test_a_value_that_cannot_be_read_gives_bounds_and_its_name(book) -> None:
    found, _ = called("closed_loop_bandwidth", STAGE.format("NE5532", "TBD"), book)
    assert isinstance(found, Unknown) and found.low is not None and found.high == pytest.approx(10e6, rel=0.01)
    assert any("R2 has the value 'TBD'" in reason for reason in found.reasons)


def test_a_type_of_which_only_the_kind_is_known_gives_wide_bounds(book) -> None:
    found, _ = called("closed_loop_bandwidth", STAGE.format("opamp", "1k"), book)
    assert isinstance(found, Unknown) and found.low is not None and found.high is not None
    assert found.high > 20 * found.low


def test_feedback_that_never_comes_back_has_no_bandwidth(book) -> None:
    text = STAGE.format("NE5532", "1k").replace("R1 10k OUT M\n", "R1 10k IN M\n")
    found, _ = called("closed_loop_bandwidth", text, book)
    assert isinstance(found, Unknown) and found.reasons == ("the loop gain of U1A is less than one",)


@pytest.mark.parametrize(("pins", "more", "least"), [(("open", "open"), "", 3.0), (("X", "Y"), "C1 22p X Y\n", 1.0)])
def test_the_compensation_pins_are_looked_at(book, pins: tuple[str, str], more: str, least: float) -> None:
    assert called("least_stable_gain", FAST.format(*pins) + more, book)[0] == least


def test_two_small_capacitors_between_the_compensation_pins_add_up(book) -> None:
    assert called("least_stable_gain", FAST.format("X", "Y") + "C1 12p X Y\nC2 10p X Y\n", book)[0] == 1.0


def test_a_balance_pin_named_like_compensation_hides_no_capacitor(book) -> None:
    text = FAST.format("X", "Y").replace("1=open", "1=Z") + "C1 22p X Y\n"
    assert called("least_stable_gain", text, book)[0] == 1.0


def test_a_compensation_capacitor_that_cannot_be_read(book) -> None:
    found, _ = called("least_stable_gain", FAST.format("X", "Y") + "C1 TBD X Y\n", book)
    assert isinstance(found, Unknown) and (found.low, found.high) == (1.0, 3.0)


def test_the_phase_margin_says_what_it_lacks(book) -> None:
    found, _ = called("phase_margin", STAGE.format("NJM4580", "1k"), book, 100e-12, 1e-9)
    assert isinstance(found, Unknown)
    assert "the part book has no phase margin for U1 (NJM4580)" in found.reasons


def test_more_cable_never_adds_margin_to_a_bare_output(book) -> None:
    text = STAGE.format("TL072", "1M").replace("C9 10u OUT LINE", "R8 1R OUT LINE")
    margins = [called("phase_margin", text, book, least, least)[0] for least in (0.0, 100e-12, 300e-12, 1e-9)]
    assert all(isinstance(one, float) for one in margins)
    assert margins == sorted(margins, reverse=True) and margins[0] > 55 and margins[-1] < 20


def test_offsets_are_told_usual_and_at_worst(book) -> None:
    text = STAGE.format("NE5532", "1k")
    usual, worst = (called(name, text, book)[0] for name in ("offset_volts", "offset_volts_most"))
    assert isinstance(usual, float) and isinstance(worst, float) and usual < worst
    assert called("offset_before", text, book)[0] == 0.0
    assert called("offset_of_bias", text, book)[0] == pytest.approx(200e-9 * (11 * 100e3 - 10e3), rel=1e-3)


def test_what_a_feedback_capacitor_takes_off_a_stage_without_one(book) -> None:
    assert called("feedback_loss", STAGE.format("NE5532", "1k"), book, 20e3, False)[0] == pytest.approx(0, abs=0.01)


def test_the_room_of_an_input_has_two_sides(book) -> None:
    text = STAGE.format("NE5532", "1k")
    below, above = (called("input_room", text, book, side, True)[0] for side in ("below", "above"))
    assert below == pytest.approx(12, abs=0.5) and above == pytest.approx(12, abs=0.5)
