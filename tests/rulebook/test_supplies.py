"""Rails behind rectifiers and regulators: what is recognised, what it is taken to have, and what hangs on it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.circuit.sampling import read_sample
from netcheck.ground.yamltext import load
from netcheck.language.scope import Trace
from netcheck.language.values import Unknown
from netcheck.physics.rectifying_rails import Rectified
from netcheck.physics.regulating import Fed, drop_out, regulator_watts
from netcheck.physics.supplying import supply_of
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions_supply import SUPPLY_FUNCTIONS
from netcheck.rulebook.knowing import facts_of_boards
from netcheck.rulebook.prove import _facts
from netcheck.rulebook.supplies import rectified, supplies

TAPPED = """
chassis:
  - {part: transformer, primary: 230 V, secondaries: [18 V, 18 V], power: 30 VA, regulation: 12 %,
     wires: {S1: supply.J1.1, S2: supply.J1.2, S3: supply.J1.2, S4: supply.J1.3}}
"""
SINGLE = """
chassis:
  - {part: transformer, primary: 230 V, secondaries: [12 V], power: 12 VA, regulation: 20 %,
     wires: {S1: supply.J1.1, S2: supply.J1.2}}
"""
BRIDGE = """J1 screw terminal 1=AC1 2=GND 3=AC2
D1 bridge plus=RAW minus=RAWN alternating1=AC1 alternating2=AC2
C1 polarised 2200u plus=RAW minus=GND
C2 polarised 2200u plus=GND minus=RAWN
"""
LONE = """J1 screw terminal 1=AC1 2=AC2
D1 bridge plus=RAW minus=GND alternating1=AC1 alternating2=AC2
C1 polarised 2200u plus=RAW minus=GND
"""


def joined(book: RuleBook, supply: str, assembly: str, **boards: str) -> Facts:
    texts = {"supply": supply, **boards}
    made = {name: read_sample(text, "test", 1, name) for name, text in texts.items()}
    return _facts(made, book, load(assembly, "test.yaml"), "test.yaml")


def alone(book: RuleBook, text: str) -> Facts:
    return facts_of_boards({"amp": read_sample(text, "test", 1, "amp")}, book.words, book.parts, book.bind)


def rails(facts: Facts) -> dict[str, Rectified]:
    return {facts.circuit.nets[rail.net].name: rail for rail in rectified(facts)}


def routes(rail: Rectified) -> list[tuple[float, int]]:
    return [(route.volts, route.junctions) for route in rail.routes]


# What is recognised


def test_a_bridge_on_a_tapped_winding_makes_two_rails(book: RuleBook) -> None:
    found = rails(joined(book, BRIDGE, TAPPED))
    assert routes(found["RAW"]) == [(18.0, 1), (-18.0, 1)]
    assert routes(found["RAWN"]) == [(18.0, 1), (-18.0, 1)]
    assert (found["RAW"].sign, found["RAWN"].sign) == (1, -1)
    assert found["RAW"].farads == pytest.approx(2.2e-3)
    assert found["RAW"].shared


def test_a_bridge_on_one_winding_has_two_diodes_in_the_way(book: RuleBook) -> None:
    found = rails(joined(book, LONE, SINGLE))
    assert set(found) == {"RAW"}
    assert routes(found["RAW"]) == [(12.0, 2), (-12.0, 2)]


def test_four_diodes_behind_fuses_are_a_bridge_too(book: RuleBook) -> None:
    text = """J1 screw terminal 1=W1 2=W2
