"""The command `flatwright`: one module a command, loaded only when it is asked for, heavy imports inside `run`."""

import argparse
import codecs
import errno
import importlib
import os
import re
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from sim import PHYSICS, __version__
from sim.errors import BadFiles, BadParam, ShopError

COMMANDS = ("bench", "demo", "measure", "seat", "flycut", "part", "bands", "cards", "model", "replay", "pack", "drill",
            "lessons", "lesson", "record", "class", "compare")
DEFAULT = "bench"  # where there is a display; else WITHOUT_DISPLAY
WITHOUT_DISPLAY = "demo"
PLAIN = {"µ": "u", "²": "2", "³": "3", "×": "x", "÷": "/", "≤": "<=", "≥": ">=", "σ": "sigma", "–": "-", "−": "-",
         "°": " deg", "·": "-", "…": "...", "±": "+-", "✓": "+", "✕": "x"}
"""What stands for a sign where the output cannot hold it."""


class _Parser(argparse.ArgumentParser):
    """Refuses in one line, as every other error of the shop."""

    def __init__(self, **options: Any) -> None:
        super().__init__(allow_abbrev=False, **options)

    def error(self, message: str) -> NoReturn:
        told = re.sub(r"^argument (.+?): (must )", r"\1 \2", message, flags=re.DOTALL)
        raise BadParam(f"{told} (see `{self.prog} --help`)")

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As in argparse, but what is left over is told by the command that it was meant for."""
        found, rest = super().parse_known_args(args, namespace)
        if rest:
            self.error(f"unrecognized arguments: {' '.join(rest)}")
        return found, rest

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """No name of a file or folder is empty: the one rule for every command."""
        if value == "" and action.type is None and action.choices is None:
            name = action.option_strings[-1] if action.option_strings else action.metavar
            raise BadParam(f"{name} must name a {'folder' if action.metavar == 'DIR' else 'file'}, got ''")
        super()._check_value(action, value)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return the exit code: 0, or 2 after a line on stderr for each thing a user can mend.

    Parameters
    ----------
    argv : sequence of str, optional
        Without the program's name; nothing at all opens the bench, or runs the demo where there is no display.

    Notes
    -----
    130 when interrupted; a reader that closes our pipe ends the run quietly with 141; an output that takes no more
    is told in one line, 2. Any other exception is a fault of ours and keeps its traceback.
    """
    _make_outputs_safe()
    words = list(sys.argv[1:] if argv is None else argv) or [_usual()]
    try:
        args = _parser(words).parse_args(words)
        code: int = args.run(args)
        sys.stdout.flush()
        return code
    except BadFiles as error:
        return max(_one_line(" ".join(fault.split()), 2) for fault in error.faults)
    except ShopError as error:
        return _one_line(" ".join(str(error).split()), 2)
    except KeyboardInterrupt:
        return _one_line("stopped", 130)
    except BrokenPipeError:
        return _let_go_of_stdout(141)
    except SystemExit as stop:  # rich leaves with 1 when the pipe breaks; argparse with 0
        if stop.code != 1:
            raise
        return _let_go_of_stdout(141)
    except OSError as error:
        if error.filename is not None or error.errno not in (errno.ENOSPC, errno.EIO, errno.EBADF, errno.EDQUOT):
            raise
        _let_go_of_stdout(2)
        return _one_line(f"the output must be written, got: {error.strerror}", 2)


def _usual() -> str:
    """What runs when nothing is asked for: the bench where a window can be opened, else the demo."""
    return DEFAULT if DEFAULT != "bench" or has_display() else WITHOUT_DISPLAY


def has_display() -> bool:
    """True when a window could be opened here."""
    if os.environ.get("SDL_VIDEODRIVER"):
        return True
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _make_outputs_safe() -> None:
    """Let no letter that an old terminal lacks, and no closed output, end a run."""
    codecs.register_error("plain", _plain)
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plain")


def _plain(error: UnicodeError) -> tuple[str, int]:
    """Signs in letters that the output can hold; "?" for any other."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(PLAIN.get(sign, "?") for sign in error.object[error.start : error.end]), error.end


def _let_go_of_stdout(code: int) -> int:
    """Send what is still buffered nowhere, or the last flush would complain."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return code


def _parser(words: Sequence[str]) -> _Parser:
    """Parser of the command that is asked for; of all when none is, for then the help lists them."""
    if words[0].startswith("-") and words[0] not in ("-h", "--help", "--version"):
        where = f"got {words[0]} first: flatwright {_usual()} {words[0]} ..."
        raise BadParam(f"an option must come after its command, {where}")
    top = _Parser(prog="flatwright", description="Learn to scrape cast iron flat: print, cut, measure.",
                  epilog=f"Without a command: {DEFAULT}, or {WITHOUT_DISPLAY} where there is no display. "
                         "Options of a command: flatwright COMMAND --help.")
    top.add_argument("--version", action="version", version=f"flatwright {__version__} (physics {PHYSICS})")
    table = top.add_subparsers(metavar="COMMAND", required=True, title="commands", parser_class=_Parser)
    for name in [words[0]] if words[0] in COMMANDS else COMMANDS:
        command = importlib.import_module(f"sim.cli.{name}")
        made = table.add_parser(command.NAME, help=command.HELP, description=command.HELP)
        command.add_arguments(made)
        made.set_defaults(run=command.run)
    return top


def _one_line(message: str, code: int) -> int:
    print(f"flatwright: {message}", file=sys.stderr)
    return code
