"""`flatwright cards`: exercises at a real plate on paper, and your own numbers beside the model's."""

import argparse
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.books.shopcards import CardResult
    from sim.school.cards import Card
    from sim.school.exercises import Simulated

NAME = "cards"
HELP = (
    "Shop cards: eight exercises at a real plate, a page each to print and fill in, and what you found there beside "
    "what the model says. Without a name: lists them."
)
EPILOG = (
    "Print all: flatwright cards --out cards --paper letter. Enter your own: flatwright cards --enter films "
    'bearing_heavy=70 marks_heavy=4 "film_heavy=0.3 thou".'
)
BAR = 32  # letters of the plot
YOURS, MODEL, BOTH, LINE = "#", "o", "@", "-"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.epilog = EPILOG
    parser.add_argument("name", nargs="?", metavar="NAME", help="the card: films, rub, turn, stone, pivot, count, "
                        "readers or raking")  # fmt: skip
    parser.add_argument("--out", metavar="DIR", help="write the card, or all, as HTML and PDF to print")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size of a page (default: a4)")
    parser.add_argument("--force", action="store_true", help="overwrite what is there")
    parser.add_argument("--enter", nargs="+", metavar=("NAME", "FIELD=VALUE"), help="keep what you wrote on a card: "
                        "its name, then fields with values; units may be typed (8um, 0.3thou)")  # fmt: skip
    parser.add_argument("--learner", metavar="WHO", help="who enters, made when new, or is shown (default: who "
                        "practised last)")  # fmt: skip
    parser.add_argument("--data-dir", metavar="DIR", help="folder of the record (default: the system's usual place)")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Enter, write, then print."""
    import json

    from sim.errors import BadParam
    from sim.school.cards import NAMES, card, cards

    name = args.name
    if args.enter:
        if name not in (None, args.enter[0]):
            raise BadParam(f"--enter must name the same card as NAME, got {name[:40]!r} and {args.enter[0][:40]!r}")
        name = args.enter[0]
        _enter(args)
    chosen = cards() if name is None else (card(name),)
    written = _write(args, chosen) if args.out else []
    if args.json:
        print(json.dumps(_answer(args, chosen, written), allow_nan=False))
    elif name is None:
        _list(args, chosen, written, len(NAMES))
    else:
        _show(args, chosen[0], written)
    return 0


def _enter(args: argparse.Namespace) -> None:
    """Keep what was typed, all of it or nothing."""
    from sim.books.record import Record
    from sim.paths import data_dir
    from sim.school.cards import card

    values = card(args.enter[0]).read(args.enter[1:])
    with Record.open(data_dir(args.data_dir)) as record:
        if args.learner is not None:
            record.switch(args.learner)
        record.add_card(args.enter[0], values)
        for note in record.notes:
            print(f"flatwright: {note}", file=sys.stderr)


def _kept(args: argparse.Namespace, name: str | None = None) -> "list[CardResult]":
    """What was entered; nothing is made where there is no record yet."""
    from sim.books.record import Record
    from sim.books.recordfile import FILE
    from sim.paths import data_dir

    folder = data_dir(args.data_dir)
    if args.learner is None and not (folder / FILE).exists():
        return []
    with Record.open(folder) as record:
        return record.cards(name, args.learner)


def _simulated(name: str) -> "Simulated":
    from sim.kernels.warm import warm
    from sim.school.exercises import simulate

    warm()
    return simulate(name)


def _write(args: argparse.Namespace, chosen: "tuple[Card, ...]") -> list[str]:
    """The pages of the cards and, for one that was entered, its picture; their paths."""
    from pathlib import Path

    from sim.report.cards_page import save_cards, save_entered
    from sim.report.figures import refuse_existing

    folder, stem = Path(args.out), "shop-cards" if len(chosen) > 1 else f"shop-card-{chosen[0].name}"
    entries = [one.values for one in _kept(args, chosen[0].name)] if len(chosen) == 1 else []
    paths = [folder / f"{stem}.{kind}" for kind in ("html", "pdf")]
    picture = folder / f"{stem}-yours.png"
    for path in [*paths, *([picture] if entries else [])]:
        refuse_existing(path, args.force)
    sheets = [(one, _simulated(one.name)) for one in chosen]
    written = save_cards(folder, sheets, args.paper, name=stem, force=args.force)
    if entries:
        save_entered(picture, chosen[0], sheets[0][1], entries, args.force)
        written.append(picture)
    return [str(path) for path in written]


def _answer(args: argparse.Namespace, chosen: "tuple[Card, ...]", written: list[str]) -> dict[str, Any]:
    """What --json prints: all cards by name, or one with its fields, the model's numbers and what was entered."""
    if len(chosen) > 1:
        count = [one.card for one in _kept(args)]
        told = [{"name": one.name, "title": one.title, "aim": one.aim, "minutes": one.minutes,
                 "entered": count.count(one.name)} for one in chosen]  # fmt: skip
        return {"cards": told, "written": written}
    from sim.school.cautions import caution

    card, found = chosen[0], _simulated(chosen[0].name)
    fields = [{"key": one.key, "words": one.words, "unit": one.unit, "low": one.low, "high": one.high,
               "model": found.numbers.get(one.key)} for one in card.fields]  # fmt: skip
    entered = [{"when": one.when, "values": one.values} for one in _kept(args, card.name)]
    return {"name": card.name, "title": card.title, "aim": card.aim, "need": card.need, "steps": card.steps,
            "cautions": {key: caution(key) for key in card.cautions}, "model": {"setup": found.setup, **found.numbers},
            "says": card.told(found.numbers), "fields": fields, "entered": entered, "written": written}  # fmt: skip


