"""Signal paths between ends that an assembly tells: sources and loads count, balanced ends, sockets without a way."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from netcheck.language.scope import Trace
from netcheck.language.values import Lot, Unknown
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions_signal import SIGNAL_FUNCTIONS
from netcheck.rulebook.load import load_rule
from netcheck.rulebook.prove import _boards, _facts
from netcheck.rulebook.signals import signals_of
from netcheck.rulebook.vocabulary import name_of

RULE = """\
rule: ours/ends
title: A rule that only carries a sample
consequence: performance
cure: part
why: a test
remedy: none
sources:
  - {{text: a test, status: common practice}}
for each: {{way: signal path}}
require:
  - that: not way.declared
    else: told
samples:
  - title: one
    expect: finding
    at: [J1]
    says: told
    circuit: |
{circuit}
    assembly:
      signal:
        inputs: [{inputs}]
        outputs: [{outputs}]
{more}
  - title: another
    expect: clear
    circuit: |
      U1 NE5532 1=O 2=O 3=P 4=-15V 5=GND 6=X 7=X 8=+15V
      R1 100k P GND
      J1 jack T=P S=GND
      J2 jack T=O S=GND
"""
BUFFER = """\
U1 NE5532 1=O 2=O 3=P 4=-15V 5=GND 6=X 7=X 8=+15V
R1 10k P GND
R2 100R O OUT
J1 jack T=P S=GND
J2 jack T=OUT S=GND
J9 header keyed 1=+15V 2=GND 3=-15V
"""
BALANCED = """\
U1 NE5532 1=O 2=M 3=P 4=-15V 5=GND 6=X 7=X 8=+15V
R1 10k HOT P
R2 10k P GND
R3 10k COLD M
R4 10k M O
J1 xlr 1=GND 2=HOT 3=COLD
J2 jack T=O S=GND
J9 header keyed 1=+15V 2=GND 3=-15V
"""
AT_J1 = "{at: sample.J1.T, return: sample.J1.S, source impedance: 10 kohm, largest level: 2 V}"
AT_J2 = "{at: sample.J2.T, return: sample.J2.S, loads: [100 ohm, 10 kohm], sensitivity: 100 dB/mW}"


def told(tmp_path: Path, book, circuit: str, inputs: str = AT_J1, outputs: str = AT_J2, more: str = "") -> Facts:
    text = "\n".join(f"      {line}" for line in circuit.splitlines())
    (tmp_path / "ours").mkdir(exist_ok=True)
    file = tmp_path / "ours" / "ends.yaml"
    file.write_text(RULE.format(circuit=text, inputs=inputs, outputs=outputs, more=more), encoding="utf-8")
    rule = load_rule(file, "ends.yaml", book.words, book.vocabulary, supplied=False)
    sample = rule.samples[0]
    return _facts(_boards(sample, "ends.yaml"), book, sample.wiring, "ends.yaml")


def call(facts: Facts, name: str, *arguments: object) -> object:
    return SIGNAL_FUNCTIONS[name].call(facts, Trace(), *arguments)


def test_source_and_load_divide(tmp_path: Path, book) -> None:
    facts = told(tmp_path, book, BUFFER)
    (path,) = signals_of(facts).paths
    assert path.declared
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(0.5 * 0.5), abs=0.1)
    assert call(facts, "full_volts", path) == pytest.approx(0.5, rel=0.01)


def test_the_noise_of_the_source_is_in_it(tmp_path: Path, book) -> None:
    facts = told(tmp_path, book, BUFFER)
    (path,) = signals_of(facts).paths
    volts = call(facts, "noise", path)
    assert isinstance(volts, float)
    # 10 kohm of source and 10 kohm to ground are 5 kohm; half of what the buffer passes reaches the load
    parallel = 5e3
    density = math.sqrt(5e-9**2 + (0.7e-12 * parallel) ** 2 + 4 * 1.38e-23 * 300 * parallel)
    assert volts == pytest.approx(0.5 * density * math.sqrt(19980), rel=0.2)


def test_loudness_is_that_of_the_load_that_takes_most(tmp_path: Path, book) -> None:
    facts = told(tmp_path, book, BUFFER)
    (path,) = signals_of(facts).paths
    assert call(facts, "loudness", path, math.sqrt(100 * 1e-3)) == pytest.approx(100.0)


def test_a_balanced_input_is_driven_between_its_pins(tmp_path: Path, book) -> None:
    inputs = "{at: sample.J1.2, return: sample.J1.3, largest level: 1 V}"
    facts = told(tmp_path, book, BALANCED, inputs, AT_J2.replace("100 ohm, ", ""))
    (path,) = signals_of(facts).paths
    assert call(facts, "gain", path) == pytest.approx(0.0, abs=0.05)
    assert call(facts, "inverts", path) is False


def test_driven_the_other_way_round_it_inverts(tmp_path: Path, book) -> None:
    inputs = "{at: sample.J1.3, return: sample.J1.2, largest level: 1 V}"
    facts = told(tmp_path, book, BALANCED, inputs, AT_J2.replace("100 ohm, ", ""))
    (path,) = signals_of(facts).paths
    assert call(facts, "inverts", path) is True


def test_a_balanced_output_gives_what_is_between_its_pins(tmp_path: Path, book) -> None:
    circuit = BUFFER.replace("5=GND 6=X 7=X", "5=GND 6=N 7=W").replace(
        "J2 jack T=OUT S=GND", "J2 xlr 1=GND 2=OUT 3=COLD"
    )
    circuit += "R5 10k O N\nR6 10k N W\nR7 100R W COLD\n"
    outputs = "{at: sample.J2.2, return: sample.J2.3, loads: [600 ohm]}"
    inputs = AT_J1.replace("10 kohm", "100 ohm")
    facts = told(tmp_path, book, circuit, inputs, outputs)
    (path,) = signals_of(facts).paths
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(2 * 600 / 800 * 10 / 10.1), abs=0.05)
    noise = call(facts, "noise", path)
    assert isinstance(noise, float) and 1e-6 < noise < 10e-6
    assert isinstance(call(facts, "swing", path, 600.0), Unknown)


def test_an_output_without_a_way_from_an_input_says_so(tmp_path: Path, book) -> None:
    facts = told(tmp_path, book, BUFFER.replace("R2 100R O OUT", "R2 100R O ELSE\nR3 1k OUT GND"))
    (path,) = signals_of(facts).paths
    found = call(facts, "gain", path)
    assert isinstance(found, Unknown) and "no way is found" in found.reasons[0]
    assert name_of(facts, path) == "J2 tip"


def test_the_capacitance_of_the_lead_counts(tmp_path: Path, book) -> None:
    outputs = "{at: sample.J2.T, return: sample.J2.S, cable: 100 nF}"
    facts = told(tmp_path, book, BUFFER, outputs=outputs)
    (path,) = signals_of(facts).paths
    assert call(facts, "corner", path, "high", 3.0103) == pytest.approx(1 / (2 * math.pi * 100 * 100e-9), rel=0.02)


def test_tolerances_give_a_corner_its_ends(tmp_path: Path, book) -> None:
    facts = told(tmp_path, book, BUFFER.replace("3=P", "3=A").replace("R1 10k P GND", "C1 1u P A\nR1 10k A GND"))
    (path,) = signals_of(facts).paths
    nominal, found = call(facts, "corner", path, "low", 3.0), call(facts, "corner_range", path, "low", 3.0)
    assert isinstance(nominal, float) and isinstance(found, Unknown)
    assert found.low is not None and found.high is not None
    assert found.low < nominal < found.high < 1.5 * nominal


def test_what_comes_before_a_control_distorts_wherever_it_stands(tmp_path: Path, book) -> None:
    circuit = BUFFER.replace("5=GND 6=X 7=X", "5=W 6=N 7=Q").replace("R2 100R O OUT", "R2 100R Q OUT") + (
        "RV1 potentiometer 10k 1=GND 2=W 3=O\nR5 10k N Q\nR6 1k N GND\n"
    )
    facts = told(tmp_path, book, circuit)
    (path,) = signals_of(facts).paths
    assert [name_of(facts, part) for part in call(facts, "controls", path).members] == ["RV1"]
    before, whole = call(facts, "most_before", path), call(facts, "swing", path, 10e3)
    assert isinstance(whole, float)
    # nothing that a source within the supply gives is too much for the first stage, which has a divider before it
    assert isinstance(before, Unknown) and before.low == pytest.approx(15 / math.sqrt(2), rel=0.02)
    loud = told(tmp_path, book, circuit.replace("2=O 3=P", "2=M 3=P") + "R7 10k M O\nR8 1k M GND\n")
    before = call(loud, "most_before", signals_of(loud).paths[0])
    # eleven times, behind a divider by two: about 13 V peak at the most
    assert before == pytest.approx(13.0 / math.sqrt(2) / 11 * 2, rel=0.15)


def test_a_box_without_amplifiers_is_a_path_when_it_is_told(tmp_path: Path, book) -> None:
    circuit = "RV1 potentiometer 10k 1=GND 2=OUT 3=P\nJ1 jack T=P S=GND\nJ2 jack T=OUT S=GND\n"
    facts = told(tmp_path, book, circuit, AT_J1.replace("10 kohm", "10 ohm"), AT_J2.replace("100 ohm, ", ""))
    (path,) = signals_of(facts).paths
    assert call(facts, "gain", path) == pytest.approx(0.0, abs=0.05)
    assert call(facts, "inverts", path) is False
    assert call(facts, "corner", path, "low", 3.0) == 0.0


def test_a_position_that_is_told_is_where_a_control_stands(tmp_path: Path, book) -> None:
    circuit = "RV1 potentiometer 10k 1=GND 2=OUT 3=P\nJ1 jack T=P S=GND\nJ2 jack T=OUT S=GND\n"
    inputs, outputs = AT_J1.replace("10 kohm", "10 ohm"), AT_J2.replace("100 ohm, 10 kohm", "1 Mohm")
    facts = told(tmp_path, book, circuit, inputs, outputs, more="      positions: {sample.RV1: 25 %}")
    (path,) = signals_of(facts).paths
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(0.25), abs=0.05)
    assert call(facts, "full_gain", path) == pytest.approx(0.0, abs=0.05)


def test_a_logarithmic_track_is_turned_by_its_law(tmp_path: Path, book) -> None:
    circuit = "RV1 potentiometer 10k 1=GND 2=OUT 3=P ; taper log\nJ1 jack T=P S=GND\nJ2 jack T=OUT S=GND\n"
    inputs, outputs = AT_J1.replace("10 kohm", "10 ohm"), AT_J2.replace("100 ohm, 10 kohm", "1 Mohm")
    facts = told(tmp_path, book, circuit, inputs, outputs, more="      positions: {sample.RV1: 50 %}")
    (path,) = signals_of(facts).paths
    assert call(facts, "gain", path) == pytest.approx(20 * math.log10(0.15), abs=0.05)


def test_a_told_end_on_a_ground_has_no_way(tmp_path: Path, book) -> None:
    facts = told(tmp_path, book, BUFFER, AT_J1.replace("J1.T, return: sample.J1.S", "J1.S"))
    (path,) = signals_of(facts).paths
    assert isinstance(call(facts, "noise", path), Unknown)
    assert isinstance(call(facts, "swing", path, 100.0), Unknown)
    assert isinstance(call(facts, "corner_range", path, "low", 3.0), Unknown)
    assert isinstance(call(facts, "most_before", path), Unknown)


def test_a_balanced_input_has_corners_and_what_sets_them(tmp_path: Path, book) -> None:
    circuit = BALANCED.replace("R1 10k HOT P", "C1 1u HOT H2\nR1 10k H2 P").replace(
        "R3 10k COLD M", "C2 1u COLD C9\nR3 10k C9 M"
    )
    inputs = "{at: sample.J1.2, return: sample.J1.3, largest level: 1 V}"
    facts = told(tmp_path, book, circuit, inputs, AT_J2.replace("100 ohm, ", ""))
    (path,) = signals_of(facts).paths
    hertz = call(facts, "corner", path, "low", 3.0)
    # 1 uF with 20 kohm at the upright input; with 10 kohm at the inverting one
    assert isinstance(hertz, float) and 7.5 < hertz < 16.0
    parts = call(facts, "corner_parts", path, "low", 3.0)
    assert isinstance(parts, Lot) and {"C1", "C2"} <= {name_of(facts, part) for part in parts.members}
