"""The model solution played on the bench: its acts with their reasons, one prediction asked first. No pygame here."""

from collections.abc import Generator
from dataclasses import dataclass, field, replace
from typing import Any

from sim.bench.desk import Desk
from sim.bench.practice import Practice
from sim.errors import ShopError
from sim.school.attempt import begin_attempt
from sim.school.calls import Call
from sim.school.lesson import Lesson
from sim.school.steps import step_of
from sim.school.ways import Act, Spoken, Take, acts
from sim.shop.commands import Command, RollFilm, Scrape, SpotFace
from sim.units import counted

PAUSE_S = 1.2  # between two acts
LETTER_S = 0.05  # more where a step is shown for the first time, to read it
MOST_S = 5.0
SCRAPE_S = 1.8  # a command of strokes takes as long at most
STEP_S = 1.0 / 30.0
FASTER = 4.0
HURRY_S, HURRIED_S = 30.0, 10.0  # after so long it runs faster, and once more as fast with every so many seconds
HERE = "You are watching: Space pauses, Esc stops."
ASKED = "Before it goes on: where will this print be hardest? Click there, or press Space."
DONE = "That was the model solution. Now with help, or alone."
TOOLS = {"RollFilm": "roll", "WipePlate": "roll", "SpotFace": "spot", "Scrape": "scrape", "StoneFace": "stone",
         "WipeFace": "wipe", "SweepFace": "indicator", "PushEnds": "hinge", "calls": "read",
         "count": "square"}  # fmt: skip


class Watcher(Practice):
    """A job that is only watched: nothing is done on it but what is played."""

    playing: bool = False

    def before(self, desk: Desk, command: Command) -> str | None:
        """Nothing but what is played."""
        return None if self.playing else HERE

    def after(self, desk: Desk, command: Command) -> None:
        """Nothing is learnt here."""

    def listen(self, desk: Desk) -> None:
        """Nothing is noted here."""