def _list(args: argparse.Namespace, chosen: "tuple[Card, ...]", written: list[str], count: int) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False, markup=False, soft_wrap=True)
    kept = [one.card for one in _kept(args)]
    table = Table("card", "exercise", "what for", box=box.SIMPLE)
    table.add_column("minutes", justify="right")
    table.add_column("entered", justify="right")
    for one in chosen:
        times = kept.count(one.name)
        table.add_row(one.name, one.title, one.aim, str(one.minutes), str(times) if times else "–")
    console.print(f"{count} exercises at a real plate. Local rules and licensed practice come before each of them.")
    console.print(table)
    for path in written:
        console.print(f"to print: {path}")
    console.print("Next: flatwright cards --out cards" if not written else "Next: flatwright cards films")


def _show(args: argparse.Namespace, card: "Card", written: list[str]) -> None:
    """One card: what to do, or, once something was entered, that beside the model; the plot below."""
    from rich.console import Console

    from sim.school.cautions import TITLES, caution
    from sim.units import counted

    console = Console(highlight=False, markup=False, soft_wrap=True)
    found, kept = _simulated(card.name), _kept(args, card.name)
    console.print(f"{card.title}: {card.aim}")
    if not kept:
        for n, words in enumerate(card.steps, start=1):
            console.print(f"{n:>2}  {words}")
    _print_fields(console, card, found, [one.values for one in kept])
    for words in card.told(found.numbers):
        console.print(f"Model: {words}")
    console.print(f"Model: {found.setup}.")
    for key in card.cautions:
        console.print(f"{TITLES[key]}: {caution(key)}")
    if kept:
        console.print(f"entered {counted(len(kept), 'time')}, last on {kept[-1].when[:10]}")
    for path in written:
        console.print(f"written: {path}")
    first = card.fields[-1].key
    console.print(card.ask if kept else f"Next, at the plate; then: flatwright cards --enter {card.name} {first}=...")


def _print_fields(console: Any, card: "Card", found: "Simulated", kept: list[dict[str, float]]) -> None:
    from rich import box
    from rich.table import Table

    from sim.report.cards_page import model_words

    table = Table("field", "what", "allowed", box=box.SIMPLE)
    for heading in ("yours", "model"):
        table.add_column(heading, justify="right")
    if kept:
        table.add_column(f"from 0: {YOURS} yours, {MODEL} model, {BOTH} both")
    for one in card.fields:
        own = [entry[one.key] for entry in kept if one.key in entry]
        yours = f"{one.told(own[-1])} {one.sign}".strip() if own else "–"
        row = [one.key, one.words, one.range_words, yours, model_words(one, found)]
        drawn = plotted(own[-1] if own else None, found.numbers.get(one.key))
        table.add_row(*row, *([drawn] if kept else []))
    console.print(table)


def plotted(own: float | None, model: float | None) -> str:
    """An own value and the model's on a line of letters from 0 to the larger one; empty unless there is an own one."""
    if own is None:
        return ""
    places = [(own, YOURS)] + ([] if model is None else [(model, MODEL)])
    most = max(1e-9, *(value for value, _ in places))
    line = [LINE] * BAR
    for value, sign in places:
        at = round(max(value, 0.0) / most * (BAR - 1))
        line[at] = BOTH if line[at] != LINE else sign
    return "".join(line)
