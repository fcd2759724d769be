"""Real exports of every generation: all are scanned, a sample (or all, on request) is read by kinparse too."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Netlist
from netcheck.intake.reading import read_netlist
from netcheck.intake.scan import scan
from netcheck.intake.text import decode

CORPUS = Path(__file__).parents[3] / "shared" / "netlists"
FILES = sorted(CORPUS.glob("*.net"))
WHOLE = os.environ.get("NETCHECK_WHOLE_CORPUS") == "1"
# Small ones, from 2013 to generation 10, with unquoted words and odd pins among them.
SAMPLE = (
    "suf-electronics-gainclone--overture_volume",
    "suf-electronics-gainclone--amp",
    "kinet2pcb--kinet2pcb_test",
    "audiomixer--ao_audio_mixer",
    "AMP-Lab-Modular-Synth--VCO_2",
    "powerbreakout--powerbreakout",
    "Mixer--mixer",
    "stunning-giggle--power-supply",
    "kinparse--kicad6_test",
    "kinparse--kicad8_test",
    "kinparse--kicad9_test",
    "Li-Ion_Power_Module--CAN",
)

pytestmark = pytest.mark.skipif(not FILES, reason=f"the corpus of real exports is not at {CORPUS}")


def scanned(path: Path) -> Netlist:
    text, _ = decode(path.read_bytes(), path.name)
    return read_contents(scan(text, path.name)[0], path.name, "")


@pytest.fixture(scope="module")
def everything() -> dict[str, Netlist]:
    return {path.stem: scanned(path) for path in FILES}


def test_every_export_is_scanned_whole(everything: dict[str, Netlist]) -> None:
    for path in FILES:
        netlist, text = everything[path.stem], path.read_text(encoding="utf-8")
        nodes = sum(len(net.nodes) for net in netlist.nets)
        assert len(netlist.components) == text.count("(comp ") + text.count("(comp\n"), path.name
        assert nodes == text.count("(node ") + text.count("(node\n"), path.name


def test_the_listed_numbers_of_components_and_nets_are_found(everything: dict[str, Netlist]) -> None:
    header, *rows = (line.split("\t") for line in (CORPUS / "MANIFEST.tsv").read_text(encoding="utf-8").splitlines())
    checked = 0
    for row in rows:
        known = dict(zip(header, row, strict=False))
        netlist = everything.get(known["file"].removesuffix(".net"))
        if netlist is not None and known["components"].isdigit():
            assert len(netlist.components) == int(known["components"]), known["file"]
            assert len(netlist.nets) == int(known["nets"]), known["file"]
            checked += 1
    assert checked > 50


def test_pins_get_their_types_in_every_generation(everything: dict[str, Netlist]) -> None:
    nodes = [node for netlist in everything.values() for net in netlist.nets for node in net.nodes]
    assert sum(bool(node.type) for node in nodes) / len(nodes) > 0.995


def test_oddities_are_the_known_ones(everything: dict[str, Netlist]) -> None:
    found = {(stem, odd.what, odd.reference, odd.pin) for stem, n in everything.items() for odd in n.oddities}
    assert found == {("AMP-Lab-Modular-Synth--VCO_2", "pin listed twice", "D5", "3")}


def test_flags_of_generation_10_are_found(everything: dict[str, Netlist]) -> None:
    flags = {component.reference: component.flags for component in everything["Li-Ion_Power_Module--CAN"].components}
    assert {reference for reference, found in flags.items() if found} == {"R49"}
    assert flags["R49"] == {"not fitted"}


@pytest.mark.parametrize("path", [path for path in FILES if WHOLE or path.stem in SAMPLE], ids=lambda path: path.stem)
def test_kinparse_and_scan_agree(path: Path) -> None:
    alone = scanned(path)
    both = read_netlist(path, cache=False)
    assert both.components == alone.components
    assert both.nets == alone.nets
