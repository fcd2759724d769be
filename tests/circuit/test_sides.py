"""Names of two channels, whatever they hold."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.circuit.sides import pairs_by_side, side_words, sides_of

WORDS = side_words(["L/R", "LEFT/RIGHT"])
STEMS = st.text(st.sampled_from("INOUTFB129/_ -+éß\u0130"), min_size=1, max_size=20)


@given(STEMS)
@settings(max_examples=100, deadline=None)
def test_a_name_with_either_side_makes_one_pair(stem: str) -> None:
    names = {"a": f"{stem}_L", "b": f"{stem}_R"}
    assert pairs_by_side(names, WORDS) == [("a", "b")]
    assert pairs_by_side({"b": names["b"], "a": names["a"]}, WORDS) == [("a", "b")]


@given(st.text(max_size=400))
@settings(max_examples=100, deadline=None)
def test_any_text_is_read(text: str) -> None:
    assert all(any("*" in word for word in sided.rest) for sided in sides_of(text, WORDS))


def test_one_of_three_alike_tells_nothing() -> None:
    assert pairs_by_side({"a": "IN_L", "b": "IN_R", "c": "in_l"}, WORDS) == []
