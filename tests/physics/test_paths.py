"""Signal paths of small circuits: where they begin and end, what they do, and what is said where there is none."""

from __future__ import annotations

import math

import pytest
from test_judge import facts_of

from netcheck.physics.behaviour import PathBehaviour
from netcheck.rulebook.book import RuleBook

SINGLE = (
    "U1 TL072 1=O 2=M 3=P 4=GND 8=+9V 5=MID 6=X 7=X\nR1 10k +9V MID\nR2 10k MID GND\nC5 100u MID GND\n"
    "C1 {first} IN P\nR3 100k P MID\nR4 10k O M\nR5 10k M MID\nC2 10u O OUT\nR6 10k OUT GND\n"
    "J1 jack T=IN S=GND\nJ2 jack T=OUT S=GND\nC3 100n +9V GND\nJ3 header 1=+9V 2=GND"
)


def paths(text: str, book: RuleBook) -> tuple[PathBehaviour, ...]:
    return facts_of(text, book).at_rest.numbers("amp").paths


def only(text: str, book: RuleBook) -> PathBehaviour:
    (found,) = paths(text, book)
    return found


def test_from_jack_to_jack(book: RuleBook) -> None:
    found = only(SINGLE.format(first="10n"), book)
    assert (found.input, found.output) == ("amp/net/IN", "amp/net/OUT")
    assert found.gain == pytest.approx(6.02 - 10 * math.log10(1 + 0.159**2), abs=0.02)
    assert found.input_ohms == pytest.approx(abs(100e3 + 1 / (2j * math.pi * 1e3 * 10e-9)), rel=0.02)


def test_a_corner_is_put_down_to_what_sets_it(book: RuleBook) -> None:
    corner = only(SINGLE.format(first="10n"), book).corner("low", 3.0)
    assert corner is not None and corner.hertz == pytest.approx(159.2, rel=0.03)
    assert corner.parts[0] == "amp/C1" and "amp/R3" in corner.parts


def test_two_corners_near_each_other_share(book: RuleBook) -> None:
    """1.6 Hz at the input and at the output: each sets half, and together they are 3 dB down at 1.555 times that."""
    corner = only(SINGLE.format(first="1u"), book).corner("low", 3.0)
    assert corner is not None and corner.hertz == pytest.approx(1.59 * 1.555, rel=0.08)
    assert corner.parts[:2] == ("amp/C1", "amp/C2")
    assert corner.shares[:2] == pytest.approx((0.5, 0.5), abs=0.05)


def test_half_a_supply_is_what_comes_out_at_most(book: RuleBook) -> None:
    loads = only(SINGLE.format(first="1u"), book).loads
    assert 1.0 < loads[0].volts < 4.5 / math.sqrt(2)
    assert "U1A" in loads[0].limit


def test_a_capacitor_that_cannot_be_read_is_named(book: RuleBook) -> None:
    assert only(SINGLE.format(first="TBD"), book).reasons == ("C1 has the value 'TBD'",)


def test_a_volume_control_from_end_to_end(book: RuleBook) -> None:
    text = SINGLE.format(first="1u").replace("J1 jack T=IN", "RV1 potentiometer 10k 1=GND 2=IN 3=TOP\nJ1 jack T=TOP")
    (control,) = only(text, book).controls
    assert control.part == "amp/RV1"
    assert control.gains[0] < -50 and control.gains[1] == pytest.approx(0.0, abs=0.5)
    assert control.gains[2] == pytest.approx(6.0, abs=0.1)


def test_a_part_without_model_in_the_path_is_named(book: RuleBook) -> None:
    text = SINGLE.format(first="1u") + "\nU2 logic 1=P 2=GND 3=+9V"
    assert only(text, book).reasons == ("what U2 does at its pins is not known",)


def test_a_board_without_amplifier_has_no_path(book: RuleBook) -> None:
    assert paths("R1 1k IN OUT\nJ1 jack T=IN S=GND\nJ2 jack T=OUT S=GND", book) == ()


def test_a_transistor_stage_is_a_path(book: RuleBook) -> None:
    text = (
        "Q1 BC547B c=C b=B e=E\nR1 100k +12V B\nR2 22k B GND\nR3 4k7 +12V C\nR4 1k E GND\nC1 10u IN B\nC2 10u C OUT\n"
        "R5 100k OUT GND\nJ1 jack T=IN S=GND\nJ2 jack T=OUT S=GND\nC3 100n +12V GND\nJ3 header 1=+12V 2=GND"
    )
    found = only(text, book)
    assert found.gain == pytest.approx(20 * math.log10(4.7 * 100 / 104.7 / 1.02), abs=0.3)
    assert found.degrees[200] % 360 == pytest.approx(180.0, abs=5.0)


def test_a_power_amplifier_whose_gain_is_set_outside(book: RuleBook) -> None:
    text = (
        "U1 LM3886 1=+30V 3=O 4=-30V 5=+30V 7=GND 8=MUTE 9=M 10=P\nR1 22k MUTE -30V\nC1 1u IN P\nR2 22k P GND\n"
        "R3 20k O M\nR4 1k M F\nC2 47u F GND\nJ1 jack T=IN S=GND\nJ2 terminal 1=O 2=GND\nC3 100n +30V GND\n"
        "C4 100n -30V GND\nJ3 header 1=+30V 2=GND 3=-30V"
    )
    found = only(text, book)
    assert found.reasons == ()
    assert found.gain == pytest.approx(20 * math.log10(21), abs=0.05)
    assert found.loads[0].volts * math.sqrt(2) == pytest.approx(28.0, abs=2.0)
