"""How the house is built: which floor may import which, what a package says of itself, what stands at the top."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import ROOT

PACKAGE = ROOT / "netcheck"
MODULES = sorted(PACKAGE.rglob("*.py"))
MOST_LINES = 500

# From the ground up. What stands on one floor may import itself and the floors below.
FLOORS = (
    ("netcheck.ground",),
    ("netcheck.language",),
    ("netcheck.intake",),
    ("netcheck.circuit",),
    ("netcheck.physics",),
    ("netcheck.rulebook",),
    ("netcheck.drafting",),
    ("netcheck.gates",),
    ("netcheck.review",),
    ("netcheck.report",),
    ("netcheck.command",),
    ("netcheck.__main__",),
)
# Floors that lie beside each other, though one number is the higher: neither knows the other.
APART = {("netcheck.intake", "netcheck.language")}
TOP_LEVEL = {
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "README.md",
    "fixtures",
    "netcheck",
    "pyproject.toml",
    "rules",
    "tests",
}


def name_of(path: Path) -> str:
    """The module's dotted name."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def floor_of(module: str) -> int | None:
    """The number of the floor; None for the package itself and for what is not ours."""
    for number, names in enumerate(FLOORS):
        if any(module == name or module.startswith(f"{name}.") for name in names):
            return number
    return None


def imports_of(source: str, module: str) -> Iterator[tuple[int, str]]:
    """Line and name of every module of ours that a source imports, wherever in it."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names if alias.name.startswith("netcheck"))
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}:{node.lineno}: write imports in full"
            if node.module and node.module.split(".")[0] == "netcheck":
                names = [f"{node.module}.{alias.name}" for alias in node.names]
                yield from ((node.lineno, name) for name in names)


def wrong_imports(source: str, module: str) -> list[str]:
    """Imports of a module that go upwards, or to a neighbour."""
    own = floor_of(module)
    found = []
    for line, name in imports_of(source, module):
        other = floor_of(name)
        if own is None or other is None:
            continue
        beside = (FLOORS[own][0], FLOORS[other][0])
        if other > own or beside in APART:
            found.append(f"{module}:{line} imports {name}")
    return found


def test_every_module_stands_on_a_floor() -> None:
    homeless = [name_of(path) for path in MODULES if floor_of(name_of(path)) is None]
    assert homeless == ["netcheck"]


def test_imports_run_one_way() -> None:
    assert [wrong for path in MODULES for wrong in wrong_imports(path.read_text("utf-8"), name_of(path))] == []


@pytest.mark.parametrize(
    "source",
    [
        "from netcheck.rulebook.judge import judge",
        "import netcheck.report.page",
        "def f():\n    from netcheck.review import review",
        "if TYPE_CHECKING:\n    from netcheck import command",
    ],
)
def test_an_import_upwards_is_noticed(source: str) -> None:
    assert len(wrong_imports(source, "netcheck.circuit.board")) == 1


def test_neighbours_do_not_know_each_other() -> None:
    assert wrong_imports("from netcheck.language.values import Lot", "netcheck.intake.scan") != []


@pytest.mark.parametrize(
    "package",
    sorted(path for path in PACKAGE.rglob("__init__.py") if path.parent != PACKAGE),
    ids=lambda path: name_of(path),
)
def test_each_package_says_what_it_knows(package: Path) -> None:
    said = ast.get_docstring(ast.parse(package.read_text("utf-8"))) or ""
    assert "Knows: " in said and "Must not know: " in said


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_each_module_says_what_it_is_for(path: Path) -> None:
    assert ast.get_docstring(ast.parse(path.read_text("utf-8")))


def test_no_module_is_long() -> None:
    lengths = {name_of(path): len(path.read_text("utf-8").splitlines()) for path in MODULES}
    assert {name: length for name, length in lengths.items() if length > MOST_LINES} == {}


def executed(source: str) -> list[int]:
    """Lines that run a text as a program."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in ("eval", "exec", "compile")
    ]


def test_no_text_is_executed() -> None:
    found = {name_of(path): executed(path.read_text("utf-8")) for path in MODULES}
    assert {name: lines for name, lines in found.items() if lines} == {}


def test_an_executed_text_is_noticed() -> None:
    assert executed("x = 1\ny = eval(f'{x}')\nre.compile('a')") == [2]


def test_the_top_level_is_as_agreed() -> None:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode != 0:
        pytest.skip("this is not a git checkout")
    assert {name.split("/")[0] for name in listed.stdout.split("\0") if name} == TOP_LEVEL


def test_nothing_speaks_of_papers_that_are_not_here() -> None:
    """Who has only the repository must understand every reference in it."""
    papers = ("design.md", "rule-notes", "rule-language.md", "netlist-corpus", "library-trial", "/work/")
    files = [*MODULES, *(ROOT / "rules").rglob("*.yaml"), *ROOT.glob("*.md"), *(ROOT / "fixtures").rglob("*.md")]
    found = [
        f"{path.relative_to(ROOT)}: {paper}" for path in files for paper in papers if paper in path.read_text("utf-8")
    ]
    assert found == []


def test_the_solver_is_imported_when_the_first_number_is_asked_for() -> None:
    """numpy and networkx take a quarter of a second; a board that needs neither is not to wait for them."""
    program = (
        "import sys, netcheck.command, netcheck.review, netcheck.report.page\n"
        "from netcheck.rulebook.book import load_rule_book\n"
        "load_rule_book(with_samples=False)\n"
        "print([name for name in ('numpy', 'networkx', 'kinparse') if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip() == "[]"
