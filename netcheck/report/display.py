"""How keys of a circuit are written for a reader, and where the things stand in the files."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from netcheck.circuit.model import Circuit, Net, Pin
from netcheck.ground.names import natural_key, plain
from netcheck.intake.assembly import CHASSIS

_TAIL = re.compile(r"(.*?)(\d+)")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a thing stands: file as the user gave it, line from 1 (0 for the whole file), sheet path or ''."""

    file: str = ""
    line: int = 0
    sheet: str = ""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}" if self.line else self.file


@dataclass(frozen=True, eq=False)
class Names:
    """Names for a reader: "R12", or "amp.R12" when the review has several boards."""

    circuit: Circuit
    home: str = ""

    def at(self, home: str) -> Names:
        """The same names where the board is understood: its own things go without its name."""
        return Names(self.circuit, home)

    def _on(self, board: str, name: str) -> str:
        alone = len(self.circuit.boards) < 2 or board in ("", self.home)
        return plain(name if alone else f"{board}.{name}")

    def name(self, key: str) -> str:
        """The name of whatever has this key; a key that the circuit does not know is shown as it is."""
        circuit = self.circuit
        if part := circuit.parts.get(key):
            return self._on(part.board, part.ref)
        if net := circuit.nets.get(key):
            return self._net(net)
        if pin := circuit.pins.get(key):
            return self._pin(pin)
        if amplifier := circuit.amplifiers.get(key):
            part = circuit.parts.get(amplifier.part)
            return self._on(amplifier.board, f"{part.ref if part else amplifier.part}{amplifier.unit}")
        return plain(key)

    def _net(self, net: Net) -> str:
        if net.name:
            return self._on(net.board, net.name)
        pins = [self.circuit.pins[key] for key in net.pins[:3] if key in self.circuit.pins]
        rest = len(net.pins) - len(pins)
        told = ", ".join(self._pin(pin) for pin in pins)
        return f"the net of {told}{f' and {rest} more' if rest > 0 else ''}" if pins else plain(net.key)

    def _pin(self, pin: Pin) -> str:
        part = self.circuit.parts[pin.part]
        if part.board == CHASSIS:  # as the assembly file has them
            return self._on(part.board, f"{part.ref}.{plain(pin.number, 20)}")
        if len(part.pins) == 2 and pin.role in ("", "end"):
            return self._on(part.board, part.ref)
        named = pin.role not in ("", "end", "contact", "terminal")
        return f"{self._on(part.board, part.ref)} {plain(pin.role) if named else 'pin ' + plain(pin.number, 20)}"

    def what(self, key: str) -> str:
        """A few words on the thing: kind and value of a part, role and size of a net."""
        circuit = self.circuit
        if part := circuit.parts.get(key):
            fitted = "" if part.fitted else ", not fitted"
            return plain(f"{part.kind} {part.value.text}".strip() + fitted, 80)
        if net := circuit.nets.get(key):
            return f"{net.role} net, {len(net.pins)} pin{'' if len(net.pins) == 1 else 's'}"
        if pin := circuit.pins.get(key):
            return plain(f"pin {pin.number}" + (f", {pin.name}" if pin.name else ""), 80)
        if amplifier := circuit.amplifiers.get(key):
            return plain(amplifier.kind)
        return ""

    def place(self, key: str) -> Place:
        """File, line and sheet of the thing, or of the part that it belongs to; empty when there is none."""
        circuit = self.circuit
        if net := circuit.nets.get(key):
            files = {board.name: board.netlist.file for board in circuit.boards}
            return Place(plain(files.get(net.board, "")), net.line)
        owner = circuit.pins.get(key) or circuit.amplifiers.get(key)
        part = circuit.parts.get(owner.part if owner else key)
        return Place(plain(part.file), part.line, plain(part.sheet)) if part else Place()

    def sort_of(self, key: str) -> str:
        """'part', 'net', 'pin', 'amplifier', or 'thing' for whatever else has a key."""
        circuit = self.circuit
        lookups = (("part", circuit.parts), ("net", circuit.nets), ("pin", circuit.pins))
        for word, lookup in lookups:
            if key in lookup:
                return word
        return "amplifier" if key in circuit.amplifiers else "thing"

    def listed(self, keys: Iterable[str], most: int = 0) -> str:
        """Names of many keys, runs of numbers drawn together: "C1–C4, R7"."""
        return compact((self.name(key) for key in keys), most)


def compact(names: Iterable[str], most: int = 0) -> str:
    """Names in natural order, three or more in a row as a run; at most so many pieces when given.

    >>> compact(["R3", "R1", "R2", "R7", "Q1"])
    'Q1, R1–R3, R7'
    >>> compact(["A1", "B1", "C1"], most=2)
    'A1, B1 and 1 more'
    """
    ordered = sorted(dict.fromkeys(names), key=natural_key)
    runs: list[list[str]] = []
    for name in ordered:
        if runs and _follows(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    pieces = [
        piece
        for run in runs
        for piece in ([(f"{run[0]}–{run[-1]}", len(run))] if len(run) > 2 else [(name, 1) for name in run])
    ]
    if not most or len(pieces) <= most:
        return ", ".join(text for text, _ in pieces)
    left = sum(number for _, number in pieces[most:])
    return f"{', '.join(text for text, _ in pieces[:most])} and {left} more"


def _follows(first: str, second: str) -> bool:
    a, b = _TAIL.fullmatch(first), _TAIL.fullmatch(second)
    # Longer numbers than any reference has are names, not counts.
    return bool(a and b and a[1] == b[1] and len(a[2]) < 7 and len(b[2]) < 7 and int(b[2]) == int(a[2]) + 1)
