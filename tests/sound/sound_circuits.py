"""Sound circuits, typed in from published ones: one a file in `circuits/`, read as samples and given footprints.

The first line of a file is its title, the next ones that begin with '#' its source. What follows a line of three dashes
is told of it as in an assembly file: transformers, loads, targets; the board is called `b` there. Where a part has no
footprint of its own in the file, it gets a usual one of its kind: a board without footprints could not be ordered.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from netcheck.circuit.model import Hints
from netcheck.circuit.sampling import read_sample
from netcheck.ground.yamltext import load
from netcheck.intake.assembly import AssemblyFile, BoardEntry
from netcheck.intake.assemblycheck import check_against
from netcheck.intake.assemblyreading import parse_node
from netcheck.intake.netlist import Component, Netlist
from netcheck.review import BoardPlan, Plan, facts_of
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.judge import judge
from netcheck.rulebook.verdicts import Verdict

FOLDER = Path(__file__).parent / "circuits"

RESISTOR = "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal"
FILM = "Capacitor_THT:C_Rect_L7.2mm_W3.5mm_P5.00mm"
SMALL_CAN = "Capacitor_THT:CP_Radial_D8.0mm_P3.50mm"
LARGE_CAN = "Capacitor_THT:CP_Radial_D18.0mm_P7.50mm"
BY_VALUE = {
    **dict.fromkeys(("BD139", "BD140", "MJE340", "MJE350"), "Package_TO_SOT_THT:TO-126-3_Vertical"),
    **dict.fromkeys(("2SC5200", "2SA1943"), "Package_TO_SOT_THT:TO-264-3_Vertical"),
    **dict.fromkeys(("LM317", "LM337", "7812", "7912", "IRF510"), "Package_TO_SOT_THT:TO-220-3_Vertical"),
    "TIP3055": "Package_TO_SOT_THT:TO-247-3_Vertical",
}
BY_LETTERS = {
    "R": RESISTOR,
    "RV": "Potentiometer_THT:Potentiometer_Alps_RK09K_Single_Vertical",
    "L": "Inductor_THT:L_Axial_L12.0mm_D5.0mm_P15.24mm_Horizontal_Fastron_MISC",
    "D": "Diode_THT:D_DO-35_SOD27_P7.62mm_Horizontal",
    "BR": "Diode_THT:Diode_Bridge_Round_D9.8mm",
    "Q": "Package_TO_SOT_THT:TO-92_Inline",
    "K": "Relay_THT:Relay_DPDT_Omron_G5V-2",
}
BY_FAMILY = {
    "jack": "Connector_Audio:Jack_3.5mm_CUI_SJ1-3523N_Horizontal",
    "xlr": "Connector_Audio:Jack_XLR_Neutrik_NC3FAAH_Horizontal",
    "rca": "Connector_Audio:Jack_RCA_Vertical",
    "shrouded header": "Connector_IDC:IDC-Header_1x{:02}_P2.54mm_Vertical",
    "screw terminal": "TerminalBlock:TerminalBlock_bornier-{}_P5.08mm",
    "": "Connector_Molex:Molex_KK-254_AE-6410-{:02}A_1x{:02}_P2.54mm_Vertical",
}


@dataclass(frozen=True)
class SoundCircuit:
    """A circuit that is known to be sound, and where it comes from; `told` is the text of what is told of it."""

    name: str
    title: str
    source: str
    netlist: Netlist
    hints: Hints
    told: str = ""


@lru_cache(maxsize=1)
def sound_circuits() -> tuple[SoundCircuit, ...]:
    return tuple(map(_read, sorted(FOLDER.glob("*.txt"))))


def _read(path: Path) -> SoundCircuit:
    text, _, about = path.read_text(encoding="utf-8").partition("\n---\n")
    head = [line.lstrip("# ") for line in text.splitlines() if line.startswith("#")]
    netlist, hints = read_sample(text, path.name, 1, path.stem)
    components = tuple(_with_footprint(each, netlist, hints) for each in netlist.components)
    return SoundCircuit(path.stem, head[0], " ".join(head[1:]), replace(netlist, components=components), hints, about)


def _with_footprint(component: Component, netlist: Netlist, hints: Hints) -> Component:
    if component.footprint:
        return component
    reference = component.reference
    letters = reference.rstrip("0123456789")
    pins = len(component.library_pins)
    value = component.value or ""
    if letters == "J":
        footprint = BY_FAMILY[hints.families.get(reference, "")].format(pins, pins)
    elif letters == "C":
        large = hints.polarised.get(reference) and value.split()[0] in ("470u", "1000u", "2200u")
        can = hints.polarised.get(reference) or (reference in hints.polarised and value.split()[0].endswith("u"))
        footprint = LARGE_CAN if large else SMALL_CAN if can else FILM
    elif value in BY_VALUE or letters in BY_LETTERS:
        footprint = BY_VALUE.get(value) or BY_LETTERS[letters]
    else:
        footprint = f"Package_DIP:DIP-{pins}_W7.62mm"
    return replace(component, footprint=footprint)


def assembly_of(netlist: Netlist, told: str) -> AssemblyFile | None:
    """What is told of a circuit, held against it; None where nothing is told."""
    if not told:
        return None
    read, problems = parse_node(load(told, "told"), "told")
    found = replace(read, boards=(BoardEntry("b", ""),))
    problems += check_against(found, {"b": netlist})
    assert [str(problem) for problem in problems] == []
    return found


def facts_about(netlist: Netlist, hints: Hints, book: RuleBook, told: str = "") -> Facts:
    assembly = assembly_of(netlist, told)
    return facts_of(Plan("test", (BoardPlan("b", netlist, hints),), book, assembly is not None, assembly=assembly))


def verdicts_of(
    netlist: Netlist, hints: Hints, book: RuleBook, rules: Iterable[str] = (), told: str = ""
) -> list[Verdict]:
    """All verdicts on one board by the whole rule book, or by some of its rules."""
    wanted = set(rules)
    facts = facts_about(netlist, hints, book, told)
    return [verdict for rule in book.rules if not wanted or rule.name in wanted for verdict in judge(rule, facts, {})]


def findings(verdicts: Iterable[Verdict]) -> list[Verdict]:
    return [verdict for verdict in verdicts if verdict.outcome == "finding"]


def told(verdicts: Iterable[Verdict]) -> list[str]:
    return [f"{verdict.rule} at {verdict.subject}: {verdict.sentence}" for verdict in verdicts]


def counted(verdicts: Iterable[Verdict]) -> Counter[str]:
    return Counter(verdict.rule for verdict in verdicts)
