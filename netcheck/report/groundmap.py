"""The ground map: boards as blocks, their grounds as lines down, what joins them as lines across, rings marked.

Two conductors between the same two grounds enclose an area on the drawing as they do in the box: a ring is drawn
round it, with its number.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from netcheck.circuit.model import Net
from netcheck.ground.names import natural_key, plain
from netcheck.ground.units import OHM, show
from netcheck.language.values import Unknown
from netcheck.physics.conductors import Conductor, GroundLoop
from netcheck.physics.mating import GROUNDS
from netcheck.report import drawing
from netcheck.report.display import Names
from netcheck.report.wording import clip
from netcheck.review import Review

# Bounds of the drawing; the table beneath has more, SARIF has every ring that is a finding.
MOST_NETS, MOST_NETS_OF_BOARD, MOST_ROWS, MOST_IN_TABLE, MOST_RINGS = 14, 5, 24, 120, 24
CHASSIS = "chassis"
LANE, ROW, HEAD, NAME_LINE, SIDE = 26.0, 34.0, 24.0, 15.0, 8.0
PLAIN_WIDTH = 460.0  # units; a wider drawing is scrolled on a small screen
_KIND_CLASSES = {"screen": "screen", "case": "bond", "earth": "earth", "outside": "earth"}


@dataclass(frozen=True, slots=True)
class ConductorRow:
    """A conductor as a row of the table: its name, what it is, what it joins, ohms, numbers of the rings it is in."""

    name: str
    kind: str
    joins: str
    ohms: str
    rings: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class RingRow:
    """A ring in words; `finding`: identity of the finding about it, or ''."""

    number: int
    way: str
    ohms: str
    remarks: tuple[str, ...]
    finding: str


@dataclass(frozen=True)
class GroundMap:
    """The drawing and what stands beneath it."""

    svg: Markup
    wide: bool
    rows: tuple[ConductorRow, ...]
    rings: tuple[RingRow, ...]
    left_out: tuple[str, ...]


def ground_map(review: Review, names: Names) -> GroundMap | None:
    """The map, or None where there is one ground only and nothing to draw."""
    kept = _kept(review)
    nets = _nets(review, kept)
    if len(nets) < 2 and not review.ground_loops:
        return None
    numbers = {loop.key: place for place, loop in enumerate(review.ground_loops, 1)}
    ringed = {c.key: _rings_of(c, review.ground_loops, numbers) for c in kept}
    ordered = sorted(kept, key=lambda c: (ringed[c.key] or (len(numbers) + 1,), natural_key(c.key)))
    plan = _Plan(review, names, nets, ordered[:MOST_ROWS])
    left_out = []
    if len(plan.nets) < len(nets):
        left_out.append(f"{len(nets) - len(plan.nets)} more grounds that the drawing has no room for")
    if len(plan.rows) < len(kept):
        left_out.append(f"{len(kept) - len(plan.rows)} more conductors that the drawing has no room for")
    if len(kept) > MOST_IN_TABLE:
        left_out.append(f"{len(kept) - MOST_IN_TABLE} of the conductors are not in the table")
    return GroundMap(
        svg=plan.drawn(review.ground_loops[:MOST_RINGS], numbers),
        wide=plan.width > PLAIN_WIDTH,
        rows=tuple(_row(c, ringed[c.key], names) for c in ordered[:MOST_IN_TABLE]),
        rings=tuple(_ring(loop, numbers[loop.key], review, names) for loop in review.ground_loops[:MOST_RINGS]),
        left_out=tuple(left_out),
    )


def _rings_of(conductor: Conductor, loops: Iterable[GroundLoop], numbers: Mapping[str, int]) -> tuple[int, ...]:
    return tuple(numbers[loop.key] for loop in loops if any(conductor.key == one.key for one in loop.conductors))


# What is drawn


def _kept(review: Review) -> list[Conductor]:
    """Conductors but those to nowhere: to a signal that ends there, to the tap of a transformer."""
    kept = list(review.conductors)
    in_rings = {conductor.key for loop in review.ground_loops for conductor in loop.conductors}
    while True:
        ends: dict[str, int] = {}
        for conductor in kept:
            for net in conductor.nets:
                ends[net] = ends.get(net, 0) + 1
        fewer = [
            c for c in kept if c.key in in_rings or not any(ends[net] == 1 and _nowhere(net, review) for net in c.nets)
        ]
        if len(fewer) == len(kept):
            return kept
        kept = fewer


def _nowhere(key: str, review: Review) -> bool:
    net = review.circuit.nets.get(key)
    if net is None:
        return False
    return net.role not in GROUNDS or (net.board == CHASSIS and net.role == "ground")


def _nets(review: Review, kept: Sequence[Conductor]) -> list[str]:
    """A ground of each domain of each board, and whatever a conductor ends at."""
    used = {net for conductor in kept for net in conductor.nets}
    nets = review.circuit.nets
    for net in nets.values():
        if net.role in GROUNDS and net.board != CHASSIS and net.pins and _senior(net):
            used.add(net.key)
    places = {board.name: place for place, board in enumerate(review.circuit.boards)}
    return sorted(used, key=lambda key: (places.get(_block(key), len(places)), natural_key(key)))


def _senior(net: Net) -> bool:
    """One net stands for each domain of a board."""
    return net.domain in ("", net.key)


def _block(net: str) -> str:
    return net.split("/", 1)[0] if "/" in net else ""


class _Plan:
    """Where everything stands: blocks from left to right, their grounds as lanes, conductors as rows."""

    def __init__(self, review: Review, names: Names, nets: Sequence[str], rows: Sequence[Conductor]) -> None:
        self.review, self.names = review, names
        self.nets = self._chosen(nets, rows)
        self.rows = [row for row in rows if sum(net in self.nets for net in row.nets) > 1]
        self.blocks: dict[str, list[str]] = {}
        for net in self.nets:
            self.blocks.setdefault(_block(net), []).append(net)
        self.deepest = max((len(nets) for nets in self.blocks.values()), default=1)
        self.top = HEAD + self.deepest * NAME_LINE + 6
        self.lanes: dict[str, float] = {}
        self.spans: dict[str, tuple[float, float]] = {}
        left = SIDE
        for block, members in self.blocks.items():
            width = drawing.width_of(self._title(block)) * 1.12 + 16
            for place, net in enumerate(members):
                self.lanes[net] = left + 12 + place * LANE
                width = max(width, 12 + place * LANE + 6 + drawing.width_of(self._name(net)) + 6)
            self.spans[block] = (left, width)
            left += width + 12
        self.side = left - 2  # what stands beside the blocks: a line of words for each conductor
        self.words = [clip(f"{conductor_name(row, names)}, {ohms_text(row.ohms)}", 60) for row in self.rows]
        self.width = max(self.side + max(map(drawing.width_of, self.words), default=0) + 10 + SIDE, 320.0)
        self.height = self.top + max(len(self.rows), 1) * ROW + 12

    def _chosen(self, nets: Sequence[str], rows: Sequence[Conductor]) -> list[str]:
        """Grounds that are drawn: those with conductors first, so many of a board, so many in all."""
        used = {net for row in rows for net in row.nets}
        count: dict[str, int] = {}
        chosen: set[str] = set()
        for net in sorted(nets, key=lambda key: key not in used):
            count[_block(net)] = count.get(_block(net), 0) + 1
            if count[_block(net)] <= MOST_NETS_OF_BOARD and len(chosen) < MOST_NETS:
                chosen.add(net)
        return [net for net in nets if net in chosen]

    def _title(self, block: str) -> str:
        return clip(plain("case and mains" if block == CHASSIS else block or "outside"), 22)

    def _name(self, net: str) -> str:
        return clip(self.names.at(_block(net)).name(net), 20)

    def _y(self, place: int) -> float:
        return self.top + place * ROW + 22

    def drawn(self, loops: Sequence[GroundLoop], numbers: Mapping[str, int]) -> Markup:
        """The whole drawing."""
        pieces = [*self._blocks(), *self._rings(loops, numbers), *self._conductors()]
        pieces += self._badges(loops, numbers)
        about = f"{len(self.blocks)} blocks with {len(self.nets)} grounds, {len(self.rows)} conductors between them, "
        about += f"{len(loops)} rings. The table below has the same in words."
        return drawing.svg((self.width, self.height), "map", "Ground map", about, pieces, "ground-map")

    def _blocks(self) -> Iterable[Markup]:
        for block, members in self.blocks.items():
            left, width = self.spans[block]
            yield drawing.box((left, 2), width, self.height - 4, "case-block" if block == CHASSIS else "block")
            yield drawing.text((left + 7, 17), self._title(block), "title")
            for place, net in enumerate(members):
                x, y = self.lanes[net], HEAD + (place + 1) * NAME_LINE
                yield drawing.line((x, y - 8), (x, self.height - 8), "lane")
                yield drawing.text((x + 5, y), self._name(net), "net")

    def _conductors(self) -> Iterable[Markup]:
        for place, row in enumerate(self.rows):
            y = self._y(place)
            ends = sorted(self.lanes[net] for net in row.nets if net in self.lanes)
            yield drawing.line((ends[0], y), (ends[-1], y), f"wire {_KIND_CLASSES.get(row.kind, '')}".strip())
            for x in ends:
                yield drawing.dot((x, y), 3.2, "joint")
            yield drawing.line((ends[-1] + 5, y), (self.side, y), "grid")
            yield drawing.text((self.side + 5, y + 4), self.words[place], "label")

    def _sides(self, loop: GroundLoop) -> Iterable[tuple[float, float, float]]:
        """Lanes of a ring with the heights between which it runs along them."""
        places = {row.key: place for place, row in enumerate(self.rows)}
        heights: dict[str, list[float]] = {}
        for conductor in loop.conductors:
            for net in conductor.nets:
                if net in self.lanes and conductor.key in places:
                    heights.setdefault(net, []).append(self._y(places[conductor.key]))
        for net, found in heights.items():
            if len(found) > 1:
                yield self.lanes[net], min(found), max(found)

    def _rings(self, loops: Sequence[GroundLoop], numbers: Mapping[str, int]) -> Iterable[Markup]:
        places = {row.key: place for place, row in enumerate(self.rows)}
        for loop in loops:
            sides = list(self._sides(loop))
            turns = {x for x, _, _ in sides}
            for x, top, bottom in sides:
                yield drawing.line((x, top), (x, bottom), "ring")
            for conductor in loop.conductors:
                ends = sorted(self.lanes[net] for net in conductor.nets if self.lanes.get(net) in turns)
                if conductor.key in places and len(ends) > 1:
                    y = self._y(places[conductor.key])
                    yield drawing.line((ends[0], y), (ends[-1], y), "ring")

    def _badges(self, loops: Sequence[GroundLoop], numbers: Mapping[str, int]) -> Iterable[Markup]:
        taken: set[tuple[int, int]] = set()
        for loop in loops:
            sides = sorted(self._sides(loop))
            if not sides:
                continue
            x, top, _ = sides[0]
            y = top + 12
            while (round(x), round(y)) in taken:
                y += ROW
            taken.add((round(x), round(y)))
            yield drawing.dot((x, y), 8, "badge", f"ring {numbers[loop.key]}")
            yield drawing.text((x, y + 4), str(numbers[loop.key]), "badge-number", "middle")


# In words


def ohms_text(ohms: float | Unknown) -> str:
    """Resistance for a reader, as a range where it is in doubt.

    >>> ohms_text(0.00345), ohms_text(Unknown((), 0.0, 0.3)), ohms_text(Unknown((), 1.0, 2.0)), ohms_text(Unknown(()))
    ('3.45 mΩ', 'at most 0.3 Ω', '1 Ω to 2 Ω', 'ohms not known')
    """
    if not isinstance(ohms, Unknown):
        return f"{1000 * ohms:.3g} mΩ" if 0 < ohms < 0.1 else show(ohms, OHM)  # wires are compared in milliohms
    low, high = ohms.low or 0.0, ohms.high
    if high is None:
        return f"at least {show(low, OHM)}" if low > 0 else "ohms not known"
    return f"{show(low, OHM)} to {show(high, OHM)}" if low > 0 else f"at most {show(high, OHM)}"


def conductor_name(conductor: Conductor, names: Names) -> str:
    """A conductor as a person names it: "power lead, 2 wires", "bond at supply.H1", "NT1"."""
    if conductor.members:
        return f"{plain(conductor.cable)}, {len(conductor.members)} conductors"
    sort, _, rest = conductor.key.partition("/")
    if sort == "cable":
        cable, _, which = rest.rpartition("/")
        return plain(f"{cable}, wire {which}" if which.isdigit() else f"{cable}, {which}" if cable else rest)
    if sort == "bond":
        return plain(f"bond at {rest}")
    if sort == "outside":
        return plain(f"what is plugged in at {rest}")
    return plain(rest) if sort == "wire" else names.name(conductor.key)


def _row(conductor: Conductor, rings: tuple[int, ...], names: Names) -> ConductorRow:
    joins = " and ".join(clip(_place(net, names), 60) for net in conductor.nets[:6])
    return ConductorRow(conductor_name(conductor, names), conductor.kind, joins, ohms_text(conductor.ohms), rings)


def _place(net: str, names: Names) -> str:
    return names.at(CHASSIS).name(net)


def _ring(loop: GroundLoop, number: int, review: Review, names: Names) -> RingRow:
    way = ", ".join(clip(conductor_name(one, names), 60) for one in loop.conductors[:12])
    met = " and ".join(clip(_place(net, names), 40) for net in loop.grounds[:8])
    remarks = []
    outcomes = {v.outcome for v in review.verdicts if loop.key in v.keys}
    if loop.carries_signal_reference is True:
        picked = "too little of it to be heard" if "clear" in outcomes else "it is heard"
        remarks.append(f"signals are measured against a piece of it and take up what the ring picks up: {picked}")
    elif loop.carries_signal_reference is False:
        remarks.append("no signal is measured against any of these conductors")
    else:
        remarks.append("whether a signal is measured against one of these conductors is not given")
    if loop.through_case:
        remarks.append("it goes over the case or the earth")
    if loop.inside_one_cable:
        remarks.append("it lies inside one cable, so that its area is small")
    finding = next((v.identity for v in review.verdicts if loop.key in v.keys and v.outcome == "finding"), "")
    return RingRow(number, f"{way}; it meets {met}", ohms_text(loop.ohms), tuple(remarks), finding)
