"""The same network for ngspice, a general circuit simulator, and its answers read back."""

from __future__ import annotations

import math
import os
import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from netcheck.physics.network.elements import (
    Bipolar,
    Capacitor,
    CurrentSource,
    Diode,
    Fet,
    Inductor,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import Network

if shutil.which("ngspice") is None and os.environ.get("CI"):
    raise RuntimeError("ngspice is missing; CI installs it")
needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")


class Deck:
    """A network written out for ngspice; nodes are numbered, so that no name can be misread."""

    def __init__(self, network: Network, source: str | None = None) -> None:
        self.network = network
        self.numbers: dict[str, str] = {}
        self.lines = ["* network", ".options gmin=1e-15 reltol=1e-6 abstol=1e-14 vntol=1e-9 temp=27 tnom=27"]
        for node, volts in network.known.items():
            ac = " AC 1" if node == source else ""
            self.lines.append(f"V{self.node(node)} {self.node(node)} 0 DC {volts!r}{ac}")
        for number, element in enumerate(network.elements):
            self.element(f"x{number}", element)
        for node in network.free_nodes():
            self.lines.append(f"Rleak{self.node(node)} {self.node(node)} 0 1e12 noisy=0")

    def node(self, name: str) -> str:
        return self.numbers.setdefault(name, str(len(self.numbers) + 1))

    def element(self, tag: str, element: object) -> None:
        n = self.node
        if isinstance(element, Resistor):
            self.lines.append(f"R{tag} {n(element.a)} {n(element.b)} {element.ohms!r}")
        elif isinstance(element, Capacitor):
            self.lines.append(f"C{tag} {n(element.a)} {n(element.b)} {element.farads!r}")
        elif isinstance(element, Inductor):
            self.lines.append(f"L{tag} {n(element.a)} m{tag} {element.henries!r}")
            self.lines.append(f"Rw{tag} m{tag} {n(element.b)} {element.ohms!r} noisy=0")
        elif isinstance(element, CurrentSource):
            self.lines.append(f"I{tag} {n(element.a)} {n(element.b)} {element.amps!r}")
        elif isinstance(element, Diode):
            m = element.model
            back = f" BV={m.breakdown!r} IBV={m.knee!r}" if m.breakdown is not None else ""
            self.lines.append(f"D{tag} {n(element.anode)} {n(element.cathode)} M{tag}")
            self.lines.append(f".model M{tag} D(IS={m.saturation!r} N={m.emission!r} CJO={m.capacitance!r} M=0{back})")
        elif isinstance(element, Bipolar):
            self.bipolar(tag, element)
        elif isinstance(element, Fet):
            self.fet(tag, element)
        elif isinstance(element, OperationalAmplifier):
            self.amplifier(tag, element)

    def bipolar(self, tag: str, element: Bipolar) -> None:
        m = element.model
        early = f" VAF={m.early!r}" if m.early else ""
        sort = "PNP" if element.pnp else "NPN"
        self.lines.append(
            f"Q{tag} {self.node(element.collector)} {self.node(element.base)} {self.node(element.emitter)} M{tag}"
        )
        self.lines.append(
            f".model M{tag} {sort}(IS={m.saturation!r} BF={m.gain!r} BR={m.reverse_gain!r}{early} "
            f"CJE={m.base_emitter!r} MJE=0 CJC={m.base_collector!r} MJC=0 TF={m.transit!r})"
        )

    def fet(self, tag: str, element: Fet) -> None:
        m, n = element.model, self.node
        d, g, s = n(element.drain), n(element.gate), n(element.source)
        if m.junction:
            sort = "PJF" if element.p_channel else "NJF"
            self.lines.append(f"J{tag} {d} {g} {s} M{tag}")
            self.lines.append(
                f".model M{tag} {sort}(VTO={m.threshold!r} BETA={m.factor!r} "
                f"LAMBDA={m.modulation!r} IS={m.saturation!r})"
            )
        else:
            sort, sign = ("PMOS", -1) if element.p_channel else ("NMOS", 1)
            self.lines.append(f"M{tag} {d} {g} {s} {s} M{tag} L=1u W=1u")
            self.lines.append(
                f".model M{tag} {sort}(LEVEL=1 VTO={sign * m.threshold!r} KP={m.factor!r} "
                f"LAMBDA={m.modulation!r} IS=1e-30)"
            )
            self.lines.append(f"Cgs{tag} {g} {s} {m.gate_source!r}\nCgd{tag} {g} {d} {m.gate_drain!r}")

    def amplifier(self, tag: str, element: OperationalAmplifier) -> None:
        m, n = element.model, self.node
        hi, lo = f"(v({n(element.supply_plus)})-{m.from_plus!r})", f"(v({n(element.supply_minus)})+{m.from_minus!r})"
        mid, half = f"(({hi}+{lo})/2)", f"(({hi}-{lo})/2)"
        want = f"{m.gain!r}*(v({n(element.plus)})-v({n(element.minus)})+{m.offset!r})"
        self.lines.append(f"B{tag} e{tag} 0 V={mid}+{half}*tanh(({want}-{mid})/{half})")
        pole = m.gain / (2 * math.pi * m.bandwidth) if m.bandwidth else 0.0
        self.lines.append(f"Gp{tag} 0 p{tag} e{tag} 0 1\nGq{tag} p{tag} 0 p{tag} 0 1\nCp{tag} p{tag} 0 {pole!r}")
        self.lines.append(f"E{tag} o{tag} 0 p{tag} 0 1\nRo{tag} o{tag} {n(element.output)} {m.output_ohms!r} noisy=0")
        for node in (element.plus, element.minus):
            self.lines.append(f"Ib{tag}{n(node)} {n(node)} 0 {m.bias!r}")

    def run(self, commands: Sequence[str], folder: Path) -> str:
        path = folder / "network.cir"
        path.write_text("\n".join([*self.lines, ".control", *commands, "quit", ".endc", ".end", ""]))
        done = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, check=False)
        return done.stdout + done.stderr

    def volts(self, folder: Path) -> dict[str, float]:
        """Node voltages at rest."""
        out = self.run(["op", "set numdgt=12", *(f"print v({number})" for number in self.numbers.values())], folder)
        found = dict(re.findall(r"v\((\d+)\) = (\S+)", out))
        assert found, out[-2000:]
        return {name: float(found[number]) for name, number in self.numbers.items() if number in found}

    def response(self, node: str, frequencies: np.ndarray, folder: Path) -> np.ndarray:
        """Complex voltage of a node for one volt at the source, at frequencies spaced evenly on a logarithmic scale."""
        data = folder / "ac.txt"
        per_decade = round((len(frequencies) - 1) / math.log10(frequencies[-1] / frequencies[0]))
        sweep = f"ac dec {per_decade} {float(frequencies[0])!r} {float(frequencies[-1])!r}"
        out = self.run(["set numdgt=12", sweep, f"wrdata {data} v({self.node(node)})"], folder)
        assert data.exists(), out[-2000:]
        table = np.loadtxt(data)
        assert len(table) == len(frequencies)
        return table[:, 1] + 1j * table[:, 2]

    def noise(self, node: str, source: str, frequencies: np.ndarray, folder: Path) -> np.ndarray:
        """Density of the noise at a node in V/rtHz, at frequencies spaced evenly on a logarithmic scale."""
        data = folder / "noise.txt"
        per_decade = round((len(frequencies) - 1) / math.log10(frequencies[-1] / frequencies[0]))
        sweep = f"noise v({self.node(node)}) V{self.node(source)} dec {per_decade} "
        sweep += f"{float(frequencies[0])!r} {float(frequencies[-1])!r}"
        out = self.run(["set numdgt=12", sweep, "setplot noise1", f"wrdata {data} onoise_spectrum"], folder)
        assert data.exists(), out[-2000:]
        return np.loadtxt(data)[:, 1]
