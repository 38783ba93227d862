"""What lies on the bench beside the job: the tool in hand and its settings, calls, chalk, hung prints. No truth here.

The desk owns the session: whatever changes the job goes through it as a command. What is not iron (calls, chalk,
settings) lives here and can always be taken back.
"""

from collections.abc import Generator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.bench.back import Step, lying_on, put_back
from sim.bench.gestures import PIECE
from sim.bench.pieces import (
    DULL_M,
    MARK_MM,
    MOST_HUNG,
    REST_DRAGS,
    Beside,
    Call,
    Freedom,
    Handing,
    Hung,
    Pass,
    Prediction,
    Settings,
    Stroke,
)  # fmt: skip
from sim.errors import CannotWrite, Refused
from sim.hands.skill import HANDS
from sim.model.plate import Plate
from sim.school.attempt import Said
from sim.school.remark import Places
from sim.seat.hinge import Hinge
from sim.shop.commands import (
    Command,
    HoneBlade,
    RollFilm,
    Scrape,
    SpotFace,
    StoneFace,
    WipeFace,
    WipePlate,
    strokes_as_data,
)
from sim.shop.partwork import PushEnds, SpotUpright, SweepFace, TakeFace
from sim.shop.rounds import print_picture
from sim.shop.session import Session
from sim.shop.sight import Sight

Pilot = Generator[Command, Sight, None]


