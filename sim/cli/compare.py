"""`flatwright compare`: ways of working on the same faces with the same luck; which gets there, and how soon."""

import argparse
import math
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sim.cli.demo import whole
from sim.cli.measure import number

if TYPE_CHECKING:
    from sim.shop.job import JobStart
    from sim.target import Target
    from sim.trials.comparison import Asked
    from sim.trials.ledger import Ledger
    from sim.trials.trial import Outcome

NAME = "compare"
HELP = "Ways of working on the same faces with the same luck: which gets there, how surely and in how many hours."
EPILOG = """examples:
  flatwright compare --list
  flatwright compare break-up-late fly-cut --runs 40 --out fly
  flatwright compare break-up-late fly-cut:tram=67,depth=130 --vary start-error=10:80:10 --runs 30 --out crossover
  flatwright compare bands blue-alone --part assets/parts/stand.toml --runs 20 --out bands
  flatwright compare --job fly-cut@17 --out fly      the job of one trial, to open on the bench"""
REPORT, FOLDER = "report.html", "flatwright-compare"
MOST_VALUES = 60


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options; what a strategy or the model allows is checked in `run`."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = EPILOG
    parser.add_argument("strategies", nargs="*", metavar="STRATEGY", help="names from --list; options follow a colon: "
                        "heavy-film:film=6 (a name may be cut short while it is clear)")  # fmt: skip
    parser.add_argument("--list", action="store_true", help="tell every strategy and its options, and stop")
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--part", metavar="FILE", help="compare on the part that this file describes, all its faces")
    where.add_argument("--face", metavar="FILE[:NAME]", help="on one face of a part's file, its first or the one "
                       "named, held to nothing (default: the stand's foot as it comes from the mill, edges sharp)")
    parser.add_argument("--target", metavar="FILE|KEY=N", help="when a face is done: a TOML file or limits such as "
                        "bearing_flatness_um=3,spots_mean=15 (default: the drawing's, or the demo's)")  # fmt: skip
    parser.add_argument("--runs", type=whole, default=200, metavar="N", help="faces for each strategy (default 200)")
    parser.add_argument("--seed", type=whole, default=1, metavar="S", help="of the first face; the others follow "
                        "(default 1)")  # fmt: skip
    parser.add_argument("--hand", choices=("skilled", "trained", "beginner", "learning"), default="skilled",
                        help="who scrapes; learning: a beginner who becomes a trained hand")
    parser.add_argument("--vary", metavar="NAME=A:B:STEP", help="all of it at each value of start-error, wedge or "
                        "plate-error, µm: start-error=10:80:10; or at one: start-error=15")  # fmt: skip
    parser.add_argument("--rounds", type=whole, default=60, metavar="N", help="rounds of a face at most (default 60)")
    parser.add_argument("--hours", type=number, default=40.0, metavar="H", help="shop hours at most (default 40)")
    parser.add_argument("--own", metavar="FILE.py", help="Python file with strategies of your own; IT IS RUN: see "
                        "DEVELOPERS.md for how one is written")  # fmt: skip
    engine = parser.add_mutually_exclusive_group()
    engine.add_argument("--workers", type=whole, metavar="N", help="processes (default: one for each processor)")
    engine.add_argument("--cluster", metavar="ADDRESS", help="work on a running Dask cluster: tcp://HOST:8786")
    parser.add_argument("--out", metavar="DIR", help=f"folder of report, table and outcomes (default {FOLDER}; with "
                        "--json none)")  # fmt: skip
    parser.add_argument("--resume", action="store_true", help="go on with the comparison in --out; its options need "
                        "not be named again")  # fmt: skip
    parser.add_argument("--job", metavar="STRATEGY@SEED", help="write the job file of one trial of the comparison in "
                        "--out; STRATEGY@SEED@VALUE where something was varied")  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """List, write one job, or compare."""
    from sim.errors import BadParam
    from sim.hands.own import load_own

    if args.own:
        load_own(Path(args.own))
    if args.list:
        return _list(args.json)
    folder = Path(args.out or FOLDER) if args.out or not args.json else None
    if (args.resume or args.job) and folder is None:
        raise BadParam("--resume and --job need --out DIR, the folder of a comparison")
    if args.job:
        return _write_job(args, folder)
    return _compare(args, folder)


