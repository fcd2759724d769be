"""The readme: its commands are those that are tested, its house rule holds and finds what it says."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from conftest import ROOT

from netcheck.command import main

README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = [block.strip() for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)]
DOCUMENTS = ("README.md", "DEVELOPERS.md", "fixtures/README.md", "fixtures/netlists/README.md")


def test_the_two_commands_to_begin_with_are_one_line_each() -> None:
    install = "python3 -m venv .venv && .venv/bin/pip install -q --use-pep517 -e"
    assert COMMANDS[0] == f"{install} . && .venv/bin/netcheck review fixtures/bandroom/revision-a/amp.net"
    assert COMMANDS[1] == f"{install} '.[test]' && .venv/bin/python -m pytest"


def test_the_run_for_changes_uses_the_readmes_test_command() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert [line.strip() for line in script.splitlines()].count(COMMANDS[1]) == 1


def rule_of_the_readme(folder: Path) -> Path:
    (text,) = re.findall(r"```yaml\n(.*?)```", README, re.DOTALL)
    (name,) = re.findall(r"Put this into `([^`]+)`", README)
    path = folder / name
    path.parent.mkdir(parents=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_the_house_rule_of_the_readme_holds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", str(rule_of_the_readme(tmp_path)), "--break"]) == 0
    said = capsys.readouterr().out.splitlines()[0]
    assert f"`{said}`" in README


def test_the_house_rule_finds_what_the_readme_says(tmp_path: Path) -> None:
    folder, out = rule_of_the_readme(tmp_path).parent.parent, tmp_path / "r.html"
    code = main(["review", str(ROOT / COMMANDS[3].split()[2]), "--house", str(folder), "--out", str(out), "--quiet"])
    (finding,) = re.findall(r"finds `([^`]+)`", README)
    assert code == 1 and finding in out.read_text(encoding="utf-8")


def test_every_option_of_review_is_described(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["review", "--help"])
    options = set(re.findall(r"--[a-z-]+", capsys.readouterr().out)) - {"--help"}
    described = set(re.findall(r"--[a-z][a-z-]*", README.split("| option of `review`")[1].split("\n\n")[0]))
    assert options == described


def test_every_package_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    names = {re.split(r"[<>=~!;\[ ]", package)[0].lower() for package in wanted}
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n## Packages\n")[1].split("\n## ")[0]
    told = {name for row in re.findall(r"^\| ([^|]+) \|", guide, re.MULTILINE) for name in row.lower().split(", ")}
    assert names <= told


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_lead_to_files_that_are_there(name: str) -> None:
    path = ROOT / name
    targets = re.findall(r"\]\(([^)#:]+)\)", path.read_text(encoding="utf-8"))
    assert [target for target in targets if not (path.parent / target).exists()] == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_lines_can_be_read_on_a_terminal(name: str) -> None:
    lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if len(line) > 120 and not line.startswith(("|", "python3"))] == []


def test_nothing_is_called_safe() -> None:
    """No verdict says so; the word appears only where the documents say that none does."""
    for name in DOCUMENTS:
        text = (ROOT / name).read_text(encoding="utf-8").replace('The word "safe" is never a verdict', "")
        assert not re.search(r"\bsafe\b", text), name