@dataclass
class Desk:
    """The bench in use.

    Attributes
    ----------
    session : Session
    tool : str or None
        What is in hand; None: nothing.
    laid : bool
        The face lies on the plate, to be lifted.
    calls, chalk : list
        Of the face in hand in this round; a piece of chalk is a closed outline of (x, y), mm.
    hung : list of Hung
        The newest last.
    dragged : list of Stroke
        Strokes of this round that were made by hand.
    done : set of str
        Stations already used in this round.
    order : tuple
        Ghosts: strokes that are drawn and not yet laid, x0, y0, x1, y1 in mm.
    passing : Pass or None
    told : str
        The last thing said, for the coach's line.
    turned : Hinge or None
        What the last hinge test of this round showed.
    uncovered : int
        How often iron was uncovered while working.
    bared : bool
        The heights under the counting square are shown now.
    result : Any
        What the last act returned.
    changes, last : int, Command or None
        How often the job was changed, and by what; None: something was taken back.
    unkept : bool
        Something changed since the desk was last written down.
    seen_whole : int
        How often the whole face was uncovered by Finish.
    handed, hand_rounds, handing : generator or None, int, Handing
        Someone else who works by himself, the rounds that he has left, and how he goes about it (`other_hand`).
    beside : Beside or None
        Who hears of every act, and may not allow it.
    said : list of Said
        Beside the iron, in free practice; an attempt at a lesson keeps its own.
    lit_mm : tuple of (x, y)
        The coach's evidence, while it is lit on the face.
    goal, closed : tuple of str, dict
        Of a lesson: what it is after, in fewer and fewer words; tools that it does not allow and why.
    """

    session: Session
    freedom: Freedom = field(default_factory=Freedom)
    settings: Settings = field(default_factory=Settings)
    tool: str | None = "roll"
    laid: bool = False
    prediction: Prediction | None = None
    calls: list[Call] = field(default_factory=list)
    chalk: list[tuple[tuple[float, float], ...]] = field(default_factory=list)
    hung: list[Hung] = field(default_factory=list)
    dragged: list[Stroke] = field(default_factory=list)
    done: set[str] = field(default_factory=set)
    order: tuple[tuple[float, float, float, float], ...] = ()
    passing: Pass | None = None
    told: str = ""
    drags: int = 0
    plate_view: bool = True
    turned: Hinge | None = None
    uncovered: int = 0
    bared: bool = False
    result: Any = None
    handed: Pilot | None = None
    hand_rounds: int = 0
    handing: Handing = field(default_factory=Handing)
    changes: int = 0
    last: Command | None = None
    unkept: bool = False
    seen_whole: int = 0
    beside: Beside | None = None
    said: list[Said] = field(default_factory=list)
    lit_mm: Places = ()
    goal: tuple[str, ...] = ()
    closed: dict[str, str] = field(default_factory=dict)
    _back: list[Step] = field(default_factory=list)
    _forth: list[Step] = field(default_factory=list)

    # ------------------------------------------------------------------ looking

    @property
    def sight(self) -> Sight:
        """What a person sees of the job."""
        return self.session.look()

    def dull(self) -> str | None:
        """A line when the blade in use has gone dull."""
        metres = self.session.job.edges[self.settings.blade].metres
        if metres < DULL_M:
            return None
        return f"Edge dull: {metres:.0f} m since the hone. It will skate. Hone (H) or go on."

    @property
    def plate(self) -> Plate:
        """The plate that is in use: the flat one, or the upright one of the angle plate."""
        job = self.session.job
        return job.square if self.settings.on == "angle plate" and job.square is not None else job.plate

    def centre(self) -> None:
        """Put the face in the middle of the plate in use and the counting square in the middle of the face."""
        job = self.session.job
        if not self.upright_allowed():
            self.settings.on = "plate"
        (length, width), (across, deep) = job.face.size_mm, self.plate.size_mm
        square = {"square_x_mm": max(0.5 * (length - 25.4), 0.0), "square_y_mm": max(0.5 * (width - 25.4), 0.0)}
        self.set(x_mm=0.5 * (across - length), y_mm=0.5 * (deep - width), **square)

    def upright_allowed(self) -> bool:
        """Whether the face in hand is one that is set against the angle plate."""
        job = self.session.job
        asked = job.start.shape.tolerances
        return any(one.kind == "perpendicularity" and one.face == job.in_hand for one in asked)

    # ------------------------------------------------------------------ the tool in hand

    def take(self, tool: str | None) -> None:
        """Pick a tool up; none puts down what is in hand. Nothing is done by it."""
        if tool in self.closed:
            self.told = self.closed[tool]
            return
        if self.laid and tool != "spot":
            self.laid = False
            self.told = "Taken off the plate without lifting a print."
        self.tool, self.bared, self.order = tool, False, ()

    def set(self, **changes: Any) -> None:
        """Change settings of the tools."""
        for name, value in changes.items():
            setattr(self.settings, name, value)

    # ------------------------------------------------------------------ acts

    def act(self, command: Command) -> bool:
        """Do a command; what stands in its way is told, in the shop's own words."""
        why = self.beside.before(self, command) if self.beside else None
        if why is not None:
            self.told = why
            return False
        before = lying_on(self)
        try:
            self.result = self.session.do(command)
        except (Refused, CannotWrite) as error:
            self.told = str(error)[:1].upper() + str(error)[1:]
            return False
        if self.beside:
            self.beside.after(self, command)
        self._back.append(Step(command, before))
        self._forth.clear()
        self.changes, self.last, self.unkept = self.changes + 1, command, True
        return True

    def roll(self) -> None:
        """Roll or rub a film on the plate."""
        s = self.settings
        if self.act(RollFilm(self.settings.film_um, s.applicator, s.on)):
            self.done.add("roll")
            self.told = f"Film of {self.settings.film_um:g} µm on the {s.on}, {s.applicator}."

    def lay(self) -> None:
        """Lay the face on the plate and rub it; it stays there until it is lifted."""
        problems = self._spotting().problems(self.session.job)
        if problems:
            off = problems[0].startswith(("x_mm", "y_mm"))
            self.told = "The part must lie on the plate, at least partly." if off else problems[0]
            return
        self.laid, self.prediction = True, None
        self.told = "Before you lift: where will it bear hardest? Click there, or press Space to lift."
        if not self.plate.film_um.any():
            self.told = f"Nothing is rolled on the {self.settings.on}: only what is left on the face will show."

    def lift(self) -> None:
        """Lift the face: its print is there, a round begins, the print is hung."""
        self.laid = False
        if not self.act(self._spotting()):
            return
        self.printed()
        self.tool = "read"
        self.told = f"Print {self.session.job.round}, just lifted, turned over its long edge."
        if self.prediction is not None and self.prediction.x_mm is not None:
            self.told += " The diamond is where you expected it hardest."

    def printed(self) -> None:
        """A print was made: hung, and what lay there for the last one cleared away."""
        self.hang()
        self.calls, self.chalk, self.dragged, self.order, self.turned = [], [], [], (), None
        self.done = {"spot"}

    def hang(self) -> None:
        """Hang the print that is on the face."""
        job = self.session.job
        picture = print_picture(job.face, job.start.material.blue.opacity_um)
        self.hung = [*self.hung, Hung(job.in_hand, job.round, picture)][-MOST_HUNG:]

    def _spotting(self) -> SpotFace | SpotUpright:
        s, job = self.settings, self.session.job
        if s.on == "angle plate":
            datum = next((one.datum for one in job.start.shape.tolerances if one.face == job.in_hand), "")
            return SpotUpright(datum, s.x_mm, s.y_mm, s.way_mm)
        middle = (0.5 * job.face.size_mm[0], 0.5 * job.face.size_mm[1], s.press_n)
        hands, along = (middle,) if s.press_n else (), (1.0, 0.0) if s.rub == "along" else (0.0, 1.0)
        return SpotFace(s.x_mm, s.y_mm, s.way_mm, along, hands, s.method, turn_deg=s.turn_deg)

    def stroke(self, x0: float, y0: float, x1: float, y1: float) -> bool:
        """Cut one stroke as it was dragged; it shows the hand of today."""
        if not self.cut(np.array([[x0, y0, x1, y1, self.settings.push_n]])):
            return False
        self.drags += 1
        self.told = "Rest the hand. Nothing is lost." if self.drags % REST_DRAGS == 0 else self.told
        self.dragged.append(Stroke(x0, y0, x1, y1, self.nearest_call(0.5 * (x0 + x1), 0.5 * (y0 + y1))))
        return True

    def cut(self, strokes: NDArray[np.float64]) -> bool:
        """Cut strokes (n, 5), in mm and N, in one command."""
        before = self.session.job.removed_mm3
        if not self.act(self._scraping(self.settings.blade, strokes_as_data(strokes))):
            return False
        self.done.add("scrape")
        if self.session.job.removed_mm3 == before:
            self.told = "Nothing to cut: the stroke began and ended off the iron, or the blade skated."
        elif (dull := self.dull()) is not None:
            self.told = dull
        return True

    def _scraping(self, blade: str, strokes: tuple[tuple[int, int, int, int, int], ...]) -> Scrape:
        """Strokes with the care and at the pace of the stated hand."""
        hand = HANDS[self.freedom.hand]
        return Scrape(blade, strokes, hand.care, hand.ramp_mm, hand.pace_per_min)

    def begin_pass(self, strokes: NDArray[np.float64]) -> None:
        """Strokes (n, 5), as the hand will make them, are laid piece by piece from now on."""
        if len(strokes):
            self.passing = Pass(self.settings.blade, strokes_as_data(strokes))
            self.order = ()

    def step_pass(self, count: int = PIECE) -> int:
        """Lay the next strokes of the pass; how many were laid."""
        now = self.passing
        if now is None or now.paused:
            return 0
        piece = now.strokes[now.laid : now.laid + min(count, PIECE)]
        if not self.act(self._scraping(now.blade, piece)):
            self.passing = None
            return 0
        now.laid += len(piece)
        self.done.add("scrape")
        if not now.left:
            self.passing = None
            self.told = f"{len(now.strokes)} strokes laid."
        return len(piece)

    def stop_pass(self) -> None:
        """Stop the pass; what is cut stays cut."""
        if self.passing is not None:
            self.told = f"Stopped: {self.passing.laid} of {len(self.passing.strokes)} strokes are laid and stay."
            self.passing = None

    def stone(self) -> None:
        """One pass of the stone."""
        if self.act(StoneFace(self.settings.pressure)):
            self.done.add("stone")
            self.told = f"Stoned once, {self.settings.pressure}."

    def wipe(self) -> None:
        """Wipe the face; old blue stays in its pockets."""
        if self.act(WipeFace()):
            self.done.add("wipe")
            self.told = "Wiped. Some blue stays in the pockets."

    def wipe_plate(self) -> None:
        """Clean the plate."""
        if self.act(WipePlate(self.settings.on)):
            self.told = f"The {self.settings.on} is clean."

    def hone(self) -> None:
        """Hone the blade in use."""
        if self.act(HoneBlade(self.settings.blade)):
            self.told = "Edge honed."

    def take_face(self, name: str) -> None:
        """Turn the part so that another face is in hand; calls and chalk stay with the old one's print."""
        self.stop_pass()
        self.handed, self.laid = None, False
        if name != self.session.job.in_hand and self.act(TakeFace(name)):
            self.calls, self.chalk, self.dragged, self.order, self.done = [], [], [], (), set()
            self.turned, self.prediction = None, None
            self.centre()
            self.told = f"{name.capitalize()} in hand."

    def sweep(self, datum: str, turn_deg: float = 0.0) -> None:
        """Sweep the face in hand with the indicator, the part on its datum; heights are written on it."""
        if self.act(SweepFace(self.session.job.in_hand, datum, tip=self.settings.tip, turn_deg=turn_deg)):
            self.done.add("indicator")
            written = self.session.look().written
            count = 0 if written is None else len(written)
            self.told = f"{count} heights written on the face; they stay until they are scraped away."

    def push_ends(self) -> None:
        """The hinge test: push each end in turn and watch about which point the part turns."""
        if self.act(PushEnds()):
            self.turned = self.result
            self.done.add("hinge")
            self.told = "Pushed at both ends; watch where it turns."

    # ------------------------------------------------------------------ calls, chalk

    def call(self, x_mm: float, y_mm: float, level: int | None = None, sure: bool = False) -> None:
        """Call a mark at a place; a call near it is replaced."""
        level = self.settings.level if level is None else level
        face = self.session.job.face
        row, col = int(y_mm // face.pitch_mm), int(x_mm // face.pitch_mm)
        if not (0 <= row < face.shape[0] and 0 <= col < face.shape[1] and face.iron[row, col]):
            self.told = "There is no iron to call."
            return
        kept = [one for one in self.calls if (one.x_mm - x_mm) ** 2 + (one.y_mm - y_mm) ** 2 > 1.0]
        self._change("calls", [*kept, Call(round(x_mm, 2), round(y_mm, 2), level, sure)])
        self.done.add("read")

    def uncall(self) -> None:
        """Clear the last call, or else the last chalk."""
        if self.calls:
            self._change("calls", self.calls[:-1])
        elif self.chalk:
            self._change("chalk", self.chalk[:-1])

    def add_chalk(self, outline: Sequence[tuple[float, float]]) -> None:
        """Chalk round an area; fewer than three corners are none."""
        if len(outline) >= 3:
            self._change("chalk", [*self.chalk, tuple((round(x, 2), round(y, 2)) for x, y in outline)])

    def nearest_call(self, x_mm: float, y_mm: float) -> tuple[float, float] | None:
        """Place of the call that a stroke with its middle here was meant for; None if none is near."""
        far = [((c.x_mm - x_mm) ** 2 + (c.y_mm - y_mm) ** 2, c.x_mm, c.y_mm) for c in self.calls]
        near = min(far, default=None)
        return None if near is None or near[0] > MARK_MM**2 else (near[1], near[2])

    def chosen_calls(self) -> list[Call]:
        """Calls that the order takes."""
        most = {"high": 1, "high and medium": 2}.get(self.settings.take, 0)
        return [one for one in self.calls if one.level <= most]

    # ------------------------------------------------------------------ back and forth

    def _change(self, name: str, value: Any) -> None:
        self._back.append(Step(None, lying_on(self)))
        self._forth.clear()
        setattr(self, name, value)
        self.unkept = True

    def undo(self) -> None:
        """Take the last thing back: calls and chalk of this print always, iron in free practice only."""
        self.stop_pass()
        at = len(self._back) - 1
        if not self.freedom.iron_back:  # look behind the iron that was cut since, as far as to the last print
            while at >= 0 and isinstance(self._back[at].command, Scrape | StoneFace | WipeFace | HoneBlade):
                at -= 1
        if at < 0 and not self._back:
            self.told = "Nothing to take back."
            return
        step = self._back[at]
        if at < 0 or (step.command is not None and not self.freedom.iron_back):
            self.told = "Iron does not come back here; only free practice gives it back."
            return
        step.after = lying_on(self)
        if step.command is None:
            put_back(self, step.before, ("calls", "chalk"))
            self.told = "Taken back: calls or chalk."
        else:
            try:
                self.session.undo()
            except (Refused, CannotWrite) as error:
                self.told = str(error)
                return
            put_back(self, step.before)
            if self.beside:
                self.beside.undone(self)
            self.changes, self.last = self.changes + 1, None
            self.laid, self.order, self.bared = False, (), False
            self.told = f"Taken back: {step.name}. Only free practice gives iron back."
        self._forth.append(self._back.pop(at))
        self.unkept = True

    def redo(self) -> None:
        """Do again what was taken back last."""
        if not self._forth:
            self.told = "Nothing to do again."
            return
        left, step = self._forth[:-1], self._forth[-1]
        if step.command is None:
            self._back.append(Step(None, lying_on(self)))
            put_back(self, step.after, ("calls", "chalk"))
        elif self.act(step.command):
            put_back(self, step.after)
        self._forth = left
        self.told = f"Done again: {step.name}."
