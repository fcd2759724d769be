"""Rails and grounds of real boards, as their designers meant them; and the same with every net's name taken away."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import Board
from netcheck.circuit.partbook import load_part_book
from netcheck.circuit.rails import assign_net_roles
from netcheck.circuit.words import load_words
from netcheck.intake.reading import read_netlist

ROOT = Path(__file__).resolve().parents[2]
BOARDS = ROOT.parent / "shared" / "netlists"
WORDS = load_words(ROOT / "rules" / "words.yaml")

EXPECTED = {
    "preamp--preamp": {
        "net/+15V": ("rail", "positive", 15), "net/-15V": ("rail", "negative", -15), "net/GND": ("ground", "", 0),
        "net of U2.1": ("rail", "positive", None), "net of U3.2": ("rail", "negative", None),
        "net/Earth": ("signal", "", None), "net/VCC": ("signal", "", None),  # the two ends of the primary of T1
    },
    "stunning-giggle--power-supply": {
        "net of U1.3": ("rail", "positive", 15), "net of U2.3": ("rail", "negative", -15),
        "net/+": ("rail", "positive", None), "net/-": ("rail", "negative", None), "net/GND": ("ground", "", 0),
    },
    "suf-electronics-gainclone--overture_psu": {
        "net of J1.1": ("rail", "positive", None), "net of J1.3": ("rail", "negative", None),
        "net/GND": ("ground", "", 0),
    },
    "suf-electronics-gainclone--overture_amp": {
        "net/VCC": ("rail", "positive", None), "net/VEE": ("rail", "negative", None), "net/GND": ("ground", "", 0),
    },
    "PowerSupply--PowerSupply": {
        "net/V-": ("ground", "", 0), "net/Vout1": ("rail", "positive", 5), "net/Vin": ("rail", "positive", None),
    },
}  # fmt: skip


@lru_cache
def board(name: str) -> Board:
    path = BOARDS / f"{name}.net"
    if not path.exists():
        pytest.skip(f"the real boards are not here ({path})")
    return understand(read_netlist(path), "b", load_part_book(ROOT / "rules" / "parts"), WORDS)


@pytest.mark.parametrize("name", EXPECTED)
def test_the_nets_are_what_the_designer_meant(name: str) -> None:
    found = {net.key.removeprefix("b/"): (net.role, net.sign, net.volts) for net in board(name).nets}
    told = {key: found.get(key) for key in EXPECTED[name]}
    assert told == EXPECTED[name]
    others = [key for key, (role, _, _) in found.items() if role in ("rail", "ground") and key not in EXPECTED[name]]
    assert set(others) <= {"net/VCC"}


@pytest.mark.parametrize("name", EXPECTED)
def test_without_names_the_structure_still_tells(name: str) -> None:
    read = board(name)
    bare = tuple(replace(net, name="") for net in read.nets)
    again = {net.key.removeprefix("b/"): net for net in assign_net_roles(read.parts, bare, WORDS)}
    for key, (role, sign, volts) in EXPECTED[name].items():
        if role in ("rail", "ground"):
            assert (again[key].role, again[key].sign, again[key].volts) == (role, sign, volts), key
