"""After Finish: the face uncovered, held against its goal."""

from pathlib import Path

import numpy as np
import pygame

from sim.bench.desk import Desk
from sim.bench.files import free_path
from sim.bench.lettering import BODY, LABEL, NAME, SMALL, Ui
from sim.bench.palette import CALL_FILL, INK, WELL, WELL_TEXT, height_colour
from sim.bench.panels import Stack
from sim.bench.read_back import STRIP, ReadBack, coach_strip, reading_part
from sim.bench.uncovered import Uncovered
from sim.bench.widgets import Button, Label, Widget
from sim.school.remark import Places
from sim.units import counted

SHORT = ("flatness", "number of spots", "lowest square", "bearing")


def finish_page(
    desk: Desk, done: Uncovered, size: tuple[int, int], ui: Ui, *, note: str = "", back: ReadBack | None = None
) -> tuple[list[Widget], pygame.Rect]:
    """Widgets of the page, and where the map lies."""
    pad, right = ui.px(24), ui.px(420)
    short = [SHORT[n] if n < len(SHORT) else row[0].split(",")[0].lower() for n, row in enumerate(done.rows)
             if row[3] is False]  # fmt: skip
    title = "Reached: every figure of the goal." if done.met else f"Not reached yet: {', '.join(short)}."
    letters = NAME if ui.measured(title, NAME, True)[0] <= size[0] - 2 * pad else BODY
    head = Label("verdict", string=title, size=letters, bold=True, role="reached" if done.met else "not_reached")
    head.rect = pygame.Rect(pad, ui.px(12), size[0] - 2 * pad, ui.px(46))
    chart = pygame.Rect(pad, ui.px(60), size[0] - right - 3 * pad, size[1] - ui.px(60 + 74 + STRIP))
    stack = Stack(pygame.Rect(chart.right + pad, chart.top, right, 10), ui, area=1, gap=6)
    stack.label("Against the goal", NAME, "text", bold=True)
    if desk.settings.finished_as:
        stack.label(f"A copy of your job, worked as {desk.settings.finished_as}. Your own stays as you left it: start "
                    "page, Go on with.", LABEL)  # fmt: skip
    made: list[Widget] = [head]
    columns = (0.0, 0.58, 0.74, 0.9)
    for n, row in enumerate((("", "it" if desk.settings.finished_as else "you", "goal", None), *done.rows)):
        y = stack.y
        words = [row[0], row[1], row[2], "" if row[3] is None else "✓" if row[3] else "✕"]
        for k, word in enumerate(words):
            role = "text" if k < 2 and n else "muted"
            if k == 3 and word:
                role = "reached" if row[3] else "not_reached"
            cell = Label(f"cell {n} {k}", string=word, size=BODY if k else LABEL, role=role, bold=k == 1)
            end = columns[k + 1] if k < 3 else 1.0
            cell.rect = pygame.Rect(
                stack.rect.left + round(columns[k] * right), y, round((end - columns[k]) * right) - 4, ui.px(26)
            )
            made.append(cell)
        stack.y += ui.px(30)
    stack.space(8)
    stack.label(f"Orange is high, violet is low; a line every 2 µm; colours end at ±{done.span_um:g} µm.", LABEL)
    if not desk.settings.finished_as:
        stack.label(uncovered_words(desk), LABEL)
    if note:
        stack.label(note, LABEL)
    back = back or ReadBack()
    reading_part(stack, back, chart.bottom)
    if not desk.settings.finished_as:
        made += coach_strip(back, pygame.Rect(pad, chart.bottom + ui.px(8), size[0] - 2 * pad, ui.px(STRIP)), ui)
    foot = Stack(pygame.Rect(pad, size[1] - ui.px(60), size[0] - 2 * pad, 10), ui, area=2)
    foot.beside(
        [
            Button("same start", "Same start again"),
            Button("another face", "Another face" if len(desk.session.job.part.faces) == 1 else "Another part"),
            Button("sheet", "Result sheet", hint="Save this page as a picture beside the job (Ctrl+P)"),
            Button("copy", "Copy", hint="Copy the figures as text (Ctrl+C)"),
            Button("back", "Back", key="Esc", hint="Back to the bench"),
            Button("to start", "Start page"),
        ]
    )
    return made + stack.made + foot.made, chart


def uncovered_words(desk: Desk) -> str:
    """How often iron was uncovered before this finish."""
    before = desk.seen_whole - 1
    if not desk.uncovered and before <= 0:
        return "Never uncovered while working."
    whole = f"; the whole face was seen {counted(before, 'time')} before" if before > 0 else ""
    return f"Uncovered under the square {counted(desk.uncovered, 'time')} while working{whole}."


def draw_map(
    surface: pygame.Surface, ui: Ui, done: Uncovered, chart: pygame.Rect, lit_mm: Places = ()
) -> None:
    """The map with its scale, and rings round places that are spoken of."""
    surface.fill(WELL, chart)
    ny, nx = done.map.shape[:2]
    room = chart.inflate(-2 * ui.px(24), -2 * ui.px(24))
    room.width -= ui.px(70)
    fit = min(room.width / nx, room.height / ny)
    picture = pygame.image.frombuffer(np.ascontiguousarray(done.map).data, (nx, ny), "RGB")
    scaled = pygame.transform.smoothscale(picture, (max(int(nx * fit), 1), max(int(ny * fit), 1)))
    where = scaled.get_rect(center=room.center)
    surface.blit(scaled, where)
    for x_mm, y_mm in lit_mm:
        cell = fit / done.pitch_mm
        at = round(where.left + x_mm * cell), round(where.bottom - y_mm * cell)
        for radius, colour, width in ((16, INK, 6), (15, CALL_FILL, 3)):
            pygame.draw.circle(surface, colour, at, ui.px(radius), width)
    bar = pygame.Rect(chart.right - ui.px(76), where.top, ui.px(16), where.height)
    for y in range(bar.height):
        share = 1.0 - 2.0 * y / max(bar.height - 1, 1)
        surface.fill(height_colour(share), (bar.left, bar.top + y, bar.width, 1))
    pygame.draw.rect(surface, INK, bar, 1)
    for share, y in ((1.0, bar.top), (0.0, bar.centery), (-1.0, bar.bottom)):
        words = f"{share * done.span_um:+.0f}" if share else "0"
        ui.text(surface, (bar.right + ui.px(6), y - ui.px(8)), words, SMALL, WELL_TEXT)
    ui.text(surface, (bar.left, bar.bottom + ui.px(10)), "µm", SMALL, WELL_TEXT)


def as_text(desk: Desk, done: Uncovered) -> str:
    """Figures as text, to paste elsewhere."""
    job = desk.session.job
    by = f", worked as {desk.settings.finished_as}" if desk.settings.finished_as else ""
    lines = [f"{job.in_hand}, seed {job.start.seed}{by}: {'reached' if done.met else 'not reached'}"]
    lines += [f"{what}\t{got}\t{goal}" for what, got, goal, _ in done.rows]
    return "\n".join(lines)


def saved_sheet(sheet: pygame.Surface, job: Path) -> str:
    """Save a picture of the finished page beside its job; what is to be said of it."""
    picture = free_path(job.parent, f"{job.stem}-result", ".png")
    try:
        pygame.image.save(sheet, picture)
    except (pygame.error, OSError) as error:
        return f"{picture}: could not be written: {error}"
    return f"Saved: {picture}"


def copied(text: str) -> str:
    """Put a text on the clipboard; what is to be said of it."""
    try:
        pygame.scrap.put_text(text)
    except (pygame.error, AttributeError):
        return "The clipboard could not be reached."
    return "Copied: the figures as text."