def _list(as_json: bool) -> int:
    from sim.hands.strategy import known

    if as_json:
        import json

        print(json.dumps({"strategies": [{"name": one.name, "doc": one.doc} for one in known()]}))
        return 0
    from rich.console import Console
    from rich.table import Table

    from sim.trials.comparison import VARIED
    from sim.units import shown_unit

    table = Table("strategy", "what it does", box=None, padding=(0, 2, 0, 0))
    for one in known():
        told = "".join(f"\n:{name}={to.default:.3g}  {shown_unit(to.metadata['unit'])}, {to.metadata['doc']}"
                       for name, to in one.options.items())  # fmt: skip
        heights = " (needs --part)" if one.needs_heights else ""
        table.add_row(one.name, one.doc + heights + told)
    console = Console(highlight=False, markup=False, emoji=False)
    console.print(table)
    for name, varied in VARIED.items():
        low, high = varied.allowed
        console.print(f"--vary {name}=A:B:STEP  {varied.doc}, {low:g} to {high:g} {shown_unit(varied.unit)}")
    console.print("next: flatwright compare break-up-late fly-cut --runs 20")
    return 0


# ---------------------------------------------------------------- what is asked


def asked_for(args: argparse.Namespace) -> "Asked":
    """The comparison as the options have it.

    Raises
    ------
    BadParam, BadFile
        An option, or a file that it names, that cannot be.
    """
    from sim.errors import BadParam
    from sim.trials.comparison import Asked, trials_of

    for name, low, high in (("runs", 1, 100_000), ("rounds", 1, 1000), ("hours", 0.1, 1000.0), ("seed", 0, 10**15)):
        if not low <= getattr(args, name) <= high:
            raise BadParam(f"--{name} must be {low:g} to {high:g}, got {getattr(args, name)}")
    vary, values = varied(args.vary) if args.vary else ("", ())
    ways = tuple(way(one) for one in args.strategies)
    own = str(Path(args.own).resolve()) if args.own else ""
    asked = Asked(ways, start_of(args), args.hand, target_of(args.target), args.runs, args.rounds, args.hours, vary,
                  values, own)  # fmt: skip
    trials_of(asked)
    return asked


def way(text: str) -> tuple[str, tuple[tuple[str, float], ...]]:
    """A strategy and its options, `heavy-film:film=6`, every name in full.

    Raises
    ------
    BadParam
        A name or value that is not possible.
    """
    from sim.hands.strategy import known

    name, _, rest = text.partition(":")
    [found] = known([name])
    given = numbers(rest, f"options of {name}") if rest else {}
    full = found.chosen(**given)
    return name, tuple((key, value) for key, value in full.items() if value != found.options[key].default)


def numbers(text: str, what: str) -> dict[str, float]:
    """`key=number,…` as a dict.

    Raises
    ------
    BadParam
        Anything else.
    """
    from sim.errors import BadParam

    found = {}
    for one in text.split(","):
        key, _, value = one.partition("=")
        if not re.fullmatch(r"\s*[a-z0-9_]+\s*", key) or not re.fullmatch(r"\s*[-+]?(\d+\.?\d*|\.\d+)\s*", value):
            raise BadParam(f"{what} must be NAME=NUMBER, with commas between, got {one[:60]!r}")
        found[key.strip()] = float(value)
    return found


def varied(text: str) -> tuple[str, tuple[float, ...]]:
    """What `--vary` names, and its values, the last one included where a step falls on it.

    Raises
    ------
    BadParam
        Not `NAME=A:B:STEP`, or outside what can be varied.
    """
    from sim.errors import BadParam
    from sim.trials.comparison import VARIED

    one = r"[-+]?(?:\d+\.?\d*|\.\d+)"
    parts = re.fullmatch(rf"([a-z-]+)=({one})(?::({one}):({one}))?", text)
    if not parts or parts[1] not in VARIED:
        raise BadParam(f"--vary must be NAME=A:B:STEP, or NAME=A, with NAME one of {', '.join(VARIED)}, got "
                       f"{text[:60]!r}")  # fmt: skip
    first, last, step = (float(given or parts[2]) for given in parts.groups()[1:])
    low, high = VARIED[parts[1]].allowed
    one_value = parts[3] is None and low <= first <= high
    if not one_value and not (low <= first < last <= high and step > 0.0 and (last - first) / step < MOST_VALUES):
        raise BadParam(f"--vary {parts[1]} must run from A up to B within {low:g} to {high:g} µm in at most "
                       f"{MOST_VALUES} steps, got {text[:60]!r}")  # fmt: skip
    count = 1 if one_value else int((last - first) / step + 1e-9) + 1
    return parts[1], tuple(round(first + n * step, 9) for n in range(count))


