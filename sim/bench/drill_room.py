"""Who practises, and the sitting at the drills that is open: between the window and the learner's record."""

import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pygame

from sim.bench.controls import DIGITS, FORWARD, Label, Radio, Widget
from sim.bench.drillpage import drill_ground, drill_page, from_share, making_words
from sim.bench.drills import Drills
from sim.bench.entries import Field, Listing
from sim.bench.lettering import CONTROL, Ui
from sim.bench.shown import Pointer, enlarged
from sim.bench.widgets import Group
from sim.books.record import DEFAULT, Record
from sim.books.recordfile import FILE
from sim.books.rows import utc_now
from sim.errors import ShopError
from sim.school.item import Choice, Line, Number, Order, Place, Several
from sim.school.making import AtOnce, Maker
from sim.school.view import Picture

IN_ROW = 3  # names that stand beside each other; more are a list
POLL_S = 0.1
TICK_S = 10.0  # the clock on the page goes in steps of ten seconds
BEYOND = {pygame.K_MINUS: 11, pygame.K_EQUALS: 12, pygame.K_KP_MINUS: 11, pygame.K_KP_PLUS: 12}
TURNS = {pygame.K_UP: 1, pygame.K_DOWN: -1}
ON = (pygame.K_RETURN, pygame.K_KP_ENTER, pygame.K_SPACE)


