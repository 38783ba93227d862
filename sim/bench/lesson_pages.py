"""Pages of the lessons: the list, one lesson with its parts, the page while work goes on aside, the judgement."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pygame

from sim.bench.lettering import BODY, CONTROL, LABEL, NAME, SMALL, Ui
from sim.bench.panels import Stack
from sim.bench.read_back import STRIP, ReadBack, coach_strip, reading_part
from sim.bench.widgets import Button, Label, Listing, Widget
from sim.errors import ShopError
from sim.school.checks import Judged, Row
from sim.school.faults import FAULTS
from sim.school.keeping import FILE, read_head
from sim.school.lesson import PART_WORDS, Lesson
from sim.units import counted, shown_unit, unit_of

COLUMNS = (0.0, 0.07, 0.62, 0.76)
"""Where number, title, minutes and best result begin, as shares of the width."""
BEST = {"merit": "merit", "passed": "passed", "tried": "tried, not passed yet", "": "–"}


@dataclass(eq=False)
class Table(Listing):
    """Rows in columns, their cells parted by tabs."""

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        rows, self.rows = self.rows, ["" for _ in self.rows]
        super()._paint(surface, ui)
        self.rows = rows
        for i, row in enumerate(self.targets(), self.first):
            inner = row.inflate(-2 * ui.px(10), 0)
            chosen = i == self.value and self.enabled
            cells = self.rows[i].split("\t")
            for n, (cell, at) in enumerate(zip(cells, COLUMNS, strict=False)):
                end = COLUMNS[n + 1] if n + 1 < len(COLUMNS) else 0.98
                box = pygame.Rect(inner.left + round(at * inner.width), inner.top,
                                  round((end - at) * inner.width) - ui.px(6), inner.height)  # fmt: skip
                colour = ui.theme.on_accent if chosen else ui.theme.text if n == 1 else ui.theme.muted
                ui.line(surface, box, cell, CONTROL, colour, bold=chosen and n == 1)


def lessons_page(size: tuple[int, int], ui: Ui, lessons: Sequence[Lesson], best: dict[str, str], *,
                 left: str = "", note: str = "", who: str = "") -> list[Widget]:
    """The list of lessons; `left`: an attempt that was broken off, in words; `who`: the name of who practises."""
    width = min(size[0] - ui.px(64), ui.px(1000))
    stack = Stack(pygame.Rect((size[0] - width) // 2, ui.px(28), width, 10), ui, area=1)
    stack.label("Lessons", 26, "text", bold=True)
    stack.label("Each is watched, done with help, done alone, and checked on another day. Alone passes it."
                f"{f' Practising: {who}.' if who else ''}")  # fmt: skip
    if left:
        stack.label(left, LABEL, "text")
        stack.beside([Button("go on attempt", "Go on where it stopped"),
                      Button("leave attempt", "Leave it; its files stay")])  # fmt: skip
    rows = [f"{one.number}\t{one.title}\t{one.minutes:g} min\t{BEST[best.get(one.name, '')]}" for one in lessons]
    room = size[1] - stack.y - ui.px(70 + (30 if note else 0))
    shown = max(min(room // ui.px(36), max(len(rows), 3)), 2)
    none = "There are no lessons here."
    stack.add(Table("lesson", rows, value=0 if rows else -1, shown=shown, empty=none), 36 * shown)
    stack.beside([Button("open lesson", "Open", enabled=bool(rows), reason=none),
                  Button("to start", "Start page", key="Esc")])  # fmt: skip
    if note:
        stack.label(note, LABEL, "not_reached")
    return stack.made


def left_words(folder: Path | None, long: bool = True) -> str:
    """An attempt that was broken off, in words; empty for none."""
    if folder is None:
        return ""
    try:
        head = read_head(folder)
        at = datetime.fromtimestamp((folder / FILE).stat().st_mtime)
    except (ShopError, OSError):
        return ""
    if not long:
        return f"Go on: lesson {head.lesson.replace('-', ' ')}, {PART_WORDS[head.part]}"
    told = f"Lesson {head.lesson}, {PART_WORDS[head.part]}, stopped on {at:%d %b at %H:%M}. Nothing was lost; "
    return f"{told}its files are in {folder}."


@dataclass(eq=False)
class Bar(Label):
    """How far something is."""

    share: float = 0.0

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        ui.box(surface, self.rect, ui.theme.raised, ui.theme.line)
        inner = self.rect.inflate(-2, -2)
        surface.fill(ui.theme.accent, (inner.left, inner.top, round(inner.width * min(self.share, 1.0)), inner.height))


def working_page(size: tuple[int, int], ui: Ui, words: str, share: float) -> list[Widget]:
    """While work goes on aside."""
    width = min(ui.px(480), size[0] - ui.px(64))
    stack = Stack(pygame.Rect((size[0] - width) // 2, size[1] // 2 - ui.px(70), width, 10), ui, area=1, gap=14)
    stack.label(words, NAME, "text", bold=True)
    stack.add(Bar("how far", share=share), 14)
    stack.add(Button("stop work", "Stop", key="Esc"))
    return stack.made


def verdict(lesson: Lesson, part: str, judged: Judged) -> tuple[str, bool]:
    """What it came to, in one line."""
    if judged.merit:
        return f"{lesson.title}: passed with merit.", True
    if judged.passed:
        said = {"help": "all of it reached, with help. Now alone.", "alone": "passed.",
                "check": "passed on another day; merit asks for more."}[part]  # fmt: skip
        return f"{lesson.title}: {said}", True
    if judged.nothing:
        return f"{lesson.title}: nothing to judge; each line says why, and what to do.", False
    reached = sum(row.passed for row in judged.rows)
    return f"{lesson.title}: not passed yet, {reached} of {len(judged.rows)} figures reached.", False


def judged_page(
    size: tuple[int, int], ui: Ui, lesson: Lesson, part: str, *, judged: Judged, back: ReadBack, piece: str = "",
    span_um: float = 0.0, note: str = "",
) -> tuple[list[Widget], pygame.Rect]:  # fmt: skip
    """The judgement of an attempt, and where the map of the piece in hand lies."""
    pad, right = ui.px(24), min(ui.px(460), size[0] * 42 // 100)
    title, good = verdict(lesson, part, judged)
    wide = size[0] - 2 * pad
    letters = next((one for one in (NAME, BODY) if ui.measured(title, one, True)[0] <= wide), LABEL)
    head = Label("verdict", string=title, size=letters, bold=True, role="reached" if good else "not_reached")
    head.rect = pygame.Rect(pad, ui.px(10), wide, ui.px(46))
    chart = pygame.Rect(pad, ui.px(60), size[0] - right - 3 * pad, size[1] - ui.px(60 + 74 + STRIP))
    stack = Stack(pygame.Rect(chart.right + pad, chart.top, right, 10), ui, area=1, gap=5)
    made: list[Widget] = [head]
    for word, at in (("Against the lesson", 0.0), ("you", 0.56), ("asked", 0.7)):
        label = Label(f"column {at}", string=word, size=BODY if not at else LABEL, bold=not at,
                      role="muted" if at else "text")  # fmt: skip
        label.rect = pygame.Rect(stack.rect.left + round(at * right), stack.y, round((0.5 if not at else 0.13) * right),
                                 ui.px(24))  # fmt: skip
        made.append(label)
    stack.y += ui.px(32)
    for n, row in enumerate(judged.rows):
        made += _row(n, row, stack, part == "check")
    if piece:
        stack.beside([Button("piece back", "‹ piece"), Button("piece on", "piece ›")], 32)
    stack.label(f"{piece + ': o' if piece else 'O'}range is high, violet low; colours end at ±{span_um:g} µm.", SMALL)
    if note:
        stack.label(note, LABEL, "text")
    reading_part(stack, back, chart.bottom)
    _habits(stack, judged.faults, chart.bottom)
    made += coach_strip(back, pygame.Rect(pad, chart.bottom + ui.px(8), wide, ui.px(STRIP)), ui)
    foot = Stack(pygame.Rect(pad, size[1] - ui.px(60), wide, 10), ui, area=2)
    foot.beside([
        Button("part again", "Once more"), Button("lesson page", "The lesson", key="Esc"),
        Button("sheet", "Result sheet", hint="Result sheet, and the file to hand in, beside the attempt (Ctrl+P)"),
        Button("copy", "Copy", hint="Copy the figures as text (Ctrl+C)"), Button("to start", "Start page"),
    ])  # fmt: skip
    return made + stack.made + foot.made, chart


def _habits(stack: Stack, faults: dict[int, int], foot: int) -> None:
    """Faults that prints and strokes showed, as far as there is room; changes `stack`."""
    ui = stack.ui
    if not faults or stack.y + ui.px(2 * 30) > foot:
        return
    stack.space(6)
    stack.label("What prints and strokes showed", BODY, "text", bold=True)
    for number, count in faults.items():
        told = Label(f"fault {number}", string=f"{FAULTS[number]}: {counted(count, 'time')}", size=LABEL)
        if stack.y + told.height(ui, stack.rect.width) > foot:
            break
        stack.add(told)


def _row(n: int, row: Row, stack: Stack, merit: bool) -> list[Widget]:
    """A figure of the lesson: what it is, what it came to, what was asked; passed by a word's sign too."""
    ui, wide = stack.ui, stack.rect.width
    sign = "≥" if row.better == "high" else "≤"
    asked = f"{sign} {row.passes:g}" + (f", merit {row.merit:g}" if merit else "")
    value = row.shown
    unit = shown_unit(row.unit)
    told = f"{row.doc}{', ' + unit if unit else ''}" + (f"; not judged: {row.why}" if row.why else "")
    doc = Label(f"check {n}", string=told, size=LABEL)
    left = round(0.56 * wide)
    doc.rect = pygame.Rect(stack.rect.left, stack.y, left - ui.px(8), doc.height(ui, left - ui.px(8)))
    high = max(doc.rect.height, ui.px(24))
    cells: list[Widget] = [doc]
    role = "reached" if row.passed else "not_reached"
    for k, (word, at, end, look) in enumerate(((value, 0.56, 0.7, "text"), (asked, 0.7, 0.93, "muted"),
                                               ("✓" if row.passed else "✕", 0.93, 1.0, role))):  # fmt: skip
        cell = Label(f"check {n} {k}", string=word, size=BODY if k != 1 else LABEL, role=look, bold=k == 0)
        cell.rect = pygame.Rect(stack.rect.left + round(at * wide), stack.y, round((end - at) * wide) - 4,
                                max(cell.height(ui, round((end - at) * wide) - 4), ui.px(24)))  # fmt: skip
        high = max(high, cell.rect.height)
        cells.append(cell)
    stack.y += high + ui.px(6)
    return cells


def as_text(lesson: Lesson, part: str, seed: int, judged: Judged) -> str:
    """The judgement as text, to paste elsewhere."""
    lines = [f"Lesson {lesson.number}, {PART_WORDS[part]}, seed {seed}: {verdict(lesson, part, judged)[0]}"]
    for row in judged.rows:
        got = f"not judged: {row.why}" if row.why else f"{row.shown} {unit_of(row.value, row.unit)}"
        lines.append(f"{row.doc}\t{got}\tasked {row.passes:g}")
    return "\n".join(lines)
