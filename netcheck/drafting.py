"""A first assembly file from the netlists alone: what can be guessed, with every guess and every question said.

The text is meant to be edited: a guess stands as an entry with a comment behind it, a question as a comment alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from netcheck.circuit.model import Board, Net, Part, Pin
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key, plain

LEADS = frozenset({"header", "shrouded header", "wire to board", ""})
SOCKETS = frozenset({"jack", "rca", "xlr", "combo", "speaker terminal", "banana"})
GROUNDS = frozenset({"ground", "chassis", "earth"})
# What gets warm, in packages that are made to be screwed to a heatsink.
WARM = frozenset({"regulator", "npn", "pnp", "nmos", "pmos", "power amplifier", "bridge"})
SCREWED = ("TO-220", "TO-126", "TO-225", "TO-247", "TO-264", "TO-218", "TO-3", "TO-202")
MOST_WARM = 12
_TOKENS = re.compile(r"[A-Za-z]+|\d+|[+-]")
_WINDINGS = re.compile(r"(\d)\s*[x×*]\s*(\d{1,3}(?:[.,]\d)?)\s*V", re.IGNORECASE)
_PLAIN_KEY = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_ ~-]*")


@dataclass(frozen=True, slots=True)
class _Lead:
    """A guessed lead: two connectors, why they are thought to belong together, and what else would fit."""

    near: Part
    far: Part
    because: str
    others: tuple[str, ...]


def draft(boards: Sequence[Board], files: Sequence[Path], words: Words, name: str = "New assembly") -> str:
    """The text of an assembly file for some boards.

    Args:
        boards: understood, in the order in which they were named. files: their netlists, as the file is to name them.
        name: what the assembly is called.
    """
    nets = {net.key: net for board in boards for net in board.nets}
    leads = _leads(boards, nets)
    lines = [
        "# Drafted from the netlists. A comment that begins with 'guess' says why; one that begins with 'asked' wants",
        "# an answer. Leave out what does not apply.",
        f"assembly: {_text(name)}",
        "revision: A",
        "build: 1                                             # guess: how many sets are built",
        f"boards: {{{', '.join(f'{_text(b.name)}: {_text(str(f))}' for b, f in zip(boards, files, strict=True))}}}",
    ]
    for part in (
        _chassis(boards, nets),
        _cables(leads),
        _case(boards, nets),
        _positions(boards),
        _surroundings(boards),
        _signal(boards, nets, words),
        _targets(),
        _volts(boards),
        _left_open(boards, nets, leads),
    ):
        lines += ["", *part] if part else []
    return "\n".join(lines) + "\n"


def _text(text: str) -> str:
    """A text as YAML takes it: plain where it can be, else in double quotes."""
    shown = plain(text, 200)
    if _PLAIN_KEY.fullmatch(shown) or re.fullmatch(r"[\w./+-]+", shown):
        return shown
    escaped = shown.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _spot(part: Part, pin: Pin | None = None) -> str:
    """A part or pin as the file names it: amp.J1, panel.J4.T."""
    if pin is None:
        return _text(f"{part.board}.{part.ref}")
    short = pin.name if re.fullmatch(r"[A-Za-z]{1,3}", pin.name) else pin.number
    return _text(f"{part.board}.{part.ref}.{short}")


# Leads


def _connectors(board: Board, families: frozenset[str]) -> list[Part]:
    return [p for p in board.parts if p.kind == "connector" and p.fitted and p.family in families]


def _leads(boards: Sequence[Board], nets: Mapping[str, Net]) -> list[_Lead]:
    """Connectors of two boards that carry the same things at the same numbers, the most alike first."""
    candidates: list[tuple[tuple[int, int], Part, Part, list[str]]] = []
    for number, board in enumerate(boards):
        for near in _connectors(board, LEADS):
            for other in boards[number + 1 :]:
                for far in _connectors(other, LEADS):
                    if (found := _likeness(near, far, nets)) is not None:
                        candidates.append((found[0], near, far, found[1]))
    candidates.sort(key=lambda c: (-c[0][0], -c[0][1], natural_key(c[1].key), natural_key(c[2].key)))
    taken: set[str] = set()
    leads: list[_Lead] = []
    for rank, near, far, why in candidates:
        if near.key in taken or far.key in taken:
            continue
        taken |= {near.key, far.key}
        rivals = [
            _spot(two if one is near else one)
            for other_rank, one, two, _ in candidates
            if other_rank[0] == rank[0] and (one is near) != (two is far)
        ]
        leads.append(_Lead(near, far, ", ".join(why[:3]), tuple(rivals)))
    return leads


def _likeness(near: Part, far: Part, nets: Mapping[str, Net]) -> tuple[tuple[int, int], list[str]] | None:
    """How much speaks for two connectors belonging together; None when something speaks against it."""
    here = {pin.number: nets[pin.net] for pin in near.pins}
    there = {pin.number: nets[pin.net] for pin in far.pins}
    if set(here) != set(there) or len(here) < 2:
        return None
    why: list[str] = []
    for number in sorted(here, key=natural_key):
        a, b = here[number], there[number]
        if len(a.pins) == 1 or len(b.pins) == 1:
            continue
        if _sort(a) != _sort(b):
            if {_sort(a), _sort(b)} != {"ground", "signal"}:
                return None
            continue  # the return of a lamp or a socket is called ground at one end only
        if _sort(a) != "signal":
            why.append(f"{number} is {_sort(a)} at both ends")
        elif _words_of(a.name) & _words_of(b.name):
            why.append(f"{number} is {plain(a.name, 30)} here, {plain(b.name, 30)} there")
    if _names_board(near.value.text, far.board) or _names_board(far.value.text, near.board):
        why.insert(0, "the text of a connector names the other board")
    same_number = re.sub(r"\D", "", near.ref) == re.sub(r"\D", "", far.ref)
    return ((len(why), int(same_number)), why) if why else None


def _sort(net: Net) -> str:
    if net.role in GROUNDS:
        return "ground"
    return " ".join(f"a {net.sign} rail".split()) if net.role == "rail" else "signal"


def _words_of(name: str) -> set[str]:
    """The words in a net's name: left/IN and IN_L have 'in' and 'l' in common."""
    short = {"left": "l", "right": "r", "input": "in", "output": "out"}
    found = [word.lower() for word in _TOKENS.findall(name)]
    return {short.get(word, word) for word in found} - {"+", "-", "net"}


