"""`flatwright bench`: the window to practise in, or a script played without one."""

import argparse
import os
import re

from sim.cli import has_display

NAME = "bench"
HELP = "Open the bench, the window to practise in; or play a script of gestures without a window and save pictures."
WITHOUT = "Works without one: demo, part, measure, seat, bands, flycut, model, replay, pack; bench --script."
LEAST, MOST = (800, 500), (7680, 4320)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "target",
        nargs="?",
        metavar="PART|JOB|LESSON|ASSIGNMENT",
        help="a part in TOML, a job file to go on with, a lesson by name, number or file, or the "
        "assignment.json of a class (default: the start page)",
    )
    parser.add_argument("--script", metavar="FILE", help="play these gestures (JSON) without a window")
    parser.add_argument("--shots", metavar="DIR", help="folder of the pictures that a script takes (default: here)")
    parser.add_argument(
        "--size", type=pixels, default=None, metavar="WxH", help="size of the window (default 1280x800)"
    )
    parser.add_argument(
        "--ui-scale",
        type=scale,
        default=None,
        metavar="X",
        help="size of text and controls, 0.75 to 3 (default: as chosen in settings)",
    )
    parser.add_argument("--theme", choices=("dark", "light"), help="default: as chosen in settings")
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="which face, and which luck, of a new practice (default 1)"
    )
    parser.add_argument("--data-dir", metavar="DIR", help="folder of jobs, settings and keys (default: the system's)")
    parser.add_argument("--force", action="store_true", help="let a script write over pictures that are there")


def pixels(text: str) -> tuple[int, int]:
    """Width and height such as 1280x800; for argparse."""
    parts = re.fullmatch(r"(\d{3,5})[x×](\d{3,5})", text, re.ASCII)
    size = (int(parts[1]), int(parts[2])) if parts else (0, 0)
    if not all(low <= got <= high for low, got, high in zip(LEAST, size, MOST, strict=True)):
        allowed = f"{LEAST[0]}x{LEAST[1]} to {MOST[0]}x{MOST[1]} pixels"
        raise argparse.ArgumentTypeError(f"must be {allowed}, got {text[:40]!r}")
    return size


def scale(text: str) -> float:
    """A factor from 0.75 to 3; for argparse."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.75 <= value <= 3.0:
        raise argparse.ArgumentTypeError(f"must be 0.75 to 3, got {text[:40]!r}")
    return value


def refuse_other_pygame() -> None:
    """Refuse a pygame that is not pygame-ce, or none.

    Raises
    ------
    BadParam
        Saying what to install, and what to take out first.
    """
    from importlib.metadata import PackageNotFoundError, version

    from sim.errors import BadParam

    mend = "pip uninstall pygame pygame-ce, then pip install 'pygame-ce>=2.5.3'"
    try:
        version("pygame-ce")
    except PackageNotFoundError:
        raise BadParam(f"the bench needs pygame-ce, which is not installed: {mend}") from None
    try:
        version("pygame")
    except PackageNotFoundError:
        return
    raise BadParam(f"pygame and pygame-ce are both installed and write over each other: {mend}")


def run(args: argparse.Namespace) -> int:
    """Open the window and stay until it is closed, or play a script."""
    from sim.errors import BadParam

    if args.seed < 0:
        raise BadParam(f"--seed must be 0 or more, got {args.seed}")
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    refuse_other_pygame()
    if args.script is not None:
        os.environ["SDL_VIDEODRIVER"] = "dummy"
        from sim.bench.script import play

        return play(args)
    if args.shots is not None:
        raise BadParam("--shots goes with --script FILE, got it alone")
    args.drill = False
    return _opened(args)


def open_drills(data_dir: str | None) -> int:
    """Open the window at today's five minutes and stay until it is closed."""
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    refuse_other_pygame()
    return _opened(argparse.Namespace(target=None, size=None, ui_scale=None, theme=None, seed=1, data_dir=data_dir,
                                      drill=True))  # fmt: skip


def _opened(args: argparse.Namespace) -> int:
    from sim.errors import BadParam

    if not has_display():
        raise BadParam(f"No window here. {WITHOUT}")
    from sim.bench.window import open_window

    args.without = WITHOUT
    return open_window(args)
