"""Assembly files: what is read, in base units, and what is said of each mistake."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import yaml
from conftest import ROOT
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.ground.problems import Refused
from netcheck.intake.assembly import AssemblyFile
from netcheck.intake.assemblyreading import KEYS, parse_assembly, read_assembly

WHOLE = """\
assembly: Bench box
revision: B
build: 4
boards: {supply: supply.net, amp: {netlist: both.net, sheets: [/amp/]}, panel: {netlist: both.net, parts: [J1]}}
chassis:
  - {part: inlet, kind: mains inlet, fused: T500mA, wires: {L: switch.1, N: switch.3, PE: [stud, supply.J1.3]}}
  - {part: switch, poles: 2, wires: {2: transformer.P1, 4: transformer.P2}, length: 20 cm, gauge: 0.75 mm2}
  - {part: transformer, primary: 230 V, secondaries: [15 V, 15 V], power: 30 VA, regulation: 12 %}
  - {part: volume, kind: potentiometer, value: 10k log, gangs: 2, wires: {1: panel.J1.1}}
points: [star]
cables:
  - {name: power lead, from: supply.J2, to: amp.J1, keyed: no, length: 12 cm, gauge: AWG 24}
  - {name: volume lead, from: panel.J1, to: amp.J3, wires: {1: 1, 3: 5}, screen: {ends at: amp}, balanced: yes}
case: {material: metal, touched by: [supply.H1, panel.J4.S]}
positions: {panel.SW1: 2, amp.JP1: open, volume: 50 %, amp.SW2: [[1, 2], [4, 5]]}
heatsinks: [{parts: [amp.Q5, amp.Q6], to air: 4 K/W, insulated: [amp.Q5]}]
ambient: 45 C
signal:
  inputs:  [{at: panel.J5.T, return: panel.J5.S, source impedance: 100 ohm, largest level: 2 V}]
  outputs: [{at: panel.J4.T, return: panel.J4.S, loads: [32 ohm, 300 ohm], sensitivity: 98 dB/mW, cable: 300 pF}]
outside: [{at: panel.J5, earthed: unknown}, {at: panel.J4, earthed: no}]
unused: [amp.J9]
targets:
  passband: {from: 25 Hz, to: 20 kHz, within: 0.5 dB}
  group delay: {from: 40 Hz, to: 20 kHz, spread: 2 ms}
  noise: -100 dBV
