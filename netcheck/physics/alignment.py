"""Two channels laid side by side: from places where both are known, outward, what is most alike first.

What has a partner that fits is coupled; what has none is passed over, so that a part that is missing or another value
in one channel does not end the comparison. Rails and grounds end it, and a net that both channels have.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import permutations

from netcheck.circuit.model import Part
from netcheck.circuit.walk import STOPS, natural_key
from netcheck.physics.places import Place, PlaceMap

DEPTH = 3  # how many parts far the surroundings of two nodes are compared
MOST_CANDIDATES = 400  # couples looked at between two nodes; where there are more, the nodes tell nothing
MOST_PERMUTED = 4  # ends of one role that are tried in every order
_LEAST_STEP = 1e-6
_SAME = 4.0  # both ends are coupled already, or on the same rail
_ALIKE = (3.0, 2.5, 2.0, 1.5)  # alike to the values three parts far, without values, two parts, one part far

Ends = tuple[tuple[str, str], ...]


class Outlook:
    """What a node looks like from a distance, without the names of anything."""

    def __init__(self, places: PlaceMap) -> None:
        self.places = places
        self._seen: dict[tuple[str, int, bool], int] = {}

    def fixed(self, node: str) -> tuple[str, str, int] | None:
        """What ends a comparison: role, sign and volts of a rail or a ground; None for a signal."""
        net = self.places.net(node)
        if net.role not in STOPS:
            return None
        return net.role, net.sign, round(net.volts) if net.volts is not None else 0

    def of(self, node: str, depth: int, valued: bool) -> int:
        """A number that is the same for nodes that look the same so many parts far."""
        asked = (node, depth, valued)
        if asked not in self._seen:
            fixed = self.fixed(node)
            self._seen[asked] = hash(fixed) if fixed is not None else self._around(node, depth, valued)
        return self._seen[asked]

    def _around(self, node: str, depth: int, valued: bool) -> int:
        held = []
        for role, place in self.places.at.get(node, ()):
            others = sorted((r, self.of(n, depth - 1, valued)) for r, n in place.ends if n != node) if depth else []
            value = worth(self.places.walks.circuit.parts[place.part]) if valued else ""
            held.append(hash((role, place.kind, value, tuple(others))))
        return hash(tuple(sorted(held)))

    def likeness(self, a: str, b: str) -> float:
        """How much two nodes look alike: up to 3 by their surroundings, else the share of like pins, 0 to 1."""
        for mark, (depth, valued) in zip(_ALIKE, ((DEPTH, True), (DEPTH, False), (2, False), (1, False)), strict=True):
            if self.of(a, depth, valued) == self.of(b, depth, valued):
                return mark
        ours, theirs = self._pins(a), self._pins(b)
        whole = (ours | theirs).total()
        return (ours & theirs).total() / whole if whole else 1.0

    def _pins(self, node: str) -> Counter[tuple[str, str]]:
        return Counter((place.kind, role) for role, place in self.places.at.get(node, ()))


def worth(part: Part) -> str:
    """Value of a part as something to be compared: its number, else its type."""
    if part.value.number is not None:
        return f"{part.value.number:.4g}"
    return part.record.name if part.record is not None and not part.record.generic else part.value.text.upper()


class Alignment:
    """Nodes and places of one channel and their partners in the other."""

    def __init__(self, outlook: Outlook, least: float) -> None:
        self.outlook, self.places, self.least = outlook, outlook.places, least
        self.right_of: dict[str, str] = {}
        self.left_of: dict[str, str] = {}
        self.partner: dict[str, tuple[Place, Place]] = {}
        self.exchanged: list[tuple[Place, Place, str, str]] = []
        self.packages: dict[str, str] = {}
        self.taken: set[str] = set()
        self.shared: set[str] = set()
        self.crossed: set[tuple[str, str]] = set()
        self._heap: list[tuple[float, object, object, Place, Place, str, str]] = []

    def copy(self) -> Alignment:
        """An alignment that goes on from here without changing this one."""
        found = Alignment(self.outlook, self.least)
        found.right_of, found.left_of = dict(self.right_of), dict(self.left_of)
        found.partner, found.packages = dict(self.partner), dict(self.packages)
        found.taken = set(self.taken)
        found.shared, found.crossed, found.exchanged = set(self.shared), set(self.crossed), list(self.exchanged)
        return found

    def begin(self, left: str, right: str) -> bool:
        """Couple two nodes; no when either has another partner already, or they cannot be of two channels."""
        if left == right or any(self.outlook.fixed(node) is not None for node in (left, right)):
            return False
        if self.right_of.get(left) == right:
            return True
        if any(node in side for node in (left, right) for side in (self.right_of, self.left_of)):
            return False
        self._join(left, right)
        return True

    def grow(self) -> None:
        """Couple all that can be, the likest first."""
        while self._heap:
            mark, _, _, left, right, a, b = heapq.heappop(self._heap)
            wanted = -mark
            if left.key in self.taken or right.key in self.taken:
                continue
            found = self._fit(left, right, a, b)
            if found is not None and found[0] < wanted - _LEAST_STEP:  # less than when it was put there
                self._wait(found[0], left, right, a, b)
            elif found is not None:
                self._couple(left, right, found[1])
            else:
                self._exchange(left, right, a, b)

    def _exchange(self, left: Place, right: Place, a: str, b: str) -> None:
        """Note two parts that lead from their own channel to one and the same place of the other."""
        for ends in _orders(left.ends, right.ends):
            there = [x for x, y in ends if self.left_of.get(x) == y] if (a, b) in ends else []
            if there:
                self.exchanged.append((left, right, a, there[0]))
                return

    def _couple(self, left: Place, right: Place, ends: list[tuple[str, str]]) -> None:
        self.partner[left.key] = (left, right)
        self.packages[left.part] = right.part
        self.taken |= {left.key, right.key}
        for a, b in ends:
            if a == b:
                if self.outlook.fixed(a) is None:
                    self.shared.add(a)
            elif a not in self.right_of and self.outlook.fixed(a) is None:
                self._join(a, b)

    def _join(self, left: str, right: str) -> None:
        self.right_of[left], self.left_of[right] = right, left
        theirs: dict[tuple[str, str], list[Place]] = {}
        for role, place in self.places.at.get(right, ()):
            if place.key not in self.taken:
                theirs.setdefault((place.kind, role), []).append(place)
        ours = [(p, theirs[p.kind, role]) for role, p in self.places.at.get(left, ()) if (p.kind, role) in theirs]
        many = sum(len(partners) for _, partners in ours) > MOST_CANDIDATES
        free = [] if many else [(p, q) for p, partners in ours if p.key not in self.taken for q in partners]
        for p, q in free:
            found = self._fit(p, q, left, right) if p.key != q.key else None
            if found is not None:
                self._wait(found[0], p, q, left, right)
            elif p.key != q.key:
                self._exchange(p, q, left, right)

    def _wait(self, mark: float, left: Place, right: Place, a: str, b: str) -> None:
        entry = (-mark, natural_key(left.key), natural_key(right.key), left, right, a, b)
        heapq.heappush(self._heap, entry)

    def _fit(self, left: Place, right: Place, a: str, b: str) -> tuple[float, list[tuple[str, str]]] | None:
        """How well two places fit with these nodes opposite each other, and which nodes then are; or None."""
        best: tuple[float, list[tuple[str, str]]] | None = None
        for ends in _orders(left.ends, right.ends):
            if (a, b) not in ends:
                continue
            marks = [_SAME if pair == (a, b) else self._mark(*pair) for pair in ends]
            known = [mark for mark in marks if mark is not None]
            if len(known) == len(marks) and (best is None or sum(known) > best[0]):
                best = (sum(known), ends)
        if best is None:
            return None
        parts = self.places.walks.circuit.parts
        one, other = parts[left.part], parts[right.part]
        extra = 1.0 * (worth(one) == worth(other)) + 0.3 * self.same_way(left, right, best[1])
        extra += 0.2 * (one.key == other.key) + 0.1 * (one.value.text == other.value.text)
        extra -= 0.4 * (self.packages.get(one.key, other.key) != other.key)  # other units of it have another partner
        return best[0] / len(left.ends) + extra, best[1]

    def _mark(self, a: str, b: str) -> float | None:
        """How well two nodes can be partners; None when they cannot."""
        fixed = self.outlook.fixed(a), self.outlook.fixed(b)
        if fixed != (None, None):
            return (_SAME if a == b else _SAME - 1) if fixed[0] == fixed[1] else None
        if a == b:
            return None if a in self.right_of or a in self.left_of else _SAME - 1
        if self.right_of.get(a, b) != b or self.left_of.get(b, a) != a:
            return None
        if a in self.left_of or b in self.right_of:  # what belongs to the other channel already
            self.crossed.add((a, b))
            return None
        if a in self.right_of:
            return _SAME
        likeness = self.outlook.likeness(a, b)
        return likeness if likeness >= self.least else None

    def same_way(self, left: Place, right: Place, ends: Iterable[tuple[str, str]] | None = None) -> bool:
        """Whether two places of two ends stand the same way round, as their first pins tell."""
        if len(left.ends) != 2:
            return True
        opposite = list(ends) if ends is not None else self.ends_of(left, right)
        first = self.first(left), self.first(right)
        return first in opposite or first[0] == first[1] or self._alike_rails(*first)

    def _alike_rails(self, a: str, b: str) -> bool:
        return self.outlook.fixed(a) is not None and self.outlook.fixed(a) == self.outlook.fixed(b)

    def ends_of(self, left: Place, right: Place) -> list[tuple[str, str]]:
        """Which nodes of two coupled places are opposite each other."""
        for ends in _orders(left.ends, right.ends):
            if all(self.right_of.get(a, b) == b and (a in self.right_of or self._equal(a, b)) for a, b in ends):
                return ends
        return []

    def _equal(self, a: str, b: str) -> bool:
        return a == b or self._alike_rails(a, b)

    def first(self, place: Place) -> str:
        """The node of the plus end or anode of a place, else of its first pin."""
        circuit = self.places.walks.circuit
        pins = [circuit.pins[key] for key in place.pins]
        first = next((pin for pin in pins if pin.role in ("plus", "anode")), pins[0])
        return self.places.node(first.net)


def _orders(left: Ends, right: Ends) -> Iterator[list[tuple[str, str]]]:
    """Ways to lay the ends of one place on those of another, role on role."""
    roles = [role for role, _ in left]
    if len(left) != len(right) or sorted(roles) != sorted(role for role, _ in right):
        return
    groups = {role: [node for r, node in right if r == role] for role in dict.fromkeys(roles)}
    many = [role for role, nodes in groups.items() if 1 < len(nodes) <= MOST_PERMUTED]
    free = many[0] if many else None  # one role of several ends is as much as parts have
    for order in permutations(groups[free]) if free is not None else [()]:
        pools = {role: iter(order if role == free else nodes) for role, nodes in groups.items()}
        yield [(node, next(pools[role])) for role, node in left]