F1 fuse T1A W1 AC1
F2 fuse T1A W2 AC2
D1 1N4002 a=AC1 k=P
D2 1N4002 a=AC2 k=P
D3 1N4002 a=GND k=AC1
D4 1N4002 a=GND k=AC2
F3 fuse T1A P RAW
C1 polarised 1000u plus=P minus=GND
C2 polarised 1000u plus=RAW minus=GND
"""
    (found,) = rectified(joined(book, text, SINGLE))
    assert routes(found) == [(12.0, 2), (-12.0, 2)]
    assert found.farads == pytest.approx(2e-3)
    assert {part.split("/")[1] for part in found.diodes} == {"D1", "D2", "D3", "D4"}


def test_one_diode_charges_on_one_half_wave(book: RuleBook) -> None:
    text = "J1 screw terminal 1=AC1 2=GND\nD1 1N4002 a=AC1 k=RAW\nC1 polarised 1000u plus=RAW minus=GND\n"
    (found,) = rectified(joined(book, text, SINGLE))
    assert len(found.routes) == 1 and found.routes[0].junctions == 1


def test_each_half_of_a_doubler_is_charged_on_one_half_wave(book: RuleBook) -> None:
    text = """J1 screw terminal 1=AC1 2=GND
D1 1N4002 a=AC1 k=HIGH
D2 1N4002 a=LOW k=AC1
C1 polarised 1000u plus=HIGH minus=GND
C2 polarised 1000u plus=GND minus=LOW
"""
    found = rails(joined(book, text, SINGLE))
    assert {name: len(rail.routes) for name, rail in found.items()} == {"HIGH": 1, "LOW": 1}
    assert found["HIGH"].routes[0].volts == -found["LOW"].routes[0].volts


def test_a_doubler_on_ground_has_both_halves_on_top_of_each_other(book: RuleBook) -> None:
    text = """J1 screw terminal 1=AC1 2=MID
D1 1N4002 a=AC1 k=HIGH
D2 1N4002 a=GND k=AC1
C1 polarised 1000u plus=HIGH minus=MID
C2 polarised 1000u plus=MID minus=GND
U1 7824 1=HIGH 2=GND 3=OUT
"""
    facts = joined(book, text, SINGLE)
    high, middle = (facts.circuit.nets[f"supply/net/{name}"] for name in ("HIGH", "MID"))
    assert high.role == "rail" and high.volts is not None and middle.volts is not None
    assert high.volts == pytest.approx(2 * middle.volts, abs=0.3)
    assert 28 < high.volts < 2 * 12 * 1.2 * math.sqrt(2)


def test_windings_in_parallel_are_one_of_twice_the_current(book: RuleBook) -> None:
    wires = "S2: supply.J1.2, S3: supply.J1.1, S4: supply.J1.2"
    both = SINGLE.replace("[12 V]", "[12 V, 12 V]").replace("S2: supply.J1.2", wires)
    (found,) = rectified(joined(book, LONE, both))
    assert [winding.amps for winding in found.windings] == [pytest.approx(1.0)]


def test_a_diode_that_protects_a_regulator_charges_nothing(book: RuleBook) -> None:
    text = LONE + "U1 7805 1=RAW 2=GND 3=OUT\nD2 1N4002 a=OUT k=RAW\nC3 10u OUT GND\n"
    (found,) = rectified(joined(book, text, SINGLE))
    assert [key.split("/")[1] for key in found.diodes] == ["D1"]


def test_nothing_is_recognised_where_no_volts_are_told(book: RuleBook) -> None:
    assert rectified(alone(book, LONE)) == ()


def test_a_connector_of_a_lone_board_may_tell_its_volts(book: RuleBook) -> None:
    (found,) = rectified(alone(book, LONE.replace("terminal", 'terminal "12 V~"')))
    assert found.routes[0].windings[0].amps is None
    assert supply_of(found, book.words).rated_amps is None


# What it has


def test_the_rail_is_told_its_volts_and_what_is_behind_it_follows(book: RuleBook) -> None:
    facts = joined(book, BRIDGE + "F1 fuse T1A RAW FUSED\nC9 100u FUSED GND\n", TAPPED)
    net = facts.circuit.nets["supply/net/RAW"]
    assert net.role == "rail" and net.origin == "rectified from 18 V of transformer"
    assert net.volts is not None and net.low is not None and net.high is not None
    # 18 V with 12 % and 10 % more, sqrt 2, less a diode at next to nothing; and with the rated load at low mains
    assert net.high == pytest.approx(18 * 1.12 * 1.1 * math.sqrt(2) - 0.3, abs=0.3)
    assert 16 < net.low < 0.9 * net.volts and 18 * math.sqrt(2) - 2 < net.volts < 18 * math.sqrt(2)
    behind = facts.circuit.nets["supply/net/FUSED"]
    assert (behind.volts, behind.low, behind.high) == (net.volts, net.low, net.high)
    negative = facts.circuit.nets["supply/net/RAWN"]
    assert negative.volts == pytest.approx(-net.volts, abs=0.2)
    assert negative.low == pytest.approx(-net.high, abs=0.2)


def test_what_is_stated_wins(book: RuleBook) -> None:
    facts = joined(book, BRIDGE, TAPPED + "volts: {supply: {RAW: 22 V}}\n")
    assert facts.circuit.nets["supply/net/RAW"].volts == 22.0
    assert facts.circuit.nets["supply/net/RAWN"].origin.startswith("rectified from")


def test_a_rail_known_by_its_name_only_is_told_better(book: RuleBook) -> None:
    facts = joined(book, LONE.replace("RAW", "+12V"), SINGLE)
    assert facts.circuit.nets["supply/net/+12V"].volts == pytest.approx(16.0, abs=1.5)


def test_rated_direct_current_of_the_windings(book: RuleBook) -> None:
    """12 VA at 12 V are 1 A rms, 0.56 A direct behind a bridge; two halves that take turns have each 3 dB less."""
    whole = supply_of(rectified(joined(book, LONE, SINGLE))[0], book.words)
    assert whole.rated_amps == pytest.approx(1 / 1.8)
    turns = """J1 screw terminal 1=AC1 2=GND 3=AC2
