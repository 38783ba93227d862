"""What a lesson adds to the bench: the strip above the face with step, hints and pieces, and the panel of questions."""

import pygame

from sim.bench.lesson_desk import LessonDesk
from sim.bench.lettering import CONTROL, LABEL, LINE_HEIGHT, NAME, SMALL, Ui
from sim.bench.panels import Areas, Stack
from sim.bench.watching import Watching
from sim.bench.widgets import Button, Field, Label, Widget
from sim.school.attempt import Attempt, answered, questions_of, unanswered
from sim.school.lesson import PART_WORDS, Lesson, pieces_of
from sim.units import shown_unit

AREA = 6
BUTTONS = 440
"""Room for the strip's buttons at most, pixels at scale 1."""
ALL_DONE = "All steps are done: finish when you are content (Ctrl+Enter)."
HIGH, LOW = 64, 58
"""Height of the strip at scale 1, in a large and in a small window."""


def with_strip(where: Areas, ui: Ui, text: str) -> tuple[Areas, pygame.Rect]:
    """The bench's areas with room for the strip above prints and face, and its place; a long step makes it higher."""
    wide = where.hand.left - where.prints.left
    lines = len(ui.wrapped(text, SMALL, max(wide - ui.px(BUTTONS), ui.px(200))))
    high = ui.px(HIGH if where.face.height >= ui.px(520) else LOW) + max(lines - 2, 0) * ui.px(18)
    strip = pygame.Rect(where.prints.left, where.prints.top, wide, high)
    prints, face = (pygame.Rect(one.left, one.top + high, one.width, one.height - high)
                    for one in (where.prints, where.face))  # fmt: skip
    return Areas(where.goal, prints, face, where.hand, where.tray, where.coach), strip


def step_text(at: LessonDesk | None, watching: Watching | None) -> str:
    """What the strip tells."""
    lesson = watching.lesson if watching is not None else at.lesson if at is not None else None
    if lesson is None:
        return ""
    step = watching.step if watching is not None else at.step if at is not None else 0
    if step < len(lesson.steps):
        return lesson.steps[step].text
    return ALL_DONE if lesson.steps else lesson.goal


def strip(at: LessonDesk, where: pygame.Rect, ui: Ui) -> list[Widget]:
    """The step that one is at, its hints, the questions and the pieces."""
    attempt, lesson, step = at.attempt, at.lesson, at.step
    buttons: list[tuple[Button, int]] = []
    if lesson.questions:
        open_, asked = unanswered(attempt), len(questions_of(attempt))
        told = f"Answers {asked - open_}/{asked}"
        buttons.append((Button("answers", told, in_hand=at.answering, hint="What this lesson asks you"), 122))
    if step < len(lesson.steps):
        hints, rungs = lesson.steps[step].hints, at.rungs.get(step, 0)
        cost = "; it ends merit" if attempt.part == "check" else "; it costs nothing"
        label = f"Hint {min(rungs + 1, len(hints))}/{len(hints)}" if hints else "Hint"
        none = "That was the last hint." if hints else "This step has no hints."
        buttons.append((Button("hint", label, enabled=rungs < len(hints), reason=none,
                               hint=f"The next hint of this step{cost}"), 84))  # fmt: skip
        buttons.append((Button("step done", "Done", enabled=at.checking is None, reason="Its figure is looked at.",
                               hint="This step is done; the next one"), 72))
    if len(attempt.sessions) > 1:
        buttons.append((Button("piece back", "‹", enabled=attempt.piece > 0, reason="This is the first piece.",
                               hint="The piece before"), 34))  # fmt: skip
        buttons.append((Button("piece on", "›", enabled=attempt.piece < len(attempt.sessions) - 1,
                               reason="This is the last piece.", hint="The next piece"), 34))  # fmt: skip
    head = PART_WORDS[attempt.part].capitalize() + _piece_words(lesson, attempt.seed, attempt.piece)
    if 0 <= step < len(lesson.steps):
        head += f" · step {step + 1} of {len(lesson.steps)}"
    return _laid(head, step_text(at, None), buttons, where, ui)


