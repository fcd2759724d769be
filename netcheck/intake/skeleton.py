"""The circuit as kinparse reads it: components with reference and value, nets with their nodes.

kinparse knows the clauses of the generations before 10, stops at any other, undoes no escapes and takes several
times as long over a whole file. So it is handed the circuit alone, in an even spelling; everything else that the file
says is attached afterwards. What it answers is compared with the scan, so that two independent readings agree before
anything is judged.
"""

from __future__ import annotations

import gc
import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from netcheck.ground.names import plain
from netcheck.ground.problems import Problem, Refused
from netcheck.intake.contents import net_code
from netcheck.intake.netlist import Netlist
from netcheck.intake.scan import Clause

# What may stand without quotes (kinparse is a quarter faster on it), and what is right between quotes.
_BARE = re.compile(r"""[^\s"'()\\\x00-\x1f\x7f]+""")
_QUOTED = re.compile(r"""[^\s"\\\x00-\x1f\x7f](?:[^"\\\x00-\x1f\x7f\x85\u2028\u2029]*[^\s"\\\x00-\x1f\x7f])?""")
_TOKEN = "~odd~"


# Components as (reference, value), nets as (code, name, nodes), all as kinparse gives them.
_Answer = tuple[list[tuple[str, str]], list[tuple[str, str, list[tuple[str, str]]]]]


@dataclass(frozen=True, slots=True)
class WiredNet:
    """A net as kinparse gives it: code, name, and its nodes as (reference, pin)."""

    code: str
    name: str
    nodes: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Wiring:
    """What kinparse answers: components as (reference, value) and nets. A value is None where the file has none."""

    components: tuple[tuple[str, str | None], ...]
    nets: tuple[WiredNet, ...]


class Spelling:
    """Texts as kinparse reads them back unharmed: odd ones are given a token and looked up again afterwards.

    >>> spelling = Spelling()
    >>> spelling.write("4k7"), spelling.write("Net-(C8-Pad2)"), spelling.write('5" display'), spelling.write(None)
    ('4k7', '"Net-(C8-Pad2)"', '~odd~0', '~odd~1')
    >>> spelling.read("4k7"), spelling.read("~odd~0"), spelling.read("~odd~1")
    ('4k7', '5" display', None)
    """

    def __init__(self) -> None:
        self._tokens: dict[str | None, str] = {}
        self._texts: dict[str, str | None] = {}

    def write(self, text: str | None) -> str:
        """The spelling of a text; None stands for a clause that is not there."""
        if text is not None and not text.startswith(_TOKEN):
            if _BARE.fullmatch(text):
                return text
            if _QUOTED.fullmatch(text):
                return f'"{text}"'
        token = self._tokens.setdefault(text, f"{_TOKEN}{len(self._tokens)}")
        self._texts[token] = text
        return token

    def read(self, word: str) -> str | None:
        """The text that a word of kinparse's answer stands for."""
        return self._texts.get(word, word)


def wiring(root: Clause, file: str, pieces: int = 1) -> Wiring:
    """Components and connections, read by kinparse.

    Args:
        root: the outermost clause. file: name for messages.
        pieces: into how many the circuit is cut, each but the first to be read in a process of its own. A process
            costs about as much to start as 200 nodes to read.

    Raises:
        Refused: when kinparse cannot read what it is handed, which is a fault of this module.

    >>> from netcheck.intake.scan import scan
    >>> text = '(export (components (comp (ref R1))) (nets (net (code 1) (name "") (node (ref R1) (pin 2)))))'
    >>> wiring(scan(text, "amp.net")[0], "amp.net")
    Wiring(components=(('R1', None),), nets=(WiredNet(code='1', name='', nodes=(('R1', '2'),)),))
    """
    spelling = Spelling()
    try:
        answers = _ask_all(skeleton(root, spelling, pieces))
    except Exception as error:
        what = f"kinparse cannot read the components and nets of this file: {plain(str(error))}"
        raise Refused(Problem(file, 0, 0, what)) from error

    def name(word: str) -> str:
        return str(spelling.read(word))

    return Wiring(
        components=tuple((name(ref), spelling.read(value)) for parts, _ in answers for ref, value in parts),
        nets=tuple(
            WiredNet(name(code), name(title), tuple((name(ref), name(pin)) for ref, pin in nodes))
            for _, nets in answers
            for code, title, nodes in nets
        ),
    )


def ask(text: str) -> _Answer:
    """What kinparse says to a netlist, as plain tuples that can travel between processes.

    >>> ask("(export (version E)(design)(components(comp(ref R1)(value 4k7)))(nets))")
    ([('R1', '4k7')], [])
    """
    import kinparse  # takes a twentieth of a second, and is not needed when the cache knows the file

    with warnings.catch_warnings(), _collecting_seldom():
        warnings.simplefilter("ignore", DeprecationWarning)  # kinparse uses the old names of pyparsing
        # As a stream: a text would be tried as the name of a file first.
        found = kinparse.parse_netlist(io.StringIO(text))
    parts = [(str(part.ref), str(part.value)) for part in found.parts]
    nets = [(str(net.code), str(net.name), [(str(pin.ref), str(pin.num)) for pin in net.pins]) for net in found.nets]
    return parts, nets


