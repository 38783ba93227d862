"""The page of the drills: the picture large, the question and its controls beside it; then what is true; the summary.

Before an answer nothing here reads what is true of the item: its question, its forms and its pictures, no more.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import pygame

from sim.bench.controls import Button, Label, Radio, Slider, Widget
from sim.bench.drills import KIND_WORDS, PART_WORDS, PLACES, UNITS, Drills, count_of, degrees, in_signs
from sim.bench.entries import Field
from sim.bench.lettering import BODY, CONTROL, GOAL, LABEL, NAME, SMALL, Ui
from sim.bench.palette import WELL, WELL_TEXT
from sim.bench.panels import Stack
from sim.bench.shown import Asked, Pointer, Shown
from sim.school.item import Choice, Form, Line, Number, Order, Place, Several
from sim.school.sitting import LINE, MOST_ITEMS
from sim.school.today import SITTING_S
from sim.school.view import Picture

Scaled = Callable[[Picture, tuple[int, int]], pygame.Surface]
TITLE = "Today's five minutes"
FIRST = "Drawing the first face. The very first time some coupons are scraped for it, which takes up to half a minute."
NEXT = "Drawing the next face."
TURN_STEPS = 1000  # of a slider with equal ratios
MOST_ZOOM = 5.0
ROW = 38  # of the summary


@dataclass(frozen=True)
class Parts:
    """Where everything lies, in pixels."""

    head: pygame.Rect
    well: pygame.Rect
    panel: pygame.Rect
    foot: pygame.Rect


def parts(size: tuple[int, int], ui: Ui) -> Parts:
    """The page in a window of this size."""
    (width, height), head, side, foot = size, ui.px(44), ui.px(348), ui.px(36)
    middle = height - head - foot
    return Parts(
        pygame.Rect(0, 0, width, head), pygame.Rect(0, head, width - side, middle),
        pygame.Rect(width - side, head, side, middle), pygame.Rect(0, height - foot, width, foot),
    )  # fmt: skip


def drill_ground(surface: pygame.Surface, size: tuple[int, int], ui: Ui, drills: Drills) -> None:
    """What lies under the widgets: the well round the picture, the same in both themes, and the panel."""
    where = parts(size, ui)
    for rect in (where.head, where.panel, where.foot) if not drills.ended else (where.head,):
        surface.fill(ui.theme.panel, rect)
    if drills.ended:
        rules(surface, size, ui, drills)
    else:
        surface.fill(WELL, where.well)
        share = min(drills.remaining_s / SITTING_S, 1.0)
        bar = pygame.Rect(0, where.head.bottom - ui.px(2), round(where.head.width * share), ui.px(2))
        surface.fill(ui.theme.line, bar)
        _captions(surface, size, ui, drills)


def _captions(surface: pygame.Surface, size: tuple[int, int], ui: Ui, drills: Drills) -> None:
    if drills.item is None:
        wide, (x, y) = ui.px(420), parts(size, ui).well.center
        words = making_words(drills)
        high = len(ui.wrapped(words, BODY, wide)) * ui.px(BODY)
        ui.text(surface, (x - wide // 2, y - high // 2), words, BODY, WELL_TEXT, width=wide, wrap=True)
        return
    for picture, rect in zip(drills.item.pictures, picture_rects(drills, size, ui), strict=True):
        below = pygame.Rect(rect.left, rect.bottom + ui.px(2), rect.width, ui.px(20))
        ui.line(surface, below, in_signs(picture.caption), SMALL, WELL_TEXT)


def picture_rects(drills: Drills, size: tuple[int, int], ui: Ui) -> list[pygame.Rect]:
    """Where the pictures lie: one below or beside the other, as large as there is room."""
    if drills.item is None:
        return []
    shapes = [one.rgb.shape[:2] for one in drills.item.pictures]
    room, gap, strip = parts(size, ui).well.inflate(-ui.px(40), -ui.px(28)), ui.px(16), ui.px(22)
    high, wide = (max(shape[k] for shape in shapes) for k in (0, 1))
    best: tuple[float, int] = (0.0, 1)
    for columns in range(1, len(shapes) + 1):
        rows = -(-len(shapes) // columns)
        zoom = min((room.width - gap * (columns - 1)) / columns / wide, (room.height / rows - strip - gap / 2) / high)
        best = max(best, (zoom, columns))
    zoom, columns = min(best[0], MOST_ZOOM * ui.scale), best[1]
    rows = -(-len(shapes) // columns)
    cell = round(wide * zoom), round(high * zoom) + strip
    left = room.centerx - (columns * cell[0] + (columns - 1) * gap) // 2
    top = room.centery - (rows * cell[1] + (rows - 1) * (gap // 2)) // 2
    return [
        pygame.Rect(left + (n % columns) * (cell[0] + gap), top + (n // columns) * (cell[1] + gap // 2),
                    round(shape[1] * zoom), round(shape[0] * zoom))
        for n, shape in enumerate(shapes)]  # fmt: skip


def drill_page(drills: Drills, pointer: Pointer, size: tuple[int, int], ui: Ui, scaled: Scaled) -> list[Widget]:
    """Widgets of the page as it stands."""
    where = parts(size, ui)
    made = _head(drills, where.head, ui)
    if drills.ended:
        return [*made, *_summary(drills, size, ui)]
    if drills.item is None:
        return [*made, _hint("Esc leaves; every answer is kept.", where.foot, ui)]
    for n, (picture, rect) in enumerate(zip(drills.item.pictures, picture_rects(drills, size, ui), strict=True)):
        made.append(_shown(drills, pointer, (n, picture), (rect, ui), scaled))
    column = where.panel.inflate(-2 * ui.px(16), -2 * ui.px(14))
    stack = Stack(column, ui, area=2)
    stack.label(KIND_WORDS[drills.item.kind], NAME, "text", bold=True)
    stack.label(f"Level {drills.item.level}", LABEL)
    stack.label(in_signs(drills.item.question), BODY, "text")
    if drills.told is None:
        _ask(drills, stack, ui)
    else:
        _tell(drills, stack)
    return [*made, *stack.made, _hint(_keys_told(drills), where.foot, ui)]


def _shown(drills: Drills, pointer: Pointer, which: tuple[int, Picture], place: tuple[pygame.Rect, Ui],
           scaled: Scaled) -> Widget:  # fmt: skip
    """A picture; one that is answered on while that is possible."""
    (n, picture), (rect, ui) = which, place
    surface = scaled(picture, rect.size)
    dots, draws = drills.dots() if n == 0 else [], isinstance(drills.form, Line)
    if drills.told is None and (draws or dots):
        one: Shown = Asked(f"drill picture {n}", picture, surface, pointer=pointer, draws=draws, area=1)
    else:
        one = Shown(f"drill picture {n}", picture, surface, area=1)
    one.dots, one.ways, one.lit = dots, drills.ways(), drills.lit() if n == 0 else ()
    one.edges = drills.edges() if n == 0 else ()
    one.place(rect, ui)
    return one


def _head(drills: Drills, where: pygame.Rect, ui: Ui) -> list[Widget]:
    pad = ui.px(16)
    leave = Button("drill leave", "Start page", key="Esc", area=0, hint="Every answer is kept")
    leave.rect = pygame.Rect(where.right - pad - ui.px(136), where.top + ui.px(5), ui.px(136), ui.px(33))
    number = drills.sat.given + (drills.told is None)
    words = drills.learner
    if not drills.ended:
        words = f"{words}  ·  item {min(number, MOST_ITEMS)} of {MOST_ITEMS} today  ·  {drills.left_words()}"
    high = ui.font(GOAL, True).get_height() + 2
    title = Label("drill title", string=TITLE, size=GOAL, bold=True)
    title.rect = pygame.Rect(where.left + pad, where.centery - high // 2, ui.px(260), high)
    room = leave.rect.left - pad - title.rect.right
    told = Label("drill clock", string=ui.shortened(words, LABEL, room), size=LABEL, role="muted")
    wide = ui.measured(told.string, LABEL)[0] + 2
    told.rect = pygame.Rect(leave.rect.left - pad - wide, where.centery - ui.px(LABEL) // 2 - ui.px(2), wide, ui.px(22))
    return [title, told, leave]


def _hint(words: str, where: pygame.Rect, ui: Ui) -> Label:
    line = Label("drill hint", string=words, size=LABEL, role="muted", area=5)
    line.rect = pygame.Rect(where.left + ui.px(16), where.top + ui.px(8), where.width - 2 * ui.px(16), ui.px(24))
    return line


def making_words(drills: Drills) -> str:
    """What is said while one waits."""
    words, waited = NEXT if drills.shown else FIRST, int(drills.seconds)
    return f"{words} {waited} s" if waited >= 2 else words


# ---------------------------------------------------------------------- asking


def _ask(drills: Drills, stack: Stack, ui: Ui) -> None:
    """The controls of each form, and the button that gives the answer."""
    if len(drills.forms) > 1 and isinstance(drills.forms[0], Line):
        names = [PART_WORDS.get(getattr(form, "name", ""), "") for form in drills.forms]
        stack.add(Radio("drill part", names, drills.at, hint="Which of them a drag on the picture draws"))
    for part, form in enumerate(drills.forms):
        if len(drills.forms) > 1 and isinstance(form, Choice):
            stack.label("The next film", CONTROL, "text", bold=part == drills.at)
        _controls(drills, part, form, (stack, ui))
    if drills.note:
        stack.label(drills.note, LABEL, "not_reached")
    if not drills.at_once:
        stack.space(4)
        stack.add(Button("drill answer", "Answer", key="Enter", enabled=drills.whole,
                         reason="Answer every part of the question first."), 44)  # fmt: skip


def _controls(drills: Drills, part: int, form: Form, place: tuple[Stack, Ui]) -> None:
    stack, _ = place
    picked = drills.picked[part]
    if isinstance(form, Choice):
        for n, option in enumerate(form.options):
            stack.add(Button(f"drill pick {part} {n}", option, key=str(n + 1), in_hand=picked == n))
    elif isinstance(form, Place | Order | Several):
        count, dots = count_of(form), drills.dots()
        in_row = count if count <= 5 else 4
        for first in range(0, count, in_row):
            row = [Button(f"drill pick {part} {n}", dots[n].words, in_hand=dots[n].state == "chosen")
                   for n in range(first, first + in_row)]  # fmt: skip
            stack.beside(row)
        if isinstance(form, Order):
            stack.label(_order_words(picked, count), CONTROL, "text")
        if isinstance(form, Several):
            stack.label(f"{len(picked)} of {count} would be cut.", CONTROL, "text")
    elif isinstance(form, Number):
        _number(drills, part, form, stack)
    else:
        step = 180.0 / form.steps if form.steps else 1.0
        value = 0.0 if picked is None else degrees(form, picked)
        said = "not yet" if picked is None else f"{value:.0f}°"
        stack.add(Slider(f"drill slide {part}", PART_WORDS.get(form.name, form.name), value, (0.0, 180.0 - step),
                         step, lambda _: said), 44)  # fmt: skip


def _number(drills: Drills, part: int, form: Number, stack: Stack) -> None:
    """A number to type, and a slider that says the same."""
    picked, unit = drills.picked[part], UNITS.get(form.unit, form.unit)
    name = PART_WORDS.get(form.name, form.name)
    text = "" if picked is None else f"{picked:g}"
    stack.add(Field(f"drill number {drills.shown} {part}", text=text, empty=f"{name}: type it, or slide", unit=unit))
    low, high = form.low, form.high
    said = "not yet" if picked is None else f"{picked:g} {unit}"
    if form.log:
        share = 0.0 if picked is None else log_share(form, picked)
        slider = Slider(f"drill slide {part}", name, share, (0.0, 1.0), 1.0 / TURN_STEPS, lambda _: said)
    else:
        slider = Slider(f"drill slide {part}", name, low if picked is None else picked, (low, high), 1.0,
                        lambda _: said)  # fmt: skip
    stack.add(slider, 44)


def log_share(form: Number, value: float) -> float:
    """Place of a number on a slider with equal ratios, 0 to 1."""
    return math.log(value / form.low) / math.log(form.high / form.low)


def from_share(form: Number, share: float) -> float:
    """The number at a place of such a slider."""
    return form.low * (form.high / form.low) ** share


def _order_words(picked: list[int], count: int) -> str:
    words = [f"{PLACES[k]} {picked[k] + 1 if k < len(picked) else '–'}" for k in range(min(count, len(PLACES)))]
    return "Your order: " + ",  ".join(words)


def _keys_told(drills: Drills) -> str:
    """What the keys do, in one line."""
    form = drills.form
    leave = "Esc leaves, every answer is kept."
    if form is None:
        return f"Enter or Space: on.   {leave}"
    if isinstance(form, Several):
        return f"Click the dots, or type: 1 to 9, then 0, − and = for 10, 11, 12. Enter gives the answer.   {leave}"
    if isinstance(form, Order):
        return f"Click the marks in their order, or type their numbers; Backspace takes one back.   {leave}"
    if isinstance(form, Place):
        return f"Click the mark, or type its number.   {leave}"
    if isinstance(form, Choice):
        return f"Click, or type 1 to {len(form.options)}.   {leave}"
    if isinstance(form, Number):
        return f"Type the number, Enter goes on; or slide.   {leave}"
    return f"Drag along it on the picture, or turn it with ← and →; Enter goes on.   {leave}"


# ---------------------------------------------------------------------- telling


def _tell(drills: Drills, stack: Stack) -> None:
    """Right or not, what it cost, why, and on."""
    assert drills.told is not None
    right, sign = drills.told.right, "✓" if drills.told.right else "✕"
    stack.space(4)
    stack.label(f"{sign} {drills.told.verdict}", NAME, "reached" if right else "not_reached", bold=True)
    for words in drills.cost_words():
        stack.label(words, CONTROL, "text", bold=True)
    stack.label(in_signs(drills.told.sentence), BODY, "text")
    stack.label(f"{drills.pace_words()}. {drills.moved}".rstrip(), LABEL)
    stack.space(4)
    stack.add(Button("drill next", "Next", key="Enter", in_hand=True), 44)


def _summary_head(drills: Drills, size: tuple[int, int], ui: Ui) -> Stack:
    width = min(size[0] - ui.px(64), ui.px(900))
    stack = Stack(pygame.Rect((size[0] - width) // 2, ui.px(96), width, 10), ui, area=2)
    stack.label(drills.over, 26, "text", bold=True)
    return stack


def rules(surface: pygame.Surface, size: tuple[int, int], ui: Ui, drills: Drills) -> None:
    """A line under each row of the summary, and a bar of the share that was right."""
    rows = [w for w in _summary(drills, size, ui) if w.id.startswith("cell ") and w.id.endswith(" 2")]
    for row, cell in zip(drills.summary(), rows[1:], strict=True):
        left, width = _summary_head(drills, size, ui).rect.left, min(size[0] - ui.px(64), ui.px(900))
        surface.fill(ui.theme.raised, (left, cell.rect.bottom + ui.px(5), width, 1))
        bar = pygame.Rect(cell.rect.left + ui.px(72), cell.rect.top + ui.px(6), ui.px(56), ui.px(8))
        surface.fill(ui.theme.raised, bar)
        surface.fill(ui.theme.reached, (bar.left, bar.top, round(bar.width * row.right / row.of), bar.height))


def _summary(drills: Drills, size: tuple[int, int], ui: Ui) -> list[Widget]:
    """What the sitting came to, by kind, and the honest line."""
    rows, made = drills.summary(), list[Widget]()
    stack = _summary_head(drills, size, ui)
    width = stack.rect.width
    if rows:
        right, count = sum(row.right for row in rows), sum(row.of for row in rows)
        stack.label(f"{right} of {count} right.", BODY)
    stack.space(8)
    lines = [("", "level", "right", "skill: 0 blind, 100 the truth")] if rows else []
    lines += [(KIND_WORDS[row.kind], str(row.level), f"{row.right} of {row.of}", row.skill) for row in rows]
    columns = (0.0, 0.38, 0.48, 0.68, 1.0)
    for n, line in enumerate(lines):
        for k, word in enumerate(line):
            cell = Label(f"cell {n} {k}", string=word, size=BODY if n else LABEL, role="text" if n else "muted", area=2)
            left = stack.rect.left + round(columns[k] * width)
            cell.rect = pygame.Rect(left, stack.y, round((columns[k + 1] - columns[k]) * width) - 4, ui.px(26))
            made.append(cell)
        stack.y += ui.px(ROW)
    stack.space(16)
    if drills.marks_told():
        stack.label(drills.marks_told(), BODY, "text")
    stack.label(LINE, BODY, "text")
    stack.space(8)
    home = Button("drill leave home", "To the start page", key="Enter", in_hand=True, area=3)
    home.rect = pygame.Rect(stack.rect.left, stack.y, ui.px(260), ui.px(44))
    return [*stack.made, *made, home]
