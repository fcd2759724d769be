"""Reading netlists: the one way in from a file, or several files at once."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from netcheck.ground.names import did_you_mean
from netcheck.ground.problems import Problem, Refused
from netcheck.intake import cache as kept
from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Component, Netlist, NetlistNet, Node
from netcheck.intake.scan import scan
from netcheck.intake.skeleton import WiredNet, Wiring, compare, wiring
from netcheck.intake.text import MOST_BYTES, decode, too_large

# Starting a process costs what kinparse takes for some 200 nodes; with others at work on the machine, more.
NODES_WORTH_A_PROCESS = 400

# What comes of a file: its contents, or what is wrong with it.
_Outcome = Netlist | tuple[Problem, ...]

# Told after each file: its path, how many are read, of how many.
Progress = Callable[[Path, int, int], None]


def read_netlist(path: Path, *, cache: bool = True) -> Netlist:
    """The contents of a netlist file.

    Args:
        path: of a netlist in s-expressions, of any generation.
        cache: whether a former reading of the same bytes may be used and this one kept.

    Raises:
        Refused: when there is no such file, or it is no netlist, or it is damaged.
    """
    return _read(path, _bytes(path), cache=cache)


def read_text(data: bytes, file: str, *, pieces: int = 1) -> Netlist:
    """The contents of a netlist given as bytes; nothing is looked up or kept.

    The text is scanned, its circuit is read by kinparse, and both must agree; then the components and nets of
    kinparse get what the scan kept about them.

    Args:
        data: bytes of the file. file: its name, for messages.
        pieces: more than one lets kinparse read a large board in several processes.

    Raises:
        Refused: when this is no netlist, or it is damaged.

    >>> data = b'(export (version D) (components (comp (ref R1) (value 4k7)) (comp (ref C1) (value 1u)))'
    >>> data += b'(nets (net (code 1) (name /IN) (node (ref R1) (pin 1)) (node (ref C1) (pin 2)))))'
    >>> netlist = read_text(data, "amp.net")
    >>> [(part.reference, part.value) for part in netlist.components]
    [('R1', '4k7'), ('C1', '1u')]
    >>> [(net.name, [f"{node.reference}.{node.pin}" for node in net.nodes]) for net in netlist.nets]
    [('/IN', ['R1.1', 'C1.2'])]
    """
    text, encoding = decode(data, file)
    root, rest = scan(text, file)
    scanned = read_contents(root, file, hashlib.sha256(data).hexdigest())
    wired = wiring(root, file, pieces)
    compare(wired, scanned)
    notes = [f"the text is not UTF-8 and was read as {encoding}"] if encoding != "UTF-8" else []
    notes += ["text behind the last parenthesis was not read"] if rest else []
    return replace(_attach(wired, scanned), notes=(*notes, *scanned.notes))


def read_netlists(
    paths: Iterable[Path], *, cache: bool = True, jobs: int | None = None, progress: Progress | None = None
) -> list[Netlist]:
    """The contents of several files, in the order given; in several processes when that pays.

    New processes import the main module anew, so a script that calls this needs the usual `if __name__ ==
    "__main__":` around its work.

    Args:
        paths: as for `read_netlist`. cache: the same.
        jobs: processes at most; by default as many as the machine has processors.
        progress: told after each file.

    Raises:
        Refused: with the problems of all files that cannot be used.
    """
    wanted = list(paths)
    distinct = list(dict.fromkeys(wanted))
    told = 0

    def tell(path: Path) -> None:
        nonlocal told
        told += 1
        if progress is not None:
            progress(path, told, len(distinct))

    results: dict[Path, _Outcome] = {}
    missing: dict[Path, bytes] = {}
    for path in distinct:
        try:
            data = _bytes(path)
        except Refused as refusal:
            results[path] = refusal.problems
            continue
        former = kept.fetch(hashlib.sha256(data).hexdigest(), str(path)) if cache else None
        if former is not None:
            results[path] = former
        else:
            missing[path] = data
    for path in distinct:
        if path in results:
            tell(path)
    results |= _read_all(missing, cache, jobs, tell)
    problems = [problem for found in results.values() if isinstance(found, tuple) for problem in found]
    if problems:
        raise Refused(problems)
    return [found for path in wanted if isinstance(found := results[path], Netlist)]


def _bytes(path: Path) -> bytes:
    """A file's bytes; a large one is refused before it is read."""
    file = str(path)
    try:
        if path.is_dir():
            raise Refused(Problem(file, 0, 0, "this is a folder; the name of a netlist file is expected"))
        if path.exists() and not path.is_file():
            raise Refused(Problem(file, 0, 0, "this is not an ordinary file; the name of a netlist file is expected"))
        with path.open("rb") as stream:
            size = os.fstat(stream.fileno()).st_size
            if size > MOST_BYTES:
                raise too_large(file, size)
            return stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        near = did_you_mean(path.name, _neighbours(path)) if path.parent.is_dir() else ""
        raise Refused(Problem(file, 0, 0, f"there is no such file{near}")) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise Refused(Problem(file, 0, 0, f"the file cannot be read: {reason}")) from None


