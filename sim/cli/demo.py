"""`flatwright demo`: the optics-bench stand, or its foot alone, from raw milled to scraped, with report and jobs."""

import argparse
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.hands.stand import FaceDone
    from sim.model.part import PartShape
    from sim.model.plate import PlateMake
    from sim.report.page import DemoReport
    from sim.report.part_page import PartReport
    from sim.shop.rounds import RoundLog
    from sim.shop.session import Session

NAME = "demo"
HELP = "The main job: scrape a milled stand, foot flat, top parallel, side square, and write a report and job files."
TITLE = "Foot of a stand for a school's optics bench"
MOST_ROUNDS = 1000
ROUNDS = {"foot": 45, "part": 80}  # at most, unless told otherwise


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options; the values are checked in `run`, where all are known."""
    parser.add_argument("--seed", type=whole, default=1, metavar="N", help="which face, and which luck (default 1)")
    parser.add_argument("--hand", choices=("skilled", "trained", "beginner"), default="skilled", help="who scrapes")
    parser.add_argument("--face", choices=("foot",), help="scrape the foot alone: one face of 160 x 110 mm")
    parser.add_argument("--part", metavar="FILE", help="scrape the part that this file describes (default: the stand)")
    parser.add_argument("--rounds", type=whole, metavar="N",
                        help="rounds of a face at most (default 80; 45 with --face foot)")
    parser.add_argument("--carry-on", action="store_true", help="work on for all rounds although the target is met")
    parser.add_argument("--out", metavar="DIR", help="folder for report and job files (default flatwright-demo-SEED)")
    parser.add_argument("--force", action="store_true", help="write over what an earlier run left in the folder")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else; in its rounds_log "
                        "strokes are those of the round, hours those since the face was begun")


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
    if args.face is not None and args.part is not None:
        raise BadParam("--face foot and --part FILE exclude each other, got both")
    args.rounds = ROUNDS["foot" if args.face else "part"] if args.rounds is None else args.rounds
    if not 1 <= args.rounds <= MOST_ROUNDS:
        raise BadParam(f"--rounds must be 1 to {MOST_ROUNDS}, got {args.rounds}")
    folder = Path(f"flatwright-demo-{args.seed}" if args.out is None else args.out)
    stem = args.face or ("stand" if args.part is None else Path(args.part).stem.lstrip(".") or "part")
    part = None if args.face else part_of(args.part)
    made = open_folder(folder, args.force, file_names(stem))
    try:
        session, done = scraped(args, part)
        faces = {name: told_of(session, name, face, args) for name, face in done.items()}
        scraped_part = None if part is None else whole_part(session, faces, args)
        write_files(folder, stem, session, scraped_part or faces["face"], args.force)
    except BaseException:
        if made and not any(folder.iterdir()):
            folder.rmdir()
        raise
    if args.json:
        import json

        print(json.dumps(answer(faces["face"]) if scraped_part is None else part_answer(scraped_part), allow_nan=False))
    elif scraped_part is None:
        _print(faces["face"], folder)
    else:
        _print_part(scraped_part, folder, stem)
    return 0


def part_of(path: str | None) -> "PartShape":
    """The part that a file describes; the stand where none is named."""
    from sim import paths
    from sim.intake.drawing import read_part

    return read_part(Path(path) if path is not None else paths.assets() / "parts" / "stand.toml")


def file_names(stem: str) -> tuple[str, ...]:
    """What a run leaves in its folder."""
    return "report.html", f"{stem}.job", f"{stem}.job.npz", f"{stem}-milled.job"


def open_folder(folder: Path, force: bool, names: tuple[str, ...]) -> bool:
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
    there = [name for name in names if (folder / name).exists()]
    if there and not force:
        raise CannotWrite(f"{folder / there[0]} is there already: name another folder with --out, or give --force")
    return made


def scraped(args: argparse.Namespace, part: "PartShape | None") -> "tuple[Session, dict[str, FaceDone]]":
    """Do the job, with a progress bar on a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from sim.hands.skill import HANDS
    from sim.hands.stand import scrape_part
    from sim.kernels.warm import warm
    from sim.shop.job import JobStart
    from sim.shop.session import Session

    warm()
    session = Session.begin(JobStart(seed=args.seed, part=part, plate=plate_for(part)), copies_mb=0.0)
    console = Console(stderr=True)
    columns = (TextColumn("scraping {task.fields[face]}"), BarColumn(), MofNCompleteColumn(),
               TextColumn("{task.fields[told]}"), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("", total=args.rounds, told="", face="")

        def on_round(face: str, log: "RoundLog") -> None:
            told = f"{log.bearing_flatness_um:.1f} µm, {log.spots_mean:.0f} spots, {log.shop_hours:.1f} h"
            bar.update(task, completed=log.round, told=told, face=face)

        done = scrape_part(session, HANDS[args.hand], rounds=args.rounds, carry_on=args.carry_on, on_round=on_round)
    return session, done


def plate_for(part: "PartShape | None") -> "PlateMake":
    """The usual plate, or a larger one of the same error on which the largest face still has room to move."""
    from sim.model.plate import PlateMake

    usual = PlateMake()
    if part is None:
        return usual
    most = [max(side) for side in zip(*((one.start.length_mm, one.start.width_mm) for one in part.faces), strict=True)]
    return replace(usual, length_mm=max(usual.length_mm, most[0] + 80.0), width_mm=max(usual.width_mm, most[1] + 70.0))


def told_of(session: "Session", name: str, done: "FaceDone", args: argparse.Namespace) -> "DemoReport":
    """Everything that the report tells of a face that was worked."""
    from sim.measure.spots import spots
    from sim.measure.verdict import scorecard, standard_marks
    from sim.report.page import DemoReport

    job = session.job
    face, body, target = job.part.faces[name], job.start.body_behind(name), job.start.shape.face(name).target
    totals = scorecard(face, target, body)
    totals |= {"removed_mm3": done.removed_mm3, "strokes": done.strokes, "shop_hours": done.hours,
               "strokes_off_marks_pct": 100.0 * done.off_marks / max(done.strokes, 1)}
    marks = standard_marks(face, body)
    lowest_at = spots(marks, target.spot_area_mm2).lowest_at_mm
    title = TITLE if args.face else name
    asked = [(f"{one.kind.capitalize()} to {one.datum}", one.limit_um) for one in job.start.shape.tolerances
             if one.face == name]  # fmt: skip
    return DemoReport(title, args.seed, args.hand, target, done.driven.rounds, done.driven.met_round, totals,
                      done.start, face, marks, lowest_at, asked[0] if asked else None)


def whole_part(session: "Session", faces: "dict[str, DemoReport]", args: argparse.Namespace) -> "PartReport":
    """Everything that the report tells of a part: its faces, and the drawing's tolerances between them."""
    from sim.measure.orient import part_orientation
    from sim.report.part_page import PartReport, ToleranceDone
    from sim.shop.job import in_doubt
    from sim.units import S_PER_H

    job = session.job
    shape = job.start.shape
    asked = [
        ToleranceDone(one, part_orientation(job.part, one), None if reading is None else reading.value_um, doubt,
                      reading is not None and reading.both_ways)
        for one, reading, doubt in zip(shape.tolerances, job.readings, in_doubt(job), strict=True)
    ]
    return PartReport(shape.title or shape.name, args.seed, args.hand, shape, faces, asked, job.clock_s / S_PER_H)


def write_files(folder: Path, stem: str, session: "Session", told: "DemoReport | PartReport", force: bool) -> None:
    """Report, the job, and a job that has only its start, to scrape oneself; none is half written."""
    from sim.report.page import DemoReport, write_demo_report
    from sim.report.part_page import write_part_report
    from sim.shop.session import Session

    new = [folder / name for name in file_names(stem) if not (folder / name).exists()]
    try:
        if isinstance(told, DemoReport):
            write_demo_report(folder / "report.html", told, force)
        else:
            write_part_report(folder / "report.html", told, force)
        session.save(folder / f"{stem}.job", force)
        session.close()
        Session.begin(session.job.start, folder / f"{stem}-milled.job", force).close()
    except BaseException:  # a full disk, or stopped: no half of a set is left
        for path in new:
            path.unlink(missing_ok=True)
        raise


def part_answer(whole: "PartReport") -> dict[str, Any]:
    """The JSON object of a part: each face as `answer` tells it, and how the faces lie to each other."""
    worst: dict[str, float | None] = {"parallelism": None, "perpendicularity": None}
    told = []
    for done in whole.tolerances:
        one, found = done.tolerance, done.found
        worst[one.kind] = max(worst[one.kind] or 0.0, found.contact_um)
        told.append({"kind": one.kind, "face": one.face, "datum": one.datum, "limit_um": one.limit_um,
                     "contact_datum_um": found.contact_um, "least_squares_datum_um": found.least_squares_um,
                     "read_um": done.read_um, "read_both_ways": done.both_ways,
                     "in_doubt": done.in_doubt, "met": done.met})
    return {
        "seed": whole.seed, "hand": whole.hand, "faces": {name: answer(face) for name, face in whole.faces.items()},
        "parallelism_um": worst["parallelism"], "perpendicularity_um": worst["perpendicularity"], "tolerances": told,
        "shop_hours": whole.shop_hours, "target_met": whole.met,
    }  # fmt: skip


def answer(demo: "DemoReport") -> dict[str, Any]:
    """The JSON object: units in the keys."""
    t, last = demo.totals, demo.rounds[-1]
    cv = None if math.isnan(t["spots_cv"]) else t["spots_cv"]
    log = [{"round": r.round, "strokes": r.strokes_this_round, "shop_hours": r.shop_hours,
            "bearing_flatness_um": r.bearing_flatness_um, "spots_mean": r.spots_mean, "spots_lowest": r.spots_lowest,
            "bearing_pct": r.bearing_pct} for r in demo.rounds]  # fmt: skip
    return {
        "seed": demo.seed, "hand": demo.hand, "rounds": len(demo.rounds), "strokes": int(t["strokes"]),
        "shop_hours": t["shop_hours"], "target_met": demo.met_round is not None, "target_met_round": demo.met_round,
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


def _print_part(whole: "PartReport", folder: Path, stem: str) -> None:
    from rich.console import Console

    from sim.report.part_page import part_verdict
    from sim.report.tables import faces_table, tolerance_rows, tolerance_table

    console = Console(highlight=False, markup=False, soft_wrap=True)
    console.print(f"{whole.title}, seed {whole.seed}, {whole.hand} hand", style="bold")
    console.print(" ".join(part_verdict(whole)))
    console.print(faces_table(whole.faces))
    console.print(tolerance_table(tolerance_rows(whole.tolerances)))
    console.print(f"report    {folder / 'report.html'}")
    console.print(f"the job   {folder / f'{stem}.job'}    check it: flatwright replay {folder / f'{stem}.job'}")
    console.print(f"untouched {folder / f'{stem}-milled.job'}")
