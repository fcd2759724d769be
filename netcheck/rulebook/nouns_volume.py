"""Volume controls as rules see them; with the channels, the nouns of what is to be heard."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from netcheck.circuit.model import Part
from netcheck.ground.units import OHM
from netcheck.language.scope import Trace
from netcheck.language.types import Attribute, Function, ListOf, Number, Parameter, Thing, Word, YesNo
from netcheck.language.values import Lot, Unknown
from netcheck.physics.volume import VolumeControl
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.nouns_channels import CHANNEL_NOUNS
from netcheck.rulebook.signatures import attr

PART, PIN = Thing("part"), Thing("pin")


def _pin(name: str) -> Callable[[Any, Any], object]:
    return lambda facts, control: facts.circuit.pins[getattr(control, name)]


def _foot_first(facts: Facts, control: VolumeControl) -> object:
    if control.foot_first is None:
        part = facts.text_of(facts.circuit.parts[control.part])
        return Unknown((f"which end of {part} is at the stop against the clock is not known",))
    return control.foot_first


_LAWS = {"log": "logarithmic", "linear": "linear", "antilog": "turned", "letter A": "logarithmic", "letter C": "turned"}


def _law(facts: Facts, control: VolumeControl) -> object:
    """The law of the track; a letter A is a logarithmic one in current use, a letter B may be either."""
    part = facts.circuit.parts[control.part]
    said, taper = facts.text_of(part), part.value.taper
    if taper == "letter B":
        return Unknown((f"the letter B of {said} is linear with most makers and logarithmic with some",))
    return _LAWS.get(taper or "", Unknown((f"the law of {said} is not stated",)))


SOUND_NOUNS: dict[str, dict[str, Attribute]] = CHANNEL_NOUNS | {
    "volume control": {
        "part": attr(PART, lambda facts, control: facts.circuit.parts[control.part]),
        "wiper": attr(PIN, _pin("wiper")),
        "top": attr(PIN, _pin("top")),
        "foot": attr(PIN, _pin("foot")),
        "foot_first": attr(YesNo(), _foot_first),
        "bent_by": attr(
            ListOf(Thing("part", frozenset({"resistor"}))),
            lambda facts, control: Lot(tuple(facts.circuit.parts[key] for key in control.bent_by)),
        ),
        "law": attr(Word(frozenset(_LAWS.values())), _law),
        "coupled": attr(YesNo(), lambda facts, control: control.coupled),
        "load": attr(Number(OHM), lambda facts, control: control.load),
    }
}


def volume_text(facts: Facts, value: object) -> str | None:
    """How a volume control names itself: RV1, RV1 gang 2; None for other things."""
    if not isinstance(value, VolumeControl):
        return None
    said = facts.text_of(facts.circuit.parts[value.part])
    return f"{said} gang {value.gang}" if value.gang else said


def _controls(facts: Facts, trace: Trace, part: Part) -> Lot:
    return Lot(tuple(control for control in facts.volume_controls if control.part == part.key))


_POTENTIOMETER = Parameter("part", lambda kind: isinstance(kind, Thing) and kind.noun == "part", "a part")
VOLUME_FUNCTIONS: dict[str, Function] = {
    "volume_controls": Function(
        "volume_controls",
        (_POTENTIOMETER,),
        lambda types, named: ListOf(Thing("volume control")),
        _controls,
        "gangs of a potentiometer that are volume controls",
    )
}