def _names_board(text: str, board: str) -> bool:
    return any(word.startswith(board.lower()) for word in text.lower().split()) and len(board) > 1


def _cables(leads: Sequence[_Lead]) -> list[str]:
    if not leads:
        return []
    lines = ["cables:"]
    for number, lead in enumerate(leads, start=1):
        keyed = lead.near.keyed and lead.far.keyed
        told = "" if keyed is None else f", keyed: {'yes' if keyed else 'no'}"
        rival = f"; or {', '.join(lead.others)}?" if lead.others else ""
        lines.append(
            f"  - {{name: lead {number}, from: {_spot(lead.near)}, to: {_spot(lead.far)}{told}, length: 20 cm}}"
            f"  # guess: {lead.because}{rival}"
        )
    return lines


# The case and what sits in it


def _chassis(boards: Sequence[Board], nets: Mapping[str, Net]) -> list[str]:
    """A transformer, its switch and inlet, where a rectifier is fed through a terminal."""
    found = [(part, entry) for board in boards for part, entry in _alternating_entries(board, nets)]
    if not found:
        return []
    lines = [
        "# Mains can kill. Whoever wires this must be competent, follow the local code, and check more than a drawing.",
        "chassis:",
        "  - {part: inlet, kind: mains inlet, fused: T315mA, wires: {L: switch.1, N: switch.3, PE: stud}}  # guess",
        "  - {part: switch, kind: switch, poles: 2, wires: {2: transformer.P1, 4: transformer.P2}}  # guess",
    ]
    for number, (part, pins) in enumerate(found, start=1):
        match = _WINDINGS.search(f"{part.value.text} {part.description}")
        volts = f"[{', '.join([match[2].replace(',', '.') + ' V'] * int(match[1]))}]" if match else "[15 V, 15 V]"
        name = "transformer" if number == 1 else f"transformer {number}, kind: transformer"
        ends = [pins[0], pins[1], pins[1], pins[2]] if len(pins) == 3 else list(pins)
        wires = ", ".join(f"S{k}: {_spot(part, pin)}" for k, pin in enumerate(ends, start=1))
        lines.append(
            f"  - {{part: {name}, primary: 230 V, secondaries: {volts}, power: 30 VA, regulation: 12 %, "
            f"wires: {{{wires}}}}}  # guess: {part.ref} feeds a rectifier"
        )
    return lines


