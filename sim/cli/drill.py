"""`flatwright drill`: practise reading prints, from pictures and a file of answers; truth and place after each."""

import argparse
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from sim.school.item import Item

NAME = "drill"
LEAST_PX = 420  # shorter side of a picture on the disk
EXAMPLE = '[2, [3, 1, 2], [3.5, "thinner"], "hollow", [24, 18], [120, 45], [1, 4, 9], "stop"]'
HELP = "Practise reading prints: questions with pictures, then your answers against the iron."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--kind", metavar="KIND", help="one kind of question: highest, order, film, form, count, "
                        "direction, mark or next (default: all but next by turns; with --today those that your lessons "
                        "opened)")  # fmt: skip
    parser.add_argument("--level", type=int, default=3, metavar="N", help="1 easy to 10 hard (default: 3)")
    parser.add_argument("--items", type=int, default=7, metavar="N", help="how many questions, at most 24 (default: 7)")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="other seed, other faces (default: 1)")
    parser.add_argument("--today", action="store_true", help="today's five minutes: kinds, levels and families by your "
                        "record, which keeps the answers; at most 24 a day")  # fmt: skip
    parser.add_argument("--window", action="store_true", help="today's five minutes in the window, the picture large")
    parser.add_argument("--data-dir", metavar="DIR", help="where the record lies (default: the system's usual place)")
    parser.add_argument("--check", action="store_true", help="only what is kept for checks and never practised")
    parser.add_argument("--shots", metavar="DIR", help="folder of the pictures (default: flatwright-drill-SEED here)")
    parser.add_argument("--answers", metavar="FILE", help="JSON list with an answer for each question, in their order; "
                        "numbers of the picture and of options count from 1, directions are degrees; for one question "
                        f"of each kind in the order above: {EXAMPLE}")  # fmt: skip
    parser.add_argument("--force", action="store_true", help="overwrite pictures that are there")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Ask; or, with answers, tell the truth and the place of each and the skill of all."""
    import json
    from pathlib import Path

    from sim.errors import BadParam

    if args.window:
        from sim.cli.bench import open_drills

        given = [name for name in ("kind", "answers", "shots", "check", "force", "json") if getattr(args, name)]
        if given:
            raise BadParam(f"--window must go with --data-dir alone, got --{given[0]} as well")
        return open_drills(args.data_dir)
    from sim.kernels.warm import warm
    from sim.school.sitting import QUICK_KINDS, sitting

    if not 0 <= args.seed < 2**31:
        raise BadParam(f"--seed must be 0 to 2^31 - 1, got {args.seed}")
    warm()
    if args.today:
        return _today(args)
    kinds = (args.kind,) if args.kind else QUICK_KINDS
    with _making(args.items) as tell:
        items = sitting(kinds, args.level, args.items, args.seed, check=args.check, on_item=tell)
    if args.answers is None:
        folder = Path(args.shots or f"flatwright-drill-{args.seed}")
        _show(items, _drawn(items, folder, args.force), args.json)
        return 0
    mine = _meant(items, _read_answers(Path(args.answers), len(items)), args.answers)
    if args.shots:
        _drawn(items, Path(args.shots), args.force, told=True)
    told = _told(items, mine)
    print(json.dumps(told, allow_nan=False)) if args.json else _say(told)
    return 0


@contextmanager
def _making(items: int) -> Iterator[Callable[[], None]]:
    """A bar on stderr while the items are made, and what is said before the first ones; gives what tells of each."""
    import sys

    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from sim.school.bank import cache_folder

    if not any(cache_folder().glob("coupon-*.npz")):
        print("flatwright: making the first faces, once: about a minute, longer on a busy machine", file=sys.stderr)
    console = Console(stderr=True)
    columns = TextColumn("making the items"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn()
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("items", total=items)
        yield lambda: bar.advance(task)


def _today(args: argparse.Namespace) -> int:
    """The sitting that the record asks for; its answers are kept there, all or none."""
    import json
    from pathlib import Path

    from sim.books.record import Record
    from sim.errors import BadParam
    from sim.paths import data_dir
    from sim.school.sitting import MOST_ITEMS
    from sim.school.today import Today

    if not 1 <= args.items <= MOST_ITEMS:
        raise BadParam(f"items must be 1 to {MOST_ITEMS}, got {args.items}")
    with Record.open(data_dir(args.data_dir)) as record:
        sat = Today(record, (args.kind,) if args.kind else None, check=args.check)
        with _making(args.items) as tell:
            items = sat.plan(args.items, on_item=tell)
        if not items:
            print(json.dumps({"items": []}) if args.json else f"{MOST_ITEMS} items were done today; tomorrow again.")
            return 0
        if args.answers is None:
            folder = Path(args.shots or f"flatwright-drill-{sat.day}-{sat.given + 1}")
            _show(items, _drawn(items, folder, args.force), args.json)
            return 0
        mine = _meant(items, _read_answers(Path(args.answers), len(items)), args.answers)
        if args.shots:
            _drawn(items, Path(args.shots), args.force, told=True)
        told = _told(items, mine)
        for item, answer in zip(items, mine, strict=True):
            sat.answer(item, answer)
    print(json.dumps(told, allow_nan=False)) if args.json else _say(told)
    return 0


def _read_answers(path: "Path", count: int) -> list[Any]:
    """The answers of a file; raises BadFile when they are not a list of so many."""
    import json

    from sim.errors import BadFile
    from sim.shop.store import read_limited
    from sim.units import counted

    data = read_limited(path, 1_000_000)
    try:
        answers = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise BadFile(f"{path}: must be JSON, got: {error}") from None
    if not isinstance(answers, list) or len(answers) != count:
        got = counted(len(answers), "answer") if isinstance(answers, list) else type(answers).__name__
        raise BadFile(f"{path}: must be a list of {counted(count, 'answer')}, got {got}")
    return answers


def _drawn(items: "Sequence[Item]", folder: "Path", force: bool, told: bool = False) -> list[list[str]]:
    """Write the pictures of every item, once the truth is told with what was asked about outlined; their names."""
    from sim.report.figures import png_bytes, refuse_existing
    from sim.school.view import larger, numbered, outlined, ringed
    from sim.shop.store import write_new

    names = [[folder / f"{n}{'abcdef'[k] if len(item.pictures) > 1 else ''}-{item.kind}.png"
              for k in range(len(item.pictures))] for n, item in enumerate(items, start=1)]  # fmt: skip
    for path in (path for row in names for path in row):
        refuse_existing(path, force)
    folder.mkdir(parents=True, exist_ok=True)
    for row, item in zip(names, items, strict=True):
        for path, picture in zip(row, item.pictures, strict=True):
            large = larger(picture, LEAST_PX)
            shown = outlined(ringed(large, item.places()), item.edges()) if told else large
            shown = numbered(shown, getattr(item.form, "points_mm", ()))
            write_new(path, png_bytes(shown.rgb), force)
    return [[str(path) for path in row] for row in names]


def _show(items: "Sequence[Item]", pictures: list[list[str]], as_json: bool) -> None:
    """The questions, and how they are answered."""
    import json

    from sim.school.replies import example, how

    rows: list[dict[str, Any]] = [{"number": n, "kind": item.kind, "level": item.level, "question": item.question,
             "answer": [how(form) for form in item.forms], "example": example(item), "pictures": names}
            for n, (item, names) in enumerate(zip(items, pictures, strict=True), start=1)]  # fmt: skip
    if as_json:
        print(json.dumps({"items": rows}, allow_nan=False))
        return
    for row, item in zip(rows, items, strict=True):
        print(f"{row['number']}. {item.question}")
        print(f"   picture: {', '.join(str(name) for name in row['pictures'])}")
        print(f"   answer: {'; '.join(how(form) for form in item.forms)}; as {json.dumps(example(item))}")
    whole = json.dumps([example(item) for item in items])
    print(f"Write the answers as a JSON list in their order, as {whole}, then: the same line with --answers FILE")


def _meant(items: "Sequence[Item]", answers: list[Any], where: str) -> list[Any]:
    """Every answer as its item takes it; raises BadFile where one is none, counted from 1 as the questions are."""
    from sim.errors import BadFile, BadParam
    from sim.school.replies import meant

    found = []
    for n, (item, answer) in enumerate(zip(items, answers, strict=True), start=1):
        try:
            found.append(meant(item, answer))
        except BadParam as error:
            raise BadFile(f"{where}: answer {n} ({item.kind}): {error}") from None
    return found


def _told(items: "Sequence[Item]", answers: list[Any]) -> dict[str, Any]:
    """Every answer against the truth, and the skill of all."""
    from sim.books.standing import skill
    from sim.school.replies import written

    rows, scored = [], []
    for n, (item, mine) in enumerate(zip(items, answers, strict=True), start=1):
        told, parts = item.told(mine), item.parts(mine)
        scored.append((item.loss(mine), item.chance_of(mine), item.best))
        rows.append({"number": n, "kind": item.kind, "level": item.level, "right": told.right, "verdict": told.verdict,
                     "loss": item.loss(mine), "chance": item.chance_of(mine), "unit": item.unit,
                     "parts": [{"words": one.words, "right": one.right, "name": one.name, "loss": one.loss,
                                "unit": one.unit, "allowed": one.allowed} for one in parts], "sentence": told.sentence,
                     "places_mm": told.places_mm, "truth": written(item, told.truth)})  # fmt: skip
    by_kind = {kind: skill(one for one, item in zip(scored, items, strict=True) if item.kind == kind)
               for kind in dict.fromkeys(item.kind for item in items)}  # fmt: skip
    right = sum(row["right"] for row in rows)
    levels = sorted({item.level for item in items})
    return {"level": levels[0] if len(levels) == 1 else levels, "items": rows, "skill_by_kind": by_kind, "right": right,
            "d_prime": _d_prime(items, answers)}  # fmt: skip


def _d_prime(items: "Sequence[Item]", answers: list[Any]) -> float | None:
    """Sensitivity to true marks, apart from how readily one takes them; None under DPRIME_FROM dots."""
    from sim.school.kind_false import IsItAMark, d_prime
    from sim.school.sitting import DPRIME_FROM

    counts = [item.counts(answer) for item, answer in zip(items, answers, strict=True) if isinstance(item, IsItAMark)]
    hits, true, wrong, false = (sum(column) for column in zip(*counts, strict=True)) if counts else (0, 0, 0, 0)
    return d_prime(hits, true, wrong, false) if true + false >= DPRIME_FROM else None


def _say(told: Mapping[str, Any]) -> None:
    """The same in words."""
    from sim.books.standing import skill_words
    from sim.school.sitting import LINE

    for row in told["items"]:
        signs = [" ✓" if one["right"] else " ✕" for one in row["parts"]] if len(row["parts"]) > 1 else [""]
        parts = "; ".join(f"{one['words']}{sign}" for one, sign in zip(row["parts"], signs, strict=True))
        verdict = f"{row['verdict']}: {parts}" if parts and row["verdict"] != "Right" else row["verdict"]
        print(f"{row['number']}. {'✓' if row['right'] else '✕'} {verdict}")
        print(f"   {row['sentence']}")
    found = told["skill_by_kind"].items()
    skills = "; ".join(f"{kind} {skill_words(value)}" for kind, value in found)
    level = told["level"] if isinstance(told["level"], int) else ", ".join(str(one) for one in told["level"])
    print(f"{told['right']} of {len(told['items'])} right on level {level}")
    print(f"skill (0 blind, 100 the truth): {skills}")
    if told["d_prime"] is not None:
        print(f"true marks told from false ones: d' {told['d_prime']:.1f} (0 not at all, 1 fairly, 2 well)")
    print(LINE)
