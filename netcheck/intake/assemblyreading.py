"""Reading an assembly file: YAML to `AssemblyFile`, every mistake gathered with its line and column."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from netcheck.ground.names import did_you_mean, plain
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.units import CELSIUS, EURO, HERTZ, KELVIN_PER_WATT, PLAIN, SECOND, VOLT
from netcheck.ground.yamltext import MOST_BYTES, Items, Node, Table, Text, load
from netcheck.intake.assembly import (
    CHASSIS,
    POINTS,
    AssemblyFile,
    BoardEntry,
    Budget,
    Case,
    Heatsink,
    LeftOut,
    LimitChange,
    Outside,
    Position,
    Span,
    Spot,
    Targets,
    ToldNet,
)
from netcheck.intake.assemblyparts import PartsReader

T = TypeVar("T")

KEYS = (
    "assembly", "revision", "build", "boards", "chassis", "points", "cables", "case", "positions", "heatsinks",
    "ambient", "signal", "outside", "unused", "targets", "volts", "limits", "leave out", "house rules", "budget",
    "kinds", "families", "keyed", "not fitted",
)  # fmt: skip
MATERIALS = ("metal", "plastic", "wood")
TOLD_ROLES = ("rail", "ground", "chassis", "earth", "mains", "signal")
# Air that somebody makes music in, and the inside of a hot case; beyond it a zero is too many.
AMBIENT = (-40.0, 85.0)
MOST_BOARDS, MOST_SETS, MOST_NAME, MOST_TEXT = 40, 100_000, 60, 1000
_NOT_IN_NAMES = re.compile(r"[./\\\x00-\x1f]")


def read_assembly(path: Path) -> AssemblyFile:
    """An assembly file, not yet held against its netlists.

    Raises:
        Refused: with every mistake, or when it cannot be read at all.
    """
    found, problems = parse_assembly(read_text(path), str(path))
    if problems:
        raise Refused(problems)
    return found


def read_text(path: Path) -> str:
    """The text of an assembly file. Raises: Refused: when there is none or it is no UTF-8 text."""
    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except OSError as error:
        what = "there is no such file" if isinstance(error, FileNotFoundError) else f"cannot be read: {error.strerror}"
        raise Refused(Problem(str(path), 0, 0, what)) from None
    if len(data) > MOST_BYTES:
        raise Refused(Problem(str(path), 0, 0, "the file is larger than 1 MB"))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        what = f"byte {error.start} is no UTF-8; save the file as UTF-8"
        raise Refused(Problem(str(path), 0, 0, what)) from None


def parse_assembly(text: str, file: str) -> tuple[AssemblyFile, list[Problem]]:
    """What a text says, as far as it can be read, and everything that is wrong with it.

    Raises:
        Refused: when the text is no YAML.

    >>> found, problems = parse_assembly("assembly: Box\\nboards: {amp: amp.net}\\nbuilt: 4", "box.yaml")
    >>> found.boards[0].netlist, [str(problem) for problem in problems]
    ('amp.net', ["box.yaml:3:1: unknown key 'built'; did you mean 'build'?"])
    """
    node = load(text, file)
    reader = AssemblyReader(file)
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    return reader.assembly(node, ("assembly", "boards"), digest, text), reader.problems


def parse_node(node: Node, file: str) -> tuple[AssemblyFile, list[Problem]]:
    """The same of a table inside another file, such as a sample; it needs neither name nor boards."""
    reader = AssemblyReader(file)
    return reader.assembly(node, (), "", ""), reader.problems


class AssemblyReader(PartsReader):
    """Reads the tables of an assembly file."""

    def assembly(self, node: Node, needed: tuple[str, ...], digest: str, text: str) -> AssemblyFile:
        """The whole file."""
        if self._too_long(node):
            node, needed = Table((), node.line, node.column), ()
        top = self.table(node, needed, KEYS)
        chassis = self.list_of(top.get("chassis"), self.chassis_part)
        signal = self.table(top.get("signal"), (), ("inputs", "outputs"))
        points = self.list_of(top.get("points"), self._name)
        return AssemblyFile(
            file=self.file,
            digest=digest,
            name=plain(self.text(top.get("assembly")) or "", MOST_NAME),
            boards=self._boards(top.get("boards")),
            revision=plain(self.text(top.get("revision")) or "", MOST_NAME),
            build=self.count(top.get("build"), MOST_SETS) or 1,
            chassis=self.different(chassis, lambda part: part.name, "chassis part"),
            points=tuple(dict.fromkeys((*POINTS, *points))),
            cables=self.different(self.list_of(top.get("cables"), self.cable), lambda cable: cable.name, "cable"),
            case=self._case(top.get("case")),
            positions=self._positions(top.get("positions")),
            heatsinks=self.list_of(top.get("heatsinks"), self._heatsink),
            ambient=self.between(top.get("ambient"), CELSIUS, *AMBIENT),
            inputs=self.list_of(signal.get("inputs"), self.signal_input),
            outputs=self.list_of(signal.get("outputs"), self.signal_output),
            outside=self.list_of(top.get("outside"), self._outside),
            unused=self.list_of(top.get("unused"), self.spot),
            targets=self._targets(top.get("targets")),
            volts=self._volts(top.get("volts")),
            limits=self._limits(top.get("limits")),
            left_out=self._left_out(top.get("leave out")),
            house=self.list_of(top.get("house rules"), self.spot),
            budget=self._budget(top.get("budget")),
            kinds=self._told(top.get("kinds"), self.spot),
            families=self._told(top.get("families"), self.spot),
            keyed=self._told(top.get("keyed"), self.yes_no),
            not_fitted=self.list_of(top.get("not fitted"), self.spot),
            text=text,
        )

    def _too_long(self, node: Node) -> bool:
        """Whether a text is longer than any name or reason; noted where it stands."""
        todo, found = [node], False
        while todo:
            one = todo.pop()
            if isinstance(one, Text):
                if len(one.text) > MOST_TEXT:
                    self.note(one, f"'{plain(one.text, 20)}' has more than {MOST_TEXT} letters")
                    found = True
            elif isinstance(one, Items):
                todo += one.nodes
            else:
                todo += (piece for entry in one.entries for piece in entry)
        return found

    # Boards

    def _name(self, node: Node) -> str | None:
        found = self.text(node)
        if found is None:
            return None
        wrong = _NOT_IN_NAMES.search(found)
        if not found.strip() or wrong or len(found) > MOST_NAME:
            why = f"holds '{plain(wrong[0])}'" if wrong else "is empty" if not found.strip() else "is too long"
            self.note(node, f"the name '{plain(found, 40)}' {why}; letters, digits, blanks, - and _ are expected")
            return None
        return found

    def _boards(self, node: Node | None) -> tuple[BoardEntry, ...]:
        entries = self.table(node).entries
        if node is not None and isinstance(node, Table) and not entries:
            self.note(node, "no board is named; a name and a netlist are expected, such as amp: amp.net")
        if len(entries) > MOST_BOARDS:
            self.note(entries[MOST_BOARDS][0], f"more than {MOST_BOARDS} boards")
        found = [self._board(key, entry) for key, entry in entries[:MOST_BOARDS]]
        return tuple(entry for entry in found if entry is not None)

    def _board(self, key: Text, node: Node) -> BoardEntry | None:
        name = self._name(key)
        if name == CHASSIS:
            self.note(key, f"'{CHASSIS}' is the name for the parts of the case; give the board another name")
            name = None
        if isinstance(node, Text):
            return BoardEntry(name, node.text, line=node.line, column=node.column) if name else None
        table = self.table(node, ("netlist",), ("sheets", "parts"))
        netlist = self.text(table.get("netlist"))
        if name is None or netlist is None:
            return None
        sheets, parts = (self.list_of(table.get(word), self.spot) for word in ("sheets", "parts"))
        return BoardEntry(name, netlist, sheets, parts, node.line, node.column)

    # The case and what stands how

    def _case(self, node: Node | None) -> Case | None:
        if node is None:
            return None
        table = self.table(node, (), ("material", "touched by"))
        material = self.word(table.get("material"), MATERIALS) if table.get("material") else None
        return Case(material or "", self.list_of(table.get("touched by"), self.spot), node.line)

    def _positions(self, node: Node | None) -> tuple[Position, ...]:
        found = []
        for key, value in self.table(node).entries:
            position = self._position(_spot(key), value)
            if position is not None:
                found.append(position)
        return tuple(found)

    def _position(self, at: Spot, node: Node) -> Position | None:
        if isinstance(node, Items):
            groups = [tuple(pin for item in self.items(group) if (pin := self.text(item))) for group in node.nodes]
            if all(len(group) > 1 for group in groups):
                return Position(at, joins=tuple(groups))
            self.note(node, "two or more pins that are joined are expected in each list, such as [[1, 2], [4, 5]]")
            return None
        word = self.text(node)
        if word is None or word in ("open", "closed"):
            return Position(at, word=word) if word else None
        if word.isdecimal() and 1 <= len(word) <= 3 and int(word) > 0:
            return Position(at, number=int(word))
        if word.endswith("%"):
            share = self.number(node, PLAIN)
            if share is not None and 0 <= share <= 1:
                return Position(at, share=share)
        expected = "open, closed, a number, a share such as 50 %, or lists of joined pins are expected"
        self.note(node, f"'{plain(word)}' is no position; {expected}")
        return None

    def _heatsink(self, node: Node) -> Heatsink | None:
        table = self.table(node, ("parts",), ("to air", "insulated"))
        parts, insulated = (self.list_of(table.get(key), self.spot) for key in ("parts", "insulated"))
        parts, insulated = (self._each_once(spots) for spots in (parts, insulated))
        names = [spot.text for spot in parts]
        for spot in insulated:
            if parts and spot.text not in names:
                what = f"'{plain(spot.text)}' is none of the parts on this heatsink{did_you_mean(spot.text, names)}"
                self.note(Text(spot.text, spot.line, spot.column), what)
        to_air = self.number(table.get("to air"), KELVIN_PER_WATT, positive=True)
        return Heatsink(parts, to_air, insulated) if parts else None

    def _each_once(self, spots: tuple[Spot, ...]) -> tuple[Spot, ...]:
        seen: dict[str, Spot] = {}
        for spot in spots:
            if seen.setdefault(spot.text, spot) is not spot:
                self.note(Text(spot.text, spot.line, spot.column), f"'{plain(spot.text)}' stands here twice")
        return tuple(seen.values())

    def _outside(self, node: Node) -> Outside | None:
        table = self.table(node, ("at",), ("earthed",))
        at, earthed = self.spot(table.get("at")), table.get("earthed")
        if isinstance(earthed, Text) and earthed.text == "unknown":
            earthed = None
        told = self.yes_no(earthed) if earthed is not None else None
        return Outside(at, told) if at is not None else None

    # What is wanted

    def _targets(self, node: Node | None) -> Targets:
        table = self.table(node, (), ("passband", "group delay", "noise"))
        return Targets(
            self._span(table.get("passband"), "within"),
            self._span(table.get("group delay"), "spread"),
            self.number(table.get("noise"), VOLT, positive=True),
        )

    def _span(self, node: Node | None, key: str) -> Span | None:
        if node is None:
            return None
        table = self.table(node, ("from", "to"), (key,))
        low, high = (self.number(table.get(end), HERTZ, positive=True) for end in ("from", "to"))
        most = self.decibels(table.get(key)) if key == "within" else self.number(table.get(key), SECOND, positive=True)
        if low is None or high is None:
            return None
        if low >= high:
            self.note(node, "'from' is not below 'to'")
            return None
        return Span(low, high, most)

    def _volts(self, node: Node | None) -> tuple[ToldNet, ...]:
        found = []
        for board, nets in self.table(node).entries:
            for net, entry in self.table(nets).entries:
                role, volts = self._told_net(entry)
                if role:
                    found.append(ToldNet(_spot(board), _spot(net), role, volts))
        return tuple(found)

    def _told_net(self, node: Node) -> tuple[str, float | None]:
        """A role and volts: of volts alone a rail, or at 0 V a ground."""
        if isinstance(node, Table):
            table = self.table(node, ("role",), ("volts",))
            volts = self.number(table.get("volts"), VOLT)
            return self.word(table.get("role"), TOLD_ROLES) or "", volts
        volts = self.number(node, VOLT)
        return ("", None) if volts is None else ("rail" if volts else "ground", volts)

    # Rules

    def _limits(self, node: Node | None) -> tuple[LimitChange, ...]:
        found: list[LimitChange] = []
        for rule, entry in self.table(node).entries:
            table = self.table(entry, ("because",))
            because = self.sentence(table.get("because"))
            changes = [pair for pair in table.entries if pair[0].text != "because"]
            if not changes:
                self.note(entry, "no limit is named; its name and a value are expected, such as least: 0.22 ohm")
            for limit, value in changes:
                quantity = self.quantity(value)
                if quantity is not None:
                    found.append(LimitChange(_spot(rule), _spot(limit), quantity, because))
        return tuple(found)

    def _left_out(self, node: Node | None) -> tuple[LeftOut, ...]:
        entries = self.table(node).entries
        return tuple(LeftOut(_spot(rule), self.sentence(because)) for rule, because in entries)

    def _budget(self, node: Node | None) -> Budget | None:
        if node is None:
            return None
        table = self.table(node, ("parts",), ("per",))
        parts = self.number(table.get("parts"), EURO, positive=True)
        per = self.word(table.get("per"), ("set", "build")) if table.get("per") else "set"
        return Budget(parts, per or "set") if parts is not None else None

    def _told(self, node: Node | None, read: Callable[[Node | None], T | None]) -> tuple[tuple[Spot, T], ...]:
        found = []
        for key, value in self.table(node).entries:
            told = read(value)
            if told is not None:
                found.append((_spot(key), told))
        return tuple(found)


def _spot(node: Text) -> Spot:
    return Spot(node.text, node.line, node.column)