def _alternating_entries(board: Board, nets: Mapping[str, Net]) -> Iterator[tuple[Part, list[Pin]]]:
    """Connectors whose pins lead to both sorts of ends of diodes, or to the alternating pins of a bridge."""
    by_net: dict[str, list[Pin]] = {}
    for part in board.parts:
        for pin in part.pins:
            by_net.setdefault(pin.net, []).append(pin)
    kinds = {part.key: part.kind for part in board.parts}
    for part in board.parts:
        if part.kind != "connector" or not part.fitted:
            continue
        fed = []
        for pin in part.pins if part.family not in SOCKETS else ():
            behind = [p for net in _behind_fuses(board, by_net, pin.net) for p in by_net[net]]
            roles = {p.role for p in behind if kinds[p.part] in ("diode", "bridge")}
            if nets[pin.net].role == "signal" and ("alternating" in roles or roles >= {"anode", "cathode"}):
                fed.append(pin)
        if len(fed) > 1:
            yield part, [pin for pin in part.pins if pin in fed or nets[pin.net].role in GROUNDS][:4]


def _behind_fuses(board: Board, by_net: Mapping[str, Sequence[Pin]], net: str) -> set[str]:
    """A net and those behind the fuses, links and beads on it."""
    parts = {part.key: part for part in board.parts}
    found = {net}
    for pin in by_net[net]:
        if parts[pin.part].kind in ("fuse", "link", "ferrite"):
            found |= {other.net for other in parts[pin.part].pins}
    return found


def _case(boards: Sequence[Board], nets: Mapping[str, Net]) -> list[str]:
    holes = [
        _spot(part)
        for board in boards
        for part in board.parts
        if part.kind in ("hole", "mechanical") and any(nets[pin.net].role in GROUNDS for pin in part.pins)
    ]
    return [f"case: {{material: metal, touched by: [{', '.join(holes)}]}}  # guess: holes that are on ground"]


def _positions(boards: Sequence[Board]) -> list[str]:
    found = []
    for board in boards:
        for part in board.parts:
            if part.kind in ("switch", "jumper") and part.fitted:
                found.append(f"{_spot(part)}: open")
            elif part.kind in ("potentiometer", "trimmer") and part.fitted:
                found.append(f"{_spot(part)}: 50 %")
    return [f"positions: {{{', '.join(found)}}}  # guess"] if found else []


def _surroundings(boards: Sequence[Board]) -> list[str]:
    lines = ["ambient: 40 C                                        # guess: the air that cools heatsinks and parts"]
    screwed = [
        _spot(part)
        for board in boards
        for part in board.parts
        if part.kind in WARM and part.fitted and part.package.upper().startswith(SCREWED)
    ]
    if screwed:
        named = ", ".join(screwed[:MOST_WARM])
        lines.append("# asked: which of these share a heatsink, and how good is it?")
        lines.append(f"#   heatsinks: [{{parts: [{named}], to air: 10 K/W, insulated: [{screwed[0]}]}}]")
    return lines


