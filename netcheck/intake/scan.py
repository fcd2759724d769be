"""One pass over the s-expressions of a netlist: clauses with their texts and the lines where they begin."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from netcheck.ground.names import plain
from netcheck.ground.problems import Problem, Refused
from netcheck.intake.text import place

# Real files go ten levels deep; a limit keeps a hostile one from being built at all.
MOST_LEVELS = 60
# A clause costs about a kilobyte once it is built; a board of 20 000 parts has some 600 000.
MOST_CLAUSES = 2_000_000

# Possessive repeats (*+): a string that is never closed costs one pass, not one for each of its characters.
_TOKEN = re.compile(
    r"""
      (?P<blank>\s+)
    | (?P<open>\()
    | (?P<close>\))
    | (?P<string>"[^"\\]*+(?:\\.[^"\\]*+)*+")
    | (?P<quote>")
    | (?P<bare>[^\s()]++)
    """,
    re.VERBOSE | re.DOTALL,
)
# Editors write the end of a line inside a text as \n; a text that takes in clauses has lost its closing quote.
_SWALLOWED = re.compile(r"\n\s*\(\w")
_PARENTHESIS = re.compile(r"[()]")
_ESCAPE = re.compile(r'\\(["\\nrt])')
_ESCAPED = {'"': '"', "\\": "\\", "n": "\n", "r": "\r", "t": "\t"}

# Where the clauses belong that a missing parenthesis pushes into their elder sister.
_PARENTS = {"comp": "components", "net": "nets", "node": "net", "nets": "export", "libparts": "export"}
_PARENTS |= {"components": "export", "libraries": "export", "design": "export"}


@dataclass(slots=True)
class Clause:
    """`(name text … (clause …) …)`; filled while scanning and left alone afterwards.

    Attributes:
        name: the word behind the parenthesis. texts: the other words, quotes and escapes undone.
        clauses: those inside, in order. line, column: of the parenthesis, from 1.
    """

    name: str
    line: int
    column: int
    texts: list[str] = field(default_factory=list)
    clauses: list[Clause] = field(default_factory=list)

    def all(self, name: str) -> Iterator[Clause]:
        """Clauses of a name directly inside."""
        return (clause for clause in self.clauses if clause.name == name)

    def first(self, *names: str) -> Clause | None:
        """The first clause directly inside that has one of the names."""
        return next((clause for clause in self.clauses if clause.name in names), None)

    def text(self, *names: str) -> str:
        """The text of the first clause of one of these names; empty when there is none."""
        found = self.first(*names)
        return "" if found is None else " ".join(found.texts)


def scan(text: str, file: str) -> tuple[Clause, str]:
    """The one clause that a netlist is, and whatever stands behind it.

    A quoted string knows the escapes \\" \\\\ \\n \\r \\t. In a word without quotes, as generations up to 5 write
    them, a backslash is a backslash except before a quote, and apostrophes and quotes inside it are letters.

    Raises:
        Refused: when parentheses or quotes do not match, or the text is nested or long beyond any netlist.

    >>> root, rest = scan('(net (code 7) (name "Net-(U1-Pad3)"))', "amp.net")
    >>> root.name, root.text("code"), root.text("name"), rest
    ('net', '7', 'Net-(U1-Pad3)', '')
    >>> scan('(net (name CS\\\\))', "amp.net")[0].text("name")
    'CS\\\\'
    """
    root: Clause | None = None
    stack: list[Clause] = []
    named = True
    count = 0
    for sort, word, at, line, column in _words(text):
        if sort == "open":
            clause = Clause("", line, column)
            if stack:
                stack[-1].clauses.append(clause)
            elif root is None:
                root = clause
            else:
                raise _behind(text, at, file)
            stack.append(clause)
            named = False
            count += 1
            _refuse_excess(len(stack), count, clause, file)
        elif sort == "close":
            if not stack:
                raise Refused(Problem(file, line, column, "this ) closes nothing; the file is damaged"))
            stack.pop()
            named = True
        elif not stack:
            return _whole(root, text, at, file)
        elif sort == "quote" or (sort == "string" and _SWALLOWED.search(word)):
            what = "the quote that opens here is not closed where its text ends; the file is cut short or damaged"
            raise Refused(Problem(file, line, column, what))
        elif named:
            stack[-1].texts.append(_undone(word, quoted=sort == "string"))
        else:
            stack[-1].name, named = _undone(word, quoted=sort == "string"), True
    if root is not None and stack:
        raise _never_closed(root, stack[-1], file)
    return _whole(root, text, len(text), file)


def _words(text: str) -> Iterator[tuple[str, str, int, int, int]]:
    """Parentheses and words, blanks left out: sort, text, position, line, column."""
    line, line_start = 1, 0
    for match in _TOKEN.finditer(text):
        sort, word, at = match.lastgroup or "", match[0], match.start()
        if sort != "blank":
            yield sort, word, at, line, at - line_start + 1
        if sort in ("blank", "string") and "\n" in word:
            line += word.count("\n")
            line_start = at + word.rindex("\n") + 1


def _refuse_excess(levels: int, count: int, clause: Clause, file: str) -> None:
    if levels > MOST_LEVELS:
        what = f"parentheses are nested deeper than {MOST_LEVELS} levels; a netlist has about ten"
    elif count > MOST_CLAUSES:
        what = f"more than {MOST_CLAUSES} clauses; no board has that many"
    else:
        return
    raise Refused(Problem(file, clause.line, clause.column, what))


def _whole(root: Clause | None, text: str, end: int, file: str) -> tuple[Clause, str]:
    """The root and the text from its end on, in which no other clause may begin or end."""
    if root is None:
        raise Refused(Problem(file, place(text, end)[0], 0, "a netlist begins with '(export', this does not"))
    more = _PARENTHESIS.search(text, end)
    if more is None:
        return root, text[end:].strip()
    if more[0] == "(":
        raise _behind(text, more.start(), file)
    raise Refused(Problem(file, *place(text, more.start()), "this ) closes nothing; the file is damaged"))


def _behind(text: str, at: int, file: str) -> Refused:
    """The refusal of a clause that begins behind the end of the outermost one."""
    if re.match(r"\(\s*export\b", text[at : at + 100]):
        return Refused(Problem(file, *place(text, at), "a second netlist begins here; one file holds one"))
    last, _ = place(text, max(text.rfind(")", 0, at), 0))
    what = f"the netlist ended in line {last}, but here it goes on: a ) too many stands before this place"
    return Refused(Problem(file, *place(text, at), what))


def _undone(word: str, *, quoted: bool) -> str:
    if quoted:
        word = word[1:-1]
        return _ESCAPE.sub(lambda match: _ESCAPED[match[1]], word) if "\\" in word else word
    return word.replace('\\"', '"') if '"' in word else word


def _never_closed(root: Clause, innermost: Clause, file: str) -> Refused:
    """The parenthesis to blame: one whose younger sister was found inside it, else the innermost that is open."""
    wrong = misplaced(root)
    if wrong is not None:
        holder, child = wrong
        what = f"this ( is never closed: '({plain(child.name)}' of line {child.line} was found inside it"
        return Refused(Problem(file, holder.line, holder.column, what))
    what = f"this ( is never closed; the file ends inside '({plain(innermost.name, 30)}' and is cut short or damaged"
    return Refused(Problem(file, innermost.line, innermost.column, what))


def misplaced(root: Clause) -> tuple[Clause, Clause] | None:
    """The first section, component, net or node that stands in a clause where it does not belong, with its holder.

    Clauses that are not known are not looked into.

    >>> root, _ = scan("(export (components (comp (ref R1) (comp (ref R2)))))", "amp.net")
    >>> holder, child = misplaced(root)
    >>> holder.text("ref"), child.text("ref")
    ('R1', 'R2')
    """
    known = {"export", "components", "comp", "nets", "net", "node", "value", "footprint", "ref", "libparts", "design"}
    waiting = [(root, child) for child in reversed(root.clauses)]
    while waiting:
        holder, child = waiting.pop()
        if _PARENTS.get(child.name, holder.name) != holder.name:
            return holder, child
        if child.name in known:
            waiting.extend((child, inner) for inner in reversed(child.clauses))
    return None
