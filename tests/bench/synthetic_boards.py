"""Boards of any size for measuring: amplifier stages with output pairs on common rails, as the text of a netlist.

Each stage is sound and has its own nets; the rails and the ground are shared by all, as on a real board of many
channels, so that whatever walks along a rail meets everything at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

R = ("Device", "R", "Resistor_SMD:R_0805_2012Metric")
C = ("Device", "C", "Capacitor_SMD:C_0805_2012Metric")
POLARISED = ("Device", "C_Polarized", "Capacitor_THT:CP_Radial_D8.0mm_P3.50mm")
D = ("Diode", "1N4148", "Diode_THT:D_DO-35_SOD27_P7.62mm_Horizontal")
NPN = ("Transistor_BJT", "BD139", "Package_TO_SOT_THT:TO-126-3_Vertical")
PNP = ("Transistor_BJT", "BD140", "Package_TO_SOT_THT:TO-126-3_Vertical")
DUAL = ("Amplifier_Operational", "NE5532", "Package_DIP:DIP-8_W7.62mm")
PLUG = ("Connector_Generic", "Conn_01x03", "Connector_JST:JST_XH_B3B-XH-A_1x03_P2.50mm_Vertical")
SOCKET = ("Connector_Generic", "Conn_01x02", "Connector_JST:JST_XH_B2B-XH-A_1x02_P2.50mm_Vertical")


@dataclass(frozen=True)
class Placed:
    """A component with its pins: (number, net); `functions`: a letter a pin, where the symbol names them."""

    reference: str
    value: str
    library: tuple[str, str, str]
    pins: tuple[tuple[str, str], ...]
    functions: str = ""


def _two(reference: str, value: str, library: tuple[str, str, str], a: str, b: str) -> Placed:
    return Placed(reference, value, library, (("1", a), ("2", b)))


def _stage(n: int) -> Iterator[Placed]:
    """An op-amp, non-inverting, with a biased output pair in its loop; its other half is parked."""
    net = f"/ch{n}/"
    yield Placed(f"J{n}01", "Phones", SOCKET, (("1", f"{net}OUT"), ("2", "GND")))
    yield Placed(f"J{n}02", "Input", SOCKET, (("1", f"{net}SOCKET"), ("2", "GND")))
    yield _two(f"C{n}01", "2u2/63V", C, f"{net}SOCKET", f"{net}IN")
    yield _two(f"R{n}01", "100k", R, f"{net}IN", "GND")
    halves = (f"{net}DRIVE", f"{net}TAP", f"{net}IN", "-15V", "GND", f"{net}PARK", f"{net}PARK", "+15V")
    yield Placed(f"U{n}", "NE5532", DUAL, tuple((str(pin), to) for pin, to in enumerate(halves, start=1)))
    yield _two(f"R{n}02", "1k5", R, f"{net}TAP", "GND")
    yield _two(f"R{n}03", "3k3", R, f"{net}TAP", f"{net}OUT")
    yield _two(f"C{n}02", "100n/50V", C, "+15V", "GND")
    yield _two(f"C{n}03", "100n/50V", C, "-15V", "GND")
    yield _two(f"R{n}04", "3k3", R, "+15V", f"{net}UPPER")
    yield _two(f"R{n}05", "3k3", R, "-15V", f"{net}LOWER")
    yield Placed(f"D{n}01", "1N4148", D, (("1", f"{net}DRIVE"), ("2", f"{net}UPPER")), "KA")
    yield Placed(f"D{n}02", "1N4148", D, (("1", f"{net}LOWER"), ("2", f"{net}DRIVE")), "KA")
    yield Placed(f"Q{n}01", "BD139", NPN, (("1", f"{net}E1"), ("2", "+15V"), ("3", f"{net}UPPER")), "ECB")
    yield Placed(f"Q{n}02", "BD140", PNP, (("1", f"{net}E2"), ("2", "-15V"), ("3", f"{net}LOWER")), "ECB")
    yield _two(f"R{n}06", "4R7", R, f"{net}E1", f"{net}OUT")
    yield _two(f"R{n}07", "4R7", R, f"{net}E2", f"{net}OUT")


def cascade(nodes: int) -> list[Placed]:
    """One path of so many nodes: followers in a row, each behind two resistors and two capacitors."""
    single = ("Amplifier_Operational", "NE5534", "Package_DIP:DIP-8_W7.62mm")
    found = [
        Placed("J1", "Supply", PLUG, (("1", "+15V"), ("2", "GND"), ("3", "-15V"))),
        Placed("J2", "Input", SOCKET, (("1", "S0"), ("2", "GND"))),
        _two("R1", "100k", R, "S0", "GND"),
    ]
    stages = (nodes - 1) // 3
    for n in range(1, stages + 1):
        pins = (("2", f"S{n}"), ("3", f"B{n}"), ("4", "-15V"), ("6", f"S{n}"), ("7", "+15V"))
        found += [
            _two(f"R{n}01", "1k", R, f"S{n - 1}", f"A{n}"),
            _two(f"R{n}02", "1k", R, f"A{n}", f"B{n}"),
            _two(f"C{n}01", "47p/50V", C, f"A{n}", "GND"),
            _two(f"C{n}02", "47p/50V", C, f"B{n}", "GND"),
            Placed(f"U{n}", "NE5534", single, pins),
        ]
    found.append(Placed("J3", "Output", SOCKET, (("1", f"S{stages}"), ("2", "GND"))))
    return found


def components(number: int) -> list[Placed]:
    """So many components: a supply, stages, and capacitors across the rails for the rest."""
    found = [
        Placed("J1", "Supply", PLUG, (("1", "+15V"), ("2", "GND"), ("3", "-15V"))),
        _two("C1", "470u/25V", POLARISED, "+15V", "GND"),
        _two("C2", "470u/25V", POLARISED, "GND", "-15V"),
    ]
    stage = 1
    while len(found) + 17 <= number:
        found += _stage(stage)
        stage += 1
    found += [_two(f"C{900_000 + n}", "100n/50V", C, "+15V", "GND") for n in range(number - len(found))]
    return found[:number]


def netlist_text(number: int) -> str:
    """The export of a board of so many components."""
    return exported(components(number))


def exported(placed: list[Placed]) -> str:
    """The export of a board."""
    lines = [
        '(export (version "E")',
        '  (design (source "bench.sch") (date "2026-01-01") (tool "bench"))',
        "  (components",
    ]
    for part in placed:
        library, name, footprint = part.library
        lines += [
            f'    (comp (ref "{part.reference}") (value "{part.value}") (footprint "{footprint}")',
            f'      (libsource (lib "{library}") (part "{name}") (description ""))',
            '      (sheetpath (names "/") (tstamps "/")))',
        ]
    lines += ["  )", "  (nets"]
    nodes: dict[str, list[str]] = {}
    for part in placed:
        for position, (pin, net) in enumerate(part.pins):
            function = f' (pinfunction "{part.functions[position]}")' if part.functions else ""
            node = f'      (node (ref "{part.reference}") (pin "{pin}"){function} (pintype "passive"))'
            nodes.setdefault(net, []).append(node)
    for code, (net, pins) in enumerate(nodes.items(), start=1):
        lines.append(f'    (net (code "{code}") (name "{net}")')
        lines += pins
        lines.append("    )")
    return "\n".join([*lines, "  ))", ""])
