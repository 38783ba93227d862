"""What lies round the face: goal line, hung prints, tray. Widgets with names, no acts.

Everything told here is what the shop shows: prints, readings, the clock, the tools. Nothing comes from the heights.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pygame

from sim.bench.desk import Desk
from sim.bench.lettering import BODY, GOAL, LABEL, SMALL, Ui
from sim.bench.palette import MARKS
from sim.bench.pieces import ROUND, Hung
from sim.bench.widgets import Button, Label, Thumb, Widget
from sim.units import S_PER_H, UM_PER_TENTH

STATIONS = (("roll", "Roll"), ("spot", "Spot"), ("read", "Read"),
            ("scrape", "Scrape"), ("stone", "Stone"), ("wipe", "Wipe"))  # fmt: skip
INSTRUMENTS = (("indicator", "Indicator"), ("hinge", "Hinge"), ("chalk", "Chalk"), ("square", "Square"))


@dataclass(frozen=True)
class Areas:
    """Where everything lies, in pixels."""

    goal: pygame.Rect
    prints: pygame.Rect
    face: pygame.Rect
    hand: pygame.Rect
    tray: pygame.Rect
    coach: pygame.Rect


def areas(size: tuple[int, int], ui: Ui) -> Areas:
    """The bench in a window of this size: three sets of measures, times the scale of the letters."""
    width, height = size
    small, large = width < 1150 * ui.scale or height < 720 * ui.scale, width >= 1700 * ui.scale
    goal, prints, hand, tray, coach = (
        (40, 72, 240, 76, 60) if small else (52, 144, 340, 96, 84) if large else (44, 112, 300, 84, 72)
    )
    goal, prints, hand, tray, coach = (ui.px(n) for n in (goal, prints, hand, tray, coach))
    middle = height - goal - tray - coach
    return Areas(
        pygame.Rect(0, 0, width, goal),
        pygame.Rect(0, goal, prints, middle),
        pygame.Rect(prints, goal, width - prints - hand, middle),
        pygame.Rect(width - hand, goal, hand, middle),
        pygame.Rect(0, goal + middle, width, tray),
        pygame.Rect(0, height - coach, width, coach),
    )


class Stack:
    """Widgets one below the other in a column."""

    def __init__(self, rect: pygame.Rect, ui: Ui, area: int, gap: int = 8) -> None:
        self.rect, self.ui, self.area, self.gap = rect, ui, area, ui.px(gap)
        self.y, self.made = rect.top, list[Widget]()

    def add(self, widget: Widget, high: int | None = None) -> None:
        """Put one below the last; a label is as high as its text."""
        if isinstance(widget, Label):
            tall = widget.height(self.ui, self.rect.width)
        else:
            tall = self.ui.px(36 if high is None else high)
        widget.rect = pygame.Rect(self.rect.left, self.y, self.rect.width, tall)
        self._take(widget, tall)

    def beside(self, widgets: Iterable[Widget], high: int = 36) -> None:
        """Several in one row, of one width."""
        row = list(widgets)
        each = (self.rect.width - self.gap * (len(row) - 1)) // len(row)
        for n, widget in enumerate(row):
            widget.rect = pygame.Rect(self.rect.left + n * (each + self.gap), self.y, each, self.ui.px(high))
            widget.area = self.area
            self.made.append(widget)
        self.y += self.ui.px(high) + self.gap

    def space(self, high: int) -> None:
        """Leave some room."""
        self.y += self.ui.px(high)

    def _take(self, widget: Widget, tall: int) -> None:
        widget.area = self.area
        self.made.append(widget)
        self.y += tall + self.gap

    def label(self, text: str, size: int = LABEL, role: str = "muted", bold: bool = False) -> None:
        """A line of text."""
        self.add(Label(f"label {len(self.made)} {self.area}", string=text, size=size, role=role, bold=bold))


# ---------------------------------------------------------------------- goal, prints, tray


LIES = {"parallelism": "parallel", "perpendicularity": "square"}


def goal_words(desk: Desk, narrow: bool, inches: bool) -> str:
    """What the face in hand is to be when it is done."""
    job = desk.session.job
    target = job.start.shape.face(job.in_hand).target
    flat, spots = f"{target.bearing_flatness_um:g} µm", f"{target.spots_mean:g} spots"
    if inches:
        flat = f"{target.bearing_flatness_um / UM_PER_TENTH:.2g} tenths"
    between = "".join(f", {LIES[one.kind]} to {one.datum} within {one.limit_um:g} µm" for one in
                      job.start.shape.tolerances if one.face == job.in_hand)  # fmt: skip
    if narrow:
        return f"Goal: {flat}, {spots}, lowest {target.spots_lowest:g}, {target.bearing_pct:g} %{between}"
    return (
        f"Goal: flat within {flat}, {spots}, lowest {target.spots_lowest:g}, bearing {target.bearing_pct:g} %{between}"
    )


def goal_line(desk: Desk, where: pygame.Rect, ui: Ui, inches: bool, who: str = "") -> list[Widget]:
    """The goal at the left; who practises, round, shop clock and help at the right."""
    goals = desk.goal or (goal_words(desk, where.width < 1150 * ui.scale, inches),)
    job = desk.session.job
    hours = job.clock_s / S_PER_H
    named = f"{ui.shortened(who, LABEL, ui.px(120))}  ·  " if who else ""
    clock = f"{named}round {job.round}  ·  {int(hours)} h {int(60 * hours) % 60:02d} min"
    pad = ui.px(16)
    wide = ui.font(LABEL).size(clock)[0] + ui.px(12)
    help_ = Button("help", "?", area=0, hint="Keys, and help on this place (F1)")
    side = min(ui.px(32), where.height - 4)
    help_.rect = pygame.Rect(where.right - pad - side, where.centery - side // 2, side, side)
    menu = Button("menu", "Settings", area=0, hint="Settings, and the way back to the start page")
    menu.rect = pygame.Rect(help_.rect.left - ui.px(96), help_.rect.top, ui.px(88), side)
    told = Label("clock", string=clock, size=LABEL, role="muted")
    told.rect = _one_line(ui, LABEL, menu.rect.left - wide, where)
    told.rect.width = wide
    room = told.rect.left - 2 * pad - where.left
    tried = [(goal, size) for goal in goals for size in (GOAL, BODY, LABEL)[: 3 if desk.goal else 1]]
    goal, size = next((one for one in tried if ui.measured(one[0], one[1], True)[0] <= room), tried[-1])
    aim = Label("goal", string=ui.shortened(goal, size, room, True), size=size, bold=True)
    aim.rect = _one_line(ui, size, where.left + pad, where)
    aim.rect.width = max(told.rect.left - pad - aim.rect.left, 1)
    return [aim, told, menu, help_]


def _one_line(ui: Ui, size: int, left: int, where: pygame.Rect) -> pygame.Rect:
    high = ui.font(size, True).get_height()
    return pygame.Rect(left, where.centery - high // 2, 10, high + 2)


def picture_of(hung: Hung) -> pygame.Surface:
    """A hung print: darkness of its blue on iron colour."""
    share = hung.picture[::-1].astype(np.float32)[:, :, None] / 255.0
    iron, blue = (np.array(MARKS[name], np.float32) for name in ("iron", "ring"))
    pixels = np.rint(iron + share * (blue - iron)).astype(np.uint8)
    return pygame.surfarray.make_surface(pixels.swapaxes(0, 1))


def hung_prints(
    desk: Desk, where: pygame.Rect, ui: Ui, pictures: Callable[[Hung], pygame.Surface], chosen: int | None
) -> list[Widget]:
    """Prints that hang on the left, the newest on top; `chosen`: which one is looked at, from the newest."""
    made: list[Widget] = []
    pad = ui.px(8)
    width = where.width - 2 * pad
    if not desk.hung:
        told = Label(
            "no prints", string="No print yet. Roll a film (Q), then spot (W).", size=SMALL, role="muted", area=1
        )
        told.rect = pygame.Rect(where.left + pad, where.top + pad, width, where.height - 2 * pad)
        return [told]
    y = where.top + pad
    first = max((chosen or 0) - 2, 0)
    for n in range(first, len(desk.hung)):
        one = desk.hung[-1 - n]
        ny, nx = one.picture.shape
        high = round(width * ny / nx) + ui.px(18)
        if y + high > where.bottom - ui.px(26):
            more = Label("more prints", string=f"▾ {len(desk.hung) - n}", size=SMALL, role="muted", area=1)
            more.rect = pygame.Rect(where.left + pad, where.bottom - ui.px(24), width, ui.px(20))
            made.append(more)
            break
        word = "now" if n == 0 else f"print {one.round}"
        thumb = Thumb(
            f"print {n}",
            picture=pictures(one),
            caption=word,
            chosen=n == chosen,
            area=1,
            hint=f"Print {one.round} of the {one.face}: look at it, laid over the face (PgUp, PgDn)",
        )
        thumb.rect = pygame.Rect(where.left + pad, y, width, high)
        made.append(thumb)
        y += high + pad
    return made


def tray(desk: Desk, where: pygame.Rect, ui: Ui, more: bool, signs: Mapping[str, str]) -> list[Widget]:
    """Six stations in the order of the round and four instruments; in a small window one or the other."""
    pad, gap = ui.px(16), ui.px(8)
    room = where.width - 2 * pad - ui.px(16)
    small = room < ui.px(1180)
    shown = STATIONS + INSTRUMENTS if not small else INSTRUMENTS if more else STATIONS
    each = (room - 9 * gap) / 10.0 if not small else (room - 6 * gap) / 7.0
    high = where.height - 2 * ui.px(10)
    made: list[Widget] = []
    x = float(where.left + pad)
    for name, label in shown:
        key = signs.get(f"take {name}", "")
        if name == "indicator" and not small:
            x += ui.px(16)
        sub = _station_sub(desk, name) or " " if name in ROUND else ""
        done = name in desk.done and name in ("roll", "spot", "stone", "wipe")
        button = Button(
            f"take {name}", label, key=key, sub=sub, done=done, in_hand=desk.tool == name, area=3, hint=HINTS[name],
            enabled=name not in desk.closed, reason=desk.closed.get(name, ""),
        )  # fmt: skip
        button.rect = pygame.Rect(round(x), where.top + ui.px(10), round(each), high)
        made.append(button)
        x += each + gap
    if small:
        last = Button("more", "Stations" if more else "More", area=3, hint="The other half of the tray")
        last.rect = pygame.Rect(where.right - pad - round(each), where.top + ui.px(10), round(each), high)
        made.append(last)
    return made


HINTS = {
    "roll": "Roll a film of blue on the plate: heavy for a rough face, thin for a fine one.",
    "spot": "Lay the face on the plate, rub it, lift it: what stands high takes the blue.",
    "read": "Read the print: a pale middle in a dark ring bears hardest, a halo only nearly. Call what you see.",
    "scrape": "Drag over a mark to cut it. Twelve drags show your hand; rows and orders are laid with its scatter.",
    "stone": "Stone off the burrs before the next print, or they carry the part.",
    "wipe": "Wipe chips and blue off the face, or they spoil the next print.",
    "indicator": "The part stands on its datum, the indicator reads this face; the heights are written on it.",
    "hinge": "Push an end: a face that bears in its middle turns near the middle, a hollow one near its far end.",
    "chalk": "Chalk round marks or an area; an order fills what is inside.",
    "square": "Lay the counting square, 25.4 mm, and count the marks in it.",
}


def _station_sub(desk: Desk, name: str) -> str:
    s = desk.settings
    if name == "roll":
        return f"{desk.settings.film_um:g} µm"
    if name == "spot":
        return "on it" if desk.laid else ""
    if name == "read":
        return f"{len(desk.calls)} calls" if desk.calls else ""
    if name == "scrape":
        return f"{desk.settings.push_n:g} N"
    if name == "stone":
        return s.pressure if "stone" not in desk.done else ""
    return ""


MENU = (
    ("at call 1", "Call it high"),
    ("at call 2", "Call it medium"),
    ("at call 3", "Call it low"),
    ("at ring", "Chalk round it"),
    ("at square", "Lay the square here"),
    ("at undo", "Take back"),
)


def menu_widgets(at: tuple[int, int] | None, within: pygame.Rect, ui: Ui) -> list[Widget]:
    """What can be done at a place of the face; nothing while no menu is open."""
    if at is None:
        return []
    high, wide = ui.px(34), ui.px(190)
    box = pygame.Rect(at, (wide, high * len(MENU)))
    box.clamp_ip(within)
    made: list[Widget] = []
    for n, (id, label) in enumerate(MENU):
        entry = Button(id, label, area=5)
        entry.rect = pygame.Rect(box.left, box.top + n * high, wide, high)
        made.append(entry)
    return made
