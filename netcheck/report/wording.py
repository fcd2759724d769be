"""Words of the report: one set for page, text and SARIF."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from netcheck.gates import HELD, NOT_KNOWN, RELEASED
from netcheck.ground.names import plain, spoken_list
from netcheck.intake.assembly import CHASSIS
from netcheck.review import Review, RuleAccount

BLANKS = re.compile(r"[ \t\r\n\f\v]+")
CONSEQUENCE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "hazard": "may hurt someone",
        "damage": "may destroy parts",
        "function": "does not work as drawn",
        "make": "cannot be ordered or assembled as drawn",
        "performance": "hum, noise, distortion or response suffer",
    }
)
CURE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "board": "the board itself must change (copper)",
        "part": "another part or value on the same pads",
        "wiring": "cable or case wiring must change",
        "statement": "netcheck must be told more",
    }
)
GATE_QUESTIONS: Mapping[str, str] = MappingProxyType({"order": "May we order?", "power-up": "May we switch on?"})
STATE_MEANINGS: Mapping[str, str] = MappingProxyType(
    {
        RELEASED: "nothing that was looked at holds it",
        HELD: "at least one finding holds it",
        NOT_KNOWN: "a grave question is open",
    }
)
STATUS_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "read": "read in the source",
        "memory": "from memory, not looked up",
        "common practice": "common practice, no source",
    }
)
NOT_LOOKED_AT = (
    "layout: where parts stand, how tracks run, copper widths and planes",
    "placement: whether a decoupling capacitor stands beside the pin that it is for",
    "creepage and air distances, near mains above all",
    "emission and immunity (EMC)",
    "how heat leaves the case; mechanical fit, drawings of the case",
    "wiring that is in none of the files; whatever was changed on the bench",
    "programs in microcontrollers, and what parts of unknown kind do",
)


def board_count(review: Review) -> int:
    """How many boards there are; the parts in the case of an assembly are none."""
    boards = [board.name for board in review.circuit.boards]
    return len([name for name in boards if not (review.assembly_given and name == CHASSIS)])


def prose(text: str, most: int = 4000) -> str:
    """Text for a reader: white space as single blanks, control and direction marks visible, length bounded.

    >>> prose("one\\n two \\u202e")
    'one two <U+202E>'
    """
    return plain(BLANKS.sub(" ", text).strip(), most)


def clip(text: str, most: int) -> str:
    """A text of at most so many letters; a longer one is cut between two words.

    >>> clip("Q1 reaches OUT through nothing", 18)
    'Q1 reaches OUT …'
    """
    if len(text) <= most:
        return text
    cut = text[: most - 1]
    if " " in cut[most // 2 :]:
        cut = cut[: cut.rindex(" ") + 1]
    return cut + "…"


def counted(number: int, one: str, many: str = "") -> str:
    """A number with its noun; thousands are set apart by a narrow blank.

    >>> counted(1, "finding"), counted(0, "finding"), counted(2, "entry", "entries")
    ('1 finding', '0 findings', '2 entries')
    """
    return f"{number:,}".replace(",", "\N{NARROW NO-BREAK SPACE}") + " " + (one if number == 1 else many or one + "s")


def headline(review: Review) -> str:
    """The answer to both gates in one or two sentences."""
    return " ".join(
        _gate_sentence(review, name, title) for name, title in (("order", "Order"), ("power-up", "Power-up"))
    )


def _gate_sentence(review: Review, name: str, title: str) -> str:
    by_state: dict[str, list[str]] = {HELD: [], NOT_KNOWN: [], RELEASED: []}
    for board, gates in review.board_gates.items():
        by_state[gates[name].state].append(prose(board, 40))
    state = review.gates[name].state
    boards = by_state[state]
    if state == RELEASED:
        return f"{title} is released, as far as was looked."
    told = (
        f" {'by' if state == HELD else 'about'} {spoken_list(boards)}" if len(review.board_gates) > 1 and boards else ""
    )
    return f"{title} is held{told}." if state == HELD else f"{title}: not enough known{told}."


def opening(text: str) -> str:
    """A clause as the beginning of a sentence; a name that happens to come first keeps its letters.

    >>> opening("what J1 is joined to is not given"), opening("out_l has no load")
    ('What J1 is joined to is not given', 'out_l has no load')
    """
    first = text.partition(" ")[0]
    return text[:1].upper() + text[1:] if first.isalpha() and first.islower() and len(first) > 1 else text


def filled(account: RuleAccount) -> str:
    """The remedy of a rule in general: limits stand in it as values, whatever else it asks for by its name.

    >>> filled(RuleAccount("a/b", "", "", "Put {{least}} in {{arm.device}}.", "damage", "board", (),
    ...                    (("least", "0.1 Ω", ""),), "", "", True, {}))
    'Put 0.1 Ω in the arm device.'
    >>> filled(RuleAccount("a/b", "", "", "Join {{briefly(grounds)}} to the {{cable}}.", "damage", "board", (),
    ...                    (), "", "", True, {}))
    'Join the grounds to the cable.'
    """
    values = {name.replace("_", " "): value for name, value, _ in account.limits}

    def fill(match: re.Match[str]) -> str:
        asked = re.sub(r"briefly\((.*)\)", r"\1", match[2].strip())
        name = re.sub(r"[._]", " ", asked)
        plain_name = name if match[1] else f"the {name}"
        return match[1] + (values.get(name) or (plain_name if re.fullmatch(r"[A-Za-z0-9 ]+", name) else "…"))

    return re.sub(r"(\bthe |)\{\{(.{0,200}?)\}\}", fill, account.remedy)
