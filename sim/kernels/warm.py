"""Compile or load every kernel, once, before the work starts; then close them.

The cache folder is named by all that decides the machine code, so an edit, another numba or another processor
never meets old code. A finished folder is sealed with the checksum of each file: damage is seen before anything
of it is loaded.
"""

import errno
import hashlib
import importlib
import json
import os
import pkgutil
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numba
from numba.core import config
from numba.core.caching import NullCache
from numba.core.errors import NumbaError

from sim import kernels, paths

SEAL = "sealed.json"
UNUSED_DAYS = 30
Report = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Warmed:
    """What `warm` had to do: kernels compiled, kernels loaded, and the folder that keeps them (None: not kept)."""

    compiled: int
    loaded: int
    folder: Path | None


def warm(progress: Report | None = None) -> Warmed:
    """Make every kernel of the room ready for its declared signature and close it to any other.

    A closed kernel converts a Python number and refuses a strided or float32 array; it never compiles again. With
    NUMBA_DISABLE_JIT kernels are plain functions and there is nothing to do. Safe in several processes at once: one
    compiles, the others wait and load. A cache that is damaged is deleted and made again; one that cannot be
    written is done without; both are said in one line on stderr.

    Parameters
    ----------
    progress : callable (done, total, name), optional
        Told of each kernel when some must be compiled; the default draws a bar on stderr.

    Raises
    ------
    numba.core.errors.NumbaError
        A kernel that does not compile.

    Notes
    -----
    27 kernels: about 0.4 s from the cache, 10 s to compile (measured on a machine of two cores).
    """
    for module in pkgutil.iter_modules(kernels.__path__):
        importlib.import_module(f"{kernels.__name__}.{module.name}")
    pending = [] if config.DISABLE_JIT else [pair for pair in kernels.KERNELS if pair[0]._can_compile]
    if not pending:
        return Warmed(0, 0, None)
    with _cache(cache_folder()) as (folder, sealed):
        with _bar() if progress is None and not sealed else nullcontext(progress or _quiet) as report:
            kept = _ready(pending, folder, report)
        loaded = sum(sum(made.stats.cache_hits.values()) for made, _ in pending)
        if folder and not (kept and (loaded == len(pending) or _seal(folder))):
            _say(f"the kernel cache {folder} could not be used or filled; deleted, going on without it")
            shutil.rmtree(folder, ignore_errors=True)
            folder = None
    return Warmed(len(pending) - loaded, loaded, folder)


def cache_folder() -> Path:
    """Folder for the machine code of just these sources, this compiler and this processor."""
    target = numba.core.registry.cpu_target.target_context.codegen().magic_tuple()
    made_by = (numba.__version__, sys.version, config.BOUNDSCHECK, config.OPT, config.DEBUGINFO_DEFAULT, target)
    digest = hashlib.sha256(repr((made_by, kernels.SOURCES)).encode())
    return paths.cache_dir() / "kernels" / digest.hexdigest()[:32]


def _ready(pending: list[tuple[Any, Any]], folder: Path | None, report: Report) -> bool:
    """Compile or load and close each kernel, callees first; True when the folder served or kept all of them."""
    kept = folder is not None
    before = config.CACHE_DIR
    config.CACHE_DIR = str(folder or "")
    try:
        for done, (made, signature) in enumerate(pending):
            report(done, len(pending), made.__name__)
            try:
                if kept:
                    made.enable_caching()
                made.compile(signature)
            except NumbaError:
                raise
            except Exception:  # whatever an unreadable entry or a full disk raises
                kept, made._cache = False, NullCache()
                made.compile(signature)
            made.disable_compile()
    finally:
        config.CACHE_DIR = before
    return kept


@contextmanager
def _cache(folder: Path) -> Iterator[tuple[Path | None, bool]]:
    """The folder, locked, and whether it is sealed and whole (else it is empty); None when it cannot be written."""
    with ExitStack() as held:
        found: tuple[Path | None, bool] = None, False
        try:
            if kernels.sources() != kernels.SOURCES:
                raise OSError(errno.ESTALE, "its sources were edited while the program ran")
            folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            _wait_for(held.enter_context((folder.parent / "lock").open("a")))
            found = folder, _checked(folder)
        except OSError as error:
            _say(f"the kernel cache {folder} cannot be used ({error.strerror}); compiling without it")
        yield found


def _checked(folder: Path) -> bool:
    """True when the folder is sealed and whole; else it is emptied. OSError when it is not ours to write."""
    _drop_unused(folder)
    folder.mkdir(mode=0o700, exist_ok=True)
    folder.chmod(0o700)
    tempfile.TemporaryFile(dir=folder).close()
    seal = folder / SEAL
    try:
        whole = json.loads(seal.read_text()) == _checksums(folder)
    except FileNotFoundError:
        whole = None  # new, or left unfinished
    except (OSError, ValueError):
        whole = False
    if whole:
        os.utime(seal)
        return True
    if whole is False:
        _say(f"the kernel cache {folder} was damaged; deleted, compiling once more")
    shutil.rmtree(folder)
    folder.mkdir(mode=0o700)
    return False


def _checksums(folder: Path) -> dict[str, str]:
    files = sorted(folder.rglob("*.nb[ic]"))
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def _seal(folder: Path) -> bool:
    """Write down the checksum of each file; False when the disk refuses."""
    try:
        fresh = folder / f"{SEAL}.{os.getpid()}"
        fresh.write_text(json.dumps(_checksums(folder)))
        fresh.replace(folder / SEAL)
    except OSError:
        return False
    return True


def _drop_unused(folder: Path) -> None:
    """Delete the folders of earlier sources that no one has loaded for a month."""
    oldest = time.time() - UNUSED_DAYS * 86400.0
    for other in folder.parent.iterdir():
        if other.is_dir() and other != folder and other.stat().st_mtime < oldest:
            seal = other / SEAL
            if not seal.exists() or seal.stat().st_mtime < oldest:
                shutil.rmtree(other, ignore_errors=True)


def _wait_for(lock: Any) -> None:
    """Hold the lock until it is closed; where the system has none, numba's own writes are still atomic."""
    try:
        import fcntl

        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            _say("another flatwright is getting the kernels ready; waiting for it")
            fcntl.flock(lock, fcntl.LOCK_EX)
    except (ImportError, OSError):
        return


@contextmanager
def _bar() -> Iterator[Report]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    if not console.is_terminal:
        _say("compiling the kernels, once for this version")
        yield _quiet
        return
    columns = (TextColumn("compiling, once for this version"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("kernels", total=None)
        yield lambda done, total, name: bar.update(task, completed=done, total=total)


def _quiet(done: int, total: int, name: str) -> None:
    """Nothing to tell."""


def _say(line: str) -> None:
    print(f"flatwright: {line}", file=sys.stderr)
