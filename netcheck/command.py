"""The command line: review, read, rules, explain, prove.

Heavy packages are imported inside the commands, so that `--help` answers at once.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from netcheck.intake.netlist import Netlist
    from netcheck.review import Plan
    from netcheck.rulebook.book import RuleBook
    from netcheck.rulebook.rule import Rule

COULD_NOT = 2
ASSEMBLY_SUFFIXES = (".yaml", ".yml")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; gives the exit code: 0 released, 1 held, 2 could not review, 3 not enough known."""
    options = _parser().parse_args(arguments)
    from netcheck.ground.collecting import collect_seldom
    from netcheck.ground.problems import Refused

    collect_seldom()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    run: Callable[[argparse.Namespace], int] = options.run
    try:
        return run(options)
    except Refused as refused:
        for problem in refused.problems[:40]:
            print(problem, file=sys.stderr)
        if len(refused.problems) > 40:
            print(f"and {len(refused.problems) - 40} more", file=sys.stderr)
        return COULD_NOT
    except OSError as error:
        print(f"{error.filename or 'a file'}: {error.strerror or error}", file=sys.stderr)
        return COULD_NOT
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return COULD_NOT


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="netcheck",
        description="Reviews the schematics of small audio gear, from their netlists, before the boards are ordered.",
        epilog="Exit codes: 0 released, 1 held, 2 could not review, 3 not enough known.",
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    review = commands.add_parser("review", help="review an assembly, or netlists side by side, and write the report")
    review.add_argument("files", nargs="+", type=Path, metavar="FILE", help="an assembly file, or netlists of boards")
    review.add_argument("--out", type=Path, metavar="FILE", help="where the report goes (default: NAME.report.html)")
    review.add_argument("--sarif", type=Path, metavar="FILE", help="also write the verdicts as SARIF 2.1.0")
    review.add_argument("--gate", choices=("order", "power-up"), help="let the exit code speak of this gate only")
    review.add_argument("--quiet", action="store_true", help="print nothing but problems")
    _common(review)
    review.set_defaults(run=_review)

    read = commands.add_parser("read", help="show what a netlist or an assembly was taken for, and on what evidence")
    read.add_argument("file", type=Path, metavar="FILE", help="netlist of a board, or an assembly file")
    read.add_argument("--numbers", action="store_true", help="also compute what the circuit will do")
    _common(read)
    read.set_defaults(run=_read)

    draft = commands.add_parser("draft", help="write a first assembly file from netlists, to be edited")
    draft.add_argument("files", nargs="+", type=Path, metavar="FILE", help="netlist of a board")
    draft.add_argument("--out", type=Path, metavar="FILE", help="where it goes (default: printed); never over a file")
    _common(draft)
    draft.set_defaults(run=_draft)

    rules = commands.add_parser("rules", help="list the rules")
    _common(rules, cache=False)
    rules.set_defaults(run=_rules)

    explain = commands.add_parser("explain", help="explain a rule, a shape, or the words of the rule language")
    explain.add_argument("what", metavar="RULE", help="FAMILY/NAME, the name of a shape, or 'words'")
    _common(explain, cache=False)
    explain.set_defaults(run=_explain)

    prove = commands.add_parser("prove", help="run the samples of rules")
    prove.add_argument("files", nargs="*", type=Path, metavar="FILE", help="rule files (default: all rules)")
    prove.add_argument("--break", dest="break_it", action="store_true", help="break each rule; a sample must notice")
    _common(prove, cache=False)
    prove.set_defaults(run=_prove)
    return parser


def _common(parser: argparse.ArgumentParser, cache: bool = True) -> None:
    parser.add_argument("--house", type=Path, action="append", default=[], metavar="FOLDER", help="house rules")
    if cache:
        parser.add_argument("--no-cache", action="store_true", help="read the netlist anew")


def _book(options: argparse.Namespace, more: Sequence[Path] = (), with_samples: bool = False) -> RuleBook:
    from netcheck.rulebook.book import load_rule_book

    return load_rule_book(house=[*options.house, *more], with_samples=with_samples)


def _netlists(options: argparse.Namespace, files: Sequence[Path]) -> list[Netlist]:
    from netcheck.intake.reading import read_netlists

    return list(read_netlists(files, cache=not options.no_cache))


def _tell(said: str) -> None:
    print(f"  {said} …", file=sys.stderr, flush=True)


def _silent(said: str) -> None:
    """Progress is for a terminal only."""


def _review(options: argparse.Namespace) -> int:
    from datetime import datetime

    from netcheck.ground.files import write_whole
    from netcheck.report.page import render_page
    from netcheck.report.sarif import dumps, sarif
    from netcheck.report.text import summary
    from netcheck.review import exit_code, review

    tell = _tell if sys.stderr.isatty() and not options.quiet else _silent
    plan, stem = _plan(options, tell)
    result = review(plan, tell, numbers=True)
    out = options.out or Path(f"{stem}.report.html")
    write_whole(out, render_page(result, datetime.now().astimezone()))
    if options.sarif:
        write_whole(options.sarif, dumps(sarif(result)))
    if not options.quiet:
        colour = sys.stdout.isatty()
        print(summary(result, _width(), colour, str(out)))
    return exit_code(result, options.gate)


