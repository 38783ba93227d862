"""What a comparison was asked, how to see any trial of it, what to beware of, and what it took."""

import math
import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from html import escape
from pathlib import Path
from typing import Any

from sim import PHYSICS
from sim.hands.skill import HANDS
from sim.report import compare_words as words
from sim.target import Target
from sim.trials import stats
from sim.trials.comparison import Asked, Summary, Summed
from sim.trials.ledger import TABLE
from sim.trials.trial import Outcome
from sim.units import counted, named_unit, shown_unit

MOST_FAILED = 50  # told one by one
MOST_USUAL = 8  # shown at once
MANY = 100_000  # trials of which the cost is told
FACE, PLATE = ("length_mm", "width_mm", "kind"), ("length_mm", "width_mm", "flatness_um")
LIMITS = ("bearing_flatness_um", "spots_mean", "spots_lowest", "bearing_pct")
NOTES = (
    "Hours compare ways of working under the same shop rules; they are no estimate for a job. Pace, time to read a "
    "print and most of what a hand does come from memory.",
    "The score decides when the target is met. Nobody at a plate is told so: there a way stops later, or too soon.",
    "Who scrapes sees prints and readings, never the heights. Face, plate, gauge, film and the luck of every stroke "
    "(by round and number) are the same for each way.",
    "Faces are drawn by the model. How far they differ from each other is its own guess, and every interval rests on "
    "it: it tells what more runs of the model would say, not what real iron would.",
    "Intervals are two-sided, 95 %: of a median by the order of its values, free of any distribution; of a chance by "
    f"Wilson’s score; of a crossing by {stats.RESAMPLES:,} resamplings of the faces.",
)


@dataclass(frozen=True)
class ComparisonReport:
    """Everything that the page tells.

    Attributes
    ----------
    asked : Asked
    outcomes : sequence of Outcome
        What is done, in the order of the trials.
    found : Summary
        Of these outcomes.
    docs : dict of str to str
        What each strategy does, by its name without options; of those that are missing the registry is asked.
    wall_s : float
        What this run took; NaN if it is not known.
    workers : int
        Processes; 0 if it is not known, as on a cluster.
    cluster : str
        Its address; '' for this machine.
    notes : tuple of str
        Of this run: a line that was cut off.
    """

    asked: Asked
    outcomes: Sequence[Outcome]
    found: Summary
    docs: dict[str, str] = field(default_factory=dict)
    wall_s: float = math.nan
    workers: int = 0
    cluster: str = ""
    notes: tuple[str, ...] = ()

    @property
    def names(self) -> list[str]:
        """Every way, with its options."""
        return list(dict.fromkeys(one.strategy for one in self.outcomes))

    @property
    def values(self) -> list[float]:
        """Of what is varied; NaN alone where nothing is."""
        return sorted({one.varied for one in self.outcomes}) if self.asked.vary else [math.nan]

    @property
    def target(self) -> Target:
        """Of the first face."""
        return self.asked.target or self.asked.start.shape.faces[0].target


def asked_html(told: ComparisonReport) -> str:
    """Face, plate, hand, target, budget, seeds and physics of a comparison, and its hand number by number."""
    asked, start = told.asked, told.asked.start
    rows: list[tuple[str, str]] = []
    for one in start.shape.faces:
        rows.append((f"Face {one.name}" if start.part else "Face", _changed(one.start, FACE)))
        rows.append(("Its target", _changed(asked.target or one.target, LIMITS)))
    rows += [("Drawing", f"{one.kind} of {one.face} to {one.datum} {one.limit_um:g} µm")
             for one in start.shape.tolerances]
    rows.append(("Plate", _changed(start.plate, PLATE)))
    given = _changed(start.material)
    rows += [("Iron, blue, tools", given)] if given else []
    rows.append(("Hand", asked.hand))
    rows.append(("Budget", f"{asked.rounds} rounds of a face, {asked.hours:g} shop hours"))
    first = start.seed
    rows.append(("Seeds", f"{first} to {first + asked.runs - 1}, one for each face"))
    if asked.vary:
        values = ", ".join(f"{value:g}" for value in asked.values)
        rows.append(("Varied", f"{asked.vary}: {values} {words.unit_of(asked.vary)}"))
    rows += [("Own strategies", Path(asked.own).name)] if asked.own else []
    rows += [("Physics", str(PHYSICS)), ("Every trial", TABLE)]
    items = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in rows)
    return f"<dl>{items}</dl>{_hand_html(asked.hand)}"