def start_of(args: argparse.Namespace) -> "JobStart":
    """The start of the first run: a part, one face of it, or the foot as it comes from the mill.

    Raises
    ------
    BadParam, BadFile
        No such part or face.
    """
    from dataclasses import replace

    from sim.cli.demo import part_of, plate_for
    from sim.errors import BadParam
    from sim.model.start import Start
    from sim.shop.job import JobStart

    if args.part:
        part = part_of(args.part)
        return JobStart(seed=args.seed, part=part, plate=plate_for(part))
    if not args.face:
        return JobStart(Start(edge_break_mm=0.0), seed=args.seed)
    path, colon, name = args.face.rpartition(":")
    if not colon or Path(args.face).exists():
        path, name = args.face, ""
    part = part_of(path)
    names = [one.name for one in part.faces]
    if name and name not in names:
        raise BadParam(f"--face {path} has the faces {', '.join(names)}, got {name[:40]!r}")
    face = part.face(name or names[0])
    alone = replace(part, faces=(face,), tolerances=())
    return JobStart(seed=args.seed, part=alone, plate=plate_for(alone))


def target_of(text: str | None) -> "Target | None":
    """The target of every face; None where the drawing's holds.

    Raises
    ------
    BadParam, BadFile
        Neither a TOML file nor limits.
    """
    import tomllib

    from sim.errors import BadFile, BadParam
    from sim.params import check_param
    from sim.target import Target

    if text is None:
        return None
    given: dict[str, Any]
    if "=" in text and not Path(text).exists():
        given, where = dict(numbers(text, "--target")), "--target"
    else:
        where = text
        try:
            given = tomllib.loads(Path(text).read_text(encoding="utf-8"))
        except OSError as error:
            raise BadFile(f"{text}: a TOML file with limits is wanted: {error.strerror}") from None
        except (ValueError, RecursionError) as error:
            raise BadFile(f"{text}: is no sound TOML: {str(error)[:100]}") from None
    known = Target.__dataclass_fields__
    for key, value in given.items():
        if key not in known:
            raise BadParam(f"{where} takes {', '.join(known)}, got {key[:40]!r}")
        check_param(f"{where}: {key}", value, known[key].metadata)
    return Target(**given)


# ---------------------------------------------------------------- the work


def _compare(args: argparse.Namespace, folder: Path | None) -> int:
    import os
    import time

    from sim.errors import ShopError
    from sim.kernels.warm import warm
    from sim.trials.comparison import run as work
    from sim.trials.comparison import trials_of
    from sim.trials.ledger import Ledger

    asked = _asked_before(args, folder) if args.resume and not args.strategies and folder else asked_for(args)
    trials = trials_of(asked)
    ledger = Ledger(folder, asked.as_data(), args.resume) if folder else None
    done = dict(ledger.outcomes) if ledger else {}
    workers = args.workers or (0 if args.cluster else os.cpu_count() or 1)
    stopped: BaseException | None = None
    warm()
    began = time.monotonic()
    try:
        with _bar(len(trials), len(done)) as advance:

            def on_outcome(outcome: "Outcome") -> None:
                done[outcome.key] = outcome
                advance(outcome)

            work(asked, ledger, on_outcome, workers=workers, cluster=args.cluster or "")
    except (KeyboardInterrupt, ShopError) as error:
        if not done:
            raise
        stopped = error
    finally:
        if ledger:
            ledger.close()
    outcomes = [done[trial.key] for trial in trials if trial.key in done]
    engine = (time.monotonic() - began, workers, args.cluster or "")
    try:
        _tell(args, (asked, outcomes, len(trials)), ledger, engine)
    except ShopError:
        if stopped is None:
            raise  # else the same full disk, most likely
    if stopped is not None:
        return _stopped(stopped, len(outcomes), len(trials), folder)
    return 0


def _stopped(why: BaseException, done: int, of: int, folder: Path | None) -> int:
    """Say how far it came and how to go on; a fault is told as every other one."""
    import sys

    on = f"; go on with: flatwright compare --resume --out {folder}" if folder else ""
    if isinstance(why, KeyboardInterrupt):
        print(f"flatwright: stopped: {done} of {of} trials are kept{on}", file=sys.stderr)
        return 130
    print(f"flatwright: {done} of {of} trials are kept{on}", file=sys.stderr)
    raise why


def _asked_before(args: argparse.Namespace, folder: Path) -> "Asked":
    from sim.trials.comparison import asked_from_data
    from sim.trials.ledger import asked_in

    return asked_from_data(asked_in(folder), str(Path(args.own).resolve()) if args.own else "")