def watch_strip(watching: Watching, where: pygame.Rect, ui: Ui) -> list[Widget]:
    """The step that the model is at, with what stops it."""
    steps = watching.lesson.steps
    buttons: list[tuple[Button, int]] = []
    if not watching.ended:
        word = "Lift" if watching.asking else "Go on" if watching.paused else "Pause"
        faster = Button("watch faster", "Faster", in_hand=watching.faster, hint="Four times as fast")
        buttons = [(Button("watch skip", word, key="Space"), 110), (faster, 84)]
    buttons.append((Button("watch stop", "To the lesson", key="Esc"), 150))
    head = f"Watch{_piece_words(watching.lesson, watching.lesson.seeds.help, watching.piece)}"
    if steps:
        head = f"{head} · step {watching.step + 1} of {len(steps)}"
    return _laid(head, step_text(None, watching), buttons, where, ui)


def _piece_words(lesson: Lesson, seed: int, piece: int) -> str:
    """Which piece is in hand, and what it is: the film or the depth that it asks for stands in its title."""
    pieces = pieces_of(lesson, seed)
    if len(pieces) == 1:
        return ""
    title = shown_unit(pieces[piece].title)
    return f" · piece {piece + 1} of {len(pieces)}" + (f", {title}" if title else "")


def _laid(head: str, text: str, buttons: list[tuple[Button, int]], where: pygame.Rect, ui: Ui) -> list[Widget]:
    """A small line, the text below it, and the buttons at the right."""
    pad, gap = ui.px(12), ui.px(6)
    right = where.right - pad
    high = min(ui.px(34), where.height - 2 * ui.px(6))
    for button, least in reversed(buttons):
        sign = ui.measured(button.key, SMALL)[0] + ui.px(10) if button.key else 0
        wide = max(ui.px(least), ui.measured(button.label, CONTROL)[0] + sign + ui.px(24))
        button.rect = pygame.Rect(right - wide, where.centery - high // 2, wide, high)
        button.area = AREA
        right = button.rect.left - gap
    room = right - where.left - 2 * pad
    top = where.top + ui.px(5 if where.height >= ui.px(HIGH) else 2)
    told = Label("step head", string=ui.shortened(head, SMALL, room, True), size=SMALL, bold=True, area=AREA)
    told.rect = pygame.Rect(where.left + pad, top, room, ui.px(17))
    left = where.bottom - told.rect.bottom
    tall = {one: round(len(ui.wrapped(text, one, room)) * LINE_HEIGHT * ui.px(one)) for one in (CONTROL, LABEL, SMALL)}
    size = next((one for one in tall if tall[one] <= left), SMALL)
    words = Label("step", string=text, size=size, area=AREA)
    words.rect = pygame.Rect(where.left + pad, told.rect.bottom, room, min(tall[size] + 2, left))
    return [told, words, *(button for button, _ in buttons)]


# ---------------------------------------------------------------------- questions


def questions_panel(attempt: Attempt, where: pygame.Rect, ui: Ui) -> list[Widget]:
    """The questions of the piece in hand, each with its options or a field for a number."""
    stack = Stack(where.inflate(-2 * ui.px(16), -2 * ui.px(12)), ui, area=2, gap=6)
    title = shown_unit(pieces_of(attempt.lesson, attempt.seed)[attempt.piece].title)
    stack.label(title or "Your answers", NAME, "text", bold=True)
    known = answered(attempt)
    for one in attempt.lesson.questions:
        value = known.get((attempt.piece if one.each_piece else 0, one.id))
        stack.label(one.text, LABEL, "text")
        if one.options:
            room = stack.rect.width // 2 - ui.px(28)
            beside = 2 if all(ui.measured(option, CONTROL)[0] <= room for option in one.options) else 1
            for k in range(0, len(one.options), beside):
                row = [Button(f"answer {one.id} {n}", one.options[n], in_hand=value == one.options[n])
                       for n in range(k, min(k + beside, len(one.options)))]  # fmt: skip
                stack.beside(row, 34)
        else:
            shown = f"{value:g}" if isinstance(value, int | float) else ""
            stack.add(Field(f"answer {one.id}", text=shown, empty=f"{one.low:g} to {one.high:g}", unit=one.unit), 34)
    foot = Stack(pygame.Rect(stack.rect.left, where.bottom - ui.px(12 + 34), stack.rect.width, ui.px(34)), ui, area=2)
    foot.beside([Button("answers shut", "Back", hint="Back to the tool in hand"), Button("finish", "Finish")], 34)
    return stack.made + foot.made
