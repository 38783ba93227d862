"""The progress of a learner: practice beside check for each kind of drill, and the best of each lesson."""

from collections.abc import Sequence
from functools import partial
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from sim.books.rows import Answer, Attempt
from sim.books.shopcards import CardResult
from sim.books.standing import (
    EMPTY,
    GROUP,
    SIDES,
    Group,
    Progress,
    by_level,
    groups,
    lesson_rows,
    skill_text,
    standings,
    sureness,
)
from sim.report.page import whole_page, write_page
from sim.school.cards import entered_words
from sim.units import counted, named_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CHART_IN = (3.5, 2.5)
SKILL_AXIS = (-40.0, 105.0)  # worse is drawn at the lower edge; the table tells the figure
TOLD_FIGURES = 6  # of a lesson's best attempt
DRILLS_NOTE = (
    "Skill is 100 for the best answer there is and 0 for a blind one; an answer weighs what is at stake on it, and "
    f"below 0 is worse than blind. A figure in the curves is the level of {GROUP} answers; skill is told from as many "
    "on, within a level, never over several. Check: families of prints that are kept out of practice. Where practice "
    "climbs and check does not, the prints are remembered and not read."
)
TRUE_IRON = "Measured on simulated prints. Shop card 3 takes ten minutes at a real plate."


def write_progress(path: Path, progress: Progress, force: bool = False) -> None:
    """Write the page of a learner; as `sim.report.page.write_page`."""
    write_page(path, partial(progress_page, progress), force)


def progress_page(progress: Progress) -> str:
    """The page of a learner as one HTML text."""
    name = escape(progress.learner)
    title = f"Progress of {progress.learner}"
    body = [f"<header><p class='kicker'>flatwright · record</p><h1>Progress of {name}</h1>"
            f"<p class='lead'>{escape(_lead(progress))}</p></header>"]  # fmt: skip
    if progress.attempts:
        body.append(f"<section><h2>Lessons</h2>{lessons_html(progress.attempts)}</section>")
    if progress.answers:
        body.append(f"<section><h2>Reading drills</h2>{standings_html(progress.answers)}")
        body += [kind_html(one.kind, progress.answers) for one in standings(progress.answers)]
        sure = sureness(progress.answers)
        told = f"<p class='note'>{escape(sure)}</p>" if sure else ""
        body.append(f"{told}<p class='note'>{DRILLS_NOTE}</p><p class='note'>{TRUE_IRON}</p>"
                    f"{levels_html(progress.answers)}</section>")  # fmt: skip
    if progress.cards:
        body.append(f"<section><h2>Shop cards, at a real plate</h2>{cards_html(progress.cards)}<p class='note'>Beside "
                    "the model's figures: <code>flatwright cards NAME</code>.</p></section>")  # fmt: skip
    return whole_page(title, body, None)


def cards_html(cards: Sequence[CardResult]) -> str:
    """What was written down at a plate, as a table, the last first."""
    lines = []
    for one in reversed(cards):
        title, words = entered_words(one.card, one.values)
        lines.append(f"<tr><th scope='row'>{escape(title)}</th><td>{escape(one.when[:10])}</td>"
                     f"<td>{escape(words)}</td></tr>")  # fmt: skip
    return _table((("card", 0), ("entered", 0), ("what was written down", 0)), lines)


def lessons_html(attempts: Sequence[Attempt]) -> str:
    """Lessons with their best result, as a table."""
    lines = []
    for row in lesson_rows(attempts):
        figures = ", ".join(figure_words(*one) for one in list(row.figures.items())[:TOLD_FIGURES])
        best = f"<td{' class=yes' if row.best != 'tried' else ''}>{row.best}</td>"
        numbers = (row.attempts, row.unfinished, f"{row.clock_s / 60:.0f}")
        cells = "".join(f"<td class='n'>{told}</td>" for told in numbers)
        lines.append(f"<tr><th scope='row'>{escape(row.lesson)}</th>{best}{cells}<td>{escape(row.last[:10])}</td>"
                     f"<td>{escape(figures)}</td></tr>")  # fmt: skip
    heads = (("lesson", 0), ("best", 0), ("attempts", 1), ("not finished", 1), ("shop time, min", 1), ("last begun", 0),
             ("figures of the best", 0))  # fmt: skip
    return _table(heads, lines)


def figure_words(name: str, value: float) -> str:
    """A figure of a lesson as it is said: "ledge 0.8 µm" of ledge_um; a name without a unit is a bare number."""
    words, unit = named_unit(name)
    return f"{words} {value:.3g} {unit}".rstrip()


def standings_html(answers: Sequence[Answer]) -> str:
    """Where each kind stands now, practice beside check, as a table."""
    lines = []
    for one in standings(answers):
        cells = []
        for side in (one.practice, one.check):
            told = (f"{side.answers}", f"{side.level}", skill_text(side.here)) if side else ("0", "", "")
            cells += [f"<td class='n'>{text}</td>" for text in told]
        lines.append(f"<tr><th scope='row'>{escape(one.kind)}</th>{''.join(cells)}</tr>")
    columns = ("answers", "level now", "skill at it")
    heads = [("drill", 0)] + [(f"{side}: {name}", 1) for side in SIDES for name in columns]
    return _table(heads, lines)


