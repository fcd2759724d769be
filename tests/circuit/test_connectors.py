"""Family, keying, rows, positions and pitch of connectors."""

from __future__ import annotations

import pytest
from recognition import component, corpus_files, corpus_netlist, part_of, words

from netcheck.circuit.connectors import read_connector
from netcheck.circuit.footprints import layout, package
from netcheck.circuit.kinds import library_part
from netcheck.circuit.model import Hints
from netcheck.circuit.nametables import first, tables_of


@pytest.mark.parametrize(
    ("footprint", "family", "keyed", "rows", "positions", "pitch"),
    [
        ("Connector_PinHeader_2.54mm:PinHeader_1x04_P2.54mm_Vertical", "header", False, 1, 4, 2.54),
        ("Pin_Headers:Pin_Header_Straight_2x05_Pitch2.54mm", "header", False, 2, 10, 2.54),
        ("Connector_PinSocket_2.54mm:PinSocket_1x08_P2.54mm_Vertical", "header", False, 1, 8, 2.54),
        ("Connector_IDC:IDC-Header_2x05_P2.54mm_Vertical", "shrouded header", True, 2, 10, 2.54),
        ("Connector_JST:JST_XH_B3B-XH-A_1x03_P2.50mm_Vertical", "wire to board", True, 1, 3, 2.5),
        ("Connectors_JST:JST_EH_B02B-EH-A_02x2.50mm_Straight", "wire to board", True, 0, 2, 2.5),
        ("Connector_Molex:Molex_KK-254_AE-6410-06A_1x06_P2.54mm_Vertical", "wire to board", True, 1, 6, 2.54),
        ("TerminalBlock:TerminalBlock_bornier-2_P5.08mm", "screw terminal", None, 0, 2, 5.08),
        ("Connector_Phoenix_MSTB:PhoenixContact_MSTBA_2,5_2-G_1x02_P5.00mm", "pluggable terminal", True, 1, 2, 5.0),
        ("Connector_Audio:Jack_3.5mm_CUI_SJ1-3525N_Horizontal", "jack", True, 0, 3, None),
        ("Connector_BarrelJack:BarrelJack_CUI_PJ-102AH_Horizontal", "barrel", True, 0, 3, None),
        ("Connector_USB:USB_C_Receptacle_GCT_USB4085", "usb", True, 0, 3, None),
        ("preamp:preamp_RCA_STEREO", "rca", True, 0, 3, None),
        ("Connector_Wire:SolderWirePad_1x01_Drill1.2mm", "pads", None, 1, 1, None),
    ],
)  # fmt: skip
def test_the_footprint_tells(
    footprint: str, family: str, keyed: bool | None, rows: int, positions: int, pitch: float | None
) -> None:
    found = read_connector(footprint, "", ["1", "2", "3"], tables_of(words()))
    assert (found.family, found.keyed, found.rows, found.positions) == (family, keyed, rows, positions)
    assert found.pitch == pytest.approx(pitch / 1000) if pitch else found.pitch is None


def test_the_library_part_tells_where_there_is_no_footprint() -> None:
    part = part_of(component("J1", "", "Conn_02x05_Odd_Even", pins=" ".join(str(n) for n in range(1, 11))))
    assert (part.family, part.keyed, part.rows, part.positions) == ("", None, 2, 10)
    assert part_of(component("J1", "", "Screw_Terminal_01x02", pins="1 2")).family == "screw terminal"


def test_what_is_told_from_outside_wins() -> None:
    each = component("J1", "", "Conn_01x02", "Connector_PinHeader_2.54mm:PinHeader_1x02_P2.54mm_Vertical", "1 2")
    assert part_of(each, Hints(keyed={"J1": True})).keyed is True
    told = part_of(each, Hints(families={"J1": "jack"}))
    assert (told.family, told.keyed) == ("jack", None)


def test_other_parts_have_no_housing() -> None:
    part = part_of(component("R1", "1k", "R", "Resistor_SMD:R_0805_2012Metric", "1 2"))
    assert (part.family, part.keyed, part.rows, part.positions, part.package) == ("", None, 0, None, "0805")


@pytest.mark.parametrize(
    ("footprint", "found"),
    [
        ("Package_TO_SOT_THT:TO-92_Inline_Wide", "TO-92"),
        ("Package_TO_SOT_SMD:SOT-23-5", "SOT-23-5"),
        ("Housings_SOIC:SOIC-8_3.9x4.9mm_Pitch1.27mm", "SOIC-8"),
        ("Package_DIP:DIP-14_W7.62mm_Socket", "DIP-14"),
        ("w_smd_trans:d-pak", "TO-252"),
        ("Package_TO_SOT_SMD:SOT-223-3_TabPin2", "SOT-223-3"),
        ("", ""),
    ],
)
def test_packages(footprint: str, found: str) -> None:
    assert package(footprint) == found


def test_a_number_of_millimetres_is_no_count() -> None:
    assert layout("Package_SO:SO-8_3.9x4.9mm_P1.27mm").positions is None


def test_family_is_known_for_five_of_six_real_connectors() -> None:
    tables, known, all_of_them = tables_of(words()), 0, 0
    for path in corpus_files():
        for each in corpus_netlist(path).components:
            name = library_part(each)
            if first(tables.library_parts, name) == "connector":
                all_of_them += 1
                known += bool(read_connector(each.footprint, name, [], tables).family)
    assert known / all_of_them >= 5 / 6, f"{known} of {all_of_them}"
