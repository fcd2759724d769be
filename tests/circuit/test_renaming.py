"""Renaming every reference leaves at least nine of ten kinds: the letters are the last evidence, not the first."""

from __future__ import annotations

from dataclasses import replace

from recognition import book, corpus_files, corpus_netlist, words

from netcheck.circuit.board import understand
from netcheck.intake.netlist import Netlist

LEAST = 0.9


def renamed(original: Netlist) -> tuple[Netlist, dict[str, str]]:
    """The same circuit with parts X1, X2, …, and the new names by the old."""
    references = dict.fromkeys(each.reference for each in original.components)
    names = {old: f"X{number}" for number, old in enumerate(references, 1)}
    nets = tuple(
        replace(
            net, nodes=tuple(replace(node, reference=names.get(node.reference, node.reference)) for node in net.nodes)
        )
        for net in original.nets
    )
    components = tuple(replace(each, reference=names[each.reference]) for each in original.components)
    return replace(original, components=components, nets=nets), names


def test_renaming_all_references_leaves_the_kinds() -> None:
    kept_of_all = parts_of_all = 0
    for path in corpus_files():
        original = corpus_netlist(path)
        other, names = renamed(original)
        before = {part.ref: part.kind for part in understand(original, "b", book(), words()).parts}
        after = {part.ref: part.kind for part in understand(other, "b", book(), words()).parts}
        kept = sum(after[names[ref]] == kind for ref, kind in before.items() if ref in names)
        lost = [ref for ref, kind in before.items() if ref in names and after[names[ref]] != kind]
        print(f"{path.name}: {kept} of {len(names)} {lost[:8]}")
        assert kept >= LEAST * len(names), f"{path.name}: {kept} of {len(names)}; changed: {lost[:20]}"
        kept_of_all += kept
        parts_of_all += len(names)
    print(f"{kept_of_all} of {parts_of_all} kinds are left, {kept_of_all / parts_of_all:.2%}")
