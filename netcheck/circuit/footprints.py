"""What the name of a footprint tells: package, pitch, rows and positions."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

_FAMILIES = (
    "TO|SOT|TSOT|SOD|DO|SC|HSOF|SOIC|SO|SOP|MSOP|TSSOP|HTSSOP|SSOP|VSSOP|QSOP|DIP|PDIP|DIL|SIP|SIL|QFN|VQFN|VDFN|DFN|"
    "WSON|SON|QFP|LQFP|TQFP|LGA|BGA|MULTIWATT"
)
_PACKAGE = re.compile(rf"(?<![A-Z])({_FAMILIES})[-_ ]?(\d{{1,3}})(?:-(\d{{1,2}})(?![\d.]))?")
_IPC = re.compile(r"(SOIC|QFN|SON|SOP|QFP)\d+P\w*?-(\d+)N")
_CHIP = re.compile(r"(?<![\d.])(0201|0402|0603|0612|0805|1206|1210|1806|1812|2010|2220|2512)(?!\d)")
_OTHERS = (
    ("D2PAK", "TO-263"), ("D2-PAK", "TO-263"), ("DPAK", "TO-252"), ("D-PAK", "TO-252"), ("PENTAWATT", "TO-220-5"),
    ("MINIMELF", "MiniMELF"), ("MELF", "MELF"), ("_SMA", "SMA"), ("_SMB", "SMB"), ("_SMC", "SMC"),
)  # fmt: skip
_SAME = {"DIL": "DIP", "PDIP": "DIP", "SIL": "SIP", "SOP": "SO"}

_GRID = re.compile(r"(?<![\d.,x])(\d{1,2})x(\d{1,3})(?![\d.,]|mm)", re.IGNORECASE)
_COUNT = (
    re.compile(r"(\d{1,3})pol", re.IGNORECASE),
    re.compile(r"_(\d{1,3})pins?\b", re.IGNORECASE),
    re.compile(r"(?:bornier|ak300|sil|hdr|idc)-(\d{1,3})(?!\d|[.,])", re.IGNORECASE),
    re.compile(r"ncw\d{3}-(\d{2})", re.IGNORECASE),
    re.compile(r"_(\d{1,3})x\d+[.,]\d+mm", re.IGNORECASE),
    re.compile(r"(?:conn|strip|socket|header)_(\d{1,3})\b", re.IGNORECASE),
)
_PITCH = (
    re.compile(r"_P(\d+[.,]\d+|\d)mm"),
    re.compile(r"Pitch_?(\d+[.,]\d+|\d)mm", re.IGNORECASE),
    re.compile(r"_\d{1,3}x(\d+[.,]\d+)mm"),
    re.compile(r"RM(\d+(?:[.,]\d+)?)"),
    re.compile(r"[-_](\d[.,]\d+)mm"),
    re.compile(r"hdr-\d+-(\d[.,]\d+)", re.IGNORECASE),
    re.compile(r"(?<![\d.])(2\.54|2\.50?|5\.08|3\.81|3\.96|1\.27)(?!\d)"),
)


@lru_cache(maxsize=4096)
def package(footprint: str) -> str:
    """The package that a footprint is for, or ''.

    >>> package("Package_TO_SOT_THT:TO-220-3_Vertical"), package("Package_SO:SO-8_3.9x4.9mm_P1.27mm")
    ('TO-220-3', 'SO-8')
    >>> package("Resistor_SMD:R_0805_2012Metric"), package("DIL28"), package("SOIC127P600X175-8N"), package("MyPart")
    ('0805', 'DIP-28', 'SOIC-8', '')
    """
    name = footprint[:200].rsplit(":", 1)[-1].upper()
    ipc = _IPC.search(name)
    if ipc:
        return f"{ipc[1]}-{ipc[2]}"
    for word, found in _OTHERS:
        if word in name:
            return found
    match = _PACKAGE.search(name)
    if match:
        family = _SAME.get(match[1], match[1])
        return f"{family}-{match[2]}" + (f"-{match[3]}" if match[3] else "")
    chip = _CHIP.search(name)
    return chip[1] if chip else ""


@dataclass(frozen=True, slots=True)
class Layout:
    """Rows, positions and pitch (in metres) as a name tells them; 0 or None where it does not."""

    rows: int = 0
    positions: int | None = None
    pitch: float | None = None


@lru_cache(maxsize=4096)
def layout(footprint: str, library_part: str = "") -> Layout:
    """Rows, positions and pitch of a connector.

    >>> layout("Connector_PinHeader_2.54mm:PinHeader_2x05_P2.54mm_Vertical")
    Layout(rows=2, positions=10, pitch=0.00254)
    >>> layout("Connectors_JST:JST_EH_B02B-EH-A_02x2.50mm_Straight").positions, layout("", "Conn_01x04").positions
    (2, 4)
    """
    name = footprint[:200].rsplit(":", 1)[-1]
    rows, positions = _grid(name)
    if positions is None:
        positions = _first_number(name, _COUNT)
    if positions is None:
        rows, positions = _grid(library_part)
    if positions is None:
        positions = _first_number(library_part, _COUNT)
    pitch = next((match[1] for match in (regex.search(name) for regex in _PITCH) if match), None)
    metres = round(float(pitch.replace(",", ".")) / 1000, 6) if pitch else None
    return Layout(rows, positions, metres)


def _grid(name: str) -> tuple[int, int | None]:
    match = _GRID.search(name[:200])
    if not match:
        return 0, None
    one, other = int(match[1]), int(match[2])
    rows, columns = (one, other) if one <= other else (other, one)
    return (rows, rows * columns) if 1 <= rows <= 4 else (0, None)


def _first_number(name: str, regexes: tuple[re.Pattern[str], ...]) -> int | None:
    match = next((match for match in (regex.search(name[:200]) for regex in regexes) if match), None)
    return int(match[1]) if match and 0 < int(match[1]) < 400 else None
