"""The bench as a whole: pages, events to acts, drawing when something changed; and the window's loop."""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pygame

from sim import paths
from sim.bench.desk import PUSHES, Desk, Prediction
from sim.bench.entries import Field
from sim.bench.finish import Uncovered, as_text, draw_map, finish_page, uncovered
from sim.bench.hold import Hold
from sim.bench.inhand import BLADES, MARK_CHOICES, TAKES, in_hand
from sim.bench.iron import STYLES
from sim.bench.keys import KEYS, TOLD, place_of, read_keys, sign_of, write_keys
from sim.bench.kept import keep, opened
from sim.bench.lettering import LABEL, NAME, Ui
from sim.bench.palette import THEMES
from sim.bench.pane import FacePane
from sim.bench.panels import areas, coach_line, goal_line, hung_prints, picture_of, tray
from sim.bench.start import (
    SCALES,
    Prefs,
    free_path,
    read_prefs,
    sample,
    settings_page,
    start_page,
    with_recent,
    write_prefs,
)
from sim.bench.widgets import Button, Group, Label, Widget
from sim.errors import ShopError
from sim.intake.drawing import read_part
from sim.kernels.warm import SEAL, cache_folder, warm
from sim.shop.job import JobStart
from sim.shop.session import Session

SIZE = (1280, 800)
STEP_S = 1.0 / 30.0
STROKES_A_STEP = 2  # of a pass that is watched
CTRL = pygame.KMOD_CTRL | pygame.KMOD_META
ARROWS = {pygame.K_LEFT: (-1.0, 0.0), pygame.K_RIGHT: (1.0, 0.0), pygame.K_UP: (0.0, 1.0), pygame.K_DOWN: (0.0, -1.0)}
DIGITS = {getattr(pygame, f"K_{n}"): n for n in range(10)} | {getattr(pygame, f"K_KP{n}"): n for n in range(10)}