class DrillRoom:
    """The record of a folder in the window: opened when something is to be read from it or written.

    Parameters
    ----------
    folder : Path
        Where the record lies.
    maker : callable
        Gives who makes the items of a sitting.
    clock : callable
        Seconds that never go back, for response times.
    now : callable
        The time of day, by which the record is written and five minutes are over.
    kinds : sequence of str, optional
        What is mixed; when it is not given, what the learner's lessons and answers have opened.

    Attributes
    ----------
    drills : Drills or None
        The sitting that is open.
    fault : str
        Why the record cannot be used, or what happened to it; empty while there is nothing to say.
    """

    def __init__(self, folder: Path, maker: Callable[[], Maker] = AtOnce, *,
                 clock: Callable[[], float] = time.monotonic, now: Callable[[], datetime] = utc_now,
                 kinds: tuple[str, ...] | None = None) -> None:  # fmt: skip
        self.folder, self.clock, self.now, self.kinds = folder, clock, now, kinds
        self.drills: Drills | None = None
        self.pointer = Pointer()
        self.fault = ""
        self._maker = maker
        self._record: Record | None = None
        self._told = ""
        self._names: tuple[list[str], int] | None = None
        self._pictures: dict[tuple[int, tuple[int, int]], tuple[Picture, pygame.Surface]] = {}

    # ------------------------------------------------------------------ who practises

    @property
    def record(self) -> Record:
        """The record; raises BadFile or CannotWrite when it cannot be opened."""
        if self._record is None:
            self._record = Record.open(self.folder, self.now)
            self.fault = " ".join(self._record.notes)
        return self._record

    def learners(self) -> tuple[list[str], int]:
        """Every name, and the number of who practises now, as read last; nothing is written for it."""
        self._names = self._names or self._read_names()
        return self._names

    def _read_names(self) -> tuple[list[str], int]:
        if self._record is None and not (self.folder / FILE).exists():
            return [DEFAULT], 0
        try:
            current = self.record.current()
            names = self.record.learners()
        except ShopError as error:
            self.fault = str(error).splitlines()[0]
            return [DEFAULT], 0
        return names, names.index(current)

    def switch(self, to: str | int) -> str:
        """Let another practise: by name, made when new, or by number among `learners`; what is to be said of it."""
        name = self.learners()[0][to] if isinstance(to, int) else to
        self._names = None
        try:
            self.record.switch(name)
            self.fault = ""
        except ShopError as error:
            self.fault = str(error).splitlines()[0]
        return self.fault

    def who(self, left: int, right: int, top: int, ui: Ui) -> list[Widget]:
        """Names to choose from and a field for a new one, in one row that ends at `right`."""
        names, at = self.learners()
        field = Field("new learner", empty="another name", area=5)
        field.rect = pygame.Rect(right - ui.px(150), top, ui.px(150), ui.px(36))
        choices = Radio("learner", [], at, area=5)
        told = Label("practises", string="Practising", size=CONTROL, role="muted")
        room = pygame.Rect(left + ui.px(92), top, field.rect.left - ui.px(100) - left, ui.px(36))
        if len(names) < IN_ROW:
            room.width = room.width * len(names) // IN_ROW
            room.right = field.rect.left - ui.px(8)
        told.rect = pygame.Rect(room.left - ui.px(92), top + ui.px(8), ui.px(88), ui.px(24))
        if len(names) > IN_ROW:
            rows = [ui.shortened(name, CONTROL, room.width - ui.px(60)) for name in names]
            rows[at] = f"● {rows[at]}"
            listing = Listing("learner", rows, value=at, shown=2, area=5)
            listing.rect = pygame.Rect(room.left, top - ui.px(12), room.width, ui.px(68))
            listing.first = max(min(at, len(names) - 2), 0)
            return [told, listing, field]
        each = room.width // len(names) - ui.px(12)
        choices.choices, choices.rect = [ui.shortened(name, CONTROL, each, True) for name in names], room
        return [told, choices, field]

    # ------------------------------------------------------------------ the sitting

    def open(self) -> bool:
        """Begin a sitting; False when the record cannot be used."""
        self.leave()
        try:
            self.drills = Drills(self.record, self._maker(), self.clock, kinds=self.kinds)
            self.fault = ""
        except ShopError as error:
            self.fault = str(error).splitlines()[0]
        self._told = "" if self.drills is None else _changing(self.drills)
        return self.drills is not None

    def leave(self) -> None:
        """Let the sitting go; every answer is on the disk."""
        if self.drills is not None:
            self.drills.leave()
        self.drills, self._names = None, None
        self._pictures.clear()

    def close(self) -> None:
        """Let everything go."""
        self.leave()
        if self._record is not None:
            self._record.close()
        self._record = None

    def widgets(self, size: tuple[int, int], ui: Ui) -> list[Widget]:
        """Widgets of the page."""
        return [] if self.drills is None else drill_page(self.drills, self.pointer, size, ui, self._scaled)

    def draw_ground(self, surface: pygame.Surface, ui: Ui) -> None:
        """What lies under the widgets."""
        if self.drills is not None:
            drill_ground(surface, surface.get_size(), ui, self.drills)

    def _scaled(self, picture: Picture, size: tuple[int, int]) -> pygame.Surface:
        key = id(picture), size
        if key not in self._pictures:
            if len(self._pictures) > 8:
                self._pictures.clear()
            self._pictures[key] = picture, enlarged(picture, size)
        return self._pictures[key][1]

    def tick(self, group: Group) -> bool:
        """Look whether the next item is made; True when something is to be drawn anew."""
        if self.drills is None:
            return False
        before, item = self._told, self.drills.item
        self.drills.poll()
        if self.drills.item is not item:
            self.aim(group)
        self._told = _changing(self.drills)
        return self._told != before or self.drills.item is not item

    def due_s(self) -> float | None:
        """Seconds until something may have to be drawn without an event; None for never."""
        if self.drills is None or self.drills.ended:
            return None
        return POLL_S if self.drills.item is None else self.drills.remaining_s % TICK_S + POLL_S

    def let_go(self) -> bool:
        """Throw a direction away that is being drawn; True when there was one."""
        drawing, self.pointer.began = self.pointer.began is not None, None
        return drawing

    # ------------------------------------------------------------------ what was said

    def said(self, id: str, value: Any, group: Group) -> None:
        """A widget of the page has something to say."""
        drills = self.drills
        if drills is None:
            return
        before = drills.shown, drills.told is None
        words = id.split()
        if words[1] == "next":
            drills.next()
        elif words[1] == "answer":
            drills.give()
        elif words[1] == "way":
            drills.set(drills.at, value)
        elif words[1] == "drawn":
            drills.drawn()
        elif words[1] == "part":
            drills.aim(value)
        elif words[1] == "pick" and len(words) == 2:
            drills.pick(self._places(), value)
        elif words[1] == "pick":
            drills.pick(int(words[2]), int(words[3]))
        elif words[1] == "slide":
            self._slide(int(words[2]), value)
        elif words[1] == "number" and int(words[2]) == drills.shown and drills.item is not None:
            entered = group.focus == id  # Enter, not the focus going elsewhere
            if (value or entered) and drills.type(int(words[3]), value) and entered:
                drills.go_on()
                self.aim(group)
        if before != (drills.shown, drills.told is None):
            self.aim(group)

    def _places(self) -> int:
        assert self.drills is not None
        return next((n for n, one in enumerate(self.drills.forms) if isinstance(one, Place | Order | Several)), 0)

    def _slide(self, part: int, value: float) -> None:
        assert self.drills is not None
        form = self.drills.forms[part] if part < len(self.drills.forms) else None
        logarithmic = isinstance(form, Number) and form.log
        self.drills.set(part, from_share(form, value) if logarithmic and isinstance(form, Number) else value)

    def aim(self, group: Group) -> None:
        """Put the focus where one types next, and let it go where keys are the page's own."""
        drills = self.drills
        assert drills is not None
        self.pointer = Pointer()
        group.focus_on(f"drill number {drills.shown} {drills.at}" if isinstance(drills.form, Number) else None)

    def key(self, event: pygame.event.Event, group: Group) -> str:
        """A key that no widget wanted; what it says, as the id of a widget, when that is beyond the sitting."""
        drills = self.drills
        if drills is None:
            return ""
        if drills.ended:
            return "drill leave home" if event.key in ON else ""
        before = drills.shown, drills.at, drills.told is None
        form, key = drills.form, event.key
        number = DIGITS.get(key, 0) or (10 if key in DIGITS else BEYOND.get(key, 0))
        if key in ON and (key != pygame.K_SPACE or drills.told is not None):
            drills.go_on()
        elif key == pygame.K_BACKSPACE:
            drills.rub()
        elif isinstance(form, Line) and key in FORWARD:
            drills.turn(TURNS.get(key, FORWARD[key]), bool(event.mod & pygame.KMOD_SHIFT))
        elif isinstance(form, Choice | Place | Order | Several) and number:
            drills.pick(drills.at, number - 1)
        elif isinstance(form, Number) and key in DIGITS:
            group.focus_on(f"drill number {drills.shown} {drills.at}")  # the digit itself comes as text
        if before != (drills.shown, drills.at, drills.told is None):
            self.aim(group)
        return ""


def _changing(drills: Drills) -> str:
    """What of the page changes by time alone."""
    return making_words(drills) if drills.item is None else drills.left_words()
