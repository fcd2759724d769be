"""What all tests share: where the project and its papers are."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from hypothesis import settings

# In CI the same examples every time: what is landed is what was tried. At the desk new ones with each run.
settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")

ROOT = Path(__file__).resolve().parent.parent
SHARED = ROOT.parent / "shared"
for folder in (ROOT / "tests").iterdir():
    if folder.is_dir() and not folder.name.startswith(("_", ".")):
        sys.path.insert(0, str(folder))


@pytest.fixture(scope="session")
def book():
    """The supplied rule book, loaded once."""
    from netcheck.rulebook.book import load_rule_book

    return load_rule_book()