D1 1N4002 a=AC1 k=RAW
D2 1N4002 a=AC2 k=RAW
C1 polarised 2200u plus=RAW minus=GND
"""
    half = supply_of(rectified(joined(book, turns, TAPPED))[0], book.words)
    assert half.rated_amps == pytest.approx(30 / 36 * math.sqrt(2) / 1.8)


# What hangs on it

LOADED = """U1 7812 1=RAW 2=GND 3=OUT
C3 100n OUT GND
R1 120R OUT GND
"""


def test_current_is_followed_through_regulators_and_cables(book: RuleBook) -> None:
    """12 V over 120 ohm on the board and over 240 ohm behind the cable, and what the regulator takes by itself."""
    amp = "J1 header 1=VIN 2=GND\nR1 240R VIN GND\nC1 100n VIN GND\n"
    assembly = TAPPED + "cables: [{name: lead, from: supply.J2, to: amp.J1}]\n"
    facts = joined(book, BRIDGE + LOADED + "J2 header 1=OUT 2=GND\n", assembly, amp=amp)
    found = supplies(facts).currents.of("supply/net/RAW")
    assert found.nominal == pytest.approx(0.1 + 0.05 + 5e-3, abs=2e-3)
    assert found.low < found.nominal < (found.high or 0)


def test_what_is_not_known_is_named_and_leaves_the_rest_as_a_bound(book: RuleBook) -> None:
    facts = joined(book, BRIDGE + LOADED + "U2 microcontroller 1=OUT 2=GND\n", TAPPED)
    found = supplies(facts).currents.of("supply/net/RAW")
    assert found.high is None and found.low > 0.09
    assert "supply.U2" in found.reasons[0]


def test_diodes_across_regulators_lead_no_current_round(book: RuleBook) -> None:
    """Whichever rail is asked first; the diode drawn the wrong way round as well."""
    text = BRIDGE + LOADED + "D2 1N4002 a=OUT k=RAW\nD3 1N4002 a=RAW k=OUT\n"
    for first in ("OUT", "RAW"):
        currents = supplies(joined(book, text, TAPPED)).currents
        currents.of(f"supply/net/{first}")
        assert currents.of("supply/net/OUT").nominal == pytest.approx(0.1, rel=0.01)
        assert currents.of("supply/net/RAW").nominal == pytest.approx(0.1045, rel=0.02)


def test_a_loose_connector_leaves_the_current_open(book: RuleBook) -> None:
    facts = joined(book, BRIDGE + LOADED + "J2 header 1=OUT 2=GND\n", TAPPED)
    assert supplies(facts).currents.of("supply/net/RAW").reasons == ("what supply.J2 is joined to is not given",)


def test_a_signal_takes_the_mean_of_half_a_sine(book: RuleBook) -> None:
    """12 V into 32 ohm behind 4R7: 12 / 36.7 / pi from the rail."""
    stage = """U1 7812 1=RAW 2=GND 3=OUT
