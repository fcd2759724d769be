"""Loops of amplifiers: noise gain, crossover, margin, offset and room, on small circuits."""

from __future__ import annotations

import math

import pytest
from test_judge import facts_of

from netcheck.language.values import Unknown
from netcheck.physics.inputrange import input_room
from netcheck.physics.loops import LoopNetwork, Loops, Span
from netcheck.physics.margins import crossover, gain_at_crossover, phase_margin, second_pole
from netcheck.physics.offsets import Offset, Offsets
from netcheck.physics.points import Range
from netcheck.physics.stagegain import feedback_loss
from netcheck.physics.swinging import largest_swing
from netcheck.rulebook.facts import Facts

AMP = "U1 {} 1=OUT 2=M 3=IN 4=-15V 5=GND 6=O2 7=O2 8=+15V\n"
ENDS = "R3 100k IN GND\nC9 10u OUT LINE\nR9 1M LINE GND\nJ1 jack T=IN S=GND\nJ2 jack T=LINE S=GND\n"
ELEVEN = AMP.format("NE5532") + "R1 10k OUT M\nR2 1k M GND\n" + ENDS


def first(text: str, book) -> tuple[Facts, Loops]:
    facts = facts_of(text, book)
    return facts, Loops(facts.at_rest.points)


def told(found: object) -> Span:
    assert isinstance(found, Span), found
    return found


def test_the_noise_gain_is_one_by_what_comes_back(book) -> None:
    facts, loops = first(ELEVEN, book)
    assert told(loops.noise_gain(facts.amplifiers[0], 1e3)).low == pytest.approx(11, rel=1e-4)


def test_an_inverting_gain_of_one_has_a_noise_gain_of_two_while_its_source_is_joined(book) -> None:
    text = AMP.format("NE5532").replace("3=IN", "3=GND") + "R1 10k OUT M\nR2 10k M IN\n" + ENDS
    facts, loops = first(text, book)
    found = told(loops.noise_gain(facts.amplifiers[0], 1e3))
    assert found.high == pytest.approx(2, rel=0.1) and found.low < found.high
    assert "what J1 is joined to is not given" in found.doubts


def test_a_capacitor_in_the_lower_leg_leaves_one_for_direct_current(book) -> None:
    text = AMP.format("NE5532") + "R1 10k OUT M\nR2 1k M FOOT\nC1 47u FOOT GND\n" + ENDS
    facts, loops = first(text, book)
    assert told(loops.noise_gain(facts.amplifiers[0], 0.0)).high == pytest.approx(1, rel=1e-4)
    assert told(loops.noise_gain(facts.amplifiers[0], 1e3)).low == pytest.approx(11, rel=1e-3)


def test_all_ways_of_feedback_count_together(book) -> None:
    """An integrator over the whole stage takes its gain for direct current away."""
    text = ELEVEN.replace("5=GND 6=O2 7=O2", "5=GND 6=N 7=O2") + "R5 1M OUT N\nC5 1u O2 N\nR6 22k O2 M\n"
    facts, loops = first(text, book)
    assert told(loops.noise_gain(facts.amplifiers[0], 0.0)).high < 0.01
    assert told(loops.noise_gain(facts.amplifiers[0], 1e3)).low == pytest.approx(11 + 10 / 22, rel=1e-3)


def test_positive_feedback_has_a_loop_gain_below_zero(book) -> None:
    text = AMP.format("NE5532").replace("2=M 3=IN", "3=M 2=IN") + "R1 10k OUT M\nR2 1k M GND\n" + ENDS
    facts, loops = first(text, book)
    assert told(loops.loop_gain(facts.amplifiers[0])).high < -1000


def test_bandwidth_is_gain_bandwidth_by_noise_gain(book) -> None:
    facts, loops = first(ELEVEN, book)
    found = told(crossover(loops, facts.amplifiers[0]))
    assert found.low == pytest.approx(10e6 / 11, rel=0.01)
    assert told(gain_at_crossover(loops, facts.amplifiers[0])).low == pytest.approx(11, rel=0.01)


def test_a_position_gives_two_ends_and_says_so(book) -> None:
    text = AMP.format("NE5532") + "R1 10k OUT M\nRV1 potentiometer 10k end1=M end2=X w=M\nR2 1k X GND\n" + ENDS
    facts, loops = first(text, book)
    found = told(loops.noise_gain(facts.amplifiers[0], 1e3))
    assert found.low == pytest.approx(1 + 10 / 11, rel=0.01) and found.high == pytest.approx(11, rel=0.01)
    assert found.doubts == ("the setting of RV1 is not given",)


def test_a_part_that_is_not_modelled_leaves_it_unknown(book) -> None:
    facts, loops = first(ELEVEN + "U5 microcontroller 1=M 2=GND\n", book)
    assert loops.noise_gain(facts.amplifiers[0], 1e3) == ("what U5 does at its pins is not known",)


