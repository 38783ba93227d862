"""`flatwright drill`: practise reading prints, from pictures and a file of answers; truth and place after each."""

import argparse
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from sim.school.item import Item

NAME = "drill"
LEAST_PX = 420  # shorter side of a picture on the disk
HELP = "Practise reading prints: questions with pictures, then your answers against the iron."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--kind", metavar="KIND", help="one kind of question: highest, order, film, form, count, "
                        "direction, mark or next (default: all but next by turns)")  # fmt: skip
    parser.add_argument("--level", type=int, default=3, metavar="N", help="1 easy to 10 hard (default: 3)")
    parser.add_argument("--items", type=int, default=7, metavar="N", help="how many questions, at most 24 (default: 7)")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="other seed, other faces (default: 1)")
    parser.add_argument("--today", action="store_true", help="today's five minutes: kinds, levels and families by your "
                        "record, which keeps the answers; at most 24 a day")  # fmt: skip
    parser.add_argument("--window", action="store_true", help="today's five minutes in the window, the picture large")
    parser.add_argument("--data-dir", metavar="DIR", help="where the record lies (default: the system's usual place)")
    parser.add_argument("--check", action="store_true", help="only what is kept for checks and never practised")
    parser.add_argument("--shots", metavar="DIR", help="folder of the pictures (default: flatwright-drill-SEED here)")
    parser.add_argument("--answers", metavar="FILE", help="JSON list with an answer for each question, in their order")
    parser.add_argument("--force", action="store_true", help="overwrite pictures that are there")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Ask; or, with answers, tell the truth and the place of each and the skill of all."""
    import json
    from pathlib import Path

    from sim.errors import BadParam

    if args.window:
        from sim.cli.bench import open_drills

        if args.answers or args.shots or args.kind or args.check or args.json:
            raise BadParam("--window goes with --data-dir alone")
        return open_drills(args.data_dir)
    from sim.kernels.warm import warm
    from sim.school.sitting import QUICK_KINDS, sitting

    if not 0 <= args.seed < 2**31:
        raise BadParam(f"--seed must be 0 to 2^31 - 1, got {args.seed}")
    warm()
    if args.today:
        return _today(args)
    items = sitting((args.kind,) if args.kind else QUICK_KINDS, args.level, args.items, args.seed, check=args.check)
    if args.answers is None:
        folder = Path(args.shots or f"flatwright-drill-{args.seed}")
        _show(items, _drawn(items, folder, args.force), args.json)
        return 0
    answers = _read_answers(Path(args.answers), len(items))
    if args.shots:
        _drawn(items, Path(args.shots), args.force)
    told = _told(items, answers, args.answers)
    print(json.dumps(told, allow_nan=False)) if args.json else _say(told)
    return 0


def _today(args: argparse.Namespace) -> int:
    """The sitting that the record asks for; its answers are kept there, all or none."""
    import json
    from pathlib import Path

    from sim.books.record import Record
    from sim.errors import BadParam
    from sim.paths import data_dir
    from sim.school.sitting import MOST_ITEMS, QUICK_KINDS
    from sim.school.today import Today

    if not 1 <= args.items <= MOST_ITEMS:
        raise BadParam(f"items must be 1 to {MOST_ITEMS}, got {args.items}")
    with Record.open(data_dir(args.data_dir)) as record:
        sat = Today(record, (args.kind,) if args.kind else QUICK_KINDS, check=args.check)
        items = sat.plan(args.items)
        if not items:
            print(json.dumps({"items": []}) if args.json else f"{MOST_ITEMS} items were done today; tomorrow again.")
            return 0
        if args.answers is None:
            folder = Path(args.shots or f"flatwright-drill-{sat.day}-{sat.given + 1}")
            _show(items, _drawn(items, folder, args.force), args.json)
            return 0
        answers = _read_answers(Path(args.answers), len(items))
        told = _told(items, answers, args.answers)
        for item, answer in zip(items, answers, strict=True):
            sat.answer(item, _counted(item, answer, -1))
    print(json.dumps(told, allow_nan=False)) if args.json else _say(told)
    return 0


def _read_answers(path: "Path", count: int) -> list[Any]:
    """The answers of a file; raises BadFile when they are not a list of so many."""
    import json

    from sim.errors import BadFile
    from sim.shop.store import read_limited

    data = read_limited(path, 1_000_000)
    try:
        answers = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise BadFile(f"{path}: must be JSON, got: {error}") from None
    if not isinstance(answers, list) or len(answers) != count:
        got = f"{len(answers)} answers" if isinstance(answers, list) else type(answers).__name__
        raise BadFile(f"{path}: must be a list of {count} answers, got {got}")
    return answers


def _drawn(items: "Sequence[Item]", folder: "Path", force: bool) -> list[list[str]]:
    """Write the pictures of every item; their names."""
    from sim.report.figures import png_bytes, refuse_existing
    from sim.school.view import larger, numbered
    from sim.shop.store import write_new

    names = [[folder / f"{n}{'abcdef'[k] if len(item.pictures) > 1 else ''}-{item.kind}.png"
              for k in range(len(item.pictures))] for n, item in enumerate(items, start=1)]  # fmt: skip
    for path in (path for row in names for path in row):
        refuse_existing(path, force)
    folder.mkdir(parents=True, exist_ok=True)
    for row, item in zip(names, items, strict=True):
        for path, picture in zip(row, item.pictures, strict=True):
            large = larger(picture, LEAST_PX)
            shown = numbered(large, places) if (places := _pointed(item)) else large
            write_new(path, png_bytes(shown.rgb), force)
    return [[str(path) for path in row] for row in names]


def _show(items: "Sequence[Item]", pictures: list[list[str]], as_json: bool) -> None:
    """The questions, and how they are answered."""
    import json

    rows: list[dict[str, Any]] = [{"number": n, "kind": item.kind, "level": item.level, "question": item.question,
             "answer": [_form(form) for form in item.forms], "pictures": names}
            for n, (item, names) in enumerate(zip(items, pictures, strict=True), start=1)]  # fmt: skip
    if as_json:
        print(json.dumps({"items": rows}, allow_nan=False))
        return
    for row, item in zip(rows, items, strict=True):
        print(f"{row['number']}. {item.question}")
        print(f"   picture: {', '.join(str(name) for name in row['pictures'])}")
        print(f"   answer: {' and '.join(_form(form) for form in item.forms)}")
    print("Write the answers as a JSON list in their order, then: the same line with --answers FILE")


def _form(form: Any) -> str:
    """How a form is answered, in words."""
    from sim.school.item import Choice, Line, Number, Order, Place

    if isinstance(form, Choice):
        return "one of " + ", ".join(f'"{one}"' for one in form.options)
    if isinstance(form, Number):
        return f"{form.name}, {form.low:g} to {form.high:g} {form.unit}".rstrip()
    if isinstance(form, Line):
        turn = f"n from 0 to {form.steps - 1} for n x {180 / form.steps:g}" if form.steps else "0 to 180"
        return f"{form.name}: {turn} degrees, anticlockwise from the right"
    many = len(form.points_mm)
    if isinstance(form, Place):
        return f"a number of the picture, 1 to {many}"
    whole = "all of them, highest first" if isinstance(form, Order) else "those that are meant"
    return f"a list of numbers of the picture, 1 to {many}: {whole}"


def _pointed(item: "Item") -> tuple[tuple[float, float], ...]:
    """Places of the picture that the answer names, counted from 1 there; none for other questions."""
    return getattr(item.form, "points_mm", ())


def _counted(item: "Item", answer: Any, by: int) -> Any:
    """Numbers of places moved by one, from the picture's to the item's or back; anything else as it is."""
    if not _pointed(item):
        return answer
    if isinstance(answer, list):
        return [_counted(item, one, by) for one in answer]
    return answer + by if type(answer) is int else answer


def _told(items: "Sequence[Item]", answers: list[Any], where: str) -> dict[str, Any]:
    """Every answer against the truth, and the skill of all; raises BadFile where an answer is none."""
    from sim.books.standing import skill
    from sim.errors import BadFile, BadParam

    rows, scored = [], []
    for n, (item, answer) in enumerate(zip(items, answers, strict=True)):
        try:
            mine = _counted(item, answer, -1)
            told, loss, chance = item.told(mine), item.loss(mine), item.chance_of(mine)
        except BadParam as error:
            raise BadFile(f"{where}: [{n}]: {error}") from None
        scored.append((loss, chance, item.best))
        rows.append({"number": n + 1, "kind": item.kind, "level": item.level, "right": told.right, "loss": loss,
                     "chance": chance, "unit": item.unit, "sentence": told.sentence, "places_mm": told.places_mm,
                     "truth": _counted(item, told.truth, 1)})  # fmt: skip
    by_kind = {kind: skill(one for one, item in zip(scored, items, strict=True) if item.kind == kind)
               for kind in dict.fromkeys(item.kind for item in items)}  # fmt: skip
    right = sum(row["right"] for row in rows)
    levels = sorted({item.level for item in items})
    return {"level": levels[0] if len(levels) == 1 else levels, "items": rows, "skill_by_kind": by_kind, "right": right,
            "d_prime": _d_prime(items, answers)}  # fmt: skip


def _d_prime(items: "Sequence[Item]", answers: list[Any]) -> float | None:
    """Sensitivity to true marks, apart from how readily one takes them; None under DPRIME_FROM dots."""
    from sim.school.kinds_marks import IsItAMark, d_prime
    from sim.school.sitting import DPRIME_FROM

    counts = [item.counts(_counted(item, answer, -1)) for item, answer in zip(items, answers, strict=True)
              if isinstance(item, IsItAMark)]  # fmt: skip
    hits, true, wrong, false = (sum(column) for column in zip(*counts, strict=True)) if counts else (0, 0, 0, 0)
    return d_prime(hits, true, wrong, false) if true + false >= DPRIME_FROM else None


def _say(told: Mapping[str, Any]) -> None:
    """The same in words."""
    from sim.school.sitting import LINE

    for row in told["items"]:
        print(f"{row['number']}. {'right' if row['right'] else 'not right'}: {row['sentence']}")
    found = told["skill_by_kind"].items()
    skills = ", ".join(f"{kind} {'-' if value is None else f'{value:.0f}'}" for kind, value in found)
    level = told["level"] if isinstance(told["level"], int) else ", ".join(str(one) for one in told["level"])
    print(f"{told['right']} of {len(told['items'])} right on level {level}")
    print(f"skill (0 blind, 100 the truth): {skills}")
    if told["d_prime"] is not None:
        print(f"true marks told from false ones: d' {told['d_prime']:.1f} (0 not at all, 1 fairly, 2 well)")
    print(LINE)
