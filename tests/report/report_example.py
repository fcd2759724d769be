"""A review made by hand for the tests of the report: a Bandroom monitor of two boards, with faults put in."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

from netcheck.circuit.model import Amplifier, Board, Circuit, Net, Part, Pin, join
from netcheck.circuit.understanding import Row, Understanding
from netcheck.gates import GATES, answer
from netcheck.ground.quantities import PartValue
from netcheck.intake.netlist import Netlist, Oddity
from netcheck.physics.mating import Contact, Mating
from netcheck.review import Review, RuleAccount, Source
from netcheck.rulebook.verdicts import OUTCOMES, Failure, Verdict

MAINS = (
    "There is mains in this assembly. Mains can kill. netcheck only helps to spot omissions in drawings; whatever "
    "touches mains must be designed, built, inspected and tested by people licensed or competent under your local law."
)


def part(
    board: str, ref: str, kind: str, value: str, pins: dict[str, tuple[str, str]], line: int, **more: object
) -> Part:
    """A part; pins as number -> (net key, role)."""
    key = f"{board}/{ref}"
    made = tuple(Pin(f"{key}.{number}", key, board, number, net, role=role) for number, (net, role) in pins.items())
    return Part(key, board, ref, kind, "test", PartValue(value), made, file=f"{board}.net", line=line, **more)  # type: ignore[arg-type]


def board_of(name: str, parts: Sequence[Part], roles: dict[str, tuple[str, float | None, str]]) -> Board:
    """A board whose nets follow from the pins of its parts."""
    pins: dict[str, list[str]] = {}
    for one in parts:
        for pin in one.pins:
            pins.setdefault(pin.net, []).append(pin.key)
    nets = []
    for code, (key, members) in enumerate(pins.items(), 1):
        given = key.partition("/net/")[2]
        role, volts, origin = roles.get(given, ("signal", None, ""))
        spread = (volts * 0.95, volts * 1.05) if volts else (volts, volts)
        nets.append(
            Net(key, name, given, str(code), tuple(members), role, volts, *sorted(spread, key=lambda v: v or 0),
                sign="positive" if volts and volts > 0 else "", origin=origin, line=900 + code)
        )  # fmt: skip
    amplifiers = tuple(
        Amplifier(f"{one.key}:{unit}", one.key, name, unit, "opamp")
        for one in parts
        if one.kind == "opamp"
        for unit in "AB"
    )
    netlist = Netlist(
        f"{name}.net", "ab12" * 16, (), (), version="E", tool="Eeschema 7.0.10", date="2026-07-02T10:11:12"
    )
    return Board(name, netlist, tuple(parts), tuple(nets), amplifiers)


def circuit() -> Circuit:
    """Supply and amplifier board of the monitor."""
    amp, sup = "amp/net/", "supply/net/"
    parts = []
    for side, (up, down, mid) in {"L": ("Q1", "Q2", "OUT_L"), "R": ("Q3", "Q4", "OUT_R")}.items():
        parts += [
            part("amp", up, "npn", "BD139", {"1": (f"{amp}{mid}", "emitter"), "2": (f"{amp}+15V", "collector"),
                 "3": (f"amp/net of {up}.3", "base")}, 40, sheet=f"/output {side}/"),
            part("amp", down, "pnp", "BD140", {"1": (f"{amp}{mid}", "emitter"), "2": (f"{amp}-15V", "collector"),
                 "3": (f"amp/net of {down}.3", "base")}, 52, sheet=f"/output {side}/"),
            part("amp", {"L": "R7", "R": "R17"}[side], "resistor", "10R", {"1": (f"{amp}{mid}", "end"),
                 "2": (f"{amp}JACK_{side}", "end")}, 64, sheet=f"/output {side}/"),
        ]  # fmt: skip
    parts += [
        part("amp", "U1", "opamp", "NE5532", {"8": (f"{amp}+15V", "supply plus"), "4": (f"{amp}-15V", "supply minus"),
             "1": (f"{amp}DRIVE_L", "output")}, 80),
        part("amp", "C12", "capacitor", "100u/16V", {"1": (f"{amp}+15V", "plus"), "2": (f"{amp}GND", "minus")}, 92),
        part("amp", "J1", "connector", "Conn_01x03", {"1": (f"{amp}+15V", ""), "2": (f"{amp}GND", ""),
             "3": (f"{amp}-15V", "")}, 99),
        part("amp", "J3", "connector", "Conn_01x04", {"1": (f"{amp}GND", ""), "2": (f"{amp}VOL_L", "")}, 105),
        part("amp", "J4", "connector", "Conn_01x04", {"1": (f"{amp}GND", ""), "2": (f"{amp}VOL_R", "")}, 111),
    ]  # fmt: skip
    supply = [
        part("supply", "J2", "connector", "Conn_01x03", {"1": (f"{sup}+15V", ""), "2": (f"{sup}GND", ""),
             "3": (f"{sup}-15V", "")}, 21),
        part("supply", "J5", "connector", "Conn_01x03", {"1": (f"{sup}AC1", ""), "2": (f"{sup}CT", ""),
             "3": (f"{sup}AC1", "")}, 25),
        part("supply", "F1", "fuse", "T500mA", {"1": (f"{sup}L", "end"), "2": (f"{sup}L_F", "end")}, 33),
    ]  # fmt: skip
    roles = {
        "+15V": ("rail", 15.0, "output of U3, LM7815"),
        "-15V": ("rail", -15.0, "output of U4, LM7915"),
        "GND": ("ground", 0.0, "by its name, and most of the signal returns here"),
        "L": ("mains", None, "on the inlet"),
    }
    return join((board_of("supply", supply, roles), board_of("amp", parts, roles)))


def finding(rule: str, subject: str, key: str, sentence: str, consequence: str, cure: str, **more: object) -> Verdict:
    """A finding on one part or net."""
    board = key.partition("/")[0]
    identity = "".join(chr(97 + (ord(letter) * (at + 3)) % 26) for at, letter in enumerate(f"{rule}{key}"[-8:]))
    told: dict[str, object] = {
        "failures": (Failure(sentence, consequence, cure),), "evidence": (key,), "file": f"{board}.net", "line": 40,
    }  # fmt: skip
    return Verdict(rule, "finding", subject, (key,), identity, (board,), consequence, cure, **(told | more))  # type: ignore[arg-type]


def undecided(rule: str, subject: str, key: str, reasons: tuple[str, ...], consequence: str, cure: str) -> Verdict:
    """An undecided on one part or net."""
    made = finding(rule, subject, key, "", consequence, cure)
    return Verdict(rule, "undecided", subject, (key,), made.identity, made.boards, consequence, cure, reasons=reasons,
                   file=made.file, line=made.line)  # fmt: skip


def verdicts() -> tuple[Verdict, ...]:
    """What the rules made of it."""
    found = []
    for up, down, mid in (("Q1", "Q2", "OUT_L"), ("Q3", "Q4", "OUT_R")):
        for device in (up, down):
            found.append(
                finding(
                    "output-stage/emitter-resistors", device, f"amp/{device}",
                    f"{device} reaches {mid} through 0 Ω; at least 100 mΩ is needed.", "damage", "board",
                    evidence=(f"amp/{device}", f"amp/net/{mid}", "amp/R7" if mid == "OUT_L" else "amp/R17"),
                    remedy=f"Put 100 mΩ or more between each output transistor and {mid}.",
                    names=(("to_output", "0 Ω"), ("least", "100 mΩ"), ("most", "47 Ω")),
                )
            )  # fmt: skip
    found += [
        finding("connectors/turned-plug", "amp.J1 to supply.J2", "amp/J1",
                "Turned round, amp.J1 puts -15 V on +15V and +15 V on -15V.", "damage", "board",
                remedy="Use a keyed housing, or lay the pins out so that they read the same turned round."),
        finding("mains/fuse-in-line", "supply.F1", "supply/F1", "L reaches the transformer without a fuse on one way.",
                "hazard", "wiring", remedy="Put the fuse first after the inlet, in the live conductor."),
        finding("supply/capacitor-voltage", "amp.C12", "amp/C12",
                "C12 is rated 16 V and sees 15.8 V; 12.8 V is the most.",
                "performance", "part", remedy="Fit 25 V or more.", notes=("C13 would help, but is not fitted.",)),
        finding("build/footprint-present", "amp.J4", "amp/J4", "J4 has no footprint.", "make", "board"),
        finding("supply/rail-decoupling", "amp.U1", "amp/U1", "U1 has no capacitor on -15V.", "performance", "board"),
        finding("signal/bias-path", "amp.U1A", "amp/U1:A", "The input of U1A has no path for direct current.",
                "function", "board"),
    ]  # fmt: skip
    for number, net in (("3", "VOL_L"), ("4", "VOL_R")):
        asks = (f"what J{number} is joined to is not given",)
        found.append(undecided("signal/bias-path", f"amp.{net}", f"amp/net/{net}", asks, "function", "board"))
        found.append(undecided("signal/rf-entry", f"amp.{net}", f"amp/net/{net}", asks, "performance", "board"))
    found.append(
        undecided(
            "supply/regulator-heat", "supply.U3", "supply/J2", ("the load of +15V is not given",), "damage", "part"
        )
    )
    found.append(
        Verdict("supply/diode-direction", "set aside", "supply.D1", ("supply/F1",), "asideaaa", ("supply",), "damage",
                "board", because="D1 is a reverse-voltage clamp: it conducts only when the supply is turned round.")
    )  # fmt: skip
    found += [
        Verdict(
            "supply/supply-pins", "clear", f"amp.U{n}", (f"amp/U{n}",), f"clear{n:03}", ("amp",), "function", "board"
        )
        for n in range(40)
    ]
    return tuple(found)


def accounts(found: Sequence[Verdict]) -> tuple[RuleAccount, ...]:
    """An account of every rule that the verdicts name, of one that met nothing and of one left out."""
    titles = {
        "output-stage/emitter-resistors": "Each output transistor has a resistor of its own towards the output",
        "connectors/turned-plug": "A plug that can be turned round does no harm",
        "mains/fuse-in-line": "A fuse stands first in the live conductor",
        "house/xlr-shell": "The shell of an XLR meets the case",
        "supply/coil-diode": "A coil that is switched has a diode",
        "supply/bleed": "A reservoir above 60 V empties by itself",
    }
    rules = dict.fromkeys([verdict.rule for verdict in found] + list(titles))
    made = []
    why = (
        "As a transistor warms, its base-emitter voltage falls by about 2 mV per degree and its current\nrises. The "
        "voltage across a resistor in its emitter works against that; without one the idle current can run away.\n"
    )
    source = Source("0.1-0.47 ohm in loudspeaker stages", "common practice", ("least",))
    for rule in rules:
        mine = [verdict for verdict in found if verdict.rule == rule]
        made.append(
            RuleAccount(
                name=rule,
                title=titles.get(rule, rule.partition("/")[2].replace("-", " ").capitalize()),
                why=why,
                remedy="Put {{least}} or more there.",
                consequence=mine[0].consequence if mine else "performance",
                cure=mine[0].cure if mine else "board",
                sources=(source,),
                limits=(("least", "100 mΩ", "measured on the first build" if "emitter" in rule else ""),),
                caution=MAINS if rule.startswith("mains") else "",
                file=f"rules/{rule}.yaml",
                supplied=not rule.startswith("house"),
                counts=MappingProxyType({word: sum(v.outcome == word for v in mine) for word in OUTCOMES}),
                left_out="no coil is above 12 V here" if rule == "supply/coil-diode" else "",
            )
        )
    return tuple(made)


def matings() -> tuple[Mating, ...]:
    """The power lead right and turned; a lone connector that reads the same turned round."""
    amp, sup = "amp/net/", "supply/net/"
    nets = ("+15V", "GND", "-15V")

    def way(name: str, order: Sequence[int | None], step: str = "") -> Mating:
        contacts = tuple(
            Contact(
                f"amp/J1.{n + 1}",
                str(o + 1) if o is not None else "",
                amp + nets[n],
                sup + nets[o] if o is not None else None,
            )
            for n, o in enumerate(order)
        )
        return Mating(
            f"amp/J1 supply/J2 {name}{step}", "amp/J1", "supply/J2", "power lead", name, step, None, True, contacts
        )

    same = tuple(
        Contact(f"supply/J5.{n}", str(m), f"{sup}{net}", f"{sup}{net}")
        for n, m, net in ((1, 3, "AC1"), (2, 2, "CT"), (3, 1, "AC1"))
    )
    lone = [
        Mating(f"supply/J5 {name}", "supply/J5", None, "", name, "", True, False, same) for name in ("right", "turned")
    ]
    return (
        way("right", (0, 1, 2)),
        way("turned", (2, 1, 0)),
        way("shifted", (None, 0, 1), "by one pin towards pin 3"),
        *lone,
    )


def understandings() -> dict[str, Understanding]:
    """What the boards were taken for."""
    return {
        "supply": Understanding(
            "supply",
            kinds=(
                Row(("supply/J2", "supply/J5"), "2 connectors", "library part Conn_01x03"),
                Row(("supply/F1",), "1 fuse"),
            ),
            rails=(
                Row(("supply/net/+15V",), "15 V", "output of U3, LM7815"),
                Row(("supply/net/-15V",), "-15 V", "output of U4"),
            ),
            grounds=(Row(("supply/net/GND",), "ground, 9 pins"),),
            connectors=(Row(("supply/J2",), "3-pin header, not keyed: +15V, GND, -15V"),),
        ),
        "amp": Understanding(
            "amp",
            kinds=(Row(tuple(f"amp/Q{n}" for n in range(1, 5)), "4 transistors", "library part Q_NPN_ECB"),),
            rails=(
                Row(("amp/net/+15V",), "15 V", "by its name +15V"),
                Row(("amp/net/-15V",), "-15 V", "by its name -15V"),
            ),
            grounds=(Row(("amp/net/GND",), "ground, 14 pins"),),
            amplifiers=(Row(("amp/U1:A",), "non-inverting, gain 11"), Row(("amp/U1:B",), "not used")),
            stages=(
                Row(("amp/Q1", "amp/Q2"), "output stage at OUT_L"),
                Row(("amp/Q3", "amp/Q4"), "output stage at OUT_R"),
            ),
            connectors=(Row(("amp/J3",), "4-pin header, not keyed: what it is joined to is not given"),),
            not_understood=(Row(("amp/J4",), "2 of 4 pins are on no net", "amp.net:111"),),
            remarks=("The file is of version E, written by Eeschema 7.0.10.",),
        ),
    }


def review(extra: Sequence[Verdict] = (), name: str = "Bandroom monitor") -> Review:
    """The whole review; more verdicts can be added."""
    found = (*verdicts(), *extra)
    whole = circuit()
    return Review(
        name=name,
        assembly_given=True,
        circuit=whole,
        gates={gate: answer(gate, found) for gate in GATES},
        board_gates={
            board.name: {gate: answer(gate, [v for v in found if board.name in v.boards]) for gate in GATES}
            for board in whole.boards
        },
        verdicts=found,
        accounts=accounts(found),
        understandings=understandings(),
        matings=matings(),
        cautions=(MAINS,),
        versions={"netcheck": "0.1.0", "rule book": "3f9a12"},
    )


ODDITY = Oddity("pin on two nets", "U1", "3", ("4", "7"), 77)
