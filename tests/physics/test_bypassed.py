"""Parts with both ends on one net."""

from __future__ import annotations

from physics_builder import board, part

from netcheck.circuit.model import Part, join
from netcheck.physics.bypassed import bypassed_by


def bypassed(*parts: Part, net: str = "A") -> list[str]:
    circuit = join((board(*parts),))
    return [found.ref for found in bypassed_by(circuit, circuit.nets[f"amp/net/{net}"])]


def test_both_ends_of_a_part_on_one_net() -> None:
    assert bypassed(part("R2", "A A", 10), part("R10", "A A", 10), part("C1", "A B")) == ["R2", "R10"]


def test_a_part_that_is_not_fitted_is_not_told() -> None:
    assert bypassed(part("R1", "A A", 10, fitted=False), part("R2", "A B", 10)) == []


def test_a_wiper_on_one_end_is_no_bypass_but_the_whole_track_is() -> None:
    assert bypassed(part("RV1", "end:A wiper:A end:B"), part("RV2", "end:A wiper:A end:A")) == ["RV2"]


def test_one_of_two_gangs_is_enough() -> None:
    gangs = "end:A wiper:A end:A end:B wiper:C end:D"
    assert bypassed(part("RV1", gangs)) == ["RV1"]


def test_a_transistor_as_a_diode_is_no_bypass() -> None:
    assert bypassed(part("Q1", "base:A collector:A emitter:B", kind="npn")) == []
    assert bypassed(part("Q1", "base:A collector:A emitter:A", kind="npn")) == ["Q1"]


def test_pins_of_a_connector_may_be_alike() -> None:
    assert bypassed(part("J1", "A A A"), part("R1", "A B", 1)) == []