@dataclass(eq=False)
class Watching:
    """The model solution on its way.

    Attributes
    ----------
    lesson : Lesson
    desks : list of Desk
        One a piece; `piece`: the one in hand.
    step : int
        The step of the lesson that is shown.
    asking : bool
        Waits for a prediction.
    """

    lesson: Lesson
    desks: list[Desk]
    piece: int = 0
    step: int = 0
    asking: bool = False
    paused: bool = False
    faster: bool = False
    ended: bool = False
    asked: bool = False
    _acts: Generator[tuple[Act, Any], None, None] | None = None
    _left: list[Command] = field(default_factory=list)
    _held: Command | None = None
    _due_s: float = 0.0
    _played_s: float = 0.0
    _turns: int = 0
    _shown: set[int] = field(default_factory=set)

    @property
    def desk(self) -> Desk:
        """The piece in hand."""
        return self.desks[self.piece]

    @property
    def goes_on(self) -> bool:
        """It plays by itself now."""
        return not (self.paused or self.asking or self.ended)

    def begin(self) -> None:
        """Let the model begin, on pieces of its own; what it does there is done here after it."""
        own = begin_attempt(self.lesson, "alone", self.lesson.seeds.help)  # from the start: nothing is done ahead
        self._acts = acts(own, self.lesson.model)

    def skip(self) -> None:
        """Space: go on after the question, pause, go on."""
        if self.asking:
            self.asking = False
            self.desk.told = "Lifted, and turned over: what took the blue stood on the plate."
        else:
            self.paused = not self.paused
            self.desk.told = "Paused: Space goes on, Esc stops." if self.paused else HERE

    def tick(self, now_s: float, motion: bool = True) -> bool:
        """Do the next of what is due; True when something was done."""
        if not self.goes_on or now_s < self._due_s:
            return False
        pace = (FASTER if self.faster else 1.0) * (1.0 + max(self._played_s - HURRY_S, 0.0) / HURRIED_S)
        if self._left:
            self._play(self._left.pop(0))
            self._wait(now_s, STEP_S if motion else 0.0)
            return True
        if self._held is not None:
            held, self._held = self._held, None
            self.desk.laid = False
            self._play(held)
            self._wait(now_s, PAUSE_S / pace)
            return True
        before = len(self._shown)
        self._next(pace if motion else 1e9)
        new = len(self._shown) > before
        read_s = LETTER_S * len(self.lesson.steps[self.step].text) if new else 0.0
        self._wait(now_s, min(PAUSE_S + read_s, MOST_S) / pace)
        return True

    def _wait(self, now_s: float, wait_s: float) -> None:
        """Go on after some time."""
        self._due_s, self._played_s = now_s + wait_s, self._played_s + wait_s

    def _next(self, pace: float) -> None:
        """Take the next act of the model."""
        if self._acts is None:
            self.begin()
        assert self._acts is not None  # just begun
        try:
            act, _ = next(self._acts)
        except StopIteration:
            self.ended, self.desk.told = True, DONE
            return
        except ShopError as error:
            self.ended, self.desk.told = True, str(error)
            return
        name = act.kind if isinstance(act, Spoken) else type(act).__name__
        if isinstance(act, Take):
            self.piece, self._turns = act.piece, self._turns + 1
            return
        self._turns += isinstance(act, SpotFace)
        self._show_step(name)
        if name in TOOLS:
            self.desk.tool = TOOLS[name]
        if isinstance(act, Spoken):
            self._hear(act)
        elif isinstance(act, SpotFace) and not self.asked:
            self.asked = self.asking = self.desk.laid = True
            self.desk.set(x_mm=act.x_mm, y_mm=act.y_mm, turn_deg=act.turn_deg, way_mm=act.way_mm)
            self._held, self.desk.told = act, ASKED
        elif isinstance(act, Scrape):
            count = max(round(len(act.strokes) * STEP_S / SCRAPE_S * pace), 1)
            self._left = [replace(act, strokes=act.strokes[k : k + count]) for k in range(0, len(act.strokes), count)]
        else:
            self._play(act)

    def _show_step(self, act: str) -> None:
        """The step that an act belongs to; strokes of later rounds show what was not shown yet, in turn."""
        steps = self.lesson.steps
        if not steps:
            return
        rest = [n for n in range(len(steps)) if n not in self._shown]
        later = act == "Scrape" and self._turns > 1 and rest
        self.step = rest[0] if later else step_of(steps, self.step, act)
        self._shown.add(self.step)

    def _play(self, command: Command) -> None:
        """Do on the bench what the model did."""
        desk = self.desk
        assert isinstance(desk.beside, Watcher)  # it was laid out for this
        desk.beside.playing = True
        if isinstance(command, SpotFace):
            desk.set(x_mm=command.x_mm, y_mm=command.y_mm)
        elif isinstance(command, RollFilm) and command.weight_um is not None:
            desk.set(own_um=round(command.weight_um, 1), applicator=command.applicator)
        done = desk.act(command)
        desk.beside.playing = False
        if not done:
            self.ended = True
        elif isinstance(command, SpotFace):
            desk.printed()
            desk.tool = "read"
        if done:
            desk.told = told_of(command)

    def _hear(self, act: Spoken) -> None:
        """Show what the model says."""
        desk, data = self.desk, act.data
        if act.kind == "calls":
            desk.calls = [Call(float(x), float(y), int(level), bool(sure)) for x, y, level, sure in data["calls"]]
            counts = [sum(one.level == n for one in desk.calls) for n in (1, 2, 3)]
            desk.told = f"It calls {counts[0]} marks high, {counts[1]} medium, {counts[2]} low."
        elif act.kind == "lamp":
            desk.set(lamp_deg=float(data["lamp_deg"]))
            desk.told = "The lamp is moved: what is shade moves, what is blue stays."
        elif act.kind == "answer":
            value = data["value"]
            shown = f"{value:g}" if isinstance(value, int | float) else str(value)
            asked = next((one.text for one in self.lesson.questions if one.id == data["question"]), data["question"])
            desk.told = f"{asked} {shown}"
        elif act.kind == "count":
            desk.set(square_x_mm=float(data["x_mm"]), square_y_mm=float(data["y_mm"]),
                     counted=f"{data.get('spots', '')}", bearing=f"{data.get('bearing_pct', '')}")  # fmt: skip
            desk.told = f"It counts {data.get('spots', '–')} spots and takes {data.get('bearing_pct', '–')} % bearing."


def told_of(command: Command) -> str:
    """What an act was, in words."""
    name = type(command).__name__
    weight, what = getattr(command, "weight_um", None), getattr(command, "applicator", "")
    count = len(getattr(command, "strokes", ()))
    words = {
        "RollFilm": f"Rolls {weight:g} µm with the {what}." if weight else "Rolls the film.",
        "WipePlate": "Cleans the plate.", "SpotFace": "Lays the face on the plate, rubs it, lifts it.",
        "SpotUpright": "Rubs the face against the angle plate.", "StoneFace": "Stones the burrs off.",
        "WipeFace": "Wipes chips and blue off the face.", "HoneBlade": "Hones the blade.",
        "PushEnds": "Pushes each end and watches where it turns.", "TakeFace": "Turns the part.",
        "SweepFace": "Sweeps the face with the indicator and writes the heights on it.",
        "Scrape": f"Scrapes: {counted(count, 'stroke')}.",
    }  # fmt: skip
    return words.get(name, "")
