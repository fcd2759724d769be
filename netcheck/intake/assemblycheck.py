"""An assembly file held against its netlists: whatever it names must be there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from netcheck.ground.names import did_you_mean, natural_key, plain
from netcheck.ground.problems import Problem, Refused
from netcheck.intake.assembly import AssemblyFile, BoardEntry, Cable, Spot
from netcheck.intake.assemblyplaces import Missing, Place, Places
from netcheck.intake.assemblyreading import parse_assembly, read_text
from netcheck.intake.netlist import Netlist
from netcheck.intake.reading import read_netlists

T = TypeVar("T")


def open_assembly(path: Path, *, cache: bool = True) -> tuple[AssemblyFile, Mapping[str, Netlist]]:
    """An assembly file and the netlists of its boards, each cut to what belongs to the board.

    Raises:
        Refused: with every mistake of the file, of its netlists, and of what it says about them.
    """
    assembly, problems = parse_assembly(read_text(path), str(path))
    netlists, wrong = _read(assembly, path.parent, cache)
    found, more = boards_of(assembly, netlists)
    problems = [*problems, *wrong, *more, *check_against(assembly, found)]
    if problems:
        raise Refused(dict.fromkeys(problems))
    return assembly, found


def _read(assembly: AssemblyFile, folder: Path, cache: bool) -> tuple[dict[str, Netlist], list[Problem]]:
    """Netlists by path as written, each read once."""
    problems: list[Problem] = []
    paths: dict[str, Path] = {}
    for entry in assembly.boards:
        path = folder / entry.netlist
        if not path.is_file():
            near = did_you_mean(path.name, [each.name for each in sorted(folder.glob("*.net"))[:200]])
            what = f"there is no netlist '{plain(entry.netlist)}'{near}"
            problems.append(Problem(assembly.file, entry.line, entry.column, what))
        else:
            paths[entry.netlist] = path
    try:
        read = read_netlists(paths.values(), cache=cache)
    except Refused as refused:
        return {}, [*problems, *refused.problems]
    return dict(zip(paths, read, strict=True)), problems


def boards_of(assembly: AssemblyFile, netlists: Mapping[str, Netlist]) -> tuple[dict[str, Netlist], list[Problem]]:
    """The netlist of each board, by its name, and what is wrong with how netlists are shared out.

    Args:
        netlists: by path as written in the file; one that could not be read is left out.
    """
    found: dict[str, Netlist] = {}
    problems: list[Problem] = []
    for path, netlist in netlists.items():
        entries = [entry for entry in assembly.boards if entry.netlist == path]
        shared = [entry for entry in entries if entry.sheets or entry.parts]
        claimed: dict[str, str] = {}
        for entry in shared:
            found[entry.name] = _cut(netlist, _members(entry, netlist, claimed, assembly.file, problems))
        rest = {component.reference for component in netlist.components} - set(claimed)
        for entry in entries:
            if entry not in shared:
                found[entry.name] = _cut(netlist, rest) if shared else netlist
        if shared and rest and len(shared) == len(entries):
            names = ", ".join(sorted(rest, key=natural_key)[:8])
            what = f"{len(rest)} parts of {plain(path)} belong to no board: {plain(names)}"
            problems.append(Problem(assembly.file, shared[0].line, shared[0].column, what))
    return found, problems


def _members(
    entry: BoardEntry, netlist: Netlist, claimed: dict[str, str], file: str, problems: list[Problem]
) -> set[str]:
    """References of the parts that belong to a board that has only some of a netlist."""

    def wrong(spot: Spot, what: str) -> None:
        problems.append(Problem(file, spot.line, spot.column, what))

    sheets = {component.sheet for component in netlist.components}
    known = {component.reference for component in netlist.components}
    found: set[str] = set()
    for spot in entry.sheets:
        prefix = f"/{spot.text.strip('/')}/" if spot.text.strip("/") else "/"
        inside = {c.reference for c in netlist.components if c.sheet == prefix or c.sheet.startswith(prefix)}
        if not inside:
            wrong(spot, f"no part is on the sheet '{plain(spot.text)}'{did_you_mean(spot.text, sheets)}")
        found |= inside
    for spot in entry.parts:
        if spot.text not in known:
            wrong(spot, f"the netlist has no part '{plain(spot.text)}'{did_you_mean(spot.text, known)}")
        found |= {spot.text} & known
    for reference in sorted(found, key=natural_key):
        if claimed.setdefault(reference, entry.name) != entry.name:
            spot = (entry.parts or entry.sheets)[0]
            wrong(spot, f"{plain(reference)} belongs to the board '{claimed[reference]}' already")
    return found


def _cut(netlist: Netlist, members: set[str]) -> Netlist:
    """A netlist with only some of its parts, and the nets that these are on."""
    nets = []
    for net in netlist.nets:
        nodes = tuple(node for node in net.nodes if node.reference in members)
        if nodes:
            nets.append(replace(net, nodes=nodes))
    return replace(
        netlist,
        components=tuple(component for component in netlist.components if component.reference in members),
        nets=tuple(nets),
        oddities=tuple(oddity for oddity in netlist.oddities if oddity.reference in members),
    )


# What the file says of them


def check_against(assembly: AssemblyFile, netlists: Mapping[str, Netlist]) -> list[Problem]:
    """Every name of the file that stands for nothing, and what it joins that cannot be joined.

    Args:
        netlists: by name of board; of a board whose netlist could not be read nothing is checked.
    """
    return list(dict.fromkeys(_Check(assembly, netlists).problems()))


class _Check:
    def __init__(self, assembly: AssemblyFile, netlists: Mapping[str, Netlist]) -> None:
        self.assembly = assembly
        self.places = Places(assembly, netlists)
        self.found: list[Problem] = []

    def problems(self) -> list[Problem]:
        """All of them, in the order of the checks."""
        a = self.assembly
        self._names()
        for part in a.chassis:
            for wire in part.wires:
                self._find(self._wire_end, wire.to)
        self._cables()
        for spot in a.case.touched_by if a.case else ():
            place = self._find(self.places.part_or_pin, spot)
            if place is not None and not self.places.has_net(place):
                self._note(spot, f"{plain(spot.text)} is on no net, so the case joins nothing by it; leave it out here")
        ends = [(end.at, end.back) for end in a.inputs] + [(end.at, end.back) for end in a.outputs]
        for at, back in ends:
            self._find(self.places.pin, at)
            if back is not None:
                self._find(self.places.pin, back)
        self._parts([*(position.at for position in a.positions), *a.unused, *a.not_fitted])
        self._parts([spot for spot, _ in (*a.kinds, *a.families)] + [spot for spot, _ in a.keyed])
        self._parts([spot for sink in a.heatsinks for spot in (*sink.parts, *sink.insulated)])
        self._sinks()
        for outside in a.outside:
            self._find(self.places.part_or_pin, outside.at)
        for told in a.volts:
            board = self._find(self.places.board, told.board)
            if board is not None:
                self._net(board, told.net)
        self._positions()
        return self.found

    def _note(self, spot: Spot, what: str) -> None:
        self.found.append(Problem(self.assembly.file, spot.line, spot.column, what))

    def _find(self, find: Callable[[Spot], T], spot: Spot) -> T | None:
        try:
            return find(spot)
        except Missing as missing:
            self._note(spot, str(missing))
            return None

    def _wire_end(self, spot: Spot) -> Place:
        return self.places.pin(spot)

    def _parts(self, spots: Iterable[Spot]) -> None:
        for spot in spots:
            self._find(self.places.part, spot)

    def _net(self, board: str, net: Spot) -> None:
        try:
            self.places.net(board, net.text)
        except Missing as missing:
            self._note(net, str(missing))

    def _names(self) -> None:
        boards = {entry.name for entry in self.assembly.boards}
        for part in self.assembly.chassis:
            if part.name in boards or part.name in self.assembly.points:
                what = "board" if part.name in boards else "point"
                self._note(Spot(part.name, part.line, part.column), f"'{plain(part.name)}' is the name of a {what}")

    def _cables(self) -> None:
        taken: dict[str, str] = {}
        for cable in self.assembly.cables:
            self._bundle(cable)
            ends = [self._find(self.places.part, spot) for spot in (cable.near, cable.far)]
            for place, spot in zip(ends, (cable.near, cable.far), strict=True):
                if place is None:
                    continue
                other = taken.setdefault(place.key, cable.name)
                if other != cable.name:
                    self._note(spot, f"{plain(spot.text)} carries the cable '{plain(other)}' already")
            near, far = ends
            if near is None or far is None:
                continue
            if near == far:
                self._note(cable.far, "a cable leads from a connector to itself")
            self._cable_wires(cable, near, far)
            self._screen(cable, near, far)

    def _bundle(self, cable: Cable) -> None:
        others = [other.name for other in self.assembly.cables if other.name != cable.name]
        for spot in cable.bundled:
            if spot.text not in others:
                what = f"there is no other cable '{plain(spot.text)}'{did_you_mean(spot.text, others)}"
                self._note(spot, what)

    def _cable_wires(self, cable: Cable, near: Place, far: Place) -> None:
        if cable.wires is None:
            both = set(self.places.numbers(near)) & set(self.places.numbers(far))
            known = self.places.numbers(near) and self.places.numbers(far)
            if known and not both:
                what = f"no pin number of {near.board}.{near.reference} is also one of {far.board}.{far.reference}"
                self._note(cable.near, f"{what}; name the pins that are joined under 'wires'")
            return
        for here, there in cable.wires:
            for place, spot in ((near, here), (far, there)):
                try:
                    self.places.pin_of(place, spot)
                except Missing as missing:
                    self._note(spot, str(missing))

    def _screen(self, cable: Cable, near: Place, far: Place) -> None:
        if cable.screen is None:
            return
        boards = {near.board, far.board}
        for spot in cable.screen.ends:
            if spot.text != "both" and spot.text not in boards:
                self._note(spot, f"'{plain(spot.text)}' is no end of this cable{did_you_mean(spot.text, boards)}")
        for spot in cable.screen.pins:
            self._find(self.places.pin, spot)

    def _sinks(self) -> None:
        """A part is bolted to one heatsink only."""
        taken: dict[str, Spot] = {}
        for sink in self.assembly.heatsinks:
            for spot in sink.parts:
                first = taken.setdefault(spot.text, spot)
                if first is not spot:
                    self._note(spot, f"{plain(spot.text)} is on the heatsink of line {first.line} already")

    def _positions(self) -> None:
        for position in self.assembly.positions:
            try:
                place = self.places.part(position.at)
            except Missing:  # told already
                continue
            for number in (number for group in position.joins for number in group):
                try:
                    self.places.pin_of(place, Spot(number))
                except Missing as missing:
                    self._note(position.at, str(missing))


def word_problems(file: str, told: Iterable[tuple[Spot, Spot]], known: Iterable[str], what: str) -> Iterator[Problem]:
    """Words of the file that are not of a closed list."""
    words = tuple(known)
    for _, word in told:
        if word.text not in words:
            text = f"'{plain(word.text)}' is no {what}{did_you_mean(word.text, words)}"
            yield Problem(file, word.line, word.column, text)
