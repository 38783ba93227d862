"""The command `flatwright`: one module a command, loaded only when it is asked for, heavy imports inside `run`."""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from sim import PHYSICS, __version__
from sim.errors import BadParam, ShopError

COMMANDS = ("demo", "measure", "seat", "model", "replay", "pack")
DEFAULT = "demo"


class _Parser(argparse.ArgumentParser):
    """Refuses in one line, as every other error of the shop."""

    def __init__(self, **options: Any) -> None:
        super().__init__(allow_abbrev=False, **options)

    def error(self, message: str) -> NoReturn:
        raise BadParam(f"{message} (see `{self.prog} --help`)")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return the exit code: 0, or 2 after one line on stderr for what a user can mend.

    Parameters
    ----------
    argv : sequence of str, optional
        Without the program's name; nothing at all runs the demo.

    Notes
    -----
    130 when interrupted; a reader that closes our pipe ends the run quietly with 141. Any other exception is a
    fault of ours and keeps its traceback.
    """
    words = list(sys.argv[1:] if argv is None else argv) or [DEFAULT]
    try:
        args = _parser(words).parse_args(words)
        code: int = args.run(args)
        sys.stdout.flush()
        return code
    except ShopError as error:
        return _one_line(" ".join(str(error).split()), 2)
    except KeyboardInterrupt:
        return _one_line("stopped", 130)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or the last flush would complain
        return 141


def _parser(words: Sequence[str]) -> _Parser:
    """Parser of the command that is asked for; of all when none is, for then the help lists them."""
    top = _Parser(prog="flatwright", description="Learn to scrape cast iron flat: print, cut, measure.")
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