def kind_html(kind: str, answers: Sequence[Answer]) -> str:
    """Level, and skill within each level in practice and in checks, side by side over the answers of a kind."""
    from sim.report.figures import themed_svg

    given = [one for one in answers if one.kind == kind]
    points = groups(given)
    shown = [("Level", partial(draw_levels, answers=given), _levels_alt(given))]
    for side, held_out in zip(SIDES, (False, True), strict=True):
        mine = [one for one in points if one.held_out == held_out]
        told = ", ".join(f"level {one.level} {skill_text(one)}" for one in mine) or "no point yet"
        shown.append((f"Skill within each level, {side}",
                      partial(draw_skill, points=mine, last=len(given), check=held_out), told))  # fmt: skip
    figures = []
    for title, draw, told in shown:
        svg = themed_svg(draw, CHART_IN, f"{kind}: {title}: {told}")
        figures.append(f"<figure><figcaption>{escape(title)}</figcaption>{svg}</figure>")
    return f"<h3>{escape(kind)}</h3><div class='three'>{''.join(figures)}</div>"


def levels_html(answers: Sequence[Answer]) -> str:
    """Every kind and level, practice beside check, as a table that can be opened."""
    found: dict[tuple[str, int], list[Group | None]] = {}
    for one in by_level(answers):
        found.setdefault((one.kind, one.level), [None, None])[one.held_out] = one
    lines = []
    for (kind, level), sides in found.items():
        cells = []
        for side in sides:
            told = ["", "", "", ""]
            if side:
                told = [f"{side.answers}", skill_text(side), f"{side.right_pct:.0f}", f"{side.seconds:.0f}"]
            cells += [f"<td class='n'>{text}</td>" for text in told]
        lines.append(f"<tr><th scope='row'>{escape(kind)}</th><td class='n'>{level}</td>{''.join(cells)}</tr>")
    columns = ("answers", "skill", "right, %", "seconds")
    heads = [("drill", 0), ("level", 1)] + [(f"{side}: {name}", 1) for side in SIDES for name in columns]
    return f"<details><summary>Every level as a table</summary><div class='wide'>{_table(heads, lines)}</div></details>"


def draw_levels(chart: "Axes", answers: Sequence[Answer]) -> None:
    """Draw the level of each answer of a kind on `chart`, practice and check."""
    from sim.report.figures import INK, RUST

    for held_out, colour, name in ((False, RUST, SIDES[0]), (True, INK, SIDES[1])):
        at = [n for n, one in enumerate(answers, start=1) if one.held_out == held_out]
        level = [answers[n - 1].level for n in at]
        if not at:
            continue
        chart.plot(at, level, color=colour, drawstyle="steps-post", lw=1.2 if held_out else 1.6,
                   marker="." if held_out or len(at) == 1 else "", ls="none" if held_out else "-")  # fmt: skip
        chart.annotate(f"{name}, now {level[-1]}", (0.02, 0.99 - 0.1 * held_out), xycoords="axes fraction", va="top",
                       color=colour)  # fmt: skip
    chart.set_ylim(0.5, 13.8)  # the words stand above the tenth level
    chart.set_yticks([1, 4, 7, 10])
    chart.set_ylabel("level")
    _over_answers(chart, len(answers))


def draw_skill(chart: "Axes", points: Sequence[Group], last: int, check: bool) -> None:
    """Draw skill on `chart`, a line a level with the level at its end; `last` is how far the answers go."""
    from sim.report.figures import INK, LINE, MUTED, RUST

    colour = INK if check else RUST
    chart.axhline(0.0, color=MUTED, lw=0.8, dashes=(4, 3))
    chart.annotate("a blind answer", (0.0, 0.0), (3, 3), xycoords=("axes fraction", "data"),
                   textcoords="offset points", color=MUTED, fontsize=7.5)  # fmt: skip
    for level in sorted({one.level for one in points}):
        line = [one for one in points if one.level == level and one.skill is not None]
        at = [one.at for one in line]
        skill = [max(one.skill or 0.0, SKILL_AXIS[0]) for one in line]
        chart.plot(at, skill, color=LINE, lw=1.0, zorder=1)
        for x, y in zip(at, skill, strict=True):
            chart.annotate(f"{level}", (x, y), color=colour, ha="center", va="center", fontweight="bold")
    if not points:
        chart.annotate(f"begins after {GROUP} answers at one level", (0.5, 0.6), xycoords="axes fraction",
                       ha="center", color=MUTED)  # fmt: skip
    chart.set_ylim(*SKILL_AXIS)
    chart.set_ylabel("skill; the figures are levels")
    _over_answers(chart, last)


def _over_answers(chart: "Axes", last: int) -> None:
    from matplotlib.ticker import MaxNLocator

    chart.set_xlim(0.0, 1.04 * max(last, GROUP))
    chart.xaxis.set_major_locator(MaxNLocator(5, integer=True))
    chart.set_xlabel("answers of this kind, practice and check")
    chart.tick_params(length=2.5)


def _levels_alt(answers: Sequence[Answer]) -> str:
    told = []
    for side, held_out in zip(SIDES, (False, True), strict=True):
        levels = [one.level for one in answers if one.held_out == held_out]
        told.append(f"{side} from {levels[0]} to {levels[-1]}" if levels else f"{side}: none yet")
    return "; ".join(told)


def _lead(progress: Progress) -> str:
    if progress.empty:
        return EMPTY
    rows = lesson_rows(progress.attempts)
    done = sum(row.best != "tried" for row in rows)
    merit = sum(row.best == "merit" for row in rows)
    told = [f"{done} of {len(rows)} lessons that were begun passed, {merit} with merit."] if rows else []
    told += [f"{counted(len(progress.answers), 'answer')} in drills."] if progress.answers else []
    count = len(progress.cards)
    return " ".join([*told, f"{counted(count, 'shop card')} filled in."] if count else told)


def _table(heads: Sequence[tuple[str, int]], lines: Sequence[str]) -> str:
    """A table of rows that are HTML already; heads: words, and 1 for a column of numbers."""
    head = "".join(f"<th scope='col'{' class=n' if right else ''}>{escape(words)}</th>" for words, right in heads)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"