# Signals


def _signal(boards: Sequence[Board], nets: Mapping[str, Net], words: Words) -> list[str]:
    inputs: list[str] = []
    outputs: list[str] = []
    asked: list[str] = []
    floats: set[str] = set()
    for board in boards:
        for part in _connectors(board, SOCKETS):
            back = next((pin for pin in part.pins if pin.role in ("sleeve", "shield")), None)
            hot = [pin for pin in part.pins if pin.role in ("tip", "ring") and len(nets[pin.net].pins) > 1]
            direction = _direction(part, [nets[pin.net] for pin in hot], words)
            if not hot or not direction:
                asked.append(f"# asked: is {_spot(part)} ('{plain(part.value.text)}') an input or an output?")
                continue
            floats |= {part.key} if direction in ("phones", "speaker") else set()
            for pin in hot:
                entry = f"at: {_spot(part, pin)}" + (f", return: {_spot(part, back)}" if back else "")
                if direction == "in":
                    inputs.append(f"    - {{{entry}, source impedance: 600 ohm, largest level: 2 V}}")
                else:
                    outputs.append(f"    - {{{entry}, {_load(direction)}}}")
    lines = ["signal:                                              # guess: by the names of sockets and nets"]
    lines += ["  inputs:", *inputs] if inputs else []
    lines += ["  outputs:", *outputs] if outputs else []
    lines = lines if inputs or outputs else []
    outside = [
        f"  - {{at: {_spot(part)}, earthed: {'no}  # guess: it floats' if part.key in floats else 'unknown}'}"
        for board in boards
        for part in _connectors(board, SOCKETS)
    ]
    told = ["outside:                                             # asked: is what hangs there earthed?", *outside]
    return [*lines, *asked, *(told if outside else [])]


def _direction(part: Part, nets: Sequence[Net], words: Words) -> str:
    """'in', 'phones', 'speaker', 'line', or '' when nothing tells."""
    said: set[str] = set()
    for text in (part.value.text, *(net.name for net in nets)):
        said |= {word.upper() for word in re.findall(r"[A-Za-z]+", text)}
    for direction in ("phones", "speaker", "line", "in"):
        if said & words.text_words(f"{direction} sockets"):
            return direction
    return ""


def _load(direction: str) -> str:
    loads = {
        "phones": "loads: [32 ohm, 300 ohm], sensitivity: 98 dB/mW, cable: 300 pF",
        "speaker": "loads: [4 ohm, 8 ohm]",
        "line": "loads: [10 kohm], cable: 300 pF",
    }
    return loads[direction]


def _targets() -> list[str]:
    return [
        "targets:                                             # guess: a usual aim",
        "  passband: {from: 20 Hz, to: 20 kHz, within: 0.5 dB}",
        "  group delay: {from: 40 Hz, to: 20 kHz, spread: 2 ms}",
    ]


# What is still open


def _volts(boards: Sequence[Board]) -> list[str]:
    lines = []
    for board in boards:
        unknown = [net.name for net in board.nets if net.role == "rail" and net.volts is None and net.name]
        if unknown:
            shown = ", ".join(f"{_text(name)}: ? V" for name in unknown)
            lines.append(f"# asked: volts: {{{_text(board.name)}: {{{shown}}}}}")
    return lines


def _left_open(boards: Sequence[Board], nets: Mapping[str, Net], leads: Sequence[_Lead]) -> list[str]:
    """Connectors for which no lead was found."""
    joined = {part.key for lead in leads for part in (lead.near, lead.far)}
    fed = {part.key for board in boards for part, _ in _alternating_entries(board, nets)}
    return [
        f"# asked: what is {_spot(part)} ('{plain(part.value.text)}') joined to?"
        for board in boards
        for part in board.parts
        if part.kind == "connector" and part.fitted and part.family not in SOCKETS
        if part.key not in joined | fed and len(part.pins) > 1
    ]
