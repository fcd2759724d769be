"""A rectifier with its reservoir: against ngspice, against closed bounds, and what must hold always."""

from __future__ import annotations

import math
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ngspice import needs_ngspice

from netcheck.physics.rectifying import Charged, Junction, Way, charged, unloaded

DIODE = Junction(0.9, 1.0, 0.047)


def both(way: Way) -> tuple[Way, Way]:
    return way, replace(way, half=-way.half)


def spice(way: Way, full: bool, farads: float, amps: float, diode: Junction, folder: Path) -> dict[str, float]:
    """Mean, lowest and highest volts of the reservoir and the largest charging current, after 2 s of 50 Hz."""
    emission = diode.slope / (1.380649e-23 * 300.15 / 1.602176634e-19)
    saturation = diode.amps * math.exp(-diode.volts / diode.slope)
    peak = way.volts * math.sqrt(2)
    lines = [f"* rectifier\n.model D D(IS={saturation!r} N={emission!r})\n.options reltol=1e-5 method=gear"]
    lines.append(f"V1 a 0 SIN(0 {peak!r} 50)\nR1 a a0 {way.ohms!r}\nVm1 a0 a1 0\nD1 a1 out D")
    if full:
        lines.append(f"V2 b 0 SIN(0 {peak!r} 50 0 0 180)\nR2 b b1 {way.ohms!r}\nD2 b1 out D")
    lines.append(f"C1 out 0 {farads!r} IC={peak - 1!r}\nI1 out 0 {amps!r}")
    lines += [".tran 20u 2 1.96 20u uic", ".control", "run"]
    for name, what in (("mean", "avg v(out)"), ("low", "min v(out)"), ("high", "max v(out)"), ("peak", "max i(Vm1)")):
        lines.append(f"meas tran {name} {what} from=1.96 to=2")
    path = folder / "rectifier.cir"
    path.write_text("\n".join([*lines, "quit", ".endc", ".end", ""]))
    done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, check=False)
    found = dict(re.findall(r"^(\w+)\s+=\s+(\S+)", done.stdout, re.MULTILINE))
    assert {"mean", "low", "high", "peak"} <= set(found), done.stdout[-2000:] + done.stderr[-500:]
    return {name: float(found[name]) for name in ("mean", "low", "high", "peak")}


@needs_ngspice
@pytest.mark.parametrize("full", [True, False], ids=["both half-waves", "one half-wave"])
@pytest.mark.parametrize(
    ("volts", "ohms", "farads", "amps"),
    [(20.16, 2.6, 2.2e-3, 0.3), (20.16, 2.6, 4.7e-3, 0.02), (10.0, 0.5, 10e-3, 1.5), (13.0, 8.0, 470e-6, 0.1)],
)
def test_the_steady_state_is_that_of_ngspice(
    full: bool, volts: float, ohms: float, farads: float, amps: float, tmp_path: Path
) -> None:
    """The mean within 1 %, the ripple within 4 %, the largest charging current within 6 %; found closer."""
    way = Way(volts, ohms, 1, 1)
    ours = charged(both(way) if full else (way,), farads, amps, DIODE)
    theirs = spice(way, full, farads, amps, DIODE, tmp_path)
    assert ours.mean == pytest.approx(theirs["mean"], rel=0.01)
    assert ours.low == pytest.approx(theirs["low"], rel=0.015)
    assert ours.ripple == pytest.approx(theirs["high"] - theirs["low"], rel=0.04)
    assert ours.peak == pytest.approx(theirs["peak"], rel=0.06)


def test_the_charge_of_the_pulses_is_that_of_the_load() -> None:
    """Two pulses a period carry what the load takes: their mean is the direct current, their rms is larger."""
    found = charged(both(Way(20.16, 2.6, 1, 1)), 2.2e-3, 0.3, DIODE)
    whole = math.sqrt(sum(one * one for one in found.rms))
    assert 1.5 * 0.3 < whole < 2.0 * 0.3
    assert found.peak > 4 * 0.3


def test_half_a_wave_doubles_the_ripple() -> None:
    way = Way(20.16, 1.0, 1, 1)
    one, two = charged((way,), 4.7e-3, 0.2, DIODE), charged(both(way), 4.7e-3, 0.2, DIODE)
    assert 1.9 < one.ripple / two.ripple < 2.6
    assert one.mean < two.mean
    assert one.rms[0] > two.rms[0]


def test_each_diode_in_the_way_costs_its_volts() -> None:
    lone = charged(both(Way(12.0, 0.3, 1, 1)), 4.7e-3, 0.1, DIODE)
    bridge = charged(both(Way(12.0, 0.3, 2, 1)), 4.7e-3, 0.1, DIODE)
    assert 0.6 < lone.mean - bridge.mean < 1.0


def test_without_a_load_there_is_no_ripple() -> None:
    ways = both(Way(18.0, 2.0, 2, 1))
    found = charged(ways, 1e-3, 0.0, DIODE)
    assert found == Charged(found.mean, found.mean, found.mean, 0.0, (0.0, 0.0))
    assert found.mean == unloaded(ways, DIODE)
    assert 18 * math.sqrt(2) - 2 < found.mean < 18 * math.sqrt(2)


@pytest.mark.parametrize(("ways", "farads", "amps"), [((), 1e-3, 0.1), ((Way(9, 1, 1, 1),), 0.0, 0.1)])
def test_what_is_no_rectifier_is_refused(ways: tuple[Way, ...], farads: float, amps: float) -> None:
    with pytest.raises(ValueError, match="reservoir"):
        charged(ways, farads, amps, DIODE)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(3, 60), st.floats(0.0, 20), st.integers(1, 2), st.floats(1e-5, 0.05), st.floats(0.0, 5.0), st.booleans()
)
def test_a_reservoir_never_leaves_its_bounds(
    volts: float, ohms: float, junctions: int, farads: float, amps: float, full: bool
) -> None:
    """Between nothing and the peak of the winding; more load, fewer volts; ripple at most I / (2 f C) or I / (f C)."""
    way = Way(volts, ohms, junctions, 1)
    ways = both(way) if full else (way,)
    found = charged(ways, farads, amps, DIODE)
    assert 0 <= found.low <= found.mean <= found.high <= volts * math.sqrt(2)
    assert found.ripple <= amps / ((100 if full else 50) * farads) + 1e-6
    assert charged(ways, farads, amps + 0.1, DIODE).mean <= found.mean + 1e-3
