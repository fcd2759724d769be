"""Signal paths as rules see them: which there are, and their numbers against closed forms."""

from __future__ import annotations

import math

import pytest
from test_judge import facts_of

from netcheck.language.scope import Trace
from netcheck.language.values import Lot, Unknown
from netcheck.physics.ports import SignalPath
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions_signal import SIGNAL_FUNCTIONS
from netcheck.rulebook.nouns_signal import SIGNAL_ATTRIBUTES
from netcheck.rulebook.signals import loudness, signals_of
from netcheck.rulebook.vocabulary import name_of

FEEDS = "C91 100n +15V GND\nC92 100n -15V GND\nJ9 header keyed 1=+15V 2=GND 3=-15V\n"
INVERTING = FEEDS + (
    "U1 NE5532 1=O 2=M 3=GND 4=-15V 5=GND 6=X 7=X 8=+15V\nC1 {capacitor} IN A\nR1 10k A M\nR2 22k M O\nR3 100R O OUT\n"
    "J1 jack T=IN S=GND\nJ2 jack T=OUT S=GND\n"
)
UPRIGHT = INVERTING.replace("3=GND", "3=A").replace("R1 10k A M", "R1 10k A GND\nR4 10k M GND")
SWITCHED = UPRIGHT.replace("J1 jack T=IN", "SW1 switch IN MID\nR9 100k IN GND\nJ1 jack T=MID").format(capacitor="1u")


def call(facts: Facts, name: str, *arguments: object) -> object:
    return SIGNAL_FUNCTIONS[name].call(facts, Trace(), *arguments)


def only(text: str, book) -> tuple[Facts, SignalPath]:
    facts = facts_of(text, book)
    (path,) = signals_of(facts).paths
    return facts, path


def test_an_inverting_input_at_a_socket_is_one(book) -> None:
    facts, path = only(INVERTING.format(capacitor="1u"), book)
    assert name_of(facts, path) == "J1 tip to J2 tip"
    assert call(facts, "inverts", path) is True
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(2.2), abs=0.02)


def test_a_non_inverting_one_is_upright(book) -> None:
    facts, path = only(UPRIGHT.format(capacitor="1u"), book)
    assert call(facts, "inverts", path) is False
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(3.2), abs=0.02)
    assert call(facts, "input_ohms", path) == pytest.approx(10e3, rel=0.03)
    assert call(facts, "output_ohms", path) == pytest.approx(100.0, rel=0.01)


def test_two_inverting_stages_are_upright(book) -> None:
    text = INVERTING.format(capacitor="1u").replace("5=GND 6=X 7=X", "5=GND 6=X 7=Y").replace("R3 100R O", "R3 100R Y")
    facts, path = only(text + "R5 10k O X\nR6 10k X Y\n", book)
    assert call(facts, "inverts", path) is False


def test_the_corner_is_that_of_its_capacitor_and_resistor(book) -> None:
    facts, path = only(UPRIGHT.format(capacitor="1u"), book)
    hertz = 1 / (2 * math.pi * 10e3 * 1e-6)
    assert call(facts, "corner", path, "low", 3.0103) == pytest.approx(hertz, rel=0.005)
    parts = call(facts, "corner_parts", path, "low", 3.0)
    assert isinstance(parts, Lot)
    assert [name_of(facts, part) for part in parts.members] == ["C1", "R1"]
    assert call(facts, "corner_share", path, parts.members[0], "low", 3.0) == pytest.approx(1.0, abs=0.01)
    assert call(facts, "steepness", path, "low", 3.0103) == pytest.approx(0.5, abs=0.01)


def test_the_delay_is_that_of_a_high_pass(book) -> None:
    """Group delay of a first-order high-pass: tau / (1 + (w tau)^2) with w tau = f / fc, over w: fc / (...)."""
    facts, path = only(UPRIGHT.format(capacitor="1u"), book)
    tau, at = 10e3 * 1e-6, 2 * math.pi * 20.0
    assert call(facts, "delay", path, 20.0) == pytest.approx(tau / (1 + (at * tau) ** 2), rel=0.02)
    spread = call(facts, "delay_spread", path, 20.0, 2e3)
    assert spread == pytest.approx(tau / (1 + (at * tau) ** 2), rel=0.03)


def test_the_band_falls_by_what_the_capacitor_takes(book) -> None:
    facts, path = only(UPRIGHT.format(capacitor="1u"), book)
    loss = 10 * math.log10(1 + (15.915 / 20) ** 2)
    assert call(facts, "flatness", path, 20.0, 10e3) == pytest.approx(loss, abs=0.03)


def test_without_a_capacitor_there_is_no_low_corner(book) -> None:
    facts, path = only(UPRIGHT.replace("C1 {capacitor} IN A", "R8 1k IN A"), book)
    assert call(facts, "corner", path, "low", 3.0) == 0.0
    parts = call(facts, "corner_parts", path, "low", 3.0)
    assert isinstance(parts, Lot) and parts.members == ()


