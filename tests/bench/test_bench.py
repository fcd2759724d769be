"""How long things take, and how that grows; the figures are printed in one table beside their targets.

By default boards of 100 and 1000 components; with NETCHECK_BENCH=1 up to 5000. The targets are for a quiet machine.
The machine may be busy with other work: what is asserted is three times the target, what is missed is marked 'over'.
"""

from __future__ import annotations

import gc
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest
from conftest import ROOT
from synthetic_boards import netlist_text

from netcheck.ground.collecting import collect_seldom
from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Netlist
from netcheck.intake.reading import read_netlist, read_text
from netcheck.intake.scan import scan
from netcheck.report.page import render_page
from netcheck.report.sarif import dumps, sarif
from netcheck.review import BoardPlan, Plan, review
from netcheck.rulebook.book import RuleBook

pytestmark = pytest.mark.bench

FULL = os.environ.get("NETCHECK_BENCH") == "1"
SIZES = (100, 1000, 5000) if FULL else (100, 1000)
BUSY = 3.0  # times the target may be taken while other work shares the processor and its caches

# Targets: seconds unless the name says otherwise.
COLD_A_THOUSAND_NODES = 2.0
CACHED_A_THOUSAND_PARTS = 0.020
HELP = 0.15
START = 0.6
REST_MS_A_COMPONENT = 1.0
GROWTH_TENFOLD = 12.0
MEGABYTES = 300.0

Note = Callable[[str, float, str, float], None]


@pytest.fixture(scope="module")
def note(request: pytest.FixtureRequest) -> Iterator[Note]:
    """Keeps a figure and holds it to three times its target; the table is printed when all are there."""
    rows: list[tuple[str, float, str, float]] = []

    def keep(what: str, found: float, unit: str, target: float) -> None:
        rows.append((what, found, unit, target))
        assert found <= BUSY * target, f"{what}: {found:.3g} {unit}, more than three times {target:g} {unit}"

    yield keep
    capture = request.config.pluginmanager.getplugin("capturemanager")
    with capture.global_and_fixture_disabled():
        print(f"\n{'measured':<52} {'found':>10} {'target':>10}")
        for what, found, unit, target in rows:
            print(f"{what:<52} {found:>10.3g} {target:>10g} {unit}{'  over' if found > target else ''}")


@pytest.fixture(scope="module", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    before = gc.get_threshold()
    collect_seldom()  # as the command does
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield
    gc.set_threshold(*before)


def seconds(work: Callable[[], object], times: int = 1, clock: Callable[[], float] = time.process_time) -> float:
    """The best of so many; of our own work only, unless told by a clock on the wall."""
    best = float("inf")
    for _ in range(times):
        start = clock()
        work()
        best = min(best, clock() - start)
    return best


@cache
def contents(size: int) -> Netlist:
    """A board, read without kinparse: what comes after reading is measured by itself."""
    text = netlist_text(size)
    return read_contents(scan(text, "bench.net")[0], "bench.net", f"{size:064}")


def everything_after_reading(size: int, book: RuleBook) -> None:
    result = review(Plan("bench", (BoardPlan("bench", contents(size)),), book))
    render_page(result, datetime(2026, 1, 1, tzinfo=UTC))
    dumps(sarif(result))


@pytest.mark.parametrize("size", (100, 1000) if FULL else (100,))
def test_cold_reading(size: int, note: Note) -> None:
    data = netlist_text(size).encode()
    nodes = sum(len(net.nodes) for net in contents(size).nets)
    took = seconds(lambda: read_text(data, "bench.net"))
    note(f"cold reading, {size} parts, a thousand nodes", 1000 * took / nodes, "s", COLD_A_THOUSAND_NODES)


def test_cached_reading(tmp_path: Path, note: Note) -> None:
    path = tmp_path / "bench.net"
    path.write_text(netlist_text(300), encoding="utf-8")
    first = read_netlist(path)
    assert read_netlist(path) == first
    took = seconds(lambda: read_netlist(path), 5)
    note("reading what was read before, a thousand parts", took / 0.3, "s", CACHED_A_THOUSAND_PARTS)


def test_help(note: Note) -> None:
    command = [sys.executable, "-m", "netcheck", "--help"]
    took = seconds(
        lambda: subprocess.run(command, capture_output=True, check=True, cwd=ROOT), 5, clock=time.perf_counter
    )
    note("netcheck --help", took, "s", HELP)


def test_start_up_with_the_rule_book(note: Note) -> None:
    """Imports and the rule book, as before the first netlist is read."""
    program = (
        "from netcheck.ground.collecting import collect_seldom; collect_seldom()\n"
        "import time; import netcheck.review, netcheck.report.page, netcheck.report.sarif\n"
        "from netcheck.rulebook.book import load_rule_book\n"
        "load_rule_book(with_samples=False); print(time.process_time())\n"
    )

    def start() -> float:
        command = [sys.executable, "-c", program]
        return float(subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT).stdout)

    note("start: imports and the rule book", min(start() for _ in range(3)), "s", START)


@pytest.mark.parametrize("size", SIZES)
def test_everything_after_reading(size: int, book: RuleBook, note: Note) -> None:
    contents(size)
    took = seconds(lambda: everything_after_reading(size, book), 2)
    note(f"all after reading, {size} parts, a part", 1000 * took / size, "ms", REST_MS_A_COMPONENT)


@pytest.mark.parametrize(("small", "large"), [(500, 5000)] if FULL else [(100, 1000)])
def test_growth(small: int, large: int, book: RuleBook, note: Note) -> None:
    contents(small), contents(large)
    one = seconds(lambda: everything_after_reading(small, book), 5)
    ten = seconds(lambda: everything_after_reading(large, book), 2)
    note(f"growth from {small} to {large} parts", ten / one, "times", GROWTH_TENFOLD)


def test_memory(note: Note, tmp_path: Path) -> None:
    """The largest that the process of a whole review gets, without what kinparse takes to read a board afresh.

    Not by getrusage: what it tells of a new process begins with the size of the one that started it.
    """
    if not Path("/proc/self/status").exists():
        pytest.skip("this system does not tell how large a process was")
    size = SIZES[-1]
    program = (
        "import sys\n"
        f"sys.path[:0] = [{str(ROOT)!r}, {str(ROOT / 'tests' / 'bench')!r}, {str(ROOT / 'tests')!r}]\n"
        "from test_bench import everything_after_reading\n"
        "from netcheck.rulebook.book import load_rule_book\n"
        "from netcheck.ground.collecting import collect_seldom; collect_seldom()\n"
        f"everything_after_reading({size}, load_rule_book())\n"
        "print(next(int(line.split()[1]) / 1024 for line in open('/proc/self/status') if 'VmHWM' in line))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=tmp_path)
    note(f"memory at {size} parts", float(done.stdout), "MB", MEGABYTES)


# The boards themselves: what is measured must be what is meant.


def test_a_synthetic_board_has_the_size_that_was_asked_for() -> None:
    for size in (3, 100, 1000):
        assert len(contents(size).components) == size


def test_a_synthetic_board_is_understood(book: RuleBook) -> None:
    result = review(Plan("bench", (BoardPlan("bench", contents(100)),), book))
    kinds = {part.kind for part in result.circuit.parts.values()}
    assert {"opamp", "npn", "pnp", "diode", "connector"} <= kinds and "unknown" not in kinds
    assert {net.name for net in result.circuit.nets.values() if net.role == "rail"} == {"+15V", "-15V"}
    stages = [v for v in result.verdicts if v.rule == "output-stage/emitter-resistors"]
    assert len(stages) == 10 and {v.outcome for v in stages} == {"clear"}
