"""What wiring is to the facts: ohms of wires, joints, and what signals are measured against."""

from __future__ import annotations

from conftest import ROOT

from netcheck.circuit.assemble import Assembled, Wire, assemble
from netcheck.circuit.partbook import load_part_book
from netcheck.circuit.words import load_words
from netcheck.intake.assemblycheck import open_assembly
from netcheck.language.values import Unknown
from netcheck.physics.bonds import conductors_of, joints, ohms_of, references
from netcheck.physics.conductors import ground_loops

WORDS = load_words(ROOT / "rules" / "words.yaml")
BOOK = load_part_book(ROOT / "rules" / "parts")


def assembled(name: str) -> Assembled:
    file, netlists = open_assembly(ROOT / "fixtures" / "assemblies" / f"{name}.yaml", cache=False)
    return assemble(file, netlists, BOOK, WORDS)


def test_a_wire_of_known_length_and_gauge_has_its_ohms() -> None:
    # 1 m of 1 mm2 copper at 20 degrees Celsius: 17.241 milliohm (IEC 60028, from memory).
    assert ohms_of(Wire("w", "wire", ("", ""), ("a", "b"), "", 1.0, 1e-6), WORDS) == 0.017241


def test_a_wire_of_which_nothing_is_told_lies_between_bounds() -> None:
    found = ohms_of(Wire("wire/x", "wire", ("", ""), ("a", "b")), WORDS)
    assert isinstance(found, Unknown) and found.low == 0 and found.high == WORDS.limit("metre of thin wire").value
    outside = ohms_of(Wire("outside/x", "outside", ("", ""), ("a", "b"), doubt="whether it is earthed"), WORDS)
    assert outside == Unknown(("whether it is earthed",), low=0.0)


def test_a_ring_through_two_cables_and_the_case_carries_the_reference_of_the_signal() -> None:
    box = assembled("ground-ring/ring")
    loops = ground_loops(box.circuit, conductors_of(box, WORDS), references(box))
    assert len(loops) == 2
    (cables,) = [loop for loop in loops if len(loop.cables) == 2]
    assert cables.carries_signal_reference is True and not cables.inside_one_cable and cables.ohms < 0.1
    (case,) = [loop for loop in loops if loop.through_case]
    assert {conductor.kind for conductor in case.conductors} == {"case", "wire"}


def test_the_cure_leaves_no_ring() -> None:
    box = assembled("ground-ring/cure")
    assert ground_loops(box.circuit, conductors_of(box, WORDS), references(box)) == ()


def test_balanced_screens_make_rings_that_carry_no_reference() -> None:
    box = assembled("balanced/balanced")
    loops = ground_loops(box.circuit, conductors_of(box, WORDS), references(box))
    assert len(loops) == 4 and not any(loop.carries_signal_reference for loop in loops)
    assert all(loop.through_case and loop.cables for loop in loops)


def test_cables_become_joints_with_their_wires() -> None:
    (joint,) = joints(assembled("power-lead/palindrome"))
    assert (joint.near, joint.far, joint.cable, joint.keyed) == ("supply/J2", "amp/J1", "power lead", False)
    assert joint.wires == tuple((str(n), str(n)) for n in range(1, 6))
