"""The bench as a whole: pages, events to acts, drawing when something changed; and the window's loop."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pygame

from sim import paths
from sim.bench import lesson_room, lesson_strip
from sim.bench.coach_line import coach_line, lit
from sim.bench.desk import Desk
from sim.bench.drill_room import DrillRoom
from sim.bench.entries import Listing
from sim.bench.files import files_page, found_files, free_path, saved_copy
from sim.bench.finish import as_text, copied, draw_map, finish_page, saved_sheet
from sim.bench.hold import Hold
from sim.bench.inhand import in_hand, set_tool
from sim.bench.key_page import PLACE_OF, PLACES, key_page
from sim.bench.keys import read_keys, sign_of, written_keys
from sim.bench.lesson_pages import left_words
from sim.bench.lesson_room import LessonRoom
from sim.bench.lettering import Ui
from sim.bench.openings import Openings
from sim.bench.other_hand import finish_as, hand_over, step_other, strategy_of, turn_strategy
from sim.bench.palette import THEMES
from sim.bench.pane import FacePane
from sim.bench.panels import HINTS, areas, goal_line, hung_prints, menu_widgets, picture_of, tray
from sim.bench.pieces import INSTRUMENTS
from sim.bench.practice import Practice
from sim.bench.read_back import ReadBack, read_back
from sim.bench.start import (
    Prefs,
    changed,
    read_prefs,
    rescaled,
    sample,
    settings_page,
    start_page,
    write_prefs,
)
from sim.bench.uncovered import Uncovered, uncovered
from sim.bench.widgets import Group, Widget
from sim.errors import ShopError
from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.intake.drawing import read_part

SIZE = (1280, 800)
LEAST_SIZE = (1024, 640)
ASIDE = ("settings", "help", "files")
"""Pages from which one goes back to where one was."""
STEP_S = 1.0 / 30.0
KEEP_S = 2.0
STROKES_A_STEP = 2  # of a pass that is watched


class Bench(Openings):
    """Everything in the window; fed with events, drawn on any surface.

    Attributes
    ----------
    page : str
        "start", "bench", "finish", "drills", "settings", "help", "files", or one of the lessons'.
    desk, hold, pane :
        Of the job that is open; None on the start page before one is.
    dirty : bool
        Something may look different from what was last drawn.
    running : bool
        False when the window is to be closed.
    """

    def __init__(
        self, folder: Path, size: tuple[int, int] = SIZE, *, prefs: Prefs | None = None, seed: int = 1,
        drilling: DrillRoom | None = None,
    ) -> None:  # fmt: skip
        self.folder, self.size, self.seed = folder, size, seed
        self.prefs = read_prefs(folder / "bench.json") if prefs is None else prefs
        self.ui = self._fitting_ui()
        self.keys = read_keys(folder / "keys.json", self.prefs.left_hand)
        self.drilling = drilling or DrillRoom(folder)
        self.page, self.before, self.help_at = "start", "start", PLACES[-1]
        self.desk: Desk | None = None
        self.hold: Hold | None = None
        self.pane: FacePane | None = None
        self.practice: Practice | None = None
        self.done: Uncovered | None = None
        self.back = ReadBack()
        self.menu: tuple[int, int] | None = None
        self.more, self.note = False, ""
        self.jobs = folder / "jobs"
        self.files: list[Path] = []
        self.running, self.dirty = True, True
        self.group = Group([])
        self.room = LessonRoom(self)
        self._begun: set[Path] = set()
        self._pictures: dict[int, tuple[Any, pygame.Surface]] = {}
        self._chart = pygame.Rect(0, 0, 1, 1)
        self._stepped_s = self._kept_s = 0.0
        self.lay_out()

    def quit(self) -> None:
        """Keep everything and leave."""
        self.close()
        self.drilling.close()
        self.running = False

    def prefer(self, prefs: Prefs) -> None:
        """Take new preferences and keep them; a disk that is full keeps nobody from working."""
        self.prefs = prefs
        self.ui = self._fitting_ui()
        try:
            write_prefs(self.folder / "bench.json", prefs)
            self.keys = read_keys(self.folder / "keys.json", prefs.left_hand)
        except (ShopError, OSError) as error:
            self._told(f"Settings could not be kept: {error}")
        if self.pane is not None:
            self.pane.place(self.areas().face)
        self._pictures.clear()
        self.dirty = True

    # ------------------------------------------------------------------ pages

    def show(self, page: str) -> None:
        """Turn to a page."""
        if page in ASIDE and self.page not in ASIDE:
            self.before = self.page
            self.help_at = PLACE_OF.get(self.page, PLACES[-1])
        if self.hold is not None:
            self.hold.let_go()
        for id, value in self.group.focus_on(None):
            self.said(id, value)
        if page not in ASIDE:
            self.note = ""
        self.page, self.menu, self.dirty = page, None, True

    def resize(self, size: tuple[int, int]) -> None:
        """The window has another size."""
        self.size = max(size[0], 640), max(size[1], 420)
        self.ui = self._fitting_ui()
        if self.pane is not None:
            self.pane.place(self.areas().face)
        self.dirty = True

    def _fitting_ui(self) -> Ui:
        """Letters as large as was chosen, and as the window has room for: the bench is laid out for 1024 x 640."""
        most = min(self.size[0] / LEAST_SIZE[0], self.size[1] / LEAST_SIZE[1])
        return Ui(THEMES[self.prefs.theme], max(min(self.prefs.scale, most), 0.6), self.prefs.motion)

    def lay_out(self) -> None:
        """Make the widgets of the page as it is now."""
        self.group.renew(self._widgets())

    def _widgets(self) -> list[Widget]:
        if self.page == "bench" and self.desk is not None and self.hold is not None and self.pane is not None:
            plain, where, chosen = areas(self.size, self.ui), self.areas(), self.pane.over
            return [
                *self.room.strip(plain),
                *goal_line(self.desk, where.goal, self.ui, self.prefs.inches, self.practising()),
                *hung_prints(self.desk, where.prints, self.ui, self._picture, chosen),
                *(self.room.panel(where) or in_hand(self.desk, self.hold, where.hand, self.ui)),
                *tray(self.desk, where.tray, self.ui, self.more, {act: sign_of(key) for key, act in self.keys.items()}),
                *coach_line(self.desk, self.practice, where.coach, self.ui),
                *menu_widgets(self.menu, where.face, self.ui),
            ]
        if self.page == "finish" and self.desk is not None and self.done is not None:
            made, self._chart = finish_page(
                self.desk, self.done, self.size, self.ui, note=self.note, back=self.back
            )
            return made
        if self.page == "judged" and self.done is not None:
            made, self._chart = self.room.judged_widgets()
            return made
        if self.page in lesson_room.PAGES:
            return self.room.widgets()
        if self.page == "settings":
            return settings_page(self.size, self.ui, self.prefs, self.folder, self.note)
        if self.page == "files":
            return files_page(self.size, self.ui, self.files, self.note)
        if self.page == "help":
            return key_page(self.size, self.ui, self.keys, self.help_at)
        if self.page == "drills":
            return self.drilling.widgets(self.size, self.ui)
        return start_page(self.size, self.ui, self.prefs, self._recent(), who=self.drilling.who,
                          left_off=left_words(self.room.left, long=False),
                          note=self.note or self.drilling.fault)  # fmt: skip

    def practising(self) -> str:
        """The name of who practises: of whoever began the attempt in hand, or who was chosen on the start page."""
        names, at = self.drilling.learners()
        own = self.room.at.attempt.learner if self.room.at is not None else ""
        return own or names[at]

    def _recent(self) -> list[Path]:
        """Jobs that were worked on last and are still there."""
        return [Path(one) for one in self.prefs.recent if Path(one).is_file()]

    def _picture(self, hung: Any) -> pygame.Surface:
        if id(hung) not in self._pictures:
            self._pictures[id(hung)] = hung, picture_of(hung)
        return self._pictures[id(hung)][1]

    # ------------------------------------------------------------------ what was said

    def heard(self) -> None:
        """Note what was said on the desk by the last event: calls, counts."""
        if self.practice is not None and self.desk is not None:
            self.practice.listen(self.desk)

    def scale_by(self, step: int) -> None:
        """Letters a size larger or smaller."""
        self.prefer(rescaled(self.prefs, step))

    def save_told(self) -> None:
        """Keep everything, leave a copy under another name, and say so."""
        self.keep()
        if self.desk is not None:
            self.desk.told = saved_copy(self.desk)

    def to_start(self) -> None:
        """Keep the job, close it, and go to the start page."""
        self.close()
        self.drilling.leave()
        self.show("start")

    def said(self, id: str, value: Any) -> None:
        """A widget, or the key that stands for it, has something to say."""
        self.dirty = True
        if self.room.said(id, value) or self._said_anywhere(id, value):
            return
        if self.desk is None or self.hold is None or self.pane is None:
            return
        desk, hold = self.desk, self.hold
        before = desk.session.job.round
        if id.startswith("take ") and id != "take calls":
            self._take(id[5:])
        elif id.startswith("at "):
            self.menu = None
            hold.from_menu(id)
        elif id.startswith("hand over "):
            hand_over(desk, partial(follow_the_blue, HANDS[desk.freedom.hand]), int(id[10:]))
        elif id.startswith("strategy "):
            turn_strategy(desk, 1 if id.endswith("next") else -1)
        elif id == "finish as":
            self._finish_as()
        elif id.startswith("print "):
            number = int(id[6:])
            self.pane.over = None if self.pane.over == number else number
        else:
            self._said_of_tools(id, value)
        if id == "face":
            self.pane.whole()
        if desk.session.job.round != before:
            self.pane.over = None
            hold.let_go()
            self.keep(checkpoint=False)

    def _finish_as(self) -> None:
        """Have a copy of the job finished as the chosen strategy would; one's own stays as it is."""
        assert self.desk is not None
        name, now = strategy_of(self.desk).name, self.desk.session
        copy = free_path(self.jobs, f"{now.path.stem if now.path else 'job'}-as-{name}")
        if self.copied(copy):
            finish_as(self.desk, name)

    def _take(self, tool: str) -> None:
        """Pick a tool up, and say what it is for; the one that is in hand stays as it is."""
        assert self.desk is not None
        assert self.hold is not None
        self.more = tool in INSTRUMENTS
        if tool == self.desk.tool:
            return
        self.hold.let_go()
        self.desk.told = HINTS[tool]
        self.desk.take(tool)  # which tells why, where a lesson does not allow it

    def _said_anywhere(self, id: str, value: Any) -> bool:
        """What is not of the bench's tools; True when it was that."""
        prefs = changed(self.prefs, id, value)
        if prefs is not None:
            self.prefer(prefs)
            if id == "style" and self.desk is not None:
                self.desk.set(style=self.prefs.style)
            if id == "inches" and self.page == "finish" and self.desk is not None:
                self.done = uncovered(self.desk, self.prefs.inches)
            return True
        acts: dict[str, Callable[[], object]] = {
            "more": lambda: setattr(self, "more", not self.more), "menu": lambda: self.show("settings"),
            "settings": lambda: self.show("settings"), "help": lambda: self.show("help"),
            "help place": lambda: setattr(self, "help_at", PLACES[value]),
            "back": lambda: self.show("bench" if self.page == "finish" else self.before), "to start": self.to_start,
            "quit": self.quit, "keys file": self._write_keys, "door print": lambda: self.begin(*sample(0, self.seed)),
            "door part": self.show_files, "same start": self._same_start, "another face": self._another,
            "finish": self.finish, "copy": self._copy, "sheet": self.result_sheet, "door minutes": self._drill,
            "drill leave": lambda: None if self.drilling.let_go() else self.to_start(),
            "drill leave home": self.to_start,
            "learner": lambda: self._learner(value), "new learner": lambda: self._learner(value),
        }  # fmt: skip
        if id.startswith("sample "):
            stand = read_part(paths.assets() / "parts" / "stand.toml") if id.endswith("2") else None
            self.begin(*sample(int(id[7:]), self.seed, stand))
        elif id in ("file", "open first"):
            listing = next(w for w in self.group.widgets if isinstance(w, Listing))
            if 0 <= listing.value < len(self.files):
                self.open_file(self.files[listing.value])
        elif id == "recent":
            self.open_file(self._recent()[value])
        elif id in acts:
            acts[id]()
        elif id.startswith("drill "):
            self.drilling.said(id, value, self.group)
        else:
            return self.page in ("finish", "judged") and self.back.said(id)
        return True

    def _drill(self) -> None:
        """Today's five minutes."""
        if self.drilling.open():
            self.show("drills")
            self.drilling.aim(self.group)
        self.note = self.drilling.fault

    def _learner(self, to: str | int) -> None:
        if self.group.focus == "new learner":
            self.group.focus_on(None)  # the field is for the next name
        if to != "":
            self.note = self.drilling.switch(to)
            self.room.left = self.room.newest_left()

    def _said_of_tools(self, id: str, value: Any) -> None:
        desk, hold, pane = self.desk, self.hold, self.pane
        assert desk is not None
        assert hold is not None
        assert pane is not None
        if set_tool(desk, hold, id, value) or (self.practice is not None and self.practice.said(desk, id)):
            return
        acts: dict[str, Callable[[], Any]] = {
            "do": hold.do, "enter": hold.enter, "let go": hold.cancel, "lay": hold.lay_order, "order": hold.show_order,
            "carry on": hold.carry_on, "take calls": hold.take_calls, "hone": desk.hone, "rub out": desk.uncall,
            "wipe plate": desk.wipe_plate, "sweep turned": lambda: hold.sweep(180.0), "whole": pane.whole,
            "zoom in": lambda: pane.zoom(1.25, pane.rect.center), "zoom out": lambda: pane.zoom(0.8, pane.rect.center),
            "older print": lambda: self._turn_prints(1), "newer print": lambda: self._turn_prints(-1),
            "order chalk": hold.order_chalk, "uncover": hold.uncover, "true size": self._true_size,
            "plate view": lambda: setattr(desk, "plate_view", not desk.plate_view),
            "face": lambda: desk.take_face(tuple(desk.session.job.part.faces)[value]),
        }  # fmt: skip
        if id in acts:
            acts[id]()

    def _turn_prints(self, step: int) -> None:
        assert self.desk is not None
        assert self.pane is not None
        at = -1 if self.pane.over is None else self.pane.over
        at = min(at + step, len(self.desk.hung) - 1)
        self.pane.over = at if at >= 0 else None

    def _true_size(self) -> None:
        assert self.pane is not None
        if not self.prefs.true_px_per_mm:
            self._told("True size is not calibrated yet: settings, with a ruler or a card.")
            return
        self.pane.face_view, self.pane.zoomed = replace(self.pane.view, px_per_mm=self.prefs.true_px_per_mm), True

    def finish(self) -> None:
        """Uncover the face and hold it against its goal; the job stays open. An attempt at a lesson is judged."""
        if self.desk is None or self.room.at_work:
            self.room.said("finish", True)
            return
        self.desk.stop_pass()
        self.desk.handed = None
        try:
            self.done = uncovered(self.desk, self.prefs.inches)
        except ShopError as error:
            self.desk.told = str(error)
            return
        self.desk.seen_whole += 1
        self.keep()
        practice, job = None if self.desk.settings.finished_as else self.practice, self.desk.session.job
        if practice is not None and practice.takes_long:
            self.room.aside("The job is gone through", lambda told: read_back(practice, job, told), self._finished,
                            lambda: self.show("bench"))  # fmt: skip
        else:
            self._finished(ReadBack() if practice is None else read_back(practice, job))

    def _finished(self, back: ReadBack) -> None:
        self.back = back
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

    def result_sheet(self) -> None:
        """The finished page as a picture beside the job."""
        if self.page == "judged":
            self.room.hand_in()
            return
        path = None if self.desk is None else self.desk.session.path
        if self.page != "finish" or path is None:
            self._told("The result sheet is of a finished face: Finish first (Ctrl+Enter).")
            return
        sheet = pygame.Surface(self.size)
        self.draw(sheet)
        self.note, self.dirty = saved_sheet(sheet, path), True

    def _copy(self) -> None:
        if self.done is not None and self.desk is not None:
            self.note = copied(as_text(self.desk, self.done))

    def open_menu(self, pos: tuple[int, int] | None) -> None:
        """What can be done here: at the pointer, or at the cursor."""
        if self.pane is not None and self.hold is not None and self.page == "bench" and not self.pane.on_plate:
            x, y = self.pane.view.to_px(*self.hold.cursor_mm)
            self.menu = (round(x), round(y)) if pos is None else pos
            self.hold.cursor_mm = self.pane.to_mm(self.menu)
            self.dirty = True

    def show_files(self) -> None:
        """The list of what can be opened."""
        self.files, self.note = found_files(self.jobs, Path.cwd()), ""
        self.show("files")

    def _write_keys(self) -> None:
        self.note = written_keys(self.folder / "keys.json")

    # ------------------------------------------------------------------ time and drawing

    def busy(self) -> bool:
        """A pass or a trained hand is at work, or a lesson: there is something to do by itself."""
        desk = self.desk
        if self.room.busy():
            return True
        return desk is not None and (desk.handed is not None or (desk.passing is not None and not desk.passing.paused))

    def tick(self, now_s: float) -> bool:
        """Lay the next strokes of a pass when it is time; True while there is something to do by itself.

        What lies beside the job is written down some time after it has changed.
        """
        self.room.tick(now_s)
        if self.page == "drills" and self.drilling.tick(self.group):
            self.dirty = True
        if self.desk is not None and self.desk.unkept and now_s - self._kept_s >= KEEP_S:
            self._kept_s = now_s
            self.keep(checkpoint=False)
        if self.desk is not None and self.desk.handed is not None:
            self.dirty = True
            before = self.desk.session.job.round
            going = step_other(self.desk)
            if self.desk.session.job.round != before:
                self.keep(checkpoint=False)
            return going
        if self.desk is None or not self.busy():
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
        sheets: dict[int, pygame.Rect] = {}
        if self.page == "bench" and self.pane is not None and self.hold is not None:
            where = self.areas()
            sheets = dict(enumerate((where.goal, where.prints, where.hand, where.tray, where.coach)))
            if self.room.at_work:
                sheets[lesson_strip.AREA] = self.room.strip_rect(areas(self.size, self.ui))
            if self.pane.rect != where.face:
                self.pane.place(where.face)
            self.pane.refresh()
            self.pane.desk.lit_mm = lit(self.group, self.practice)
            self.pane.draw(surface, self.ui, self.hold)
        else:
            surface.fill(theme.background)
        if self.page == "drills":
            self.drilling.draw_ground(surface, self.ui)
        if self.page in ("finish", "judged") and self.done is not None:
            draw_map(surface, self.ui, self.done, self._chart, self.back.places_mm)
        self.group.draw(surface, self.ui, now_s, sheets)
        self.dirty = False
