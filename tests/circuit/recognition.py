"""Helpers of the tests of recognition: the supplied tables, netlists typed in, and the corpus beside the project."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import Board, Hints, Part
from netcheck.circuit.partbook import PartBook, load_part_book
from netcheck.circuit.words import Words, load_words
from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Component, LibraryPin, Netlist, NetlistNet, Node
from netcheck.intake.scan import scan
from netcheck.intake.text import decode

ROOT = Path(__file__).resolve().parents[2]
CORPUS = ROOT.parent / "shared" / "netlists"


@lru_cache(maxsize=1)
def words() -> Words:
    return load_words(ROOT / "rules" / "words.yaml")


@lru_cache(maxsize=1)
def book() -> PartBook:
    return load_part_book(ROOT / "rules" / "parts")


def component(
    reference: str, value: str = "", part: str = "", footprint: str = "", pins: str = "", **more: object
) -> Component:
    """A component; `pins` as "1=K 2=A", a name after the sign or none."""
    library_pins = tuple(LibraryPin(*pin.split("=", 1)) if "=" in pin else LibraryPin(pin) for pin in pins.split())
    return Component(reference, value, library_part=part, footprint=footprint, library_pins=library_pins, **more)  # type: ignore[arg-type]


def netlist(components: list[Component], nets: dict[str, str], codes: dict[str, str] | None = None) -> Netlist:
    """A netlist; nets by name with their pins as "R1.1 R2.2"; names after a '#' are only there to tell nets apart."""
    names = {(each.reference, pin.number): pin for each in components for pin in each.library_pins}
    read = []
    for position, (name, pins) in enumerate(nets.items(), 1):
        nodes = []
        for text in pins.split():
            reference, _, number = text.rpartition(".")
            pin = names.get((reference, number), LibraryPin(number))
            nodes.append(Node(reference, number, pin.name, pin.type))
        read.append(NetlistNet((codes or {}).get(name, str(position)), name.split("#")[0], tuple(nodes)))
    return Netlist("typed.net", "0" * 64, tuple(components), tuple(read))


def board_of(components: list[Component], nets: dict[str, str] | None = None, hints: Hints = Hints()) -> Board:  # noqa: B008
    """A board; without nets, every library pin has a net of its own in the file."""
    if nets is None:
        nets = {
            f"#{each.reference}.{pin.number}": f"{each.reference}.{pin.number}"
            for each in components
            for pin in each.library_pins
        }
    return understand(netlist(components, nets), "amp", book(), words(), hints)


def part_of(each: Component, hints: Hints = Hints()) -> Part:  # noqa: B008
    return board_of([each], hints=hints).parts[0]


def corpus_files() -> list[Path]:
    files = sorted(CORPUS.glob("*.net"))
    if not files:
        pytest.skip("the netlists beside the project are not there")
    return files


@lru_cache(maxsize=256)
def corpus_netlist(path: Path) -> Netlist:
    """By the scan alone, which gives the same as the whole reader and is quick."""
    text, _ = decode(path.read_bytes(), path.name)
    return read_contents(scan(text, path.name)[0], path.name, "")
