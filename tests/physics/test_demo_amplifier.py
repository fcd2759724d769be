"""The demo amplifier, from its netlist: against ngspice with the same models, and what its numbers say."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from conftest import ROOT
from ngspice import Deck, needs_ngspice

from netcheck.intake.reading import read_netlist
from netcheck.physics.behaviour import Behaviour, PathBehaviour
from netcheck.physics.paths import PathModel, path_model
from netcheck.physics.points import Points
from netcheck.physics.ports import signal_paths
from netcheck.review import BoardPlan, Plan, facts_of
from netcheck.rulebook.at_rest import spread_of
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts

FREQUENCIES = np.logspace(0, 6, 121)


@pytest.fixture(scope="module")
def facts(book: RuleBook) -> Facts:
    path = ROOT / "fixtures" / "bandroom" / "revision-b" / "amp.net"
    return facts_of(Plan("amp", (BoardPlan("amp", read_netlist(path, cache=False)),), book))


@pytest.fixture(scope="module")
def model(facts: Facts) -> PathModel:
    points = Points(facts.walks, spread_of(facts.words))
    made = path_model(points, signal_paths(points)[0])
    assert isinstance(made, PathModel)
    return made


@pytest.fixture(scope="module")
def numbers(facts: Facts) -> Behaviour:
    return facts.at_rest.numbers("amp")


@pytest.fixture(scope="module")
def left(numbers: Behaviour) -> PathBehaviour:
    return numbers.paths[0]


@needs_ngspice
def test_the_operating_point_is_that_of_ngspice(model: PathModel, tmp_path: Path) -> None:
    """Within 1 % or 5 mV; found closer."""
    for node, volts in Deck(model.network).volts(tmp_path).items():
        assert model.point.volts[node] == pytest.approx(volts, rel=1e-3, abs=1e-3), node


@needs_ngspice
def test_the_response_is_that_of_ngspice(model: PathModel, tmp_path: Path) -> None:
    """Magnitude within 0.01 dB, phase within 0.1 degrees, 1 Hz to 1 MHz."""
    source = model.path.input.node
    ours = model.small.transfer(source, model.output, FREQUENCIES)
    theirs = Deck(model.network, source).response(model.output, FREQUENCIES, tmp_path)
    assert ours.decibels == pytest.approx(20 * np.log10(np.abs(theirs)), abs=0.01)
    assert np.max(np.abs(np.degrees(np.angle(ours.values / theirs)))) < 0.1


def test_there_are_two_channels_and_they_are_equal(numbers: Behaviour) -> None:
    assert [path.input.rsplit("/", 2)[-2] for path in numbers.paths] == ["left", "right"]
    first, second = numbers.paths
    assert first.decibels == pytest.approx(second.decibels, abs=1e-6)
    assert first.noise == pytest.approx(second.noise, rel=1e-6)


def test_the_gain_is_that_of_its_resistors(left: PathBehaviour) -> None:
    """1 + 3.3k / 1.5k behind a divider of 1 kohm and 100 kohm."""
    assert left.gain == pytest.approx(20 * math.log10(3.2 * 100 / 101), abs=0.02)
    assert left.flatness < 0.1


def test_the_low_corner_is_set_by_the_input_capacitor_and_its_resistor(left: PathBehaviour) -> None:
    corner = left.corner("low", 3.0)
    assert corner is not None and corner.hertz == pytest.approx(1 / (2 * math.pi * 680e-9 * 101e3), rel=0.01)
    assert corner.parts == ("amp/C102", "amp/R103")
    assert corner.shares == pytest.approx((1.0, 0.99), abs=0.02)


def test_the_output_is_the_resistor_outside_the_loop(left: PathBehaviour) -> None:
    assert left.output_ohms_at(1000.0) == pytest.approx(3.3, rel=0.01)
    assert left.output == "amp/net/left/PHONES"  # the contacts of the relay, of unknown position, taken as closed


def test_the_noise_is_that_of_the_amplifier_and_the_resistors(left: PathBehaviour) -> None:
    """8 nV/rtHz, 4kT (1k + 1k5 || 3k3), times 3.2, over 20 kHz."""
    density = math.sqrt(8e-9**2 + 4 * 1.38e-23 * 300 * (1e3 + 1e3 * 1.5 * 3.3 / 4.8))
    assert left.noise == pytest.approx(3.2 * density * math.sqrt(19980), rel=0.02)
    assert left.noise_weighted < left.noise


def test_the_bias_resistors_end_the_current_into_a_low_load(left: PathBehaviour) -> None:
    by_load = {level.ohms: level for level in left.loads}
    assert "reaches its supply" in by_load[math.inf].limit
    assert "D101 no longer conducts" in by_load[32.0].limit
    assert 0.1 < by_load[32.0].amps < 0.3
    assert by_load[32.0].watts == pytest.approx(by_load[32.0].volts ** 2 / 32, rel=1e-6)
    assert by_load[math.inf].volts > by_load[300.0].volts > by_load[32.0].volts


def test_the_heat_of_the_output_devices(numbers: Behaviour) -> None:
    device = next(heat for heat in numbers.devices if heat.part == "amp/Q101")
    assert device.rest[1] < device.rest[0] < device.rest[2]
    assert device.rest[0] < device.most < (device.shorted or 0.0)
    assert device.rating == 1.25


def test_nothing_on_the_page_is_not_a_number(numbers: Behaviour) -> None:
    for path in numbers.paths:
        for values in (path.decibels, path.degrees, path.delays, path.output_ohms):
            assert len(values) == 400 and all(math.isfinite(value) for value in values)
    for row in (*numbers.volts, *numbers.heat):
        assert row.nominal is None or math.isfinite(row.nominal)
