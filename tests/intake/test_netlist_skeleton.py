"""kinparse reads the circuit, whatever names it has, and must agree with the scan."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.ground.problems import Refused
from netcheck.intake import skeleton as skeleton_module
from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Netlist
from netcheck.intake.reading import read_text
from netcheck.intake.scan import scan
from netcheck.intake.skeleton import Spelling, WiredNet, Wiring, ask, compare, skeleton, wiring

TEXT = """(export (version D)
  (components (comp (ref R1) (value 4k7)) (comp (ref C1)))
  (nets
    (net (code 1) (name /IN) (node (ref R1) (pin 1)) (node (ref C1) (pin 2)))
    (net (code 2) (name /SPARE))
    (net (code 3) (name "Net-(C1-Pad1)") (node (ref C1) (pin 1)))))
"""


def scanned() -> Netlist:
    return read_contents(scan(TEXT, "amp.net")[0], "amp.net", "")


def wired() -> Wiring:
    return wiring(scan(TEXT, "amp.net")[0], "amp.net")


def test_kinparse_gives_components_and_connections() -> None:
    assert wired() == Wiring(
        components=(("R1", "4k7"), ("C1", None)),
        nets=(
            WiredNet("1", "/IN", (("R1", "1"), ("C1", "2"))),
            WiredNet("3", "Net-(C1-Pad1)", (("C1", "1"),)),
        ),
    )


def test_both_readings_agree() -> None:
    compare(wired(), scanned())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda w: replace(w, components=w.components[:1]), "'C1 = None' by the scan, 'nothing = None' by kinparse"),
        (lambda w: replace(w, components=(*w.components, ("R9", "1k"))), "'2 components' by the scan, '3 components'"),
        (lambda w: replace(w, components=(("R1", "4k8"), w.components[1])), "'R1 = 4k7' by the scan, 'R1 = 4k8'"),
        (lambda w: replace(w, nets=w.nets[:1]), "'net 3 'Net-(C1-Pad1)'' by the scan"),
        (lambda w: replace(w, nets=(*w.nets, WiredNet("9", "X", ()))), "'2 nets' by the scan, '3 nets' by kinparse"),
        (lambda w: replace(w, nets=(replace(w.nets[0], name="/OUT"), w.nets[1])), "'net 1 '/OUT'' by kinparse"),
        (lambda w: replace(w, nets=(replace(w.nets[0], nodes=(("R1", "1"),)), w.nets[1])), "'R1.1 C1.2' by the scan"),
    ],
)
def test_a_difference_is_refused_and_named(change: object, words: str) -> None:
    with pytest.raises(Refused) as refusal:
        compare(change(wired()), scanned())  # type: ignore[operator]
    assert words in refusal.value.problems[0].what


def test_what_kinparse_cannot_read_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(skeleton_module, "skeleton", lambda *_: ["(export (nonsense))"])
    with pytest.raises(Refused, match="kinparse cannot read"):
        wired()


def test_a_large_board_is_cut_without_loss() -> None:
    root, _ = scan(TEXT, "amp.net")
    spelling = Spelling()
    answers = [ask(piece) for piece in skeleton(root, spelling, pieces=3)]
    assert [spelling.read(ref) for parts, _ in answers for ref, _ in parts] == ["R1", "C1"]
    assert [code for _, nets in answers for code, _, _ in nets] == ["1", "3"]


def test_pieces_read_in_processes_give_the_same() -> None:
    assert wiring(scan(TEXT, "amp.net")[0], "amp.net", pieces=2) == wired()


odd = st.text(st.characters(exclude_categories=["Cs", "Cc"], include_characters="\n\t"), max_size=10) | st.sampled_from(
    [
        "",
        " ",
        '"',
        '""',
        "\\",
        '\\"',
        "'",
        "'a'",
        '"a"',
        "(",
        ")",
        "(a)",
        " a",
        "a ",
        "~odd~0",
        "~odd~",
        "a\tb",
        "a\u00a0b",
        "\u2028",
    ]
)


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(odd.filter(bool), odd), min_size=1, max_size=4, unique_by=lambda item: item[0]),
    st.lists(st.tuples(odd, st.lists(st.tuples(odd.filter(bool), odd.filter(bool)), max_size=3)), max_size=4),
)
def test_odd_names_come_through_both_readings(
    parts: list[tuple[str, str]], nets: list[tuple[str, list[tuple[str, str]]]]
) -> None:
    pieces = ["(export (components"]
    pieces += [f"(comp (ref {quoted(reference)}) (value {quoted(value)}))" for reference, value in parts]
    pieces.append(") (nets")
    for code, (name, nodes) in enumerate(nets):
        inner = "".join(f"(node (ref {quoted(reference)}) (pin {quoted(pin)}))" for reference, pin in nodes)
        pieces.append(f"(net (code {code}) (name {quoted(name)}) {inner})")
    netlist = read_text("\n".join([*pieces, "))"]).encode(), "amp.net")
    assert [(component.reference, component.value) for component in netlist.components] == parts
    assert [(net.name, [(node.reference, node.pin) for node in net.nodes]) for net in netlist.nets] == nets


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet=st.sampled_from("()\"\\' \nrefcomp1"), max_size=40), st.integers(0, len(TEXT)))
def test_any_damage_gives_a_netlist_or_a_refusal(damage: str, at: int) -> None:
    data = (TEXT[:at] + damage + TEXT[at + len(damage) :]).encode()
    try:
        netlist = read_text(data, "amp.net")
    except Refused as refusal:
        assert all(problem.file == "amp.net" for problem in refusal.problems)
    else:
        assert netlist.components
