"""What rings of ground pick up, against worked examples, closed forms and small rings by hand."""

from __future__ import annotations

import math

import pytest
from conftest import ROOT

from netcheck.circuit.assemble import Lead, Wire, assemble
from netcheck.circuit.partbook import load_part_book
from netcheck.circuit.words import load_words
from netcheck.intake.assemblycheck import open_assembly
from netcheck.language.values import Unknown
from netcheck.physics.bonds import references, wire_ohms
from netcheck.physics.conductors import Conductor, GroundLoop
from netcheck.physics.hum import induced_volts, longest_lead, ohms_of_parts, share_in_signal, side_by_side


def ring(*conductors: Conductor) -> GroundLoop:
    cables = tuple(dict.fromkeys(c.cable for c in conductors if c.cable))
    return GroundLoop("ring", conductors, ("a/GND", "b/GND"), 0.0, cables, False, False, True)


def wire(key: str, ohms: float | Unknown) -> Conductor:
    return Conductor(key, "wire", ("a/GND", "b/GND"), ohms, key.split("/")[1])


POWER, SIGNAL = wire("cable/power/3", 0.01), wire("cable/signal/2", 0.04)
BREAKER = Conductor("b/R1", "resistor", ("b/GND", "b/SGND"), 10.0)
UNTOLD = Unknown(("nobody told",), low=0.0, high=0.3)


def test_the_volts_of_one_turn_in_a_field() -> None:
    # Worked example of the theory: 1 uT at 50 Hz through 0.1 m2 make 31.4 uV (2 pi f B A).
    assert induced_volts(1e-6, 50.0, 0.1) == pytest.approx(31.416e-6, rel=1e-4)
    assert induced_volts(1e-6, 60.0, 0.1) / induced_volts(1e-6, 50.0, 0.1) == pytest.approx(1.2)


def test_the_signal_gets_the_share_of_what_it_is_measured_against() -> None:
    assert share_in_signal(ring(POWER, SIGNAL), {"cable/signal/2"}) == pytest.approx(0.8)
    assert share_in_signal(ring(POWER, SIGNAL), set()) == 0.0
    assert share_in_signal(ring(SIGNAL), {"cable/signal/2"}) == 1.0


def test_a_breaker_of_ten_ohm_takes_forty_decibels() -> None:
    # Common practice: 10 ohm in a ring of 0.1 ohm reduce hum by 20 log (10.1 / 0.1) = 40.1 dB.
    long = wire("cable/signal/2", 0.1)
    before, after = (share_in_signal(ring(*all), {"cable/signal/2"}) for all in ((long,), (long, BREAKER)))
    assert 20 * math.log10(before / after) == pytest.approx(40.09, abs=0.01)


def test_wires_of_unknown_length_leave_a_range() -> None:
    unknown = share_in_signal(ring(wire("cable/power/3", UNTOLD), wire("cable/signal/2", UNTOLD)), {"cable/signal/2"})
    assert isinstance(unknown, Unknown) and (unknown.low, unknown.high) == (0.0, 1.0)
    opened = share_in_signal(ring(BREAKER, wire("cable/signal/2", UNTOLD)), {"cable/signal/2"})
    assert isinstance(opened, Unknown) and opened.low == 0.0 and opened.high == pytest.approx(0.3 / 10.3)


def test_the_copper_of_a_board_by_the_same_formula() -> None:
    # Worked example of the theory: 50 mm of 1 mm by 35 um are 24.6 milliohm at 1.72e-8 ohm m.
    assert wire_ohms(0.05, 1e-3 * 35e-6) == pytest.approx(0.02457, rel=0.005)


def lead(name: str, length: float | None, *beside: str, direct: bool = False) -> Lead:
    return Lead(f"cable/{name}", name, "a/J1", "b/J1", (), (), direct=direct, length=length,
                bundled=frozenset(f"cable/{other}" for other in beside))  # fmt: skip


def of_leads(*leads: Lead) -> tuple[dict[str, Wire], dict[str, Lead]]:
    pins = {"power": "3", "signal": "2"}
    wires = [Wire(f"{l.key}/{pins[l.name]}", "wire", ("", ""), ("", ""), l.key, l.length) for l in leads]  # noqa: E741
    return {one.key: one for one in wires}, {one.key: one for one in leads}


def test_the_longest_lead_sets_the_size() -> None:
    both = ring(POWER, SIGNAL)
    assert longest_lead(both, *of_leads(lead("power", 0.2), lead("signal", 0.3)), 1.0) == 0.3
    untold = longest_lead(both, *of_leads(lead("power", 0.2), lead("signal", None)), 1.0)
    assert untold == Unknown(("the length of the signal is not given",), low=0.2, high=1.0)
    plugged = of_leads(lead("power", 0.2), lead("signal", None, direct=True))
    assert longest_lead(both, *plugged, 1.0) == 0.2


def test_leads_that_are_tied_together_lie_side_by_side() -> None:
    both = ring(POWER, SIGNAL)
    tied = (lead("power", 0.2, "signal"), lead("signal", 0.3, "power"))
    assert side_by_side(both, tied)
    assert not side_by_side(both, (lead("power", 0.2), lead("signal", 0.3)))
    assert not side_by_side(ring(BREAKER), tied)


def test_ohms_of_parts_leave_wires_aside_but_not_whether_they_are_there() -> None:
    parts = {"b/R1"}
    assert ohms_of_parts(ring(SIGNAL, BREAKER), parts) == 10.0
    assert ohms_of_parts(ring(wire("cable/signal/2", UNTOLD), BREAKER), parts) == 10.0
    perhaps = wire("outside/a.J1", Unknown(("whether it is earthed is not given",), low=0.0))
    assert ohms_of_parts(ring(perhaps), parts) == Unknown(("whether it is earthed is not given",), low=0.0)


def test_leads_named_beside_each_other_are_tied_both_ways(tmp_path) -> None:
    text = (ROOT / "fixtures/assemblies/ground-ring/ring.yaml").read_text(encoding="utf-8")
    text = text.replace("gauge: AWG 26}", "gauge: AWG 26, bundled with: power lead}")
    for name in ("source", "amp"):
        net = ROOT / f"fixtures/assemblies/ground-ring/{name}.net"
        (tmp_path / net.name).write_bytes(net.read_bytes())
    (tmp_path / "box.yaml").write_text(text, encoding="utf-8")
    file, netlists = open_assembly(tmp_path / "box.yaml", cache=False)
    box = assemble(file, netlists, load_part_book(ROOT / "rules" / "parts"), load_words(ROOT / "rules" / "words.yaml"))
    told = {one.name: one.bundled for one in box.leads}
    assert told == {"power lead": {"cable/signal lead"}, "signal lead": {"cable/power lead"}}


def test_wires_of_a_socket_in_the_case_are_what_its_signal_is_measured_against(tmp_path) -> None:
    net = ROOT / "fixtures/assemblies/ground-ring/amp.net"
    (tmp_path / "amp.net").write_bytes(net.read_bytes())
    (tmp_path / "box.yaml").write_text(
        "assembly: box\nboards: {amp: amp.net}\nchassis: [{part: in, kind: rca, wires: {T: amp.J2.1, S: amp.J2.2}}]\n",
        encoding="utf-8",
    )
    file, netlists = open_assembly(tmp_path / "box.yaml", cache=False)
    box = assemble(file, netlists, load_part_book(ROOT / "rules" / "parts"), load_words(ROOT / "rules" / "words.yaml"))
    assert references(box) == {"wire/in.S to amp.J2.2"}
