"""What a result sheet tells: its words, its figures and what is drawn on it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from sim import PHYSICS, __version__
from sim.model.face import Face
from sim.model.marks import Marks
from sim.report.figures import (
    HEIGHT_COLOURS,
    INK,
    IRON,
    LINE,
    MARK,
    MUTED,
    RIM,
    RUST,
    about_plane_um,
    draw_section,
    typeset,
)
from sim.report.lesson_text import count_lines
from sim.school.calls import sureness
from sim.school.checks import Judged, Row
from sim.school.facts import Facts, Printed
from sim.school.faults import FAULTS
from sim.school.lesson import PART_WORDS
from sim.shop.commands import SpotFace
from sim.shop.sight import marks_seen
from sim.units import counted, unit_of

MADE = (
    "Made on a model of iron, blue and blade, not at a real plate. It does not know force in the arms, sound or the "
    "feel of the blade. What was learned here is to be tried on iron: the shop cards are made for that."
)
MAP_WORDS = "heights; dashed: the section"
MOST_ROWS, MOST_CALLS, MOST_FAULTS, MOST_ANSWERS, MOST_MISSING = 10, 3, 6, 4, 4
GOOD = "#e4eee6"  # behind what passes
Blocks = list[tuple[str, list[str]]]


@dataclass(frozen=True, eq=False)
class Sheet:
    """What a result sheet is made of.

    Attributes
    ----------
    learner : str
    when : str
        UTC, as the record writes it; empty where it is not told.
    judged : Judged
    facts : Facts
    """

    learner: str
    when: str
    judged: Judged
    facts: Facts

    @property
    def title(self) -> str:
        """The lesson with its number."""
        return f"Lesson {self.facts.lesson.number}: {self.facts.lesson.title}"

    @property
    def what(self) -> str:
        """Part, seed and day."""
        words = [PART_WORDS[self.facts.part], f"seed {self.facts.seed}", self.when[:10]]
        return " · ".join(word for word in words if word)

    @property
    def verdict(self) -> tuple[str, str, bool]:
        """The answer in two or three words, what it rests on, and whether it is a good one."""
        judged, figures = self.judged, counted(len(self.judged.rows), "figure")
        short = sum(not row.passed for row in judged.rows)
        if judged.nothing:
            return "Nothing to judge", "no figure could be taken; why, and what to do, stands below", False
        if judged.merit:
            return "Passed with merit", f"{figures} as a skilled hand has them, on another day", True
        if not judged.passed:
            return "Not there yet", f"{short} of {figures} short of what passes", False
        if self.facts.part == "help":
            return "Reached, with help", f"{figures} within what passes; it is passed alone", True
        return "Passed", f"{figures} within what passes", True

    @property
    def done(self) -> str:
        """What was done, in numbers."""
        facts = self.facts
        clock = f"{facts.hours:.1f} h" if facts.hours >= 1.0 else f"{60.0 * facts.hours:.0f} min"
        removed = sum(one.removed_mm3 for one in facts.strokes)
        iron = f", {removed:.{0 if removed >= 10.0 else 1}f} mm³ of iron taken" if facts.strokes else ""
        hints = counted(facts.hints, "hint") if facts.hints else "no hints"
        covered = f"heights uncovered {_times(facts.uncovered)}" if facts.uncovered else "heights covered to the end"
        return (f"{counted(facts.rounds, 'round')} and {counted(len(facts.strokes), 'stroke')} in {clock} on the shop "
                f"clock{iron}; {hints}, {covered}.")  # fmt: skip

    @property
    def calls(self) -> list[str]:
        """Calls said in iron: the last prints, what was left standing, how right sure is."""
        scored = [one for one in self.facts.called if one.score is not None]
        told = []
        for one in scored[-MOST_CALLS:]:
            assert one.score is not None
            told.append(f"Round {one.round}: {one.score.sentence()}")
        if scored and scored[-1].score is not None and scored[-1].score.left_sentence():
            told.append(scored[-1].score.left_sentence())
        sure = sureness(one.score for one in scored if one.score is not None)
        return [*told, sure.sentence()] if sure else told

    @property
    def answers(self) -> list[str]:
        """Questions of the lesson and the last answers; those of many pieces in one line."""
        facts = self.facts
        told = []
        for question in facts.lesson.questions:
            given = [(n, facts.answers[n, question.id]) for n in range(len(facts.pieces))
                     if (n, question.id) in facts.answers]  # fmt: skip
            words = ", ".join(f"{_shown(value)}{f' {question.unit}' if question.unit else ''}" for _, value in given)
            told.append(f"{question.text} {words or 'not answered'}")
        return told[:MOST_ANSWERS]

    @property
    def faults(self) -> list[str]:
        """Faults that the coach saw, the most frequent first, by name."""
        found = sorted(self.judged.faults.items(), key=lambda one: (-one[1], one[0]))[:MOST_FAULTS]
        named = [(FAULTS.get(number, f"fault {number}"), count) for number, count in found if count]
        return [f"{_begun(name)}: {_times(count)}." for name, count in named]

    @property
    def advice(self) -> str:
        """The remark with most at stake: where to look, and what to try."""
        remarks = [one for _, one in self.facts.remarks if not one.praise]
        worst = max(remarks, key=lambda one: one.at_stake_um, default=None)
        return "" if worst is None else f"{worst.rungs[0]} {worst.rungs[3]}"

    @property
    def prints(self) -> list[tuple[str, Marks]]:
        """The first and the last print, or the only one, with what they are; or what was there to be read."""
        made = self.facts.printed
        if not made:
            return self._found_prints()
        ends = [made[0], made[-1]] if len(made) > 1 else made
        words = ("First print", "Last print") if len(made) > 1 else ("The only print",)
        return [(self._caption(name, one), one.marks) for name, one in zip(words, ends, strict=True)]

    def _found_prints(self) -> list[tuple[str, Marks]]:
        """Prints that lay there when the pieces were taken over, of the first and the last piece that has one."""
        found = []
        for piece, job in zip(self.facts.pieces, self.facts.begun, strict=True):
            marks = marks_seen(job)
            if any(isinstance(one, SpotFace) for one in piece.before) and marks.marked.any():
                words = ", ".join(word for word in ("Print to be read", piece.title) if word)
                found.append((words, marks))
        return [found[0], found[-1]] if len(found) > 1 else found

    def _caption(self, name: str, one: Printed) -> str:
        pieces = self.facts.pieces
        piece = pieces[one.piece].title if len(pieces) > 1 else ""
        film = f"film {one.film_um:.2g} µm" if math.isfinite(one.film_um) else ""
        return ", ".join(word for word in (name, piece, f"round {one.round}", film) if word)

    @property
    def faces(self) -> tuple[str, Face, Face]:
        """The piece that was worked most, or the last: its title, and its face in hand as taken over and as left."""
        facts = self.facts
        pieces = [one.piece for one in facts.strokes]
        n = max(range(len(facts.ended)), key=lambda piece: (pieces.count(piece), piece))
        end = facts.ended[n]
        named = f"{end.in_hand} of the part" if len(end.part.faces) > 1 else facts.pieces[n].title
        return named if len(facts.pieces) > 1 or len(end.part.faces) > 1 else "", \
            facts.begun[n].part.faces[end.in_hand], end.face  # fmt: skip

    @property
    def section_words(self) -> str:
        """What the section shows."""
        _, start, end = self.faces
        same = np.array_equal(start.height_um, end.height_um)
        return "section; nothing was cut" if same else "section at the start and at the end"


def sheet_blocks(sheet: Sheet) -> tuple[Blocks, Blocks]:
    """What the sheet says in words: titles with their lines, for the left and for the right column."""
    facts = sheet.facts
    left = [("Calls, said in iron", sheet.calls)] if sheet.calls else []
    missing = [row for row in sheet.judged.rows if row.why]
    if missing:
        left.append(("Not judged", [f"{row.doc}: {row.why}" for row in missing[:MOST_MISSING]]))
    if facts.counts:
        left.append(("Counted, and what is there", count_lines(facts)))
    if facts.lesson.questions:
        left.append(("Asked and answered", sheet.answers))
    if not left:
        left.append(("Calls", ["No mark was called." if sheet.prints else "There was no print to call."]))
    found = sheet.faults or ["No fault was seen in prints and strokes." if sheet.judged.passed else
                             "Nothing else stood out in prints and strokes."]  # fmt: skip
    right = [("What the coach found", [*found, *([sheet.advice] if sheet.advice else [])]),
             ("What was done", [sheet.done])]  # fmt: skip
    return left, right


def places(row: Row) -> tuple[float | None, float]:
    """Where a figure and merit lie on its scale: 0.5 is what passes, more is better, 0 and 1 are its ends.

    None for a figure where there was nothing to be judged.
    """
    way = 1.0 if row.better == "high" else -1.0
    span = max(abs(row.passes), 2.0 * abs(row.merit - row.passes), 1e-9)

    def at(value: float) -> float:
        return min(max(0.5 + 0.5 * way * (value - row.passes) / span, 0.0), 1.0)

    value = row.value
    if math.isinf(value):
        return (1.0 if value * way > 0.0 else 0.0), at(row.merit)
    return (None if math.isnan(value) else at(value)), at(row.merit)


def row_words(row: Row) -> str:
    """What a figure is, as it is printed."""
    return row.doc


def limit_words(row: Row, limit: float) -> str:
    """A limit with its sign and unit."""
    return f"{'≥' if row.better == 'high' else '≤'} {value_words(limit, row.unit)}"


def value_words(value: float, unit: str) -> str:
    """A figure with its unit; a dash where there is none."""
    if not math.isfinite(value):
        return "–"
    sign = unit_of(value, unit)
    digits = f"{value:.0f}" if abs(value) >= 100.0 or value == int(value) else f"{value:.2g}" if abs(value) < 1.0 \
        else f"{value:.1f}"  # fmt: skip
    return f"{typeset(digits)}{'' if sign in ('', '°') else ' '}{sign}"


def origin(sheet: Sheet) -> str:
    """What made the sheet."""
    return f"flatwright {__version__}, physics {PHYSICS}, lesson {sheet.facts.lesson.name}, seed {sheet.facts.seed}"


def draw_bars(chart: Axes, rows: Sequence[Row]) -> None:
    """Figures on their scales, a line each: 0.5 is what passes, a short stroke merit, further right is better."""
    for n, row in enumerate(rows):
        middle = n + 0.5
        value, merit = places(row)
        chart.add_patch(Rectangle((0.5, middle - 0.3), 0.5, 0.6, fc=GOOD, ec="none"))
        chart.plot([0.0, 1.0], [middle, middle], color=LINE, lw=0.7)
        chart.plot([0.5, 0.5], [middle - 0.36, middle + 0.36], color=INK, lw=1.3)
        chart.plot([merit, merit], [middle - 0.3, middle + 0.3], color=MUTED, lw=0.7)
        if value is not None:
            chart.plot(value, middle, "o", ms=5.2, mfc=INK if row.passed else "white", mec=INK if row.passed else RUST,
                       mew=1.4, clip_on=False, zorder=5)  # fmt: skip
    chart.set_xlim(-0.02, 1.02)
    chart.set_ylim(len(rows), 0.0)


def draw_print(chart: Axes, marks: Marks) -> None:
    """Draw a print as it was lifted."""
    up, across = (n * marks.pitch_mm for n in marks.marked.shape)
    chart.imshow(_print_colours(marks), origin="lower", extent=(0.0, across, 0.0, up), aspect="auto",
                 interpolation="antialiased")  # fmt: skip
    _framed(chart, across, up)


def draw_map(chart: Axes, face: Face) -> tuple[float, float]:
    """Heights of a face with the line of its section; returns what the ends of the colours are, um."""
    height = about_plane_um(face)
    low, high = (float(v) for v in np.nanpercentile(height, [0.5, 99.5]))
    across, up = face.size_mm
    chart.imshow(height, origin="lower", extent=(0.0, across, 0.0, up), aspect="auto", cmap=HEIGHT_COLOURS, vmin=low,
                 vmax=max(high, low + 1e-3), interpolation="antialiased")  # fmt: skip
    chart.plot([0.0, across], [0.5 * up, 0.5 * up], color="black", lw=0.7, dashes=(6, 3))
    _framed(chart, across, up)
    return low, high


def draw_cut(chart: Axes, start: Face, end: Face) -> None:
    """Draw the section with its axes."""
    chart.set_axis_on()
    draw_section(chart, start, end)
    if np.array_equal(start.height_um, end.height_um):
        for words in list(chart.texts):
            words.remove()
    chart.xaxis.set_major_locator(MaxNLocator(7))
    chart.yaxis.set_major_locator(MaxNLocator(5))
    chart.tick_params(length=2.0, pad=1.5)
    chart.xaxis.labelpad = chart.yaxis.labelpad = 1.5


def _framed(chart: Axes, across: float, up: float) -> None:
    chart.add_patch(Rectangle((0.0, 0.0), across, up, fill=False, ec=INK, lw=0.8))
    chart.set_xlim(0.0, across)
    chart.set_ylim(0.0, up)
    chart.set_axis_off()


def _print_colours(marks: Marks) -> NDArray[np.float64]:
    """A print in colours, row = y upwards: iron grey, marks blue, holes and slots pale."""
    colours = np.empty((*marks.marked.shape, 3))
    colours[:] = to_rgb(IRON)
    colours[~marks.iron] = to_rgb(RIM)
    colours[marks.marked] = to_rgb(MARK)
    return colours


def _begun(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)[:60]