def test_one_that_hangs_on_the_output_alone_does_not(book) -> None:
    facts, loops = first(ELEVEN + "U5 microcontroller 1=LINE 2=GND\n", book)
    assert told(loops.noise_gain(facts.amplifiers[0], 1e3)).low == pytest.approx(11, rel=1e-3)
    assert isinstance(loops.network(facts.amplifiers[0], loads=True), tuple)


def test_stages_that_are_built_alike_are_solved_once(book) -> None:
    text = "U1 NE5532 1=A 2=M 3=P 4=-15V 5=Q 6=N 7=B 8=+15V\nR1 10k A M\nR2 1k M GND\nR3 10k B N\nR4 1k N GND\n"
    facts, loops = first(text + "R5 100k P GND\nR6 47k Q GND\n", book)
    one, other = (loops.network(amp) for amp in facts.amplifiers)
    assert isinstance(one, LoopNetwork) and isinstance(other, LoopNetwork)
    assert loops.opened(one) is loops.opened(other)


@pytest.mark.parametrize("margin", [30.0, 45.0, 60.0, 80.0])
def test_the_second_pole_gives_the_margin_back_at_unity_gain(margin: float) -> None:
    second = second_pole(10e6, margin)
    unity = 10e6 * math.cos(math.radians(90 - margin))
    assert 90 - math.degrees(math.atan(unity / second)) == pytest.approx(margin)
    assert 10e6 / unity / math.hypot(1, unity / second) == pytest.approx(1)


def test_no_margin_without_second_pole_and_output_resistance(book) -> None:
    facts, loops = first(ELEVEN.replace("NE5532", "LM4562"), book)
    found = phase_margin(loops, facts.amplifiers[0], (), (0.0,))
    assert found == ("the part book has no phase margin for U1 (LM4562)",)


def offset(text: str, book, at: int = 0) -> Offset:
    facts, loops = first(text, book)
    found = Offsets(loops).of(facts.amplifiers[at])
    assert isinstance(found, Offset), found
    return found


def test_bias_current_through_a_resistor(book) -> None:
    """NE5532, 200 nA in 100 kohm: 20 mV. Source: TI SLOS075J for the current, Ohm for the rest."""
    text = AMP.format("NE5532").replace("2=M", "2=OUT") + "C1 1u IN P\n" + ENDS
    found = offset(text.replace("3=IN", "3=P").replace("R3 100k IN", "R3 100k P"), book)
    assert found.bias == pytest.approx(20e-3, rel=1e-3)
    assert found.usual[1] == pytest.approx(20.5e-3, rel=1e-2)
    assert found.most[1] == pytest.approx(84e-3, rel=1e-2)


def test_equal_resistances_cancel_bias_currents_of_known_direction(book) -> None:
    text = AMP.format("NE5532").replace("2=M", "2=M") + "R1 100k OUT M\nC1 1u IN P\n" + ENDS
    found = offset(text.replace("3=IN", "3=P").replace("R3 100k IN", "R3 100k P"), book)
    assert found.bias == pytest.approx(0, abs=1e-4)


def test_offset_is_carried_from_stage_to_stage(book) -> None:
    text = (
        "U1 TL072 1=A 2=M 3=GND 4=-15V 5=A 6=N 7=B 8=+15V\nR1 10k IN M\nR2 100k A M\nR5 1k N GND\nR6 9k B N\n"
        "C9 10u B LINE\nR9 1M LINE GND\nJ1 jack T=IN S=GND\nJ2 jack T=LINE S=GND\n"
    )
    one, other = offset(text, book), offset(text, book, 1)
    assert other.before == pytest.approx(10 * one.usual[1], rel=1e-3)


def test_an_open_loop_has_no_offset(book) -> None:
    text = AMP.format("NE5532") + "C1 1n OUT M\nR2 10k M IN\n" + ENDS
    facts, loops = first(text, book)
    assert Offsets(loops).of(facts.amplifiers[0]) == ("no direct current comes back to the inputs of U1A",)


def test_the_largest_swing_is_half_of_what_lies_between(book) -> None:
    facts = facts_of(ELEVEN, book)
    swing = largest_swing(facts.circuit, facts.amplifiers[0])
    assert isinstance(swing, float) and 13 <= swing < 14.5
    unknown = largest_swing(*_unknown_supply(book))
    assert isinstance(unknown, Unknown) and unknown.high == pytest.approx(22)


def _unknown_supply(book):
    facts = facts_of("U1 NE5532 1=OUT 2=OUT 3=IN 4=VEE 5=GND 6=O2 7=O2 8=VCC\nR3 100k IN GND\n", book)
    return facts.circuit, facts.amplifiers[0]


