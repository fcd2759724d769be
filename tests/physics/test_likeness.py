"""Blocks that are alike are solved once; what is told of them is what each gives by itself."""

from __future__ import annotations

import pytest
from test_judge import facts_of
from test_variants import SUPPLY

from netcheck.language.values import Unknown
from netcheck.physics.points import Points
from netcheck.rulebook.book import RuleBook

STAGE = (
    "U{n} NE5532 1=D{n} 2=T{n} 3=I{n} 4=-15V 5=GND 6=X{n} 7=X{n} 8=+15V\nR{n}1 100k I{n} GND\nR{n}2 1k5 T{n} GND\n"
    "R{n}3 3k3 T{n} O{n}\nR{n}4 {bias} +15V B{n}\nR{n}5 3k3 -15V E{n}\nD{n}1 1N4148 A=B{n} K=D{n}\n"
    "D{n}2 1N4148 A=D{n} K=E{n}\nQ{n}1 {upper} c=+15V b=B{n} e=F{n}\nQ{n}2 BD140 c=-15V b=E{n} e=G{n}\n"
    "R{n}6 4R7 F{n} O{n}\nR{n}7 4R7 G{n} O{n}\nR{n}8 10k O{n} GND\n"
)


def points_of(book: RuleBook, *stages: tuple[str, str]) -> Points:
    text = "".join(STAGE.format(n=n, bias=bias, upper=upper) for n, (bias, upper) in enumerate(stages, 1))
    return facts_of(SUPPLY + text, book).at_rest.points


def everything(points: Points) -> dict[str, object]:
    """Volts of all nets, heat of all parts and current of all pins."""
    circuit = points.walks.circuit
    found: dict[str, object] = {key: points.volts(key) for key in circuit.nets}
    found |= {key: points.watts(part) for key, part in circuit.parts.items()}
    return found | {key: points.amps(pin) for key, pin in circuit.pins.items()}


def alone(book: RuleBook, monkeypatch: pytest.MonkeyPatch, *stages: tuple[str, str]) -> dict[str, object]:
    """The same with nothing taken for alike."""
    points = points_of(book, *stages)
    with monkeypatch.context() as patch:
        patch.setattr(type(points.likeness), "of", lambda self, number: None)
        return everything(points)


@pytest.mark.parametrize(
    "stages",
    [
        [("3k3", "BD139"), ("3k3", "BD139")],
        [("3k3", "BD139"), ("1k", "BD139"), ("3k3", "BD139")],
        [("3k3", "BD139"), ("3k3", "BC547")],
        [("3k3", "BD139"), ("TBD", "BD139")],
    ],
)
def test_what_is_shared_is_what_each_gives_by_itself(
    stages: list[tuple[str, str]], book: RuleBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    shared, apart = everything(points_of(book, *stages)), alone(book, monkeypatch, *stages)
    assert shared.keys() == apart.keys()
    for key, found in shared.items():
        other = apart[key]
        if isinstance(found, Unknown) or isinstance(other, Unknown):
            assert found == other, key
        else:
            for end in ("nominal", "low", "high"):
                assert getattr(found, end) == pytest.approx(getattr(other, end), rel=1e-6, abs=1e-9), (key, end)


def test_equal_stages_are_alike_and_others_are_not(book: RuleBook) -> None:
    points = points_of(book, ("3k3", "BD139"), ("3k3", "BD139"), ("1k", "BD139"), ("TBD", "BD139"))
    outputs = [points.likeness.of(points.plan.of[points.node(f"amp/net/O{n}")]) for n in (1, 2, 3, 4)]
    first, second, third, fourth = outputs
    assert first is not None and second is not None and third is not None
    assert first.first == second.first != third.first and first.nodes != second.nodes
    assert fourth is None  # a value that cannot be read makes a block vary with something of its own
