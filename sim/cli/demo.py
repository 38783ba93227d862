"""`flatwright demo`: the foot of the optics-bench stand, from raw milled to scraped, with report and job files."""

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.report.page import DemoReport
    from sim.shop.rounds import Driven
    from sim.shop.session import Session

NAME = "demo"
HELP = "The main job: scrape a milled 160 x 110 mm foot until it bears, and write a report and job files."
TITLE = "Foot of a stand for a school's optics bench"
MOST_ROUNDS = 1000
FILES = ("report.html", "foot.job", "foot.job.npz", "foot-milled.job")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options; the values are checked in `run`, where all are known."""
    parser.add_argument("--seed", type=whole, default=1, metavar="N", help="which face, and which luck (default 1)")
    parser.add_argument("--hand", choices=("skilled", "trained", "beginner"), default="skilled", help="who scrapes")
    parser.add_argument("--rounds", type=whole, default=45, metavar="N", help="rounds at most (default 45)")
    parser.add_argument("--carry-on", action="store_true", help="work on for all rounds although the target is met")
    parser.add_argument("--out", metavar="DIR", help="folder for report and job files (default flatwright-demo-SEED)")
    parser.add_argument("--force", action="store_true", help="write over what an earlier run left in the folder")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else; in its rounds_log "
                        "strokes are those of the round, hours those since the start")


def whole(text: str) -> int:
    """A whole number of at most 18 digits; for argparse."""
    if not (text.isascii() and text.removeprefix("-").isdigit() and len(text) <= 18):
        raise argparse.ArgumentTypeError(f"must be a whole number of at most 18 digits, got {text[:40]!r}")
    return int(text)


def run(args: argparse.Namespace) -> int:
    """Scrape, write, print."""
    from sim.errors import BadParam

    if args.seed < 0:
        raise BadParam(f"--seed must be 0 to {10**18 - 1}, got {args.seed}")
    if not 1 <= args.rounds <= MOST_ROUNDS:
        raise BadParam(f"--rounds must be 1 to {MOST_ROUNDS}, got {args.rounds}")
    folder = Path(f"flatwright-demo-{args.seed}" if args.out is None else args.out)
    if args.out == "":
        raise BadParam("--out must be a folder, got ''")
    made = open_folder(folder, args.force)
    try:
        session, driven, demo = scraped(args)
        write_files(folder, session, demo, args.force)
    except BaseException:
        if made and not any(folder.iterdir()):
            folder.rmdir()
        raise
    if args.json:
        import json

        print(json.dumps(answer(demo, driven), allow_nan=False))
    else:
        _print(demo, folder)
    return 0


def open_folder(folder: Path, force: bool) -> bool:
    """See before the work that its results can be written; returns True when the folder was made just now.

    Raises
    ------
    CannotWrite
        The folder cannot be made or written to, or holds an earlier run and `force` is not set.
    """
    import tempfile

    from sim.errors import CannotWrite

    try:
        made = not folder.exists()
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except (OSError, ValueError) as error:
        why = "it is a file" if folder.is_file() else getattr(error, "strerror", None) or error
        raise CannotWrite(f"--out must be a folder that can be written, got {str(folder)!r}: {why}") from None
    there = [name for name in FILES if (folder / name).exists()]
    if there and not force:
        raise CannotWrite(f"{folder / there[0]} is there already: name another folder with --out, or give --force")
    return made


def scraped(args: argparse.Namespace) -> "tuple[Session, Driven, DemoReport]":
    """Do the job, with a progress bar on a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from sim.hands.autopilot import follow_the_blue
    from sim.hands.skill import HANDS
    from sim.kernels.warm import warm
    from sim.shop.job import JobStart
    from sim.shop.rounds import drive
    from sim.shop.session import Session
    from sim.target import Target

    warm()
    session = Session.begin(JobStart(seed=args.seed), copies_mb=0.0)
    start_face = session.job.face.copy()
    console = Console(stderr=True)
    columns = (TextColumn("scraping"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[told]}"),
               TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("", total=args.rounds, told="")

        def on_round(log: Any) -> None:
            told = f"{log.bearing_flatness_um:.1f} µm, {log.spots_mean:.0f} spots, {log.shop_hours:.1f} h"
            bar.update(task, completed=log.round, told=told)

        driven = drive(session, follow_the_blue(HANDS[args.hand]), Target(), rounds=args.rounds, carry_on=args.carry_on,
                       on_round=on_round)
    return session, driven, told_of(session, driven, start_face, args)


def told_of(session: "Session", driven: "Driven", start_face: Any, args: argparse.Namespace) -> "DemoReport":
    """Everything that the report tells of a job that was done."""
    from sim.measure.spots import spots
    from sim.measure.verdict import scorecard, standard_marks
    from sim.report.page import DemoReport
    from sim.target import Target
    from sim.units import S_PER_H

    job = session.job
    totals = scorecard(job.face, Target(), job.body)
    totals |= {"removed_mm3": job.removed_mm3, "strokes": job.strokes, "shop_hours": job.clock_s / S_PER_H,
               "strokes_off_marks_pct": 100.0 * job.strokes_off_marks / max(job.strokes, 1)}
    marks = standard_marks(job.face, job.body)
    lowest_at = spots(marks, Target().spot_area_mm2).lowest_at_mm
    return DemoReport(TITLE, args.seed, args.hand, Target(), driven.rounds, driven.met_round, totals, start_face,
                      job.face, marks, lowest_at)


def write_files(folder: Path, session: "Session", demo: "DemoReport", force: bool) -> None:
    """Report, the job, and a job that has only its start, to scrape oneself; none is half written."""
    from sim.report.page import write_demo_report
    from sim.shop.session import Session

    new = [folder / name for name in FILES if not (folder / name).exists()]
    try:
        write_demo_report(folder / "report.html", demo, force)
        session.save(folder / "foot.job", force)
        session.close()
        Session.begin(session.job.start, folder / "foot-milled.job", force).close()
    except BaseException:  # a full disk, or stopped: no half of a set is left
        for path in new:
            path.unlink(missing_ok=True)
        raise


def answer(demo: "DemoReport", driven: "Driven") -> dict[str, Any]:
    """The JSON object: units in the keys."""
    t, last = demo.totals, driven.rounds[-1]
    cv = None if math.isnan(t["spots_cv"]) else t["spots_cv"]
    log = [{"round": r.round, "strokes": r.strokes_this_round, "shop_hours": r.shop_hours,
            "bearing_flatness_um": r.bearing_flatness_um, "spots_mean": r.spots_mean, "spots_lowest": r.spots_lowest,
            "bearing_pct": r.bearing_pct} for r in driven.rounds]  # fmt: skip
    return {
        "seed": demo.seed, "hand": demo.hand, "rounds": len(driven.rounds), "strokes": int(t["strokes"]),
        "shop_hours": t["shop_hours"], "target_met": driven.met_round is not None, "target_met_round": driven.met_round,
        "bearing_flatness_um": t["bearing_flatness_um"], "surface_flatness_um": t["surface_flatness_um"],
        "spots_per_sq_in": {"mean": t["spots_mean"], "lowest": t["spots_lowest"], "cv": cv},
        "bearing_pct": last.bearing_pct, "pocket_depth_um": t["pocket_depth_um"], "removed_mm3": t["removed_mm3"],
        "strokes_off_marks_pct": t["strokes_off_marks_pct"], "rounds_log": log,
    }  # fmt: skip


def _print(demo: "DemoReport", folder: Path) -> None:
    from rich.console import Console

    from sim.report.tables import scorecard_rows, scorecard_table, verdict

    console = Console(highlight=False, markup=False, soft_wrap=True)
    rows = scorecard_rows(demo.totals, demo.target)
    met = next(((r.round, r.shop_hours) for r in demo.rounds if r.round == demo.met_round), None)
    console.print(f"{TITLE}, seed {demo.seed}, {demo.hand} hand", style="bold")
    console.print(" ".join(verdict(rows, len(demo.rounds), met)))
    console.print(scorecard_table(rows))
    console.print(f"report    {folder / 'report.html'}")
    console.print(f"the job   {folder / 'foot.job'}    check it: flatwright replay {folder / 'foot.job'}")
    console.print(f"untouched {folder / 'foot-milled.job'}")
