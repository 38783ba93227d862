"""A person's own strategies, from a Python file that he names on the command line. It is run: never from a job, lesson
or any other data.
"""

import hashlib
import importlib.util
import sys
from pathlib import Path

from sim.errors import BadFile, ShopError
from sim.hands.strategy import STRATEGIES


def load_own(path: Path) -> list[str]:
    """Run a file that registers strategies, once in this process; their names.

    Raises
    ------
    BadFile
        It cannot be read, does not run, registers none, or takes a name that is registered already.
    """
    path = Path(path)
    try:
        name = f"own_{hashlib.sha256(path.read_bytes()).hexdigest()[:16]}"
    except OSError as error:
        raise BadFile(f"{path}: a Python file that registers strategies is wanted: {error.strerror}") from None
    if name in sys.modules:
        return list(sys.modules[name].__dict__["_registered"])
    spec = importlib.util.spec_from_file_location(name, path)
    if path.suffix != ".py" or spec is None or spec.loader is None:
        raise BadFile(f"{path}: the name of a file of strategies must end in .py")
    before = dict(STRATEGIES)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
        taken = [one for one in before if STRATEGIES[one] is not before[one]]
        new = [one for one in STRATEGIES if one not in before]
        if taken:
            raise BadFile(f"{path}: the name {taken[0]} is taken already")
        if not new:
            raise BadFile(f"{path}: it must register a strategy with @strategy(\"a-name\"), got none")
    except BaseException as error:
        del sys.modules[name]
        STRATEGIES.clear()
        STRATEGIES.update(before)
        if isinstance(error, BadFile) or not isinstance(error, Exception):
            raise
        told = str(error) if isinstance(error, ShopError) else f"{type(error).__name__}: {error}"
        raise BadFile(f"{path}:{_line(error, path)}: it does not run: {told}") from None
    module.__dict__["_registered"] = new
    return new


def _line(error: BaseException, path: Path) -> int:
    """Line of the file in which an error arose."""
    if isinstance(error, SyntaxError):
        return error.lineno or 1
    line, trace = 1, error.__traceback__
    while trace is not None:
        if trace.tb_frame.f_code.co_filename == str(path):
            line = trace.tb_lineno
        trace = trace.tb_next
    return line