def test_room_follows_the_supply(book) -> None:
    """Half of a supply that is known within 5 %: the divider moves with it, and so does the room."""
    text = (
        "U1 TL072 1=OUT 2=OUT 3=IN 4=GND 5=MID 6=O2 7=O2 8=+12V\nU2 7812 in=+20V gnd=GND out=+12V\n"
        "R1 10k +12V MID\nR2 10k MID GND\nR3 100k IN MID\nC1 1u SRC IN\nJ1 jack T=SRC S=GND\nJ3 header 1=+20V 2=GND\n"
    )
    facts = facts_of(text, book)
    usual, sure = (input_room(facts.at_rest.points, facts.amplifiers[0], "below", one) for one in (False, True))
    assert isinstance(usual, Range) and isinstance(sure, Range)
    assert usual.nominal == pytest.approx(6 - 3, abs=0.01) and sure.nominal == pytest.approx(6 - 4, abs=0.01)
    assert usual.high - usual.low < 1.0


def test_what_a_capacitor_across_the_feedback_takes_off(book) -> None:
    """10 kohm and 1 nF: 15.9 kHz; at 20 kHz 10 lg(1 + (20/15.9)^2) less what it takes at 1 kHz."""
    text = AMP.format("NE5532").replace("3=IN", "3=GND") + "R1 10k OUT M\nR2 10k M IN\nC1 1n OUT M\n" + ENDS
    facts, loops = first(text, book)
    corner = 1 / (2 * math.pi * 10e3 * 1e-9)
    wanted = 10 * math.log10((1 + (20e3 / corner) ** 2) / (1 + (1e3 / corner) ** 2))
    assert told(feedback_loss(loops, facts.amplifiers[0], 20e3, True)).low == pytest.approx(wanted, abs=0.03)


def test_a_long_chain_adds_up_whatever_it_is_asked_from(book) -> None:
    """Thirty followers, the last one numbered first: each adds its 3 mV."""
    chain = "".join(f"U{n} TL071 2=S{n} 3=S{n + 1} 4=-15V 6=S{n} 7=+15V 1=open 5=open 8=open\n" for n in range(1, 31))
    facts, loops = first(chain + "R1 10k S31 GND\nJ1 jack T=S1 S=GND\n", book)
    ordered = Offsets(loops)
    found = ordered.of(next(amp for amp in facts.amplifiers if amp.part == "amp/U1"))
    assert isinstance(found, Offset) and found.usual[1] == pytest.approx(30 * 3e-3, rel=0.01)


@pytest.mark.parametrize("value", ["0R", "1e300", "1e-300", "1T", "TBD", "-5", "1p"])
@pytest.mark.parametrize("part", ["R1 {} OUT M", "R2 {} M GND", "C1 {} OUT M", "C1 {} M GND", "L1 {} M GND"])
def test_absurd_values_end_in_a_number_or_a_reason(book, part: str, value: str) -> None:
    text = AMP.format("TL072") + "R1 10k OUT M\nR2 1k M GND\n".replace(part.split()[0], part.split()[0] + "0") + ENDS
    facts, loops = first(text + part.format(value) + "\n", book)
    amp = facts.amplifiers[0]
    for found in (
        loops.noise_gain(amp, 1e3),
        loops.loop_gain(amp),
        crossover(loops, amp),
        phase_margin(loops, amp, ["amp/net/OUT"], [0.0, 1e-9]),
        feedback_loss(loops, amp, 20e3, False),
    ):
        if isinstance(found, Span):
            assert not math.isnan(found.low) and not math.isnan(found.high)
        else:
            assert found and all(reason for reason in found)
    assert isinstance(Offsets(loops).of(amp), Offset | tuple)


FOLLOWED = (
    "U1 TL072 1=DRIVE 2=OUT 3=IN 4=-15V 5=GND 6=O2 7=O2 8=+15V\nR4 1k DRIVE G\nR5 1k OUT -15V\n"
    "R3 100k IN GND\nJ1 jack T=IN S=GND\nJ2 jack T=OUT S=GND\n"
)


@pytest.mark.parametrize(
    ("device", "reason"),
    [
        ("Q1 IRF540 d=+15V g=G s=OUT\n", "how fast Q1 is in the loop is not modelled"),
        ("Q1 S8050 c=+15V b=G e=OUT\n", "the part book has no output capacitance for Q1 (S8050)"),
    ],
)
def test_transistors_in_the_loop_must_be_known_for_a_margin(book, device: str, reason: str) -> None:
    facts, loops = first(FOLLOWED + device, book)
    found = phase_margin(loops, facts.amplifiers[0], ["amp/net/OUT"], [100e-12])
    assert isinstance(found, tuple) and reason in found


def test_a_small_transistor_of_known_speed_in_the_loop_gives_a_margin(book) -> None:
    facts, loops = first(FOLLOWED + "Q1 BC547 c=+15V b=G e=OUT\n", book)
    found = told(phase_margin(loops, facts.amplifiers[0], ["amp/net/OUT"], [0.0]))
    assert 20 < found.low < 60