volts: {amp: {+15V: 15 V, GND: 0 V, MID: {role: ground, volts: 7.5 V}}}
limits: {output-stage/emitter-resistors: {least: 0.22 ohm, because: measured on the first build}}
leave out: {signal/passband: a filter on purpose}
house rules: [house/]
budget: {parts: 200 EUR, per: set}
kinds: {amp.Q9: npn}
families: {amp.J1: header}
keyed: {amp.J2: yes}
not fitted: [amp.R99]
"""


def read(text: str) -> tuple[AssemblyFile, list[str]]:
    found, problems = parse_assembly(text, "box.yaml")
    return found, [str(problem) for problem in problems]


def test_every_key_is_read_in_base_units() -> None:
    found, problems = read(WHOLE)
    assert problems == []
    assert (found.name, found.revision, found.build) == ("Bench box", "B", 4)
    assert [entry.name for entry in found.boards] == ["supply", "amp", "panel"]
    inlet, switch, transformer, volume = found.chassis
    assert [(w.pin.text, w.to.text) for w in inlet.wires][2:] == [("PE", "stud"), ("PE", "supply.J1.3")]
    assert switch.sort == "switch" and switch.area == pytest.approx(0.75e-6) and switch.length == pytest.approx(0.2)
    assert transformer.secondaries == (15.0, 15.0) and transformer.regulation == pytest.approx(0.12)
    assert volume.gangs == 2
    power, lead = found.cables
    assert power.keyed is False and power.wires is None and power.area == pytest.approx(0.2047e-6, rel=1e-3)
    assert lead.wires is not None and [(a.text, b.text) for a, b in lead.wires] == [("1", "1"), ("3", "5")]
    assert lead.screen is not None and lead.screen.ends[0].text == "amp" and lead.balanced
    assert found.case is not None and found.case.material == "metal"
    assert [(p.number, p.word, p.share, p.joins) for p in found.positions] == [
        (2, "", None, ()),
        (None, "open", None, ()),
        (None, "", 0.5, ()),
        (None, "", None, (("1", "2"), ("4", "5"))),
    ]
    assert found.outputs[0].loads == (32.0, 300.0) and found.inputs[0].source_ohms == 100.0
    assert [outside.earthed for outside in found.outside] == [None, False]
    assert found.targets.noise == pytest.approx(1e-5)
    assert found.targets.group_delay is not None and found.targets.group_delay.most == pytest.approx(2e-3)
    assert [(told.net.text, told.role, told.volts) for told in found.volts] == [
        ("+15V", "rail", 15.0),
        ("GND", "ground", 0.0),
        ("MID", "ground", 7.5),
    ]
    assert found.limits[0].because == "measured on the first build" and found.limits[0].value.value == 0.22
    assert found.ambient == 45.0 and found.budget is not None and found.budget.parts == 200.0


MISTAKES = [
    ("cabels: []", "unknown key 'cabels'; did you mean 'cables'?"),
    ("ambient: 45 V", "'45 V' is in volts; degrees Celsius are expected here"),
    ("cables: [{from: a.J1, to: b.J1, length: 4k7}]", "'4k7' is not a number with a unit"),
    ("cables: [{from: a.J1}]", "the key 'to' is missing"),
    ("cables: [{from: a.J1, to: b.J1, gauge: thick}]", "'thick' is no gauge of a wire; 0.5 mm2 or AWG 24 are expected"),
    ("cables: [{from: a.J1, to: b.J1, keyed: perhaps}]", "'perhaps' stands here; yes or no is expected"),
    ("chassis: [{part: sw, kind: swich}]", "did you mean 'switch'?"),
    ("chassis: [{part: knob}]", "what 'knob' is must be told by 'kind'"),
    ("chassis: [{part: fuse, wires: {3: a.J1.1}}]", "the fuse 'fuse' has no pin '3'; it is one of: 1, 2"),
    ("chassis: [{part: fuse, gangs: 2}]", "a fuse has no 'gangs'; that is for: potentiometer"),
    ("chassis: [{part: fuse}, {part: fuse}]", "there is a chassis part called 'fuse' already"),
    ("chassis: [{part: a.b, kind: fuse}]", "must hold no '.' and no '/'"),
    ("case: {material: mettal}", "did you mean 'metal'?"),
    ("positions: {a.SW1: sideways}", "'sideways' is no position"),
    ("build: 0", "a whole number from 1 to 100000 is expected"),
    ("targets: {passband: {from: 20 kHz, to: 25 Hz}}", "'from' is not below 'to'"),
    ("limits: {signal/noise: {most: 1 V}}", "the key 'because' is missing"),
    ("limits: {signal/noise: {because: so}}", "no limit is named"),
    ("leave out: {signal/noise: ''}", "nothing stands here; a reason is expected"),
    ("signal: {outputs: [{at: a.J1.T, sensitivity: 98 dB}]}", "98 dB/mW or 110 dB/V are expected"),
    ("volts: {a: {V: {role: raill, volts: 5 V}}}", "did you mean 'rail'?"),
    ("chassis: [{part: in, kind: mains inlet, fused: T315 ohm}]", "'T315 ohm' is no rating of a fuse"),
    ("chassis: [{part: in, kind: mains inlet, fused: T315}]", "with its unit, such as T315mA, F1A or 1 A"),
    ("chassis: [{part: in, kind: mains inlet, fused: 315 A}]", "is more than a fuse of an inlet has (32 A at most)"),
    ("ambient: 400 C", "400 °C stands here; -40 °C to 85 °C are expected"),
    ("chassis: [{part: transformer, regulation: 1200 %}]", "1200 % stands here; 0.1 % to 100 % are expected"),
    ("chassis: [{part: transformer, regulation: -5 %}]", "-5 % stands here; 0.1 % to 100 % are expected"),
    ("heatsinks: [{parts: [a.Q1, a.Q1]}]", "'a.Q1' stands here twice"),
    ("heatsinks: [{parts: [a.Q1], insulated: [a.Q11]}]", "'a.Q11' is none of the parts on this heatsink; did you mean"),
    (
        "chassis: [{part: transformer, secondaries: [18 V, 18], wires: {S1: a.J1.1, S3: a.J1.2, S4: a.J1.3}}]",
        "'18' is without a unit; volts are expected here",
    ),
    ("cables: [{from: a.J1, to: b.J1, length: 12000 km}]", "the unit 'km' is not known"),
]


@pytest.mark.parametrize(("line", "said"), MISTAKES)
def test_a_mistake_is_told_with_its_place(line: str, said: str) -> None:
    _, problems = read(f"assembly: Box\nboards: {{a: a.net, b: b.net}}\n{line}\n")
    assert len(problems) == 1 and said in problems[0], problems
    assert problems[0].startswith("box.yaml:3:") or "already" in problems[0]


@pytest.mark.parametrize("fuse", ["T315mA", "F1A", "1 A", "315 mA", "T3.15AH250V", "500mA slow"])
def test_fuses_are_read_as_people_write_them(fuse: str) -> None:
    found, problems = read(
        f"assembly: B\nboards: {{a: a.net}}\nchassis: [{{part: in, kind: mains inlet, fused: {fuse}}}]"
    )
    assert problems == [] and found.chassis[0].fused == fuse


def test_all_mistakes_are_told_at_once() -> None:
    _, problems = read("assembly: Box\nboards: {}\nambient: hot\nbuild: many\nwires: 3\n")
    assert [problem.split(": ")[0] for problem in sorted(problems)] == [
        "box.yaml:2:9", "box.yaml:3:10", "box.yaml:4:8", "box.yaml:5:1",
    ]  # fmt: skip


def test_names_of_boards_are_held_to_what_keys_can_hold() -> None:
    _, problems = read('assembly: Box\nboards: {"a/b": a.net, chassis: c.net, "": d.net}\n')
    assert len(problems) == 3 and all("name" in problem for problem in problems)


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"", b"- 1\n", b"a: &x 1\nb: *x\n", b"assembly: x\n" * 2])
def test_what_is_no_assembly_file_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "box.yaml"
    path.write_bytes(content)
    with pytest.raises(Refused):
        read_assembly(path)


def test_a_file_that_is_not_there_or_too_large_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="there is no such file"):
        read_assembly(tmp_path / "box.yaml")
    (tmp_path / "big.yaml").write_text("#" * 1_000_001)
    with pytest.raises(Refused, match="larger than 1 MB"):
        read_assembly(tmp_path / "big.yaml")


LEAVES = st.one_of(st.text("ab.1 -%[]{}:,V", max_size=8), st.sampled_from([*KEYS, "yes", "12 cm", "amp.J1", "-1 V"]))
NODES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from([*KEYS, "part", "kind", "wires", "from", "to", "at", "because"]), inner, max_size=4
        ),
    ),
    max_leaves=12,
)


@settings(max_examples=120, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), NODES, max_size=6))
def test_whatever_stands_there_is_read_or_told(content: dict[str, object]) -> None:
    found, problems = parse_assembly(yaml.safe_dump(content), "box.yaml")
    assert isinstance(found, AssemblyFile)
    assert all(problem.line >= 0 and problem.what for problem in problems)


# The schema for editors


def schema() -> dict[str, object]:
    loaded: dict[str, object] = json.loads((ROOT / "rules" / "assembly.schema.json").read_text(encoding="utf-8"))
    return loaded


def test_the_schema_knows_the_keys_of_the_program() -> None:
    properties = schema()["properties"]
    assert isinstance(properties, dict) and set(properties) == set(KEYS)


@pytest.mark.parametrize("path", sorted((ROOT / "fixtures").glob("*/**/*.yaml")), ids=lambda path: path.stem)
def test_the_schema_takes_what_the_program_takes(path: Path) -> None:
    jsonschema.validate(yaml.load(path.read_text(encoding="utf-8"), yaml.BaseLoader), schema())


def test_the_schema_takes_every_key_and_refuses_what_is_wrong() -> None:
    jsonschema.validate(yaml.load(WHOLE, yaml.BaseLoader), schema())
    wrong = yaml.load(WHOLE.replace("keyed: no", "keyd: no"), yaml.BaseLoader)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(wrong, schema())