@contextmanager
def _collecting_seldom() -> Iterator[None]:
    """A parser makes many short-lived objects and no cycles worth a search: saves 4 to 8 % of its time."""
    former = gc.get_threshold()
    gc.set_threshold(max(former[0], 100_000) if former[0] else 0, *former[1:])
    try:
        yield
    finally:
        gc.set_threshold(*former)


def _ask_all(texts: list[str]) -> list[_Answer]:
    if len(texts) > 1:
        import multiprocessing
        from concurrent.futures import ProcessPoolExecutor
        from concurrent.futures.process import BrokenProcessPool

        try:
            with ProcessPoolExecutor(len(texts) - 1, mp_context=multiprocessing.get_context("spawn")) as pool:
                others = [pool.submit(ask, text) for text in texts[1:]]
                return [ask(texts[0]), *(other.result() for other in others)]
        except (BrokenProcessPool, OSError):
            pass  # no further processes are to be had here
    return [ask(text) for text in texts]


def skeleton(root: Clause, spelling: Spelling, pieces: int = 1) -> list[str]:
    """The circuit of a netlist in clauses that every version of kinparse knows.

    Cut into pieces of about the same work, each a netlist of its own with the components and nets whose turn it is,
    in the order of the file. Nets without a node are left out.
    """
    parts = [_part(clause, spelling) for clause in _inside(root, "components", "comp")]
    nets = [_net(clause, place, spelling) for place, clause in enumerate(_inside(root, "nets", "net"))]
    nets = [net for net in nets if net]
    return [
        f"(export (version E)(design)(components{''.join(some)})(nets{''.join(others)}))"
        for some, others in zip(_shares(parts, pieces), _shares(nets, pieces), strict=True)
    ]


def _part(clause: Clause, spelling: Spelling) -> str:
    value = None if clause.first("value") is None else clause.text("value")
    return f"(comp(ref {spelling.write(clause.text('ref'))})(value {spelling.write(value)}))"


def _net(clause: Clause, position: int, spelling: Spelling) -> str:
    nodes = [
        f"(node(ref {spelling.write(node.text('ref'))})(pin {spelling.write(node.text('pin'))}))"
        for node in clause.all("node")
    ]
    code, name = spelling.write(net_code(clause, position)), spelling.write(clause.text("name"))
    return f"(net(code {code})(name {name}){''.join(nodes)})" if nodes else ""


def _inside(root: Clause, section: str, name: str) -> Iterator[Clause]:
    for holder in root.all(section):
        yield from holder.all(name)


def _shares(texts: list[str], pieces: int) -> list[list[str]]:
    """Texts in runs of about the same length.

    >>> _shares(["aaaa", "b", "c", "d", "e"], 2)
    [['aaaa'], ['b', 'c', 'd', 'e']]
    """
    shares: list[list[str]] = [[] for _ in range(pieces)]
    total, passed = sum(map(len, texts)) or 1, 0
    for text in texts:
        shares[passed * pieces // total].append(text)
        passed += len(text)
    return shares


def compare(read: Wiring, scanned: Netlist) -> None:
    """Hold the two readings of one file against each other.

    Raises:
        Refused: when they differ in a component, a value, a net, a name or a node, with the first difference.
    """
    mine = [(component.reference, component.value, component.line) for component in scanned.components]
    for number, (reference, value, line) in enumerate(mine):
        other = read.components[number] if number < len(read.components) else ("nothing", None)
        if other != (reference, value):
            raise _differ(scanned.file, line, f"{reference} = {value}", f"{other[0]} = {other[1]}")
    nets = [net for net in scanned.nets if net.nodes]
    for number, net in enumerate(nets):
        wired = read.nets[number] if number < len(read.nets) else WiredNet("none", "", ())
        if (wired.code, wired.name) != (net.code, net.name):
            ours, theirs = f"net {net.code} '{net.name}'", f"net {wired.code} '{wired.name}'"
            raise _differ(scanned.file, net.line, ours, theirs)
        nodes = tuple((node.reference, node.pin) for node in net.nodes)
        if wired.nodes != nodes:
            shown = [" ".join(f"{reference}.{pin}" for reference, pin in some) for some in (nodes, wired.nodes)]
            raise _differ(scanned.file, net.line, shown[0], shown[1])
    for what, ours_count, theirs_count in (
        ("components", len(mine), len(read.components)),
        ("nets", len(nets), len(read.nets)),
    ):
        if ours_count != theirs_count:
            raise _differ(scanned.file, 0, f"{ours_count} {what}", f"{theirs_count} {what}")


def _differ(file: str, line: int, ours: str, theirs: str) -> Refused:
    what = f"two readings of this place differ: '{plain(ours)}' by the scan, '{plain(theirs)}' by kinparse"
    return Refused(Problem(file, line, 0, f"{what}; nothing is judged on a doubtful reading, please report this file"))
