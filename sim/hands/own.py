"""A person's own strategies, from a Python file that he names on the command line. It is run: never from a job, lesson
or any other data.
"""

import hashlib
import importlib.util
import sys
from importlib.machinery import SourceFileLoader
from pathlib import Path
from threading import Lock
from types import FrameType

from sim.errors import BadFile, ShopError
from sim.hands.strategy import STRATEGIES

NAMED = "own_"  # how the names of these modules begin
_ONE_AT_A_TIME = Lock()


class _AsRead(SourceFileLoader):
    """Runs the very text whose hash names the module; leaves no compiled copy beside it, and takes none."""

    def __init__(self, name: str, path: Path, text: bytes) -> None:
        super().__init__(name, str(path))
        self.text = text

    def get_data(self, path: str) -> bytes:
        return self.text

    def path_stats(self, path: str) -> dict[str, float]:
        raise OSError("no compiled copy")


def load_own(path: Path) -> list[str]:
    """Run a file that registers strategies, once in this process; their names.

    Raises
    ------
    BadFile
        It cannot be read, does not run, registers none, or takes a name that is registered already; none is registered.
    """
    path = Path(path)
    try:
        text = path.read_bytes()
    except OSError as error:
        raise BadFile(f"{path}: a Python file that registers strategies is wanted: {error.strerror}") from None
    if path.suffix != ".py":
        raise BadFile(f"{path}: the name of a file of strategies must end in .py")
    name = f"{NAMED}{hashlib.sha256(text).hexdigest()[:16]}"
    with _ONE_AT_A_TIME:
        if name in sys.modules:
            return list(sys.modules[name].__dict__["_registered"])
        return _run(name, path, text)


def _run(name: str, path: Path, text: bytes) -> list[str]:
    """Run the text as a module of this name; what it registered. Whatever goes wrong leaves all as it was."""
    loader = _AsRead(name, path, text)
    spec = importlib.util.spec_from_file_location(name, path, loader=loader)
    assert spec is not None
    before = dict(STRATEGIES)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        loader.exec_module(module)
        new = [one for one in STRATEGIES if one not in before]
        if not new:
            raise BadFile(f"{path}: it must register a strategy with @strategy(\"a-name\"), got none")
    except BaseException as error:
        del sys.modules[name]
        STRATEGIES.clear()
        STRATEGIES.update(before)
        if isinstance(error, BadFile | KeyboardInterrupt):
            raise
        told = str(error) if isinstance(error, ShopError) else f"{type(error).__name__}: {error}"
        raise BadFile(f"{path}:{_line(error)}: it does not run: {' '.join(told.split())}") from None
    module.__dict__["_registered"] = new
    return new


def in_own_file(frame: FrameType) -> bool:
    """Whether this frame runs a line of a person's own file."""
    return str(frame.f_globals.get("__name__", "")).startswith(NAMED)


def own_line(error: BaseException) -> int:
    """Line of a person's own file, the innermost, in which an error arose; 0 if in none."""
    line, trace = 0, error.__traceback__
    while trace is not None:
        if in_own_file(trace.tb_frame):
            line = trace.tb_lineno
        trace = trace.tb_next
    return line


def _line(error: BaseException) -> int:
    if isinstance(error, SyntaxError):
        return error.lineno or 1
    return own_line(error) or 1
