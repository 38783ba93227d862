"""The page of keys (F1): every key of every place, and what the signs on the iron mean."""

from collections.abc import Mapping

import pygame

from sim.bench.keys import CTRL, KEYS, TOLD, sign_of
from sim.bench.lettering import LABEL, NAME, SMALL, Ui
from sim.bench.signs import SIGNS
from sim.bench.widgets import Button, Label, Radio, Widget

HEADS = {"bench": "The bench", "signs": "Signs on it", "lessons": "Lessons", "drills": "Five minutes",
         "everywhere": "Everywhere"}  # fmt: skip
PLACES = tuple(HEADS)
PLACE_OF = {"bench": "bench", "finish": "bench", "lessons": "lessons", "lesson": "lessons", "working": "lessons",
            "judged": "lessons", "drills": "drills"}  # fmt: skip
"""Page to the place whose keys are shown first; any other: everywhere."""
ANYWHERE = ("help", "full screen")
"""Actions that are not of the bench alone."""
TOGETHER = (("turn back", "turn on"), ("push less", "push more"), ("older print", "newer print"),
            ("zoom in", "zoom out"))  # fmt: skip
"""Pairs that stand in one line."""
FIXED: dict[str, tuple[tuple[str, tuple[str, ...], str], ...]] = {
    "bench": (
        ("1 – 6", tuple("123456"), "push; Read: 1 high, 2 medium, 3 low; Roll: the film"),
        ("Shift+1 – 3", (), "a call that you are sure of"),
        ("0", ("0",), "Read: clear the last call"),
        ("arrows", ("left", "right", "up", "down"), "cursor 1 mm (Shift 5, Ctrl 0.2)"),
        ("Shift+drag", (), "a row; by keys Shift+Space ends its first stroke"),
        ("wheel", (), "nearer, farther; Shift: push"),
        ("middle drag", (), "move the face; two fingers zoom"),
        ("right click", ("menu", "f10"), "what can be done here; also Menu, Shift+F10"),
    ),
    "lessons": (
        ("1", ("1",), "a lesson's page: watch"), ("2", ("2",), "with help"), ("3", ("3",), "alone"),
        ("4", ("4",), "check on another day"), ("5", ("5",), "free practice"),
        ("↑ ↓, Enter", ("up", "down", "return"), "the list of lessons: choose one, open it"),
        ("Space", ("space",), "while you watch: lift, pause, go on"),
        ("Esc", ("escape",), "one page back; while you watch: to the lesson"),
        ("Ctrl+Enter", (), "in an attempt: finish it, and have it judged"),
        ("Ctrl+P", (), "after it: the result sheet, and the file to hand in"),
    ),
    "drills": (
        ("1 – 9, 0", tuple("1234567890"), "pick an answer, or the place of that number; 0 is ten"),
        ("−, +", ("-", "="), "pick the eleventh, the twelfth"),
        ("arrows", ("left", "right", "up", "down"), "turn the direction (Shift: finer)"),
        ("digits", (), "type a number where one is asked"),
        ("Enter", ("return",), "give the answer; then the next question"),
        ("Space", ("space",), "the next question, once the answer is told"),
        ("Backspace", ("backspace",), "take the last pick back"),
        ("Esc", ("escape",), "drop the line that is drawn, or leave"),
    ),
    "everywhere": (
        ("Tab", ("tab",), "the next control (Shift: the last)"),
        ("Space, Enter", ("space", "return"), "press the control that has the focus"),
        ("arrows", ("left", "right", "up", "down"), "in a row of choices, a slider, a list"),
        ("Home, End", ("home", "end"), "first, last; PgUp, PgDn: ten steps of a slider"),
        ("Esc", ("escape",), "let the focus go; one page back"),
    ),
}
"""Keys that cannot be changed: how they are written, the names of the keys, and what they do."""
HEAD = "Keys: a station's key picks up its tool; Space, Enter or a click does it"


def key_lines(place: str, keys: Mapping[str, str]) -> list[tuple[str, str]]:
    """Every key of a place and what it does; `keys`: place of each key to its action, as `read_keys` gives it."""
    if place == "signs":
        return list(SIGNS)
    signs = {action: sign_of(key) for key, action in keys.items()}
    mine = [one for one in KEYS if one in signs and (one in ANYWHERE) == (place == "everywhere")]
    lines: list[tuple[str, str]] = []
    if place in ("bench", "everywhere"):
        pairs = dict(TOGETHER)
        for action in mine:
            if action in pairs.values():
                continue
            both = [action, *([pairs[action]] if pairs.get(action) in signs else [])]
            lines.append((" ".join(signs[one] for one in both), ", ".join(TOLD[one] for one in both)))
    lines += [(sign, told) for sign, _, told in FIXED[place]]
    if place == "everywhere":
        told: dict[str, list[str]] = {}
        for key, words in CTRL.items():
            told.setdefault(words, []).append({"return": "Enter", "-": "−"}.get(key, key.upper()))
        lines += [(f"Ctrl+{' '.join(signs)}", words) for words, signs in told.items()]
    return lines


def key_page(size: tuple[int, int], ui: Ui, keys: Mapping[str, str], place: str) -> list[Widget]:
    """The keys of one place in columns, the places in a row above them."""
    pad = ui.px(32)
    head = Label("help head", string=HEAD, size=NAME, bold=True)
    head.rect = pygame.Rect(pad, ui.px(20), size[0] - 2 * pad, ui.px(30))
    where = Radio("help place", tuple(HEADS.values()), PLACES.index(place))
    where.rect = pygame.Rect(pad, ui.px(58), min(ui.px(700), size[0] - 2 * pad), ui.px(36))
    back = Button("back", "Back", key="Esc")
    back.rect = pygame.Rect(pad, size[1] - ui.px(52), ui.px(160), ui.px(36))
    note = Label("keys told", string="Keys of the tools can be changed: settings writes the file.", size=SMALL,
                 role="muted")  # fmt: skip
    note.rect = pygame.Rect(back.rect.right + pad, back.rect.top + ui.px(8), size[0] - back.rect.right - 2 * pad,
                            ui.px(20))  # fmt: skip
    made: list[Widget] = [head, where, back, note]
    lines = key_lines(place, keys)
    top, high = ui.px(112), ui.px(25)
    rows = max((back.rect.top - ui.px(8) - top) // high, 1)
    columns = max(-(-len(lines) // rows), min(2, size[0] // ui.px(640)))
    rows = -(-len(lines) // columns)
    wide = (size[0] - 2 * pad) // columns
    left = min(max(ui.measured(sign, LABEL)[0] for sign, _ in lines) + ui.px(14), wide // 2)
    for n, (sign, told) in enumerate(lines):
        x, y = pad + (n // rows) * wide, top + (n % rows) * high
        room = wide - left - ui.px(14)
        letters = LABEL if ui.measured(told, LABEL)[0] <= room else SMALL
        for k, (string, at, width, look, big) in enumerate(
                ((sign, 0, left - ui.px(6), "text", LABEL), (told, left, room, "muted", letters))):  # fmt: skip
            cell = Label(f"key {n} {k}", string=ui.shortened(string, big, width), size=big, role=look)
            cell.rect = pygame.Rect(x + at, y, width, high - 1)
            made.append(cell)
    return made