def test_a_value_that_cannot_be_read_leaves_it_open(book) -> None:
    facts, path = only(UPRIGHT.format(capacitor="TBD"), book)
    for name, arguments in (("gain", ()), ("inverts", ()), ("corner", ("low", 3.0)), ("noise", ()), ("swing", (1e4,))):
        found = call(facts, name, path, *arguments)
        assert isinstance(found, Unknown) and found.reasons == ("C1 has the value 'TBD'",)


def test_noise_of_resistors_and_amplifier(book) -> None:
    facts, path = only(UPRIGHT.format(capacitor="1u"), book)
    noise, weighted = call(facts, "noise", path), call(facts, "noise_weighted", path)
    assert isinstance(noise, float) and isinstance(weighted, float)
    # 5 nV/rtHz, 0.7 pA/rtHz in 10k || 22k, 4kTR of that, times 3.2; the input is shorted by its capacitor
    parallel = 10e3 * 22e3 / 32e3
    density = 3.2 * math.sqrt(5e-9**2 + (0.7e-12 * parallel) ** 2 + 4 * 1.38e-23 * 300 * parallel)
    assert noise == pytest.approx(density * math.sqrt(19980), rel=0.15)
    assert weighted < noise


def test_the_swing_ends_at_the_supply(book) -> None:
    facts, path = only(UPRIGHT.format(capacitor="1u"), book)
    volts = call(facts, "swing", path, 10e3)
    assert isinstance(volts, float) and 7.0 < volts < 10.6
    assert "U1A" in str(call(facts, "swing_limit", path, 10e3))


def test_a_volume_control_stands_fully_open_and_a_tone_control_in_the_middle(book) -> None:
    plain = UPRIGHT.format(capacitor="1u")
    loud = plain.replace("J1 jack T=IN", "RV1 potentiometer 1k 1=GND 2=IN 3=TOP\nJ1 jack T=TOP")
    facts, path = only(loud, book)
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(3.2), abs=0.02)
    assert call(facts, "full_gain", path) == call(facts, "gain", path)
    part = UPRIGHT.format(capacitor="1u").replace("R2 22k M O", "RV1 potentiometer 22k 1=M 2=O 3=O")
    facts, path = only(part, book)
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(2.1), abs=0.02)


def test_a_contact_of_unknown_position_is_taken_as_closed_on_the_way(book) -> None:
    facts, path = only(SWITCHED, book)
    assert len(path.joined) == 1
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(3.2), abs=0.02)


def test_nothing_is_told_of_a_path_that_was_inferred(book) -> None:
    facts, path = only(UPRIGHT.format(capacitor="1u"), book)
    assert SIGNAL_ATTRIBUTES["declared"].get(facts, path) is False
    for name in ("source_ohms", "largest_volts", "least_load", "wanted_volts"):
        assert isinstance(SIGNAL_ATTRIBUTES[name].get(facts, path), Unknown)
    assert isinstance(loudness(path, 1.0), Unknown)


def test_the_signal_across_a_capacitor_needs_the_level_of_the_source(book) -> None:
    facts, _ = only(UPRIGHT.format(capacitor="1u"), book)
    found = call(facts, "signal_volts", facts.circuit.parts["amp/C1"], 20.0)
    assert isinstance(found, Unknown) and "largest level" in found.reasons[0]
    assert call(facts, "signal_volts", facts.circuit.parts["amp/C91"], 20.0) == 0.0


def test_what_a_net_is_driven_from(book) -> None:
    facts, _ = only(UPRIGHT.format(capacitor="1u"), book)
    nets = facts.circuit.nets
    assert call(facts, "source_resistance", nets["amp/net/OUT"]) == pytest.approx(100.0, rel=0.01)
    assert call(facts, "source_resistance", nets["amp/net/A"]) == pytest.approx(
        abs(1 / (1 / 10e3 + 2j * math.pi * 1e3 * 1e-6)), rel=0.02
    )
    assert isinstance(call(facts, "source_resistance", nets["amp/net/X"]), Unknown)


UNKNOWN_RAILS = UPRIGHT.format(capacitor="1u").replace("-15V", "VEE").replace("+15V", "VCC")


def test_rails_of_unknown_volts_leave_what_a_small_signal_does(book) -> None:
    facts, path = only(UNKNOWN_RAILS, book)
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(3.2), abs=0.02)
    assert call(facts, "inverts", path) is False
    swing = call(facts, "swing", path, 1e4)
    assert isinstance(swing, Unknown) and "the volts of VCC are not known" in swing.reasons


def test_but_not_where_a_transistor_depends_on_them(book) -> None:
    text = UNKNOWN_RAILS.replace("R3 100R O OUT", "Q1 BC547B c=VCC b=O e=OUT\nR3 1k OUT VEE")
    facts, path = only(text, book)
    gain = call(facts, "gain", path)
    assert isinstance(gain, Unknown) and "the volts of VCC are not known" in gain.reasons
