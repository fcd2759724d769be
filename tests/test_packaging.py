"""The program as it is installed: the rules travel with it, and are found in a checkout and in a wheel."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import entry_points
from pathlib import Path

import pytest
from conftest import ROOT

from netcheck import __version__
from netcheck.rulebook import book

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_the_rules_go_into_the_package() -> None:
    wheel = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["packages"] == ["netcheck"]
    assert wheel["force-include"] == {"rules": "netcheck/rules"}


def test_the_version_is_told_once_and_the_same() -> None:
    assert PROJECT["project"]["version"] == __version__


def test_the_command_is_there_by_its_name() -> None:
    assert [found.value for found in entry_points(group="console_scripts", name="netcheck")] == [
        "netcheck.command:main"
    ]


def test_in_a_checkout_the_rules_are_beside_the_package() -> None:
    assert book.supplied_folder() == ROOT / "rules"


def test_installed_the_rules_are_inside_the_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "site-packages" / "netcheck"
    (package / "rules").mkdir(parents=True)
    (package / "rules" / "words.yaml").write_text("", encoding="utf-8")
    monkeypatch.setattr(book, "__file__", str(package / "rulebook" / "book.py"))
    assert book.supplied_folder() == package / "rules"


@pytest.mark.skipif(not os.environ.get("CI"), reason="builds a wheel, which takes a while: set CI")
def test_a_wheel_holds_every_module_rule_and_template(tmp_path: Path) -> None:
    build = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--use-pep517", "-w", str(tmp_path), str(ROOT)]
    subprocess.run(build, check=True)
    (wheel,) = tmp_path.glob("netcheck-*.whl")
    with zipfile.ZipFile(wheel) as packed:
        held = set(packed.namelist())
    wanted = {str(path.relative_to(ROOT)) for path in (ROOT / "netcheck").rglob("*") if _travels(path)}
    wanted |= {f"netcheck/{path.relative_to(ROOT)}" for path in (ROOT / "rules").rglob("*.yaml")}
    assert wanted - held == set()
    assert not any(name.startswith(("tests/", "fixtures/")) for name in held)


def _travels(path: Path) -> bool:
    return path.is_file() and "__pycache__" not in path.parts