class Bench:
    """Everything in the window; fed with events, drawn on any surface.

    Attributes
    ----------
    page : str
        "start", "bench", "finish", "settings" or "help".
    desk, hold, pane :
        Of the job that is open; None on the start page before one is.
    dirty : bool
        Something may look different from what was last drawn.
    running : bool
        False when the window is to be closed.
    """

    def __init__(self, folder: Path, size: tuple[int, int] = SIZE, *, prefs: Prefs | None = None, seed: int = 1) -> None:
        self.folder, self.size, self.seed = folder, size, seed
        self.prefs = read_prefs(folder / "bench.json") if prefs is None else prefs
        self.ui = Ui(THEMES[self.prefs.theme], self.prefs.scale, self.prefs.motion)
        self.keys = read_keys(folder / "keys.json")
        self.page, self.before = "start", "start"
        self.desk: Desk | None = None
        self.hold: Hold | None = None
        self.pane: FacePane | None = None
        self.done: Uncovered | None = None
        self.note = ""
        self.running, self.dirty = True, True
        self.group = Group([])
        self._held: set[str] = set()
        self._pan: tuple[int, int] | None = None
        self._pictures: dict[int, tuple[Any, pygame.Surface]] = {}
        self._chart = pygame.Rect(0, 0, 1, 1)
        self._stepped_s = 0.0
        self.lay_out()

    # ------------------------------------------------------------------ opening and closing

    def begin(self, name: str, start: JobStart) -> None:
        """A new practice, logged in the folder of jobs."""
        jobs = self.folder / "jobs"
        try:
            jobs.mkdir(parents=True, exist_ok=True)
            session = Session.begin(start, free_path(jobs, name))
        except (ShopError, OSError) as error:
            self.note = str(error)
            return
        self._open(session)

    def open_file(self, path: Path) -> None:
        """Open a part, or go on with a job; what is wrong with it is said, and nothing else changes."""
        try:
            if path.suffix == ".toml":
                part = read_part(path)
                self.begin(part.name.replace(" ", "-"), JobStart(part=part, seed=self.seed))
                return
            session = Session.load(path)
        except (ShopError, OSError) as error:
            self.note = str(error).splitlines()[0]
            self._told(self.note)
            return
        self._open(session)

    def _open(self, session: Session) -> None:
        self.close()
        self.desk = opened(session)
        self.desk.settings.style = self.prefs.style
        self.hold = Hold(self.desk)
        x, y = (0.5 * side for side in session.job.face.size_mm)
        self.hold.cursor_mm = x, y
        self.pane = FacePane(self.desk, areas(self.size, self.ui).face)
        if session.notes:
            self.desk.told = session.notes[0]
        if session.path is not None:
            self._prefer(with_recent(self.prefs, session.path.absolute()))
        self.show("bench")

    def keep(self) -> None:
        """Write the checkpoint and what lies beside the job."""
        if self.desk is not None:
            try:
                keep(self.desk)
            except ShopError as error:
                self.desk.told = str(error)

    def close(self) -> None:
        """Keep and let go of the job that is open."""
        if self.desk is not None:
            self.desk.stop_pass()
            self.keep()
            self.desk.session.close()
        self.desk = self.hold = self.pane = self.done = None
        self._pictures.clear()

    def quit(self) -> None:
        """Keep everything and leave."""
        self.close()
        self.running = False

    def _prefer(self, prefs: Prefs) -> None:
        """Take new preferences and keep them; a disk that is full keeps nobody from working."""
        self.prefs = prefs
        self.ui = Ui(THEMES[prefs.theme], prefs.scale, prefs.motion)
        try:
            write_prefs(self.folder / "bench.json", prefs)
        except (ShopError, OSError) as error:
            self._told(f"Settings could not be kept: {error}")
        if self.pane is not None:
            self.pane.place(areas(self.size, self.ui).face)
        self._pictures.clear()
        self.dirty = True

    def _told(self, words: str) -> None:
        if self.desk is not None:
            self.desk.told = words

    # ------------------------------------------------------------------ pages

    def show(self, page: str) -> None:
        """Turn to a page."""
        if page in ("settings", "help") and self.page not in ("settings", "help"):
            self.before = self.page
        self.page = page
        self.group.focus_on(None)
        self.dirty = True

    def resize(self, size: tuple[int, int]) -> None:
        """The window has another size."""
        self.size = max(size[0], 640), max(size[1], 420)
        if self.pane is not None:
            self.pane.place(areas(self.size, self.ui).face)
        self.dirty = True

    def lay_out(self) -> None:
        """Make the widgets of the page as it is now; what is being typed stays."""
        typed = {w.id: w for w in self.group.widgets if isinstance(w, Field) and w.id == self.group.focus}
        made = self._widgets()
        for widget in made:
            if widget.id in typed:
                typed[widget.id].rect = widget.rect
        self.group.widgets = [typed.get(widget.id, widget) for widget in made]

    def _widgets(self) -> list[Widget]:
        if self.page == "bench" and self.desk is not None and self.hold is not None and self.pane is not None:
            where, chosen = areas(self.size, self.ui), self.pane.over
            return [*goal_line(self.desk, where.goal, self.ui, self._goal()),
                    *hung_prints(self.desk, where.prints, self.ui, self._picture, chosen),
                    *in_hand(self.desk, self.hold, where.hand, self.ui), *tray(self.desk, where.tray, self.ui),
                    *coach_line(self.desk, where.coach, self.ui)]  # fmt: skip
        if self.page == "finish" and self.desk is not None and self.done is not None:
            made, self._chart = finish_page(self.desk, self.done, self.size, self.ui)
            return made
        if self.page == "settings":
            return settings_page(self.size, self.ui, self.prefs, self.folder)
        if self.page == "help":
            return self._help()
        recent = [Path(one) for one in self.prefs.recent if Path(one).is_file()]
        made = start_page(self.size, self.ui, self.prefs, recent)
        if self.note:
            told = Label("note", string=self.note, size=LABEL, role="not_reached")
            told.rect = pygame.Rect(self.ui.px(32), self.size[1] - self.ui.px(40), self.size[0] - self.ui.px(64), self.ui.px(36))
            made.append(told)
        return made

    def _goal(self) -> str:
        assert self.desk is not None
        job = self.desk.session.job
        target = job.start.shape.face(job.in_hand).target
        return (f"Goal: flat within {target.bearing_flatness_um:g} µm where it bears, {target.spots_mean:g} spots in the "
                f"square, lowest {target.spots_lowest:g}")  # fmt: skip

    def _picture(self, hung: Any) -> pygame.Surface:
        if id(hung) not in self._pictures:
            self._pictures[id(hung)] = hung, picture_of(hung)
        return self._pictures[id(hung)][1]

    def _help(self) -> list[Widget]:
        """Keys, in two columns."""
        ui, pad = self.ui, self.ui.px(32)
        made: list[Widget] = []
        head = Label("help head", string="Keys: a station's key picks up its tool; Space, Enter or a click does it", size=NAME,
                     bold=True)
        head.rect = pygame.Rect(pad, ui.px(24), self.size[0] - 2 * pad, ui.px(30))
        back = Button("back", "Back", key="Esc")
        back.rect = pygame.Rect(pad, self.size[1] - ui.px(56), ui.px(160), ui.px(36))
        lines = [(sign_of(place), TOLD.get(action, action)) for place, action in self.keys.items()]
        lines += [("1 – 6", "push; in Read 1 high, 2 medium, 3 low, 0 clears; in Roll the film"),
                  ("arrows", "cursor 1 mm (Shift 5, Ctrl 0.2)"), ("Shift + drag", "a row"), ("wheel", "zoom; Shift: push"),
                  ("Ctrl+Z, Ctrl+Y", "take back, do again"), ("Ctrl+Enter", "finish this face"),
                  ("Ctrl+U", "units shown"), ("Ctrl+= Ctrl+− Ctrl+0", "size of the letters"), ("Ctrl+Q", "quit")]  # fmt: skip
        rows = max((self.size[1] - ui.px(140)) // ui.px(26), 1)
        columns = -(-len(lines) // rows)
        wide = (self.size[0] - 2 * pad) // columns
        for n, (key, words) in enumerate(lines):
            x, y = pad + (n // rows) * wide, ui.px(70) + (n % rows) * ui.px(26)
            for k, (string, left, width) in enumerate(((key, 0, ui.px(112)), (words, ui.px(116), wide - ui.px(128)))):
                cell = Label(f"key {n} {k}", string=ui.shortened(string, LABEL, width), size=LABEL, role="muted" if k else "text")
                cell.rect = pygame.Rect(x + left, y, width, ui.px(24))
                made.append(cell)
        return [head, back, *made]

    # ------------------------------------------------------------------ events

    def on(self, event: pygame.event.Event, now_s: float = 0.0) -> None:
        """Answer one event."""
        if event.type == pygame.QUIT:
            self.quit()
        elif event.type == pygame.VIDEORESIZE:
            self.resize((event.w, event.h))
        elif event.type == pygame.DROPFILE:
            self.open_file(Path(event.file))
        elif event.type in (pygame.WINDOWEXPOSED, pygame.WINDOWRESTORED):
            self.dirty = True
        elif self._gesture() or not self.group.takes(event):
            self._own(event)
        else:
            for id, value in self.group.events(event, now_s):
                self.said(id, value)
            self.dirty = self.dirty or self.group.dirty
            return
        if event.type == pygame.MOUSEMOTION:  # the pointer left a widget
            self.group.events(event, now_s)
            self.dirty = self.dirty or self.group.dirty
        elif event.type == pygame.MOUSEBUTTONDOWN:
            self.group.focus_on(None, by_key=False)

    def _gesture(self) -> bool:
        """A gesture on the face is under way: what comes next belongs to it."""
        hold = self.hold
        return hold is not None and (hold.drag is not None or hold.outline is not None or hold.grip_mm is not None)

    def _own(self, event: pygame.event.Event) -> None:
        if event.type == pygame.KEYDOWN:
            self._key(event)
            self.dirty = True
        elif event.type == pygame.KEYUP:
            self._key_up(event)
        elif self.page == "bench" and self.pane is not None:
            self._pointer(event)

    def _pointer(self, event: pygame.event.Event) -> None:
        hold, pane = self.hold, self.pane
        assert hold is not None
        assert pane is not None
        if event.type == pygame.MOUSEBUTTONDOWN:
            self.dirty = True
            if event.button == 3:
                hold.cancel()
            elif event.button == 2:
                self._pan = event.pos
            elif event.button == 1 and pane.holds(event.pos):
                hold.press(*pane.to_mm(event.pos), shift=_shift(event))
        elif event.type == pygame.MOUSEBUTTONUP:
            self.dirty = True
            if event.button == 2:
                self._pan = None
            elif event.button == 1:
                hold.release(*pane.to_mm(event.pos))
        elif event.type == pygame.MOUSEMOTION:
            self._moved(event)
        elif event.type == pygame.MOUSEWHEEL:
            self.dirty = True
            if _shift(event):
                self._push(event.y or event.x)
            elif pane.holds(pygame.mouse.get_pos()):
                pane.zoom(1.15**event.y, pygame.mouse.get_pos())

    def _moved(self, event: pygame.event.Event) -> None:
        hold, pane, desk = self.hold, self.pane, self.desk
        assert hold is not None
        assert pane is not None
        assert desk is not None
        if self._pan is not None:
            pane.shift(event.pos[0] - self._pan[0], event.pos[1] - self._pan[1])
            self._pan, self.dirty = event.pos, True
        elif "lamp" in self._held:
            import math

            x, y = pane.rect.center
            desk.set(lamp_deg=round(math.degrees(math.atan2(y - event.pos[1], event.pos[0] - x)) / 5.0) * 5.0 % 360.0)
            self.dirty = True
        elif pane.holds(event.pos) or self._gesture():
            x_mm, y_mm = pane.to_mm(event.pos)
            if desk.passing is None:
                hold.move(x_mm, y_mm)
            self.dirty = True

    def _key(self, event: pygame.event.Event) -> None:
        if event.mod & CTRL:
            self._ctrl(event)
            return
        action = self.keys.get(place_of(event), "")
        if self.page != "bench":
            if action == "let go" and self.page in ("settings", "help", "finish"):
                self.show("bench" if self.page == "finish" else self.before)
            return
        desk, hold = self.desk, self.hold
        assert desk is not None
        assert hold is not None
        if event.key in ARROWS:
            dx, dy = ARROWS[event.key]
            if "lamp" in self._held:
                desk.set(lamp_deg=(desk.settings.lamp_deg + 15.0 * (dx + dy)) % 360.0)
                return
            step = 5.0 if _shift(event) else 1.0
            hold.step(step * dx, step * dy)
        elif event.key in DIGITS:
            self._digit(DIGITS[event.key], _shift(event))
        elif action == "patch":
            hold.jump(-1 if _shift(event) else 1)
        elif action in ("lamp", "lay over"):
            self._held.add(action)
            if action == "lay over" and self.pane is not None and desk.hung:
                self.pane.over = self.pane.over if self.pane.over is not None else min(1, len(desk.hung) - 1)
        elif action:
            self.said(action, True)

    def _key_up(self, event: pygame.event.Event) -> None:
        action = self.keys.get(place_of(event), "")
        if action in self._held:
            self._held.discard(action)
            if action == "lay over" and self.pane is not None:
                self.pane.over = None
            self.dirty = True

    def _digit(self, n: int, shift: bool) -> None:
        desk, hold = self.desk, self.hold
        assert desk is not None
        assert hold is not None
        if desk.tool == "read":
            if n == 0:
                desk.uncall()
            elif n <= 3:
                desk.set(level=n)
                if hold.by_key:
                    desk.call(*hold.cursor_mm, n, sure=shift)
                elif desk.calls:  # the mark that was clicked last
                    last = desk.calls[-1]
                    desk.call(last.x_mm, last.y_mm, n, sure=shift)
        elif desk.tool == "roll" and 1 <= n <= 3:
            desk.set(film=n)
        elif 1 <= n <= len(PUSHES):
            self.said("push", n - 1)

    def _ctrl(self, event: pygame.event.Event) -> None:
        key = pygame.key.name(event.key)
        if event.key in ARROWS and self.page == "bench" and self.hold is not None:
            dx, dy = ARROWS[event.key]
            self.hold.step(0.2 * dx, 0.2 * dy)
            return
        acts: dict[str, Callable[[], None]] = {
            "q": self.quit, "w": self._to_start, "n": self._to_start, "u": lambda: self.said("inches", not self.prefs.inches),
            ",": lambda: self.show("settings"), "=": lambda: self._scale(1), "+": lambda: self._scale(1),
            "-": lambda: self._scale(-1), "0": lambda: self._prefer(replace(self.prefs, scale=1.0)),
            "c": lambda: self.said("copy", True),
        }  # fmt: skip
        if self.desk is not None and self.page == "bench":
            redo = key == "y" or _shift(event)
            acts |= {"z": self.desk.redo if redo else self.desk.undo, "y": self.desk.redo, "s": self._save_told,
                     "return": self._finish}  # fmt: skip
        if key in acts:
            acts[key]()

    def _scale(self, step: int) -> None:
        at = min(range(len(SCALES)), key=lambda n: abs(SCALES[n] - self.prefs.scale))
        self._prefer(replace(self.prefs, scale=SCALES[min(max(at + step, 0), len(SCALES) - 1)]))

    def _save_told(self) -> None:
        self.keep()
        if self.desk is not None and self.desk.session.path is not None:
            self.desk.told = f"Saved: {self.desk.session.path}. Every act is saved as it is done."

    def _to_start(self) -> None:
        self.close()
        self.show("start")

    # ------------------------------------------------------------------ what was said

    def said(self, id: str, value: Any) -> None:
        """A widget, or the key that stands for it, has something to say."""
        self.dirty = True
        if self._said_anywhere(id, value) or self.desk is None or self.hold is None or self.pane is None:
            return
        desk, hold, s = self.desk, self.hold, self.desk.settings
        before = desk.session.job.round
        if id.startswith("take ") and id != "take calls":
            desk.take(id[5:])
            hold.row = None
            self.pane.whole()
        elif id == "push":
            desk.set(push=value + 1, quarter=0, blade=PUSHES[value].blade)
        elif id in ("push less", "push more"):
            self._push(-1 if id == "push less" else 1)
        elif id.startswith("print "):
            number = int(id[6:])
            self.pane.over = None if self.pane.over == number else number
        else:
            self._said_of_tools(id, value)
        if desk.session.job.round != before:
            self.pane.over = None
            self.keep()
        if desk.settings is not s or id in ("do", "plate view", "face"):
            self.pane.whole()

    def _said_anywhere(self, id: str, value: Any) -> bool:
        """What is not of the bench's tools; True when it was that."""
        p = self.prefs
        sets: dict[str, Callable[[], Prefs]] = {
            "theme": lambda: replace(p, theme=("dark", "light")[value]), "scale": lambda: replace(p, scale=SCALES[value]),
            "style": lambda: replace(p, style=STYLES[value]), "inches": lambda: replace(p, inches=bool(value)),
            "less movement": lambda: replace(p, motion=not value),
        }  # fmt: skip
        if id in sets:
            self._prefer(sets[id]())
            if id == "style" and self.desk is not None:
                self.desk.set(style=self.prefs.style)
            if id == "inches" and self.page == "finish" and self.desk is not None:
                self.done = uncovered(self.desk, self.prefs.inches)
            return True
        acts: dict[str, Callable[[], None]] = {
            "menu": lambda: self.show("settings"), "settings": lambda: self.show("settings"),
            "help": lambda: self.show("help"), "back": lambda: self.show("bench" if self.page == "finish" else self.before),
            "to start": self._to_start, "quit": self.quit, "keys file": self._write_keys,
            "door print": lambda: self.begin(*sample(0, self.seed)), "door part": self._part_told,
            "same start": self._same_start, "another face": self._another, "finish": self._finish, "copy": self._copy,
        }  # fmt: skip
        if id.startswith("sample "):
            stand = read_part(paths.assets() / "parts" / "stand.toml") if id.endswith("2") else None
            self.begin(*sample(int(id[7:]), self.seed, stand))
        elif id == "recent":
            recent = [Path(one) for one in self.prefs.recent if Path(one).is_file()]
            self.open_file(recent[value])
        elif id in acts:
            acts[id]()
        else:
            return False
        return True

    def _said_of_tools(self, id: str, value: Any) -> None:
        desk, hold, pane = self.desk, self.hold, self.pane
        assert desk is not None
        assert hold is not None
        assert pane is not None
        s = desk.settings
        sets: dict[str, Callable[[], dict[str, Any]]] = {
            "film": lambda: {"film": value + 1}, "applicator": lambda: {"applicator": ("brayer", "rag")[value]},
            "way_mm": lambda: {"way_mm": float(value)}, "turn_deg": lambda: {"turn_deg": 180.0 if value else 0.0},
            "turn over": lambda: {"turn_deg": 180.0 - s.turn_deg}, "level": lambda: {"level": value + 1},
            "blade": lambda: {"blade": BLADES[value]}, "length_mm": lambda: {"length_mm": float(value)},
            "spacing_mm": lambda: {"spacing_mm": float(value)}, "angle_deg": lambda: {"angle_deg": float(value) % 360.0},
            "turn on": lambda: {"angle_deg": (s.angle_deg - 15.0) % 360.0},
            "turn back": lambda: {"angle_deg": (s.angle_deg + 15.0) % 360.0},
            "cross": lambda: {"angle_deg": (s.angle_deg + s.cross_deg) % 360.0}, "take": lambda: {"take": TAKES[value]},
            "pressure": lambda: {"pressure": ("light", "firm")[value]}, "tip": lambda: {"tip": ("block", "ball")[value]},
            "counted": lambda: {"counted": str(value)[:12]}, "bearing": lambda: {"bearing": str(value)[:12]},
            "next blade": lambda: {"blade": BLADES[(BLADES.index(s.blade) + 1) % len(BLADES)]},
            "next style": lambda: {"style": STYLES[(STYLES.index(s.style) + 1) % len(STYLES)]},
        }  # fmt: skip
        if id in sets:
            desk.set(**sets[id]())
            if id in ("take", "length_mm", "spacing_mm", "angle_deg", "cross", "turn on", "turn back") and desk.order \
                    and hold.row is None:  # fmt: skip
                hold.show_order()
            return
        acts: dict[str, Callable[[], Any]] = {
            "do": hold.do, "enter": hold.enter, "let go": hold.cancel, "lay": hold.lay_order, "order": hold.show_order,
            "carry on": hold.carry_on, "take calls": hold.take_calls, "hone": desk.hone, "rub out": desk.uncall,
            "wipe plate": desk.wipe_plate, "sweep turned": lambda: hold.sweep(180.0), "whole": pane.whole,
            "zoom in": lambda: pane.zoom(1.25, pane.rect.center), "zoom out": lambda: pane.zoom(0.8, pane.rect.center),
            "older print": lambda: self._turn_prints(1), "newer print": lambda: self._turn_prints(-1),
            "order chalk": self._order_chalk, "uncover": self._uncover, "true size": self._true_size,
            "plate view": lambda: setattr(desk, "plate_view", not desk.plate_view),
            "face": lambda: desk.take_face(tuple(desk.session.job.part.faces)[value]), "expect": lambda: self._expect(value),
        }  # fmt: skip
        if id in acts:
            acts[id]()

    def _push(self, steps: int) -> None:
        if self.desk is not None:
            self.desk.push_by(1 if steps > 0 else -1)
            self.desk.set(blade=PUSHES[self.desk.settings.push - 1].blade)

    def _expect(self, value: int) -> None:
        assert self.desk is not None
        was = self.desk.prediction or Prediction()
        self.desk.prediction = was._replace(marks=MARK_CHOICES[value])

    def _turn_prints(self, step: int) -> None:
        assert self.desk is not None
        assert self.pane is not None
        at = -1 if self.pane.over is None else self.pane.over
        at = min(at + step, len(self.desk.hung) - 1)
        self.pane.over = at if at >= 0 else None

    def _order_chalk(self) -> None:
        assert self.desk is not None
        assert self.hold is not None
        self.desk.take("scrape")
        self.desk.set(take="all in chalk")
        self.hold.show_order()

    def _uncover(self) -> None:
        assert self.desk is not None
        if not self.desk.freedom.uncover:
            self.desk.told = "This lesson does not uncover the iron before its end."
            return
        self.desk.uncovered += 1
        self.desk.told = f"Uncovered for the {self.desk.uncovered}. time; it is counted."
        self._finish()

    def _true_size(self) -> None:
        assert self.pane is not None
        if not self.prefs.true_px_per_mm:
            self._told("True size is not calibrated yet: settings, with a ruler or a card.")
            return
        view = self.pane.face_view
        self.pane.face_view = replace(view, px_per_mm=self.prefs.true_px_per_mm)

    def _finish(self) -> None:
        if self.desk is None:
            return
        try:
            self.done = uncovered(self.desk, self.prefs.inches)
        except ShopError as error:
            self.desk.told = str(error)
            return
        self.keep()
        self.show("finish")

    def _same_start(self) -> None:
        assert self.desk is not None
        start = self.desk.session.job.start
        self.begin("again", start)

    def _another(self) -> None:
        assert self.desk is not None
        start = self.desk.session.job.start
        self.seed = start.seed + 1
        self.begin("another", replace(start, seed=self.seed))

    def _copy(self) -> None:
        if self.done is None or self.desk is None:
            return
        try:
            pygame.scrap.put_text(as_text(self.desk, self.done))
        except (pygame.error, AttributeError):
            self.note = "The clipboard could not be reached."

    def _part_told(self) -> None:
        self.note = ("Drop a part file (TOML) or a job file on this window, or run: flatwright bench FILE. "
                     "Measured readings and photographs of your own part are not built yet.")  # fmt: skip

    def _write_keys(self) -> None:
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_keys(self.folder / "keys.json")
            self.note = f"Keys are in {self.folder / 'keys.json'}; change them there."
        except (ShopError, OSError) as error:
            self.note = str(error)

    # ------------------------------------------------------------------ time and drawing

    def tick(self, now_s: float) -> bool:
        """Lay the next strokes of a pass when it is time; True while there is something to do by itself."""
        if self.desk is None or self.desk.passing is None or self.desk.passing.paused:
            return False
        if not self.prefs.motion:
            self.desk.step_pass()
            self.dirty = True
        elif now_s - self._stepped_s >= STEP_S:
            self._stepped_s = now_s
            self.desk.step_pass(STROKES_A_STEP)
            self.dirty = True
        return self.desk.passing is not None

    def draw(self, surface: pygame.Surface, now_s: float = 0.0) -> None:
        """Draw the page as it is now."""
        self.lay_out()
        theme = self.ui.theme
        surface.fill(theme.background)
        if self.page == "bench" and self.pane is not None and self.hold is not None:
            where = areas(self.size, self.ui)
            for rect in (where.goal, where.hand, where.prints, where.tray, where.coach):
                surface.fill(theme.panel, rect)
            for a, b in ((where.goal.bottomleft, where.goal.bottomright), (where.tray.topleft, where.tray.topright),
                         (where.coach.topleft, where.coach.topright), (where.hand.topleft, where.hand.bottomleft),
                         (where.prints.topright, where.prints.bottomright)):  # fmt: skip
                pygame.draw.line(surface, theme.background, a, b)
            if self.pane.rect != where.face:
                self.pane.place(where.face)
            self.pane.refresh()
            self.pane.draw(surface, self.ui, self.hold)
        elif self.page == "finish" and self.done is not None:
            draw_map(surface, self.ui, self.done, self._chart)
        self.group.draw(surface, self.ui, now_s)
        self.dirty = False


def _shift(event: pygame.event.Event) -> bool:
    mod = getattr(event, "mod", None)
    return bool((pygame.key.get_mods() if mod is None else mod) & pygame.KMOD_SHIFT)


# ---------------------------------------------------------------------- the window


def loop(bench: Bench, surface: Callable[[], pygame.Surface], *, events: Callable[[float | None], Iterable[Any]],
         flip: Callable[[], None], now_s: Callable[[], float] = time.monotonic, drawn: Callable[[], None] | None = None,
         ) -> None:
    """Events, acts, a drawing if something changed, sleep; until the bench is closed."""
    while bench.running:
        if bench.dirty:
            bench.draw(surface(), now_s())
            flip()
            if drawn:
                drawn()
                drawn = None
        due = bench.group.due_s(now_s())
        busy = bench.desk is not None and bench.desk.passing is not None and not bench.desk.passing.paused
        wait = STEP_S if busy else None if due is None else max(due - now_s(), 0.0) + 0.01
        for event in events(wait):
            bench.on(event, now_s())
        if due is not None and now_s() >= due:
            bench.dirty = True
        bench.tick(now_s())


def wait_for(timeout_s: float | None) -> list[pygame.event.Event]:
    """Events that have come; sleeps until one does, or for so long."""
    first = pygame.event.wait() if timeout_s is None else pygame.event.wait(max(int(1000 * timeout_s), 1))
    return [first, *pygame.event.get()]


def open_window(args: Any) -> int:
    """Open the window and stay until it is closed."""
    pygame.display.init()
    pygame.font.init()
    folder = paths.data_dir(args.data_dir)
    prefs = read_prefs(folder / "bench.json")
    if args.ui_scale:
        prefs = replace(prefs, scale=args.ui_scale)
    if args.theme:
        prefs = replace(prefs, theme=args.theme)
    size = args.size or SIZE
    pygame.display.set_caption("flatwright: the bench")
    pygame.display.set_mode(size, pygame.RESIZABLE)
    pygame.key.set_repeat(350, 40)
    try:
        if not _warmed(Ui(THEMES[prefs.theme], prefs.scale)):
            return 0
        bench = Bench(folder, size, prefs=prefs, seed=args.seed)
        if args.target is not None:
            bench.open_file(Path(args.target))
        loop(bench, pygame.display.get_surface, events=wait_for, flip=pygame.display.flip, drawn=_say_ready)
    finally:
        pygame.display.quit()
    return 0


def _say_ready() -> None:
    if os.environ.get("FLATWRIGHT_SAY_READY"):
        print("READY", flush=True)


CHILD = "from sim.kernels.warm import warm; warm(lambda done, total, name: print(done, total, flush=True))"


def _warmed(ui: Ui) -> bool:
    """Load the kernels; where they must be compiled first, a child process does it and the window stays awake.

    False when the window was closed meanwhile.
    """
    if not (cache_folder() / SEAL).is_file():
        child = subprocess.Popen([sys.executable, "-c", CHILD], stdout=subprocess.PIPE, text=True)
        told = ["0 1"]
        reader = threading.Thread(target=lambda: told.extend(child.stdout or ()), daemon=True)
        reader.start()
        while child.poll() is None:
            for event in wait_for(0.1):
                if event.type == pygame.QUIT:
                    child.terminate()
                    return False
            done, total = (int(n) for n in told[-1].split()[:2])
            _compiling(pygame.display.get_surface(), ui, done, total)
            pygame.display.flip()
    warm(lambda done, total, name: None)
    return True


def _compiling(surface: pygame.Surface, ui: Ui, done: int, total: int) -> None:
    """The page that is shown once, while the kernels are compiled."""
    surface.fill(ui.theme.background)
    box = surface.get_rect()
    ui.line(surface, box.move(0, -ui.px(40)), "Getting the computation ready, once, for some twenty seconds", NAME, align="centre")
    bar = pygame.Rect(0, 0, ui.px(360), ui.px(12))
    bar.center = box.center
    ui.box(surface, bar, ui.theme.raised, ui.theme.line)
    surface.fill(ui.theme.accent, (bar.left, bar.top, round(bar.width * done / max(total, 1)), bar.height))


__all__ = ["KEYS", "Bench", "loop", "open_window", "wait_for"]
