"""`flatwright replay`: run a job file again and say whether it gives the same face, bit for bit."""

import argparse
from typing import TYPE_CHECKING, Any

from sim.units import S_PER_H, counted

if TYPE_CHECKING:
    from sim.shop.session import Replayed

NAME = "replay"
HELP = "Run a job file again from its start and check that the face is the same, bit for bit."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("file", metavar="FILE", help="a job file NAME.job, or a packed job")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Run the log again, then print; 1 when the face differs, 2 when a part of the log had to be left out."""
    import json
    import sys
    from pathlib import Path

    from rich.console import Console
    from rich.progress import Progress

    from sim.kernels.warm import warm
    from sim.shop.session import replay

    warm()
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("running the log again", total=None)
        found = replay(Path(args.file), lambda done, total: bar.update(task, completed=done, total=total))
    if args.json:
        print(json.dumps(answer(found), allow_nan=False))
    else:
        print(_line(found))
        for one in tolerances(found):
            read = "never read" if one["read_um"] is None else f"last read {one['read_um']:g} µm"
            doubt = ": in doubt, read it again" if one["in_doubt"] else ""
            print(f"{one['kind']} of {one['face']} to {one['datum']}, limit {one['limit_um']:g} µm: {read}{doubt}")
    for note in found.notes:
        print(f"flatwright: {note}", file=sys.stderr)
    return 1 if not found.ok else 0 if found.whole else 2


def answer(found: "Replayed") -> dict[str, Any]:
    """Everything that is told, as it goes into the JSON object."""
    from sim.shop.logbook import fingerprint

    return {
        "commands": found.commands,
        "rounds": found.rounds,
        "strokes": found.job.strokes,
        "shop_hours": found.job.clock_s / S_PER_H,
        "fingerprints_checked": found.fingerprints_checked,
        "same_face": found.ok if found.fingerprints_checked else None,
        "whole": found.whole,
        "sha256": fingerprint(found.job),
        "tolerances": tolerances(found),
        "notes": found.notes,
    }


def tolerances(found: "Replayed") -> list[dict[str, Any]]:
    """What was read last of each tolerance of the part, and whether it must be read again."""
    from dataclasses import asdict

    from sim.shop.job import in_doubt

    job = found.job
    asked = zip(job.start.shape.tolerances, job.readings, in_doubt(job), strict=True)
    return [{**asdict(one), "read_um": reading and reading.value_um,
             "read_both_ways": bool(reading and reading.both_ways), "in_doubt": doubt}
            for one, reading, doubt in asked]  # fmt: skip


def _line(found: "Replayed") -> str:
    """What was run again and what came of it."""
    job = found.job
    hours = f"{job.clock_s / S_PER_H:.2f} h on the shop clock"
    done = ", ".join((counted(found.commands, "command"), counted(found.rounds, "round"),
                      counted(job.strokes, "stroke"), hours))  # fmt: skip
    if not found.ok:
        return f"run again up to a face that differs: {done}"
    if not found.fingerprints_checked:
        return f"run again: {done}; there is no fingerprint to check"
    count = found.fingerprints_checked
    return f"run again: {done}; the same face, bit for bit ({counted(count, 'fingerprint')} checked)"
