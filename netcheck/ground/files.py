"""Files that are written whole or not at all, and the user's cache folder."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_whole(path: Path, text: str) -> None:
    """Put text into a file so that a reader sees the old contents or the new, never a part.

    Raises:
        OSError: if the folder cannot be made or written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(scratch, 0o666 & ~umask)
        os.replace(scratch, path)
    except BaseException:
        Path(scratch).unlink(missing_ok=True)
        raise


def cache_folder() -> Path:
    """Where results may be kept between runs: $XDG_CACHE_HOME/netcheck, by default ~/.cache/netcheck."""
    base = os.environ.get("XDG_CACHE_HOME", "")
    home = Path(base) if base and Path(base).is_absolute() else Path.home() / ".cache"
    return home / "netcheck"
