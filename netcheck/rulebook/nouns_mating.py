"""Ways in which connectors go together, and what meets at their contacts, as rules see them."""

from __future__ import annotations

from netcheck.circuit.model import Net
from netcheck.language.types import Attribute, ListOf, Text, Thing, Word, YesNo
from netcheck.language.values import Lot, Unknown
from netcheck.physics.mating import Contact, Mating
from netcheck.physics.meeting import EFFECTS, effect, ground_lost, palindrome, protected
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import attr

PART, PIN, NET = Thing("part"), Thing("pin"), Thing("net")
WAYS = frozenset({"right", "turned", "shifted"})


def _net_or_nothing(facts: Facts, key: str | None) -> Net | None:
    return None if key is None else facts.circuit.nets[key]


def _effect(facts: Facts, contact: Contact) -> str:
    here, there = facts.circuit.nets[contact.here], _net_or_nothing(facts, contact.there)
    return effect(facts.circuit, here, there, facts.joined_nets)


def _protected(facts: Facts, contact: Contact) -> object:
    """Whether what stands behind the pin bears a wrong polarity; in an assembly, also what stands at the far end."""
    nets = [facts.circuit.nets[contact.here]]
    there = _net_or_nothing(facts, contact.there)
    if there is not None and there.board != nets[0].board:
        nets.append(there)
    found = [protected(facts.circuit, net) for net in nets]
    if True in found:
        return True
    doubtful = [net for net, bears in zip(nets, found, strict=True) if bears is None]
    reasons = tuple(f"what protects {facts.net_text(net)} is not known" for net in doubtful)
    return Unknown(reasons) if reasons else False


def _possible(facts: Facts, mating: Mating) -> object:
    if mating.possible is None:
        return Unknown((f"whether {facts.text_of(facts.circuit.parts[mating.near])} is keyed is not known",))
    return mating.possible


def _joined(facts: Facts, mating: Mating) -> object:
    if mating.far is None and not facts.is_mated(facts.circuit.parts[mating.near]):
        near = facts.text_of(facts.circuit.parts[mating.near])
        return Unknown((f"what {near} is joined to is not given",))
    return True


MATING_ATTRIBUTES: dict[str, Attribute] = {
    "near": attr(PART, lambda facts, mating: facts.circuit.parts[mating.near]),
    "far": attr(
        PART,
        lambda facts, mating: (
            facts.circuit.parts[mating.far]
            if mating.far is not None
            else Unknown((f"what {facts.text_of(facts.circuit.parts[mating.near])} is joined to is not given",))
        ),
    ),
    "cable": attr(Text(), lambda facts, mating: mating.cable),
    "way": attr(Word(WAYS), lambda facts, mating: mating.way),
    "step": attr(Text(), lambda facts, mating: mating.step),
    "possible": attr(YesNo(), _possible),
    "joined": attr(YesNo(), _joined),
    "supply_entry": attr(YesNo(), lambda facts, mating: mating.supply_entry),
    "contacts": attr(ListOf(Thing("contact")), lambda facts, mating: Lot(mating.contacts)),
    "palindrome": attr(YesNo(), lambda facts, mating: palindrome(facts.circuit, mating, facts.joined_nets)),
    "ground_lost": attr(YesNo(), lambda facts, mating: ground_lost(facts.circuit, mating)),
}
CONTACT_ATTRIBUTES: dict[str, Attribute] = {
    "pin": attr(PIN, lambda facts, contact: facts.circuit.pins[contact.pin]),
    "meets": attr(Text(), lambda facts, contact: contact.meets),
    "here": attr(NET, lambda facts, contact: facts.circuit.nets[contact.here]),
    "there": attr(NET, lambda facts, contact: _net_or_nothing(facts, contact.there)),
    "effect": attr(Word(frozenset(EFFECTS)), lambda facts, contact: _effect(facts, contact)),
    "protected": attr(YesNo(), lambda facts, contact: _protected(facts, contact)),
}
