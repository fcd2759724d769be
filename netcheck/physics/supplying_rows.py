"""All supplies of a circuit together: rails behind rectifiers with their load, and the regulators that they feed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property

from netcheck.circuit.model import Part, Pin
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key, spoken_list
from netcheck.language.values import Unknown, unite
from netcheck.physics.behaviour import SupplyRow
from netcheck.physics.points import Points, Range
from netcheck.physics.rectifying_rails import Nodes, Rectified
from netcheck.physics.regulating import Fed
from netcheck.physics.supplying import Supply, supply_of
from netcheck.physics.supplying_current import Currents, Drawn, DrivenLoad, own_current

MUSIC = "share of music"
BEFORE, DIODE = "resistor before a regulator", "diode before a regulator"
_SERIES = frozenset({"resistor", "inductor", "diode"})


class Supplies:
    """What rails have and give.

    Args:
        points: the circuit at rest. rails: behind rectifiers. words: for mains, music and what is in series.
        loads: at outputs, None where none are told.
    """

    def __init__(
        self, points: Points, rails: Sequence[Rectified], words: Words, loads: Sequence[DrivenLoad] | None
    ) -> None:
        self.points, self.walks, self.circuit = points, points.walks, points.walks.circuit
        self.rails: tuple[Supply, ...] = tuple(supply_of(rail, words) for rail in rails)
        self.share = words.limit(MUSIC).value
        self.before_ohms, self.diode_volts = words.limit(BEFORE).value, words.limit(DIODE).value
        feeds = frozenset(diode for rail in rails for diode in rail.diodes)
        self.currents = Currents(points, loads, words, feeds)
        self._drawn: dict[str, Drawn] = {}

    @cached_property
    def nodes(self) -> Nodes:
        """What is one node."""
        return Nodes(self.walks)

    @cached_property
    def _by_net(self) -> Mapping[str, Supply]:
        return {net: supply for supply in self.rails for net in supply.rail.nets}

    def rail_of(self, net: str) -> Supply | None:
        """The rectified rail that a net is, through cables and fuses."""
        return self._by_net.get(net)

    def drawn(self, supply: Supply) -> Drawn:
        """What a rectified rail gives."""
        if supply.rail.net not in self._drawn:
            group = sorted(supply.rail.nets, key=natural_key)
            rails = [net for net in group if self.circuit.nets[net].role == "rail"] or group
            self._drawn[supply.rail.net] = self.currents.of(rails[0])
        return self._drawn[supply.rail.net]

    def amps_most(self, supply: Supply) -> float | None:
        """What a rectified rail gives at most with music; what its windings are made for where that is not known."""
        found = self.drawn(supply).most(self.share)
        return found if found is not None else supply.rated_amps

    # Regulators

    def fed(self, part: Part) -> Fed | Unknown:
        """How a regulator is fed, or why that is not known."""
        said = self.walks.said(part)
        inputs = list(dict.fromkeys(pin.net for pin in part.by_role("input")))
        outputs = list(dict.fromkeys(pin.net for pin in part.by_role("output")))
        if len(inputs) != 1 or len(outputs) != 1:
            return Unknown((f"which pins of {said} are its input and its output is not known",))
        out, into = self._magnitude(outputs[0]), self._magnitude(inputs[0])
        if isinstance(out, Unknown):
            return out
        drawn = self.currents.of(outputs[0])
        behind = self._behind(inputs[0])
        most, own = drawn.most(self.share), own_current(part).nominal
        ends, amps = (out.low, out.nominal, out.high), (drawn.low, drawn.nominal, drawn.high)
        if behind is None:
            if isinstance(into, Unknown):
                return into
            return Fed(
                part, "", into.nominal, into.low, into.nominal, into.high, into.high, ends, amps, most, own,
                drawn.reasons,
            )  # fmt: skip
        supply, ohms, volts = behind
        whole = self.drawn(supply)
        rest, loaded = supply.at(whole.nominal), self.amps_most(supply)
        low = [state.low for state in supply.ends(whole.low, -1)]
        if rest is None or not low:
            return Unknown(self.why_unbuilt(supply.rail))
        trough = supply.trough(loaded) if loaded is not None and whole.most(self.share) is not None else None
        mean = supply.mean_most(whole.nominal if loaded is None else loaded)

        def less(value: float | None, current: float | None) -> float | None:
            return None if value is None else value - volts - ohms * (current or 0.0)

        return Fed(
            part=part,
            kind="rectifier",
            best=max(low) - volts - ohms * drawn.low,
            worst=less(trough, most),
            rest=rest.mean - volts - ohms * drawn.nominal,
            mean=less(mean, most),
            top=supply.peak(),
            out=ends,
            amps=amps,
            signal=most,
            own=own,
            reasons=unite(drawn.reasons, whole.reasons),
        )

    def is_behind(self, part: Part) -> bool:
        """Whether a rectifier feeds a regulator, known in figures or not."""
        return any(self._behind(pin.net) is not None for pin in part.by_role("input")[:1])

    def why_unbuilt(self, rail: Rectified) -> tuple[str, ...]:
        """Why a rectified rail cannot be computed: a reservoir without a value, or transformers without their power."""
        parts = [self.circuit.parts[key] for key in rail.capacitors]
        unread = [part for part in parts if part.value.number is None]
        if unread:
            return tuple(f"{self.walks.said(part)} has the value '{part.value.text}'" for part in unread)
        transformers = dict.fromkeys(winding.part for winding in rail.windings if winding.amps is None)
        said = spoken_list([self.walks.said(self.circuit.parts[key]) for key in transformers])
        return (f"the power of {said} is not given",) if transformers else ("what hangs on the outputs is not given",)

    def _magnitude(self, net: str) -> Range | Unknown:
        found = self.points.volts(net)
        if isinstance(found, Unknown) or found.nominal >= 0:
            return found
        return Range(-found.nominal, -found.high, -found.low)

    def _behind(self, net: str) -> tuple[Supply, float, float] | None:
        """The rectified rail that feeds a net, ohms and volts of what is in series with it."""
        found = self.rail_of(net)
        if found is not None:
            return found, 0.0, 0.0
        for node in self.nodes.nets(net):
            for kind, pins in self.walks.on(node).items():
                for pin in pins if kind in _SERIES else ():
                    part = self.circuit.parts[pin.part]
                    others = [mate.net for mate in part.pins if mate.key != pin.key]
                    supply = self.rail_of(others[0]) if len(others) == 1 else None
                    ohms = part.value.number if kind == "resistor" else 0.0
                    if supply is None or ohms is None or ohms > self.before_ohms or not self._towards(pin, supply):
                        continue
                    return supply, ohms, self.diode_volts if kind == "diode" else 0.0
        return None

    def _towards(self, pin: Pin, supply: Supply) -> bool:
        """Whether a part in series lets the current through: a diode with its far end on the rail."""
        role = pin.role
        return role not in ("anode", "cathode") or role == ("cathode" if supply.rail.sign > 0 else "anode")

    # Rows

    def rows(self, board: str) -> tuple[SupplyRow, ...]:
        """A row for each rail of a board that a rectifier or a regulator makes, those in front first."""
        raw = [self._raw_row(supply) for supply in self.rails if self.circuit.nets[supply.rail.net].board == board]
        regulators = [part for part in self.walks.by_kind.get("regulator", ()) if part.board == board]
        made = [self._made_row(part) for part in regulators]
        return (*sorted(raw, key=_row_key), *sorted((row for row in made if row is not None), key=_row_key))

    def _raw_row(self, supply: Supply) -> SupplyRow:
        rail, drawn = supply.rail, self.drawn(supply)
        most, span = drawn.most(self.share), supply.span()
        middle = supply.at(drawn.nominal)
        loaded = self.amps_most(supply)
        trough = supply.trough(loaded) if loaded is not None else None
        nominal = middle.mean if middle is not None else abs(span.nominal)
        ends = (trough if trough is not None else 0.0, nominal, supply.peak())
        signed = ends if rail.sign > 0 else (-ends[2], -ends[1], -ends[0])
        return SupplyRow(
            key=rail.net,
            part=rail.diodes[0],
            origin=f"rectified from {' and '.join(self._windings(supply))}",
            volts=signed if trough is not None else None,
            amps=None if most is None else (drawn.low, drawn.nominal, most),
            ripple=supply.ripple(loaded) if loaded is not None else None,
            trough=None if trough is None else rail.sign * trough,
            reason=drawn.reasons[0] if most is None and drawn.reasons else "",
        )

    def _windings(self, supply: Supply) -> list[str]:
        found = dict.fromkeys(
            f"{abs(route.volts):g} V of {self.walks.said(self.circuit.parts[route.windings[0].part])}"
            for route in supply.rail.routes
        )
        return list(found)

    def _made_row(self, part: Part) -> SupplyRow | None:
        outputs = part.by_role("output")
        if len({pin.net for pin in outputs}) != 1 or self.circuit.nets[outputs[0].net].role != "rail":
            return None
        net, found = outputs[0].net, self.fed(part)
        volts = self.points.volts(net)
        row = SupplyRow(
            key=net,
            part=part.key,
            origin=f"made by {self.walks.said(part)}",
            volts=None if isinstance(volts, Unknown) else (volts.low, volts.nominal, volts.high),
        )
        if isinstance(found, Unknown):
            return replace(row, reason=found.reasons[0])
        _, watts = found.watts()
        return replace(
            row,
            amps=None if found.signal is None else (found.amps[0], found.amps[1], found.signal),
            headroom=found.spare_with_signal(),
            watts=watts,
            reason=found.reasons[0] if found.signal is None and found.reasons else "",
        )


def _row_key(row: SupplyRow) -> tuple[tuple[int, int, str], ...]:
    return natural_key(row.key)
