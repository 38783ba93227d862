"""Opening and closing on the bench: jobs, parts and what a lesson lays there; what is kept when they are left."""

from abc import ABC, abstractmethod
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pygame

from sim.bench.desk import Desk
from sim.bench.files import begun, forget, session_of
from sim.bench.hold import Hold
from sim.bench.kept import keep, opened
from sim.bench.lesson_room import LessonRoom
from sim.bench.lettering import Ui
from sim.bench.pane import FacePane
from sim.bench.panels import Areas, areas
from sim.bench.practice import Practice, free_attempt
from sim.bench.start import Prefs, with_recent
from sim.bench.uncovered import Uncovered
from sim.errors import ShopError
from sim.shop.job import JobStart
from sim.shop.session import Session


class Openings(ABC):
    """The part of the bench that opens and closes; desk, hold, pane and practice are of what is open now."""

    size: tuple[int, int]
    seed: int
    ui: Ui
    prefs: Prefs
    jobs: Path
    note: str
    room: LessonRoom
    desk: Desk | None
    hold: Hold | None
    pane: FacePane | None
    practice: Practice | None
    done: Uncovered | None
    _begun: set[Path]
    _pictures: dict[int, tuple[Any, pygame.Surface]]

    @abstractmethod
    def show(self, page: str) -> None:
        """Turn to a page."""

    @abstractmethod
    def prefer(self, prefs: Prefs) -> None:
        """Take new preferences and keep them."""

    def _told(self, words: str) -> None:
        if self.desk is not None:
            self.desk.told = words

    def begin(self, name: str, start: JobStart) -> None:
        """A new practice, logged in the folder of jobs."""
        self._try_open(lambda: begun(self.jobs, name, start), new=True)

    def open_file(self, path: Path) -> None:
        """Open a part, lesson or assignment, or go on with a job; what is wrong is said, and nothing else changes."""
        if path.suffix.lower() in (".toml", ".json") and self.room.opens(str(path)):
            return
        here = None if self.desk is None else self.desk.session.path
        if here is not None and here.absolute() == path.absolute():
            self.show("bench")  # it is open already
            return
        self._try_open(lambda: session_of(path, self.jobs, self.seed), new=path.suffix.lower() == ".toml")

    def _try_open(self, make: Callable[[], Session], new: bool) -> None:
        try:
            session = make()
        except (ShopError, OSError) as error:
            self.note = str(error).splitlines()[0]
            self._told(self.note)
            return
        if new and session.path is not None:
            self._begun.add(session.path)
        self.take_up(session)

    def take_up(self, session: Session) -> None:
        """Lay a job of free practice on the bench, with what lay beside it."""
        self.close()
        desk = opened(session)
        practice = Practice(free_attempt(session, desk.said))
        practice.sit(desk)
        if session.notes:
            desk.told = session.notes[0]
        self.sit(desk, practice)
        if session.path is not None:
            self.prefer(with_recent(self.prefs, session.path.absolute()))

    def copied(self, path: Path) -> bool:
        """Leave the job as it is and go on with a copy of it, under a name that is new; False where that cannot be."""
        assert self.desk is not None
        try:
            self.desk.session.save(path)
        except ShopError as error:
            self._told(str(error))
            return False
        self.open_file(path)
        return self.desk is not None and self.desk.session.path == path

    def sit(self, desk: Desk, practice: Practice) -> None:
        """Have a desk before one; nothing else is closed."""
        self.desk, self.practice, self.hold = desk, practice, Hold(desk)
        desk.settings.style = self.prefs.style
        x, y = (0.5 * side for side in desk.session.job.face.size_mm)
        self.hold.cursor_mm = x, y
        self.pane = FacePane(desk, self.areas().face)
        self.show("bench")

    def areas(self) -> Areas:
        """Where everything of the bench lies now."""
        return self.room.areas(areas(self.size, self.ui))

    def keep(self, checkpoint: bool = True) -> None:
        """Write what lies beside the job, and the checkpoint."""
        if self.desk is not None:
            try:
                keep(self.desk, checkpoint)
            except ShopError as error:
                self.desk.told = str(error)

    def close(self) -> None:
        """Keep and let go of the job that is open, or of the attempt at a lesson."""
        if self.room.at_work:
            self.room.close()
        elif self.desk is not None:
            self.desk.stop_pass()
            self.desk.handed = None
            path = self.desk.session.path
            if path is not None and path in self._begun and not self.desk.changes:
                self.desk.session.close()
                forget(path)  # begun here, and nothing was done: nothing is left
            else:
                self.keep()
                self.desk.session.close()
        self.desk = self.hold = self.pane = self.done = self.practice = None
        self._pictures.clear()