@contextmanager
def _bar(total: int, already: int) -> "Iterator[Callable[[Outcome], None]]":
    """A progress bar with the time left, on a terminal; yields what advances it."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (TextColumn("trials"), BarColumn(), MofNCompleteColumn(), TextColumn("left"), TimeRemainingColumn(),
               TextColumn("{task.fields[told]}"))  # fmt: skip
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task, failed = progress.add_task("", total=total, completed=already, told=""), 0

        def advance(outcome: "Outcome") -> None:
            nonlocal failed
            failed += bool(outcome.fault)
            progress.update(task, advance=1, told=f"{failed} failed" if failed else "")

        yield advance


def _write_job(args: argparse.Namespace, folder: Path | None) -> int:
    """Work one trial again, with its log."""
    from sim.errors import BadParam
    from sim.kernels.warm import warm
    from sim.report.compare_words import job_file
    from sim.trials.comparison import trials_of
    from sim.trials.trial import run_trial

    assert folder is not None
    trials = trials_of(_asked_before(args, folder))
    name, _, rest = args.job.partition("@")
    seed, _, value = rest.partition("@")
    fits = [one for one in trials if one.label == name and str(one.start.seed) == seed
            and (math.isnan(one.varied) or f"{one.varied:g}" == value)]  # fmt: skip
    if len(fits) != 1:
        labels = ", ".join(dict.fromkeys(one.label for one in trials))
        seeds = f"{trials[0].start.seed} to {trials[-1].start.seed}"
        at = "" if math.isnan(trials[0].varied) else f", then @ and one of {_values(trials)}"
        raise BadParam(f"--job must be one of {labels}, then @ and a seed from {seeds}{at}, got {args.job[:60]!r}")
    path = folder / job_file(args.job)
    warm()
    outcome = run_trial(fits[0], path)
    if args.json:
        import json

        print(json.dumps({"job": str(path), "met": outcome.met, "hours": outcome.hours, "fault": outcome.fault}))
    else:
        told = outcome.fault or f"{'met' if outcome.met else 'not met'} after {outcome.hours:.1f} h"
        print(f"{path}: {told}\nnext: flatwright bench {path}")
    return 0


def _values(trials: list[Any]) -> str:
    return ", ".join(dict.fromkeys(f"{one.varied:g}" for one in trials))


# ---------------------------------------------------------------- what is told


def _tell(args: argparse.Namespace, what: "tuple[Asked, list[Outcome], int]", ledger: "Ledger | None",
          engine: tuple[float, int, str]) -> None:
    """JSON or a table; the files of the folder."""
    from rich.console import Console

    from sim.report.compare_tables import comparison_answer, comparison_tables
    from sim.report.compare_words import headline
    from sim.trials.comparison import summary

    asked, outcomes, of = what
    found = summary(outcomes)
    files = _write(asked, outcomes, found, ledger, engine) if ledger else []
    if args.json:
        import json

        print(json.dumps(comparison_answer(asked, outcomes), allow_nan=False))
        return
    console = Console(highlight=False, markup=False, emoji=False, soft_wrap=True)
    console.print(f"{len(outcomes)} of {of} trials, {asked.hand} hand, seeds from {asked.start.seed}", style="bold")
    for line in comparison_tables(asked, found):
        console.print(line)
    if not asked.vary:
        console.print(headline(found)[0], style="bold")
    for note in ledger.notes if ledger else ():
        print(note)
    for path in files:
        print(path)
    if ledger:
        first = outcomes[0]
        at = "" if math.isnan(first.varied) else f"@{first.varied:g}"
        print(f"next: flatwright compare --job {first.strategy}@{first.seed}{at} --out {ledger.folder}")


def _write(asked: "Asked", outcomes: "list[Outcome]", found: Any, ledger: "Ledger",
           engine: tuple[float, int, str]) -> list[Path]:
    """Table and report, each whole or not at all; what an earlier stop left is written over."""
    from sim.report.compare_page import ComparisonReport, comparison_page
    from sim.shop.store import write_new
    from sim.trials.ledger import TABLE, table

    csv_at, report_at = ledger.folder / TABLE, ledger.folder / REPORT
    write_new(csv_at, table(outcomes).encode(), force=True)
    wall_s, workers, cluster = engine
    told = ComparisonReport(asked, outcomes, found, wall_s=wall_s, workers=workers, cluster=cluster,
                            notes=tuple(ledger.notes))  # fmt: skip
    write_new(report_at, comparison_page(told).encode(), force=True)
    return [report_at, csv_at]
