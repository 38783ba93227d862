"""Lessons in the window: choosing one and its part, the attempt on the bench, its judgement, what is kept of it."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from sim.bench import lesson_pages, lesson_strip
from sim.bench.aside import Progress
from sim.bench.desk import Desk
from sim.bench.files import free_path, is_lesson
from sim.bench.finish import copied
from sim.bench.kept import opened_bare, prints_made
from sim.bench.lesson_board import ahead_words, lesson_page
from sim.bench.lesson_desk import LessonDesk, forgotten, handed_in, laid_out, lay, recorded
from sim.bench.lesson_window import Window
from sim.bench.lesson_work import LessonWork
from sim.bench.panels import Areas
from sim.bench.pieces import Freedom, Hung
from sim.bench.practice import Practice
from sim.bench.read_back import ReadBack, calls_told
from sim.bench.uncovered import uncovered
from sim.bench.watching import HERE, Watcher, Watching
from sim.bench.widgets import Listing, Widget
from sim.books.record import DEFAULT, Record
from sim.books.rows import stamp, utc_now
from sim.errors import BadParam, ShopError
from sim.school.attempt import Attempt, begin_attempt, begun_piece
from sim.school.checks import Judged, judge
from sim.school.classroom import Assignment, as_asked, read_handed_out
from sim.school.facts import Facts, gather
from sim.school.keeping import KeptAttempt, open_attempt, prepare, put_away, resume, unfinished, write_head
from sim.school.lesson import Lesson, pieces_of
from sim.school.lessonfile import find_lesson, lesson_files, read_lesson
from sim.school.parts import Part, parts_of
from sim.shop.session import Session
from sim.units import shown_unit

PAGES = ("lessons", "lesson", "working", "judged")
DIGIT_PARTS = ("watch", "help", "alone", "check", "free")
TOLD_AT_FINISH = 6  # remarks at most
WATCHED = ("settings", "menu", "help", "back", "to start", "quit", "face", "uncover", "style", "inches", "plate view",
           "whole", "zoom in", "zoom out", "theme", "scale", "door lessons", "less movement", "left hand",
           "card")  # fmt: skip
"""What may be pressed while one watches."""


class LessonRoom(LessonWork):
    """Everything of lessons in a window.

    Attributes
    ----------
    lesson : Lesson or None
        The one that was chosen.
    at : LessonDesk or None
        The attempt in hand.
    watching : Watching or None
    judged : Judged or None
        What the attempt in hand came to.
    asked : Assignment or None
        Of a class: its lessons alone are listed, with its parts and seeds.
    left : Path or None
        An attempt that was broken off, to go on with.
    find, shipped, now : functions
        Lesson of a name; all lessons; the time.
    """

    def __init__(self, window: Window) -> None:
        super().__init__(window)
        self.root = window.folder / "attempts"
        self.find: Callable[[str], Lesson] = find_lesson
        self.shipped: Callable[[], list[Lesson]] = lambda: [read_lesson(path) for path in lesson_files()]
        self.now: Callable[[], datetime] = utc_now
        self.lessons: list[Lesson] = []
        self.lesson: Lesson | None = None
        self.at: LessonDesk | None = None
        self.watching: Watching | None = None
        self.judged: Judged | None = None
        self.facts: Facts | None = None
        self.asked: Assignment | None = None
        self.left = self.newest_left()
        self._hung: list[list[Hung]] = []
        self._best: dict[str, str] = {}
        self._parts: list[Part] = []

    @property
    def at_work(self) -> bool:
        """A lesson is on the bench: an attempt, or the model solution."""
        return self.at is not None or self.watching is not None

    # ------------------------------------------------------------------ pages

    def widgets(self) -> list[Widget]:
        """Widgets of the lessons' own pages."""
        window = self.window
        size, ui, note = window.size, window.ui, window.note
        if window.page == "working" and self.work is not None:
            return lesson_pages.working_page(size, ui, self.work.words, self.work.share)
        if window.page == "lesson" and self.lesson is not None:
            return lesson_page(size, ui, self.lesson, self._parts, who=window.practising(), note=note)
        left = lesson_pages.left_words(self.left)
        return lesson_pages.lessons_page(size, ui, self.lessons, self._best, left=left, note=note,
                                         who=window.practising())  # fmt: skip

    def judged_widgets(self) -> tuple[list[Widget], Any]:
        """Widgets of the judgement, and where the map lies."""
        window, at, done = self.window, self.at, self.window.done
        assert at is not None
        assert self.judged is not None
        assert done is not None
        attempt, name = at.attempt, ""
        if len(attempt.sessions) > 1:
            title = shown_unit(pieces_of(at.lesson, attempt.seed)[attempt.piece].title)
            name = f"Piece {attempt.piece + 1} of {len(attempt.sessions)}{', ' + title if title else ''}"
        return lesson_pages.judged_page(
            window.size, window.ui, at.lesson, attempt.part, judged=self.judged, back=window.back, piece=name,
            span_um=done.span_um, note=window.note)  # fmt: skip

    def areas(self, where: Areas) -> Areas:
        """The bench's areas, with room for the strip while a lesson is on it."""
        return self._with_strip(where)[0] if self.at_work else where

    def strip_rect(self, where: Areas) -> Any:
        """Where the strip lies; `where`: the areas without it. None in free practice."""
        return self._with_strip(where)[1] if self.at_work else None

    def _with_strip(self, where: Areas) -> tuple[Areas, Any]:
        return lesson_strip.with_strip(where, self.window.ui, lesson_strip.step_text(self.at, self.watching))

    def strip(self, where: Areas) -> list[Widget]:
        """The strip above the face; nothing in free practice. `where`: the areas without it."""
        place = self._with_strip(where)[1]
        if self.watching is not None:
            return lesson_strip.watch_strip(self.watching, place, self.window.ui)
        return lesson_strip.strip(self.at, place, self.window.ui) if self.at is not None else []

    def panel(self, where: Areas) -> list[Widget] | None:
        """The questions in place of the tool in hand; None while it is not their turn."""
        if self.at is None or not self.at.answering:
            return None
        return lesson_strip.questions_panel(self.at.attempt, where.hand, self.window.ui)

    # ------------------------------------------------------------------ what was said

    def said(self, id: str, value: Any) -> bool:
        """Something of the lessons was pressed; False when it is none of theirs."""
        self.window.dirty = True
        if self.watching is not None and self.window.page == "bench":
            return self._said_watching(self.watching, id)
        acts: dict[str, Callable[[], None]] = {
            "door lessons": self.show_lessons, "lesson page": self.show_lesson,
            "open lesson": lambda: self._chosen(None), "lesson": lambda: self._chosen(value),
            "go on attempt": self.go_on, "leave attempt": self.leave, "stop work": self.stop_work,
            "part again": self._again,
        }  # fmt: skip
        if id in acts:
            acts[id]()
        elif id.startswith("part "):
            self.begin(id[5:])
        else:
            return self.at is not None and self._said_in_attempt(self.at, id, value)
        return True

    def _said_in_attempt(self, at: LessonDesk, id: str, value: Any) -> bool:
        acts: dict[str, Callable[[], None]] = {
            "hint": at.hint, "step done": at.step_done, "piece back": lambda: self.take_piece(at.attempt.piece - 1),
            "piece on": lambda: self.take_piece(at.attempt.piece + 1), "finish": self.finish,
            "answers": lambda: setattr(at, "answering", not at.answering),
            "answers shut": lambda: setattr(at, "answering", False), "copy": self._copy, "sheet": self.hand_in,
        }  # fmt: skip
        if id in acts and (id not in ("copy", "sheet") or self.window.page == "judged"):
            acts[id]()
        elif id.startswith("answer "):
            at.answer(id, value)
        else:
            return False
        return True

    def _said_watching(self, watching: Watching, id: str) -> bool:
        """While one watches, nothing is done by hand; settings, help and the view are as always."""
        if id in ("do", "enter", "watch skip"):
            watching.skip()
        elif id == "watch faster":
            watching.faster = not watching.faster
        elif id in ("let go", "watch stop"):
            self.show_lesson()
        elif id in WATCHED:
            return False
        elif not watching.asking:
            watching.desk.told = HERE
        return True

    def digit(self, number: int) -> None:
        """A digit on the page of a lesson begins that part."""
        if self.window.page == "lesson" and 1 <= number <= len(DIGIT_PARTS):
            self.begin(DIGIT_PARTS[number - 1])

    def escape(self) -> bool:
        """Esc on one of the lessons' pages; False on any other."""
        acts: dict[str, Callable[[], None]] = {
            "lessons": self.window.to_start, "lesson": self.show_lessons, "working": self.stop_work,
            "judged": self.show_lesson,
        }  # fmt: skip
        if self.window.page not in acts:
            return False
        acts[self.window.page]()
        return True

    # ------------------------------------------------------------------ choosing

    def show_lessons(self) -> None:
        """The list of lessons, with the best result of who practises."""
        self.window.close()
        self.left = self.newest_left()
        try:
            tasks = {task.lesson for task in self.asked.tasks} if self.asked else None
            self.lessons = [one for one in self.shipped() if tasks is None or one.name in tasks]
            with Record.open(self.window.folder, self.now) as record:
                self._best = record.best()
        except (ShopError, OSError) as error:
            self._note(error)
        asked = self.asked
        self._show("lessons", " ".join(filter(None, (f"{asked.title}.", asked.due, asked.note))) if asked else "")

    def show_lesson(self) -> None:
        """The lesson that was chosen, with its parts."""
        if self.lesson is None:
            self.show_lessons()
            return
        self.window.close()
        note = self.window.note if self.window.page == "working" else ""
        try:
            with Record.open(self.window.folder, self.now) as record:
                self._parts = parts_of(self.lesson, record, self._seeds(self.lesson))
        except (ShopError, OSError) as error:
            note = str(error)
        self._show("lesson", note)

    def _seeds(self, lesson: Lesson) -> dict[str, int | None]:
        """Part to seed, as an assignment asks."""
        tasks = self.asked.tasks if self.asked else ()
        return {task.part: task.seed for task in tasks if task.lesson == lesson.name}

    def open_lesson(self, name: str) -> None:
        """Choose a lesson by its name, number or file; raises as `find_lesson`."""
        self.choose(self.find(name))

    def choose(self, lesson: Lesson) -> None:
        """A lesson's page; with no more shown than an assignment that asks for it wants."""
        self.lesson = as_asked(lesson, self.asked) if self.asked and self._seeds(lesson) else lesson
        self.show_lesson()

    def opens(self, target: str) -> bool:
        """Whether what was asked for is a lesson, or the assignment of a class; it is chosen then."""
        path, handed = Path(target), Path(target).suffix.lower() == ".json"
        if path.suffix in (".job", ".zip") or (path.is_file() and not handed and not is_lesson(path)):
            return False
        try:
            if handed:
                self.asked = read_handed_out(path)
                self.show_lessons()
            else:
                self.open_lesson(target)
        except BadParam:
            return False
        except ShopError as error:
            self._note(error)
        return True

    def _chosen(self, number: int | None) -> None:
        if number is None:
            listing = next(w for w in self.window.group.widgets if isinstance(w, Listing))
            number = listing.value
        if 0 <= number < len(self.lessons):
            self.choose(self.lessons[number])

    def _show(self, page: str, note: str = "") -> None:
        self.window.show(page)
        self.window.note = note

    def _note(self, error: Exception) -> None:
        self.window.note = str(error).splitlines()[0]

    # ------------------------------------------------------------------ beginning

    def begin(self, part: str) -> None:
        """Begin a part of the lesson that was chosen; a check that is not open yet says why."""
        lesson = self.lesson
        if lesson is None:
            return
        if part in ("watch", "free"):
            named, seed = "alone", lesson.seeds.help if part == "watch" else lesson.seeds.alone
        else:
            chosen = next((one for one in self._parts if one.name == part), None)
            if chosen is None or chosen.closed:
                self.window.note = chosen.closed if chosen else ""
                return
            named, seed = part, chosen.seed
        now, first = self.now(), pieces_of(lesson, seed)[0]
        makes: dict[str, tuple[Callable[[], Any], Callable[[Any], None]]] = {
            "watch": (lambda: begin_attempt(lesson, named, seed), self._watch),
            "free": (lambda: begun_piece(first, named, seed), self._free),
        }
        make, then = makes.get(part, (lambda: open_attempt(self.root, lesson, named, seed, now=now), self._begun))

        def ready(told: Progress) -> Any:
            prepare(lesson, named, seed, told)
            made = make()
            ahead = part == "help" and first.ahead is not None
            self._hung = [prints_made(one) for one in made.sessions] if ahead else []
            return made

        self.aside("The faces are made ready", ready, then)

    def _begun(self, attempt: KeptAttempt) -> None:
        """An attempt is ready: it is entered in the record and laid on the bench."""
        with Record.open(self.window.folder, self.now) as record:
            write_head(attempt, record)
        self.sit(attempt)
        if self.at is None:
            return
        self.at.desk.told = attempt.lesson.permission
        for desk, prints in zip(self.at.desks, self._hung, strict=False):
            desk.hung, desk.unkept = prints, True
        if self._hung:
            self.at.desk.told = ahead_words(attempt)

    def sit(self, attempt: KeptAttempt) -> None:
        """Lay an attempt on the bench, as it was left."""
        self.window.close()
        self.lesson, self.at, self.judged = attempt.lesson, laid_out(attempt), None
        self.window.sit(self.at.desk, self.at.practice)

    def _watch(self, attempt: Attempt) -> None:
        """The model's pieces are ready: it is played on them."""
        self.window.close()
        desks = []
        for n, session in enumerate(attempt.sessions):
            desk = opened_bare(session, Freedom(iron_back=False, hand_over=False, finish_as=False))
            lay(desk, Watcher(attempt, n, "never"))
            desk.tool = None
            desks.append(desk)
        self.watching = Watching(attempt.lesson, desks)
        desks[0].told = HERE
        self._before_one(desks[0])

    def _before_one(self, desk: Desk) -> None:
        """Have a piece that is watched before one."""
        assert isinstance(desk.beside, Practice)  # it was laid so
        self.window.sit(desk, desk.beside)

    def _free(self, session: Session) -> None:
        """The first piece of the lesson as a job of free practice."""
        assert self.lesson is not None
        self.window.jobs.mkdir(parents=True, exist_ok=True)
        session.save(free_path(self.window.jobs, self.lesson.name))
        self.window.take_up(session)

    # ------------------------------------------------------------------ in the attempt

    def take_piece(self, number: int) -> None:
        """Take another piece in hand; what lies with the others stays."""
        at, page = self.at, self.window.page
        if at is None or not 0 <= number < len(at.desks):
            return
        at.practice.listen(at.desk)
        at.desk.stop_pass()
        at.attempt.take_piece(number)
        self.window.sit(at.desk, at.practice)
        if page == "judged":
            self.window.done = uncovered(at.desk)
            self._show("judged")

    def finish(self) -> None:
        """Judge the attempt; what is untouched or not answered is told once before."""
        at = self.at
        if at is not None and self.judged is None and at.may_end():
            self.aside("The attempt is gone through", lambda told: gather(at.attempt, told), self._judge)

    def _judge(self, facts: Facts) -> None:
        """Figures against limits; kept in the record; everything is uncovered. Of nothing done nothing is left."""
        at = self.at
        assert at is not None
        if facts.nothing_done:
            note = forgotten(at.attempt, self.window.folder, self.now)
            self.show_lesson()
            self.window.note = note
            return
        self.judged, self.facts = judge(at.lesson, facts), facts
        note = recorded(at.attempt, self.judged, facts, self.window.folder, self.now)
        at.attempt.finished()
        seen = {one.rule: one for _, one in facts.remarks if not one.praise}
        worst = sorted(seen.values(), key=lambda one: -one.at_stake_um)[:TOLD_AT_FINISH]
        self.window.back, self.window.done = ReadBack(calls_told(facts.called), worst), uncovered(at.desk)
        self._show("judged", note)

    def _copy(self) -> None:
        if self.at is not None and self.judged is not None:
            attempt = self.at.attempt
            self.window.note = copied(lesson_pages.as_text(self.at.lesson, attempt.part, attempt.seed, self.judged))

    def hand_in(self) -> None:
        """The result sheet, and the file to hand in, beside the attempt."""
        at, facts, judged = self.at, self.facts, self.judged
        if at is None or facts is None or judged is None:
            return
        learner, when = at.attempt.learner or DEFAULT, stamp(self.now())
        self.aside("The result sheet is drawn", lambda told: handed_in(at.attempt, facts, judged, learner, when),
                   lambda note: self._show("judged", note), lambda: self._show("judged"))  # fmt: skip

    def _again(self) -> None:
        """The same part once more: alone and check at another face."""
        part = self.at.attempt.part if self.at is not None else "alone"
        self.show_lesson()
        self.begin(part)

    def close(self) -> None:
        """Keep what is in hand and let it go; an attempt that is not over is offered to go on."""
        at, self.at, self.watching, self.judged = self.at, None, None, None
        if at is not None:
            at.close()
            self.left = self.newest_left()

    def newest_left(self) -> Path | None:
        """The newest attempt that who practises has broken off."""
        if not self.root.is_dir():
            return None
        try:
            with Record.open(self.window.folder, self.now) as record:
                return next(iter(unfinished(self.root, record.current())), None)
        except (ShopError, OSError):  # told where the record is written
            return next(iter(unfinished(self.root)), None)

    def go_on(self) -> None:
        """Go on with the attempt that was broken off."""
        folder = self.left
        if folder is None:
            return
        self.aside("The attempt is opened", lambda told: resume(folder, self.find), self._resumed)

    def _resumed(self, attempt: KeptAttempt) -> None:
        self.sit(attempt)
        assert self.at is not None
        lost = f" {attempt.notes[0]}" if attempt.notes else ""
        self.at.desk.told = f"You stopped in round {attempt.session.job.round}. Nothing was lost.{lost}"

    def leave(self) -> None:
        """Do not offer the attempt any more; its files stay, and the record knows it as not ended."""
        if self.left is not None:
            try:
                put_away(self.left)
            except ShopError as error:
                self._note(error)
            self.left = self.newest_left()

    def _back(self) -> None:
        if self.at is not None:
            self._show("bench")
        else:
            self.show_lesson()

    def busy(self) -> bool:
        """Something goes on by itself."""
        watched = self.watching is not None and self.watching.goes_on and self.window.page == "bench"
        return self.waits or watched

    @property
    def waits(self) -> bool:
        """Something is done aside."""
        return self.work is not None or (self.at is not None and self.at.checking is not None)

    def tick(self, now_s: float) -> None:
        """Look after what goes on by itself."""
        watching = self.watching
        if self.work is not None:
            self.window.dirty = True
            if self.work.done:
                self._come_back(self.work)
        elif self.at is not None:
            self.window.dirty = self.at.tick() or self.window.dirty
        elif watching is not None and self.window.page == "bench":
            before = watching.piece
            if watching.tick(now_s, self.window.prefs.motion):
                self.window.dirty = True
            if watching.piece != before:
                self._before_one(watching.desk)

    def _failed(self, error: Exception) -> None:
        self._note(error)
        if self.at is not None:
            self.at.desk.told = self.window.note