def _changed(thing: Any, always: Sequence[str] = ()) -> str:
    """What of a thing's parameters is not as the model has it, and those that are always told."""
    told = []
    for one in fields(thing):
        value = getattr(thing, one.name)
        if is_dataclass(value):
            inner = _changed(value)
            told += [f"{one.name}: {inner}"] if inner else []
        elif one.name in always or value != one.default:
            if value in ((), "", None) and one.name not in always:
                continue
            shown = f"{value:g}" if isinstance(value, float) else str(value)
            told.append(f"{named_unit(one.name)[0]} {shown} {shown_unit(one.metadata.get('unit', ''))}".strip())
    return ", ".join(told)


def _hand_html(name: str) -> str:
    """Every number of the hand, with where it comes from."""
    if name not in HANDS:
        return ""
    hand = HANDS[name]
    lines = []
    for one in fields(hand):
        value = f"{getattr(hand, one.name):g} {shown_unit(one.metadata['unit'])}".strip()
        lines.append(f"<tr><th scope='row'>{escape(one.metadata['doc'])}</th><td class='n'>{escape(value)}</td>"
                     f"<td>{escape(one.metadata['ref'])}</td></tr>")  # fmt: skip
    table = table_html(["the hand", "here", "where it comes from"], lines, (1, 2))
    return f"<details><summary>The {escape(name)} hand, number by number</summary>{table}</details>"


def notes_html(told: ComparisonReport) -> str:
    """What to beware of in reading the page."""
    notes = list(NOTES)
    intervals = sum(1 for one in told.found.pairs if math.isfinite(one.hours_difference.low))
    if intervals > 1:
        notes.append(f"Each interval stands alone. Of {intervals} intervals of differences about "
                     f"{words.told(0.05 * intervals, 1)} miss the truth by chance, and the way that leads was picked "
                     "after the fact.")  # fmt: skip
    return f"<ul>{''.join(f'<li>{escape(one)}</li>' for one in notes)}</ul>"


def command_lines(told: ComparisonReport, one: Outcome, folder: str = "DIR") -> tuple[str, str]:
    """What to type to have the job of a trial, and to open it on the bench; `folder` is that of the comparison."""
    name = words.named(one.strategy, one.seed, one.varied)
    own = f" --own {shlex.quote(Path(told.asked.own).name)}" if told.asked.own else ""
    make = f"flatwright compare --job {shlex.quote(name)} --out {folder}{own}"
    return make, f"flatwright bench {folder}/{shlex.quote(words.job_file(name))}"


def replay_html(told: ComparisonReport) -> str:
    """The lines to type for any trial, and for the usual one of each way."""
    at = "@VALUE" if told.asked.vary else ""
    lines = []
    for way in told.found.strategies:
        usual = _usual(way, told.outcomes)
        if usual is not None:
            make, see = command_lines(told, usual)
            lines.append(f"<tr><th scope='row'>{name_html(way.strategy)}</th><td class='n'>{usual.seed}</td>"
                         f"<td class='n'>{words.told(usual.hours, 1)}</td><td><code>{escape(make)}</code><br>"
                         f"<code>{escape(see)}</code></td></tr>")  # fmt: skip
    table = table_html(["way", "seed", "hours", "its job, and on the bench"], lines, (1, 3))
    if len(lines) > MOST_USUAL:
        table = f"<details><summary>A usual trial of each</summary>{table}</details>"
    return (f"<p>Any line of <code>{TABLE}</code> can be worked again and opened, DIR being the folder of this page: "
            f"<code>flatwright compare --job STRATEGY@SEED{at} --out DIR</code>, then <code>flatwright bench "
            f"FILE.job</code>.{' The usual trial, whose hours lie nearest to the median:' if lines else ''}</p>"
            f"{table if lines else ''}")  # fmt: skip


