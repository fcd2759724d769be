"""What comes out when a rule is applied to a subject."""

from __future__ import annotations

from dataclasses import dataclass

OUTCOMES = ("finding", "clear", "undecided", "set aside")
CONSEQUENCES = ("hazard", "damage", "function", "make", "performance")  # gravest first
CURES = ("board", "part", "wiring", "statement")


@dataclass(frozen=True, slots=True)
class Failure:
    """One requirement that a subject fails: the sentence and what it leads to."""

    sentence: str
    consequence: str
    cure: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome of one rule for one subject.

    Attributes:
        rule: 'family/name'. outcome: of `OUTCOMES`. subject: as a person names it ("Q1", "+15V").
        keys: keys of the subject, those it is known by first; identity: 8 letters from rule and keys.
        boards: names of the boards it touches.
        failures: of a finding, the gravest first. reasons: of an undecided, what is missing.
        because: of a set aside. consequence, cure: the gravest that is or might be failed; of an undecided too.
        remedy: the rule's, filled in. notes: "C7 would, but is not fitted". evidence: keys of what was looked at.
        file, line: where the subject's first part or net stands.
        names: (name, text) pairs of what the rule's own names stood for, for the details of a finding.
    """

    rule: str
    outcome: str
    subject: str
    keys: tuple[str, ...]
    identity: str
    boards: tuple[str, ...]
    consequence: str
    cure: str
    failures: tuple[Failure, ...] = ()
    reasons: tuple[str, ...] = ()
    because: str = ""
    remedy: str = ""
    notes: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()
    file: str = ""
    line: int = 0
    names: tuple[tuple[str, str], ...] = ()

    @property
    def sentence(self) -> str:
        """All that is to be said of the subject, in one line."""
        if self.failures:
            return " ".join(failure.sentence for failure in self.failures)
        return self.because or "; ".join(self.reasons)