def _neighbours(path: Path) -> list[str]:
    try:
        return [entry.name for entry in path.parent.iterdir() if entry.suffix == ".net"][:200]
    except OSError:
        return []


def _read(path: Path, data: bytes, *, cache: bool, pieces: int = 1) -> Netlist:
    digest = hashlib.sha256(data).hexdigest()
    if cache:
        found = kept.fetch(digest, str(path))
        if found is not None:
            return found
    netlist = read_text(data, str(path), pieces=pieces)
    if cache:
        kept.keep(netlist)
    return netlist


def _attempt(path: Path, data: bytes, cache: bool, pieces: int = 1) -> _Outcome:
    """As `_read`, also in another process: problems come back as such."""
    try:
        return _read(path, data, cache=cache, pieces=pieces)
    except Refused as refusal:
        return refusal.problems


def _processes(nodes: int, jobs: int | None) -> int:
    """How many processes pay for a number of nodes."""
    most = jobs if jobs is not None else (os.cpu_count() or 1)
    return max(1, min(most, nodes // NODES_WORTH_A_PROCESS))


def _read_all(
    missing: dict[Path, bytes], cache: bool, jobs: int | None, tell: Callable[[Path], None]
) -> dict[Path, _Outcome]:
    results: dict[Path, _Outcome] = {}
    processes = _processes(sum(data.count(b"(node") for data in missing.values()), jobs)
    if processes > 1 and len(missing) > 1:
        import multiprocessing
        from concurrent.futures import ProcessPoolExecutor, as_completed
        from concurrent.futures.process import BrokenProcessPool

        # The longest first, so that none is left over at the end.
        ordered = sorted(missing.items(), key=lambda item: -len(item[1]))
        try:
            with ProcessPoolExecutor(
                min(processes, len(missing)), mp_context=multiprocessing.get_context("spawn")
            ) as pool:
                waiting = {pool.submit(_attempt, path, data, cache): path for path, data in ordered}
                for future in as_completed(waiting):
                    results[waiting[future]] = future.result()
                    tell(waiting[future])
        except (BrokenProcessPool, OSError):
            pass  # no further processes are to be had here; what is left is read in this one
    pieces = processes if len(missing) == 1 else 1
    for path, data in missing.items():
        if path not in results:
            results[path] = _attempt(path, data, cache, pieces)
            tell(path)
    return results


def _attach(wired: Wiring, scanned: Netlist) -> Netlist:
    """Components and nets of kinparse, each with what the scan kept about it."""
    known = {component.reference: component for component in scanned.components}
    codes = {net.code: net for net in wired.nets}
    return replace(
        scanned,
        components=tuple(_component(*found, known) for found in wired.components),
        nets=tuple(_net(codes[net.code], net) if net.nodes else net for net in scanned.nets),
    )


def _component(reference: str, value: str | None, known: dict[str, Component]) -> Component:
    return replace(known[reference], reference=reference, value=value)


def _net(wired: WiredNet, scanned: NetlistNet) -> NetlistNet:
    nodes: list[Node] = [
        replace(node, reference=reference, pin=pin)
        for (reference, pin), node in zip(wired.nodes, scanned.nodes, strict=True)
    ]
    return replace(scanned, code=wired.code, name=wired.name, nodes=tuple(nodes))