def _usual(way: Summed, outcomes: Sequence[Outcome]) -> Outcome | None:
    mine = [one for one in outcomes if one.strategy == way.strategy and not one.fault and math.isfinite(one.hours)
            and (one.varied == way.varied or math.isnan(way.varied))]  # fmt: skip
    return min(mine, key=lambda one: (abs(one.hours - way.figures["hours"].median), one.seed), default=None)


def failed_html(told: ComparisonReport, failed: list[Outcome]) -> str:
    """Failed trials with their fault and the line that works them again."""
    lines = []
    for one in failed[:MOST_FAILED]:
        varied = "" if math.isnan(one.varied) else f"<td class='n'>{one.varied:g}</td>"
        again = escape(command_lines(told, one)[0])
        lines.append(f"<tr><th scope='row'>{name_html(one.strategy)}</th>{varied}<td class='n'>{one.seed}</td>"
                     f"<td>{escape(one.fault)}</td><td><code>{again}</code></td></tr>")  # fmt: skip
    heads = ["way", *([told.asked.vary] if told.asked.vary else []), "seed", "fault", "to work it again"]
    more = f" {len(failed) - MOST_FAILED} more are in {TABLE}." if len(failed) > MOST_FAILED else ""
    table = table_html(heads, lines, (1, len(heads) - 2))
    return (f"<p>{counted(len(failed), 'trial')} of {len(told.outcomes):,} failed: the strategy raised, looped, "
            f"took too long or was killed. They count in no figure on this page.{more}</p>{table}")


def run_html(told: ComparisonReport) -> str:
    """What was measured on this machine; nothing else on the page is."""
    seconds = [one.seconds for one in told.outcomes if one.seconds > 0.0]
    where = f"on the cluster at {told.cluster}" if told.cluster else "on this machine"
    workers = f" with {counted(told.workers, 'worker')}" if told.workers else ""
    said = [f"Worked {where}{workers}."]
    if math.isfinite(told.wall_s):
        said[0] = f"Worked {where}{workers} in {words.duration(told.wall_s / 3600.0)}."
    if seconds:
        mean = sum(seconds) / len(seconds)
        hours = MANY * mean / 3600.0
        shares = [f"{words.duration(hours)} on one core", f"{words.duration(hours / 2)} on two"]
        if told.workers > 2:
            shares.append(f"{words.duration(hours / told.workers)} on {told.workers}")
        said.append(f"A trial cost {mean:.2f} s of one processor, in the mean of {len(seconds):,}. {MANY:,} such "
                    f"trials would need {words.listed(shares)}, if workers lose nothing to each other.")  # fmt: skip
    else:
        said.append("What a trial costs was not measured.")
    said.append(f"Every trial stands in {TABLE}.")
    notes = "".join(f"<li>{escape(one)}</li>" for one in told.notes)
    return f"<p>{escape(' '.join(said))}</p>{f'<ul>{notes}</ul>' if notes else ''}"


def name_html(label: str) -> str:
    """A way's name with its options, broken between them alone."""
    parts = [part for part in re.split(r"(?<=[:,])", label) if part]
    return "<wbr>".join(f"<span class='keep'>{escape(part)}</span>" for part in parts)


def table_html(heads: Sequence[str], lines: Sequence[str], numbers: tuple[int, int] | None = None) -> str:
    """A table of rows that are HTML already; numbers: the columns that stand right, from and up to."""
    first, last = numbers or (1, len(heads))
    head = "".join(f"<th scope='col'{' class=n' if first <= n < last else ''}>{escape(one)}</th>"
                   for n, one in enumerate(heads))  # fmt: skip
    return f"<div class='wide'><table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table></div>"