C3 100n OUT GND
Q1 npn BD139 c=OUT b=B e=E
R1 10k OUT B
R2 10k B GND
R3 1k E GND
R4 4R7 E X
C4 polarised 1000u plus=X minus=SPK
J2 jack T=SPK S=GND
"""
    told = TAPPED + "signal: {outputs: [{at: supply.J2.T, return: supply.J2.S, loads: [300 ohm, 32 ohm]}]}\n"
    found = supplies(joined(book, BRIDGE + stage, told)).currents.of("supply/net/RAW")
    assert found.signal == pytest.approx(12 / 36.7 / math.pi, rel=0.01)
    assert supplies(joined(book, BRIDGE + stage, TAPPED)).currents.of("supply/net/RAW").signal is None


def test_chip_amplifiers_on_a_reservoir_draw_what_their_book_tells(book: RuleBook) -> None:
    """An LM3886 into 8 ohm: 50 mA at rest, and the mean of half a sine that reaches the rail on top."""
    chip = """U1 power amplifier LM3886 1=RAW 4=RAWN 5=RAW 7=GND 3=SPK 9=FB 10=IN 8=MUTE
R1 20k SPK FB
R2 1k FB GND
R3 22k IN GND
R4 22k MUTE RAWN
J2 screw terminal 1=SPK 2=GND
"""
    told = TAPPED + "signal: {outputs: [{at: supply.J2.1, return: supply.J2.2, loads: [8 ohm]}]}\n"
    facts = joined(book, BRIDGE + chip, told)
    found = supplies(facts).currents.of("supply/net/RAW")
    assert found.reasons == () and found.nominal == pytest.approx(0.05, rel=0.05)
    volts = facts.circuit.nets["supply/net/RAW"].volts
    assert volts is not None and found.signal == pytest.approx(volts / 8 / math.pi, rel=0.01)


# Regulators


def test_drop_out_lies_between_that_at_a_light_and_at_full_load(book: RuleBook) -> None:
    facts = joined(book, BRIDGE + "U1 LM317 in=RAW out=OUT adj=A\nR1 240R OUT A\nR2 2k6 A GND\nC3 1u OUT GND\n", TAPPED)
    record = facts.circuit.parts["supply/U1"].record
    assert drop_out(record, 0.02) == (1.6, 1.8)
    assert drop_out(record, 1.5) == (2.0, 3.0) == drop_out(record, 4.0)
    low, high = drop_out(record, 0.825) or (0.0, 0.0)
    assert (low, high) == (pytest.approx(1.8), pytest.approx(2.4))
    assert drop_out(None, 0.1) is None


def test_heat_of_a_regulator(book: RuleBook) -> None:
    assert regulator_watts(7.0, 0.2) == pytest.approx(1.4)  # the worked example of a bare TO-220
    assert regulator_watts(-1.0, 0.2) == 0.0


def fed(book: RuleBook, text: str, assembly: str = TAPPED) -> Fed | Unknown:
    told = assembly + "signal: {outputs: [{at: supply.C3.1, return: supply.C3.2, loads: [10 kohm]}]}\n"
    facts = joined(book, text, told)
    return supplies(facts).fed(facts.circuit.parts["supply/U1"])


def test_headroom_and_heat_follow_from_the_reservoir(book: RuleBook) -> None:
    found = fed(book, BRIDGE + LOADED)
    assert isinstance(found, Fed) and found.worst is not None and found.mean is not None
    assert found.worst < found.best < found.rest < found.mean < found.top
    assert found.spare_with_signal() == pytest.approx(found.worst - 12 - 2.1, abs=0.2)
    least, most = found.watts()
    assert most is not None and 0.9 < least < most < 2.2


def test_a_diode_and_a_resistor_in_front_cost_volts(book: RuleBook) -> None:
    straight = fed(book, BRIDGE + LOADED)
    behind = fed(book, BRIDGE + LOADED.replace("1=RAW", "1=IN") + "R9 10R RAW IN\nC9 100u IN GND\n")
    dropped = fed(book, BRIDGE + LOADED.replace("1=RAW", "1=IN") + "D9 1N4002 a=RAW k=IN\nC9 100u IN GND\n")
    assert isinstance(straight, Fed) and isinstance(behind, Fed) and isinstance(dropped, Fed)
    assert straight.worst is not None and behind.worst is not None and dropped.worst is not None
    assert 0.8 < straight.worst - behind.worst < 1.4
    assert straight.worst - dropped.worst == pytest.approx(0.8)


def test_what_cannot_be_computed_says_why(book: RuleBook) -> None:
    unread = fed(book, BRIDGE.replace("2200u", "TBD") + LOADED)
    assert isinstance(unread, Unknown) and unread.reasons == ("supply.C1 has the value 'TBD'",)
    powerless = fed(book, BRIDGE + LOADED, TAPPED.replace("power: 30 VA, ", ""))
    assert isinstance(powerless, Unknown) and powerless.reasons == ("the power of chassis.transformer is not given",)


def test_rows_tell_rails_in_front_first(book: RuleBook) -> None:
    told = TAPPED + "signal: {outputs: [{at: supply.C3.1, return: supply.C3.2, loads: [10 kohm]}]}\n"
    rows = supplies(joined(book, BRIDGE + LOADED, told)).rows("supply")
    assert [row.key.removeprefix("supply/net/") for row in rows] == ["RAW", "RAWN", "OUT"]
    raw, negative, out = rows
    assert raw.volts is not None and raw.trough == raw.volts[0] and raw.ripple is not None and 0.2 < raw.ripple < 1
    assert negative.amps == (0.0, 0.0, 0.0) and negative.volts is not None and negative.volts[0] < -30
    assert out.headroom is not None and out.watts is not None and out.reason == ""


def test_knowing_hands_boards_on_unchanged_where_nothing_is_rectified(book: RuleBook) -> None:
    board = read_sample("R1 1k +5V GND\nJ1 header 1=+5V 2=GND\n", "test", 1, "amp")
    facts = facts_of_boards({"amp": board}, book.words, book.parts, book.bind)
    assert facts.circuit.nets["amp/net/+5V"].origin == "by its name +5V"


# What windings, diodes and fuses carry


def called(name: str, facts: Facts, thing: object) -> object:
    return SUPPLY_FUNCTIONS[name].call(facts, Trace(), thing)


def test_volt_amperes_and_fuses_follow_from_the_pulses(book: RuleBook) -> None:
    """Two rails: each winding carries a pulse of either rail, 1.5 to 2.3 times the largest direct current."""
    text = BRIDGE.replace("1=AC1", "1=W1").replace("3=AC2", "3=W2")
    text += "F1 fuse T1A W1 AC1\nF2 fuse T1A W2 AC2\nF3 fuse T1A RAW X\n"
    text += "R1 120R RAW GND\nR2 120R RAWN GND\nR3 10k X GND\n"
    told = TAPPED + "signal: {outputs: [{at: supply.R3.1, return: supply.R3.2, loads: [10 kohm]}]}\n"
    facts = joined(book, text, told)
    parts = facts.circuit.parts
    amps = called("fuse_amps", facts, parts["supply/F1"])
    assert isinstance(amps, float)
    drawn = supplies(facts).drawn(supplies(facts).rails[0])
    direct = drawn.most(supplies(facts).share)
    assert direct is not None and drawn.nominal == pytest.approx(24.6 / 118.6, rel=0.02) and drawn.nominal < direct
    assert 1.5 < amps / direct < 2.3
    assert called("fuse_amps", facts, parts["supply/F2"]) == pytest.approx(amps, rel=1e-3)
    assert called("fuse_amps", facts, parts["supply/F3"]) is None
    assert called("fuse_amps", facts, parts["supply/R1"]) is None
    assert called("drawn_volt_amperes", facts, parts["chassis/transformer"]) == pytest.approx(2 * 18 * amps, rel=1e-3)


def test_volts_in_reverse_are_twice_the_peak_with_a_tap(book: RuleBook) -> None:
    tapped, single = (rectified(joined(book, *both))[0] for both in ((BRIDGE, TAPPED), (LONE, SINGLE)))
    assert tapped.across_a_diode(30.0) == 60.0
    assert single.across_a_diode(30.0) == 30.0


def test_an_adapter_for_alternating_volts_is_a_winding(book: RuleBook) -> None:
    wires = "wires: {A: supply.J1.1, B: supply.J1.2}"
    told = f"chassis:\n  - {{part: adapter, kind: ac adapter, volts: 12 V, amps: 1 A, {wires}}}\n"
    (found,) = rectified(joined(book, LONE, told))
    (winding,) = found.windings
    assert (winding.volts, winding.amps) == (12.0, 1.0)
    assert winding.regulation[0] < winding.regulation[1]  # which is not told


def test_the_peak_lies_between_two_where_the_regulation_is_not_told(book: RuleBook) -> None:
    facts = joined(book, BRIDGE, TAPPED.replace(", regulation: 12 %", ""))
    found = called("rectified_peak", facts, facts.circuit.nets["supply/net/RAW"])
    assert isinstance(found, Unknown) and found.low is not None and found.high is not None
    assert found.low < 18 * 1.12 * 1.1 * math.sqrt(2) < found.high
    assert found.reasons == ("the regulation of chassis.transformer is not told",)
    told = joined(book, BRIDGE, TAPPED)
    assert called("rectified_peak", told, told.circuit.nets["supply/net/GND"]) == 0.0
    assert called("peak_across", told, told.circuit.parts["supply/C2"]) == pytest.approx(31.3, abs=0.1)


NETS = st.sampled_from(["A", "B", "C", "GND", "P", "N"])


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("DCRF"), NETS, NETS), min_size=2, max_size=9), st.permutations("ABC"))
def test_whatever_is_joined_to_windings_is_told_or_left(
    book: RuleBook, parts: list[tuple[str, str, str]], ends: list[str]
) -> None:
    """No wiring of diodes, reservoirs and fuses raises, and no rail has more than all windings together make."""
    words = {"D": "1N4002", "C": "100u", "R": "100R", "F": "T1A"}
    lines = [f"J1 screw terminal 1={ends[0]} 2={ends[1]} 3={ends[2]}"]
    for number, (letter, one, other) in enumerate(parts):
        pins = f"a={one} k={other}" if letter == "D" else f"{one} {other}"
        lines.append(f"{letter}{number} {'fuse ' if letter == 'F' else ''}{words[letter]} {pins}")
    facts = joined(book, "\n".join(lines) + "\n", TAPPED)
    for row in supplies(facts).rows("supply"):
        assert row.volts is None or max(map(abs, row.volts)) <= 4 * 18 * 1.12 * 1.1 * math.sqrt(2)
    for rail in rectified(facts):
        assert rail.net in facts.circuit.nets and rail.routes and rail.capacitors
