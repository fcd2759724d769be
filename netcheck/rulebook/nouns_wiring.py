"""What rules can ask of plugs, of outputs behind a net and of names on connectors."""

from __future__ import annotations

from collections.abc import Mapping

from netcheck.circuit.model import Part, Pin
from netcheck.circuit.opposites import opposed, pairs_of, sided, tokens
from netcheck.ground.names import spoken_list
from netcheck.language.scope import Trace
from netcheck.language.types import Function, ListOf, Parameter, Text, Thing, Type, Word, YesNo
from netcheck.language.values import Lot, Perhaps, Unknown
from netcheck.physics.outputs import on_board, outputs_behind
from netcheck.physics.plugs import exchanged, rests_on, same_socket
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions import PLACE, THROUGH, UP_TO, kinds_of, net_key
from netcheck.rulebook.signatures import always


def _thing(noun: str, name: str) -> Parameter:
    return Parameter(name, lambda kind: isinstance(kind, Thing) and kind.noun == noun, f"a {noun}")


def _is_texts(kind: Type) -> bool:
    return isinstance(kind, ListOf) and isinstance(kind.item, Text | Word)


_TEXT = Parameter("text", lambda kind: isinstance(kind, Text | Word), "a text")
_OTHER_TEXT = Parameter("other", lambda kind: isinstance(kind, Text | Word), "a text")
_THINGS = Parameter("things", lambda kind: isinstance(kind, ListOf), "a list")
_PAIRS = Parameter("pairs", _is_texts, "a list of pairs of words, 'left/right'")


def _pairs(pairs: Lot) -> Mapping[str, frozenset[str]]:
    return pairs_of(str(pair) for pair in pairs.members)


def _opposed(facts: Facts, trace: Trace, text: str, other: str, pairs: Lot) -> bool:
    return opposed(text, other, _pairs(pairs))


def _sided(facts: Facts, trace: Trace, text: str, pairs: Lot) -> bool:
    return sided(text, _pairs(pairs))


def _same_words(facts: Facts, trace: Trace, text: str, other: str) -> bool:
    return bool(tokens(text)) and tokens(text) == tokens(other)


def _rests_on(facts: Facts, trace: Trace, contact: Pin) -> object:
    part = facts.circuit.parts[contact.part]
    found = rests_on(part, contact)
    said = f"what {facts.text_of(part)} pin {contact.number} touches without a plug is not known"
    return found if found is not None else Unknown((said,))


def _same_socket(facts: Facts, trace: Trace, a: Part, b: Part) -> bool:
    return same_socket(a, b)


def _exchanged(facts: Facts, trace: Trace, a: Part, b: Part) -> Lot:
    found = exchanged(facts.circuit, a, b)
    trace.saw([a.key, b.key])
    return Lot(found)


def _outputs_behind(facts: Facts, trace: Trace, a: object, up_to: float) -> Lot:
    sure, perhaps = outputs_behind(facts.walks, net_key(a), up_to)
    trace.step(len(sure) + len(perhaps))
    trace.saw([net_key(a), *(pin.key for pin in sure)])
    return Lot(sure, tuple(Perhaps(pin, reasons) for pin, reasons in perhaps))


def _on_board(facts: Facts, trace: Trace, a: object, through: object, up_to: float) -> Lot:
    found = on_board(facts.walks, net_key(a), kinds_of(through), up_to)
    trace.step(len(found))
    return Lot(found)


def _briefly(facts: Facts, trace: Trace, things: Lot) -> str:
    """The first thing of a list and how many others: GND and 5 others."""
    from netcheck.rulebook.vocabulary import name_of

    named = [name_of(facts, thing) for thing in things.members]
    if len(named) < 3:
        return spoken_list(named)
    return f"{named[0]} and {len(named) - 1} others"


WIRING_FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("opposed", (_TEXT, _OTHER_TEXT, _PAIRS), always(YesNo()), _opposed,
                 "whether two names differ in one word only, and by pairs of opposites as 'left/right'"),
        Function("sided", (_TEXT, _PAIRS), always(YesNo()), _sided, "whether a name holds a word of such a pair"),
        Function("same_words", (_TEXT, _OTHER_TEXT), always(YesNo()), _same_words,
                 "whether two names are made of the same words, signs between them aside"),
        Function("rests_on", (_thing("pin", "contact"),), always(Thing("pin")), _rests_on,
                 "the spring of a jack that touches a switch contact as long as no plug is in"),
        Function("same_socket", (_thing("part", "a"), _thing("part", "b")), always(YesNo()), _same_socket,
                 "whether the plug of one connector goes into the other as well"),
        Function("exchanged", (_thing("part", "a"), _thing("part", "b")), always(ListOf(Thing("contact"))), _exchanged,
                 "what meets at each pin of a when the plug of b is put there"),
        Function("briefly", (_THINGS,), always(Text()), _briefly,
                 "the first of a list and how many others, 'GND and 5 others'"),
        Function("outputs_behind", (PLACE, UP_TO), always(ListOf(Thing("pin"))), _outputs_behind,
                 "outputs that drive a through resistors of up to so many ohms in series, whatever else lies between"),
        Function("on_board", (PLACE, THROUGH, UP_TO), always(ListOf(Thing("net"))), _on_board,
                 "nets of its own board that a leads to through parts of those kinds, resistors up to so many ohms"),
    )
}  # fmt: skip