def _plan(options: argparse.Namespace, tell: Callable[[str], None]) -> tuple[Plan, str]:
    """What is to be reviewed, from the assembly file or from netlists side by side, and a name for the report."""
    from netcheck.ground.problems import Problem, Refused
    from netcheck.review import BoardPlan, Plan, plan_of

    files: list[Path] = options.files
    assemblies = [file for file in files if file.suffix.lower() in ASSEMBLY_SUFFIXES]
    if assemblies and len(files) > 1:
        what = "an assembly file names its boards itself; give it alone"
        raise Refused(Problem(str(assemblies[0]), 0, 0, what))
    if assemblies:
        from netcheck.intake.assemblycheck import open_assembly

        tell("reading the assembly file and its netlists")
        assembly, netlists = open_assembly(assemblies[0], cache=not options.no_cache)
        house = [assemblies[0].parent / spot.text for spot in assembly.house]
        return plan_of(assembly, netlists, _book(options, house)), board_names(assemblies)[0]
    book = _book(options)
    tell(f"reading {len(files)} netlist{'s' if len(files) != 1 else ''}")
    names = board_names(files)
    boards = tuple(BoardPlan(name, netlist) for name, netlist in zip(names, _netlists(options, files), strict=True))
    return Plan(" and ".join(names[:3]), boards, book), names[0]


def _width() -> int:
    import shutil

    return min(120, max(40, shutil.get_terminal_size((100, 24)).columns))


def board_names(files: Sequence[Path]) -> list[str]:
    """A name for each board, from its file, every one different.

    >>> board_names([Path("a/amp.net"), Path("b/amp.net"), Path("panel.net")])
    ['amp', 'amp 2', 'panel']
    """
    from netcheck.ground.names import plain

    found: list[str] = []
    for file in files:
        stem = plain(file.stem.replace("/", " "), 60) or "board"
        name, number = stem, 2
        while name in found:
            name, number = f"{stem} {number}", number + 1
        found.append(name)
    return found


def _read(options: argparse.Namespace) -> int:
    from netcheck.report.text import understanding_text
    from netcheck.review import facts_of, numbers_of, ratings_of, understood

    options.files = [options.file]
    facts = facts_of(_plan(options, _silent)[0])
    if facts.assembled is not None:
        from netcheck.report.assemblytext import assembly_text

        print(assembly_text(facts.assembled, facts.words.caution("mains")))
    if not options.numbers:
        for board in facts.circuit.boards:
            print(understanding_text(understood(facts, board)))
        return 0
    from netcheck.report.figures import apart, behaviour_text, ratings_text

    told = tuple(numbers_of(facts, board.name) for board in facts.circuit.boards)
    whole, boards = apart(told, facts.assembled.file.name) if facts.assembled is not None else (None, told)
    for board, numbers in zip(facts.circuit.boards, boards, strict=True):
        print(understanding_text(understood(facts, board)))
        print(f"\n{behaviour_text(numbers, facts.circuit, elsewhere=whole is not None)}".rstrip())
    if whole is not None:
        print(f"\n{behaviour_text(whole, facts.circuit)}")
    print(ratings_text(ratings_of(facts, told), facts.circuit))
    return 0


def _draft(options: argparse.Namespace) -> int:
    import os

    from netcheck.circuit.board import understand
    from netcheck.drafting import draft
    from netcheck.ground.files import write_whole
    from netcheck.ground.problems import Problem, Refused

    if options.out and options.out.exists():
        raise Refused(Problem(str(options.out), 0, 0, "the file is there already; a draft is written over nothing"))
    book = _book(options)
    netlists = _netlists(options, options.files)
    names = board_names(options.files)
    boards = [understand(n, name, book.parts, book.words) for name, n in zip(names, netlists, strict=True)]
    base = options.out.resolve().parent if options.out else Path.cwd()
    text = draft(boards, [Path(os.path.relpath(file.resolve(), base)) for file in options.files], book.words)
    if options.out:
        write_whole(options.out, text)
        print(f"Draft: {options.out}")
    else:
        print(text, end="")
    return 0


def _rules(options: argparse.Namespace) -> int:
    from netcheck.report.guide import rule_list

    print(rule_list(_book(options)))
    return 0


def _explain(options: argparse.Namespace) -> int:
    from netcheck.report.guide import explain_rule, explain_shape, explain_words, unknown_name

    book = _book(options, with_samples=True)
    if options.what == "words":
        print(explain_words(book))
        return 0
    rule = book.rule(options.what)
    if rule is not None:
        print(explain_rule(rule, book))
        return 0
    if options.what in book.shapes:
        print(explain_shape(book.shapes[options.what]))
        return 0
    print(unknown_name(options.what, book), file=sys.stderr)
    return COULD_NOT


def _prove(options: argparse.Namespace) -> int:
    from netcheck.rulebook.prove import prove

    chosen = _chosen(options)
    if chosen is None:
        return COULD_NOT
    rules, book = chosen
    wrong = 0
    for rule in rules:
        proof = prove(rule, book, options.break_it)
        wrong += not proof.holds
        for said in (*proof.failures, *proof.gaps, *proof.unbroken):
            print(said)
        if proof.holds:
            print(f"{rule.name}: {proof.samples} samples hold{', and notice every change' * options.break_it}")
    print(f"{len(rules) - wrong} of {len(rules)} rules hold")
    return 1 if wrong else 0


def _chosen(options: argparse.Namespace) -> tuple[list[Rule], RuleBook] | None:
    """The rules to prove: all, or those of the files given (files of a house folder are loaded with it)."""
    from netcheck.rulebook.book import load_rule_book, shown_name, supplied_folder

    base = supplied_folder()
    house = list(options.house)
    wanted: set[str] = set()
    for file in options.files:
        folder = file.resolve().parent.parent
        if folder != base.resolve() and folder not in [path.resolve() for path in house]:
            house.append(folder)
        wanted.add(shown_name(file.resolve(), folder))
    book = load_rule_book(house=house)
    rules = [rule for rule in book.rules if not wanted or rule.file in wanted]
    missing = wanted - {rule.file for rule in rules}
    for name in sorted(missing):
        print(f"{name}: there is no such rule file", file=sys.stderr)
    return None if missing else (rules, book)
