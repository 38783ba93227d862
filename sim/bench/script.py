"""Gestures from a file, played on the bench without a window: real events, real acts, pictures on the way.

A script is a JSON object: `start` ({"sample": 0 to 2}, {"file": PATH}, or {"lesson": NAME} with a "part"), optional
`size`, `theme`, `scale`, `seed`, `now` (the time of day at which it begins, ISO with a zone: the drills of that day)
and `kinds` (of the drills, whatever the learner's lessons opened), and `steps`, a list of objects with one key each
(what it takes beside it). What a person would have taken is the clock of the drills.

- `key`: name of a key's place, such as "Q", "SPACE", "PAGEUP" (`mod`: "shift", "ctrl"; `times`)
- `click`: [x, y] in mm on the face, or on the plate while the part is laid on it (`shift`, `button`)
- `drag`: [[x, y], [x, y]] in mm (`shift`; `events`: pointer events on the way; `cancel`: "escape" or "right")
  At the drills both are in mm on the iron of the picture, and `click` may be the number of a place.
- `point`: [x, y] in mm: the pointer goes there
- `press`: id of a widget, pressed with the pointer in its middle (`at`: 0 to 1 along it, for rows of choices)
- `type`: text, for a field that has the focus
- `wait`: seconds that a person looks and thinks
- `zoom`: factor about the middle; `resize`: [width, height]; `lamp`: degrees
- `watch`: so many acts of the model solution, while one watches
- `work`: so many rounds by a trained hand (`hand`)
- `shot`: name of a picture, saved as NAME.png (`of`: "face" for the face alone)
"""

import argparse
import json
import tempfile
import time
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pygame

from sim import paths
from sim.bench.app import SIZE, Bench
from sim.bench.drill_room import DrillRoom
from sim.bench.events import Events
from sim.bench.gestures import seconds_of
from sim.bench.other_hand import hand_over, step_other
from sim.bench.palette import THEMES
from sim.bench.shown import Shown
from sim.bench.start import SAMPLES, Prefs, sample
from sim.books.rows import utc_now
from sim.errors import BadFile, CannotWrite
from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.intake.drawing import read_part
from sim.kernels.warm import warm

STEPS = ("key", "click", "drag", "point", "press", "type", "wait", "zoom", "resize", "lamp", "work", "watch", "shot")
ON_A_JOB = ("click", "drag", "point", "zoom", "lamp", "work", "watch")
MODS = {"shift": pygame.KMOD_SHIFT, "ctrl": pygame.KMOD_CTRL, "": 0}
MOST_PASS_STEPS = 100_000
NAMES = {
    "SPACE": "space",
    "RETURN": "return",
    "ESCAPE": "escape",
    "PAGEUP": "page up",
    "PAGEDOWN": "page down",
    "BACKSPACE": "backspace",
    "HOME": "home",
    "COMMA": ",",
    "PERIOD": ".",
    "EQUALS": "=",
    "MINUS": "-",
    "LEFT": "left",
    "RIGHT": "right",
    "UP": "up",
    "DOWN": "down",
    "TAB": "tab",
}


@dataclass
class Player:
    """Plays steps on a bench; `seconds` adds up what a person would have taken."""

    bench: Bench
    surface: pygame.Surface
    shots: Path = field(default_factory=Path)
    force: bool = False
    seconds: float = 0.0
    now_s: float = 0.0
    saved: list[Path] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.feed = Events(self.bench)

    def play(self, steps: list[dict[str, Any]]) -> None:
        """Play them all.

        Raises
        ------
        BadFile
            A step that is none, or names what is not there.
        CannotWrite
            A picture is there already, or cannot be written.
        """
        for n, step in enumerate(steps):
            kinds = [key for key in step if key in STEPS] if isinstance(step, dict) else []
            if len(kinds) != 1:
                raise BadFile(f"steps[{n}]: a step must have one of {', '.join(STEPS)}, got {str(step)[:60]}")
            drilling = self.bench.page == "drills" and kinds[0] in ("click", "drag")
            if kinds[0] in ON_A_JOB and self.bench.pane is None and not drilling:
                raise BadFile(f"steps[{n}].{kinds[0]}: no job is open yet")
            try:
                getattr(self, f"_{kinds[0]}")(step[kinds[0]], step)
            except (TypeError, KeyError, ValueError, IndexError) as error:
                raise BadFile(f"steps[{n}].{kinds[0]}: {error}") from None
            self._settle()

    def _settle(self) -> None:
        """Let a pass, or what is done aside, come to its end, and draw."""
        while self.bench.room.waits:
            time.sleep(0.002)
            self.bench.room.tick(0.0)
        for _ in range(MOST_PASS_STEPS):
            desk = self.bench.desk
            if desk is not None and desk.handed is not None:
                step_other(desk)
            elif desk is not None and desk.passing is not None and not desk.passing.paused:
                desk.step_pass()
            else:
                break
        self.bench.draw(self.surface)

    def send(self, kind: int, **more: Any) -> None:
        """One event."""
        self.feed.on(pygame.event.Event(kind, **more))

    def _px(self, place: list[float] | int) -> tuple[int, int]:
        if self.bench.page == "drills":
            return self._px_of_picture(place)
        assert not isinstance(place, int)
        assert self.bench.pane is not None
        x, y = self.bench.pane.view.to_px(float(place[0]), float(place[1]))
        return round(x), round(y)

    def _px_of_picture(self, place: list[float] | int) -> tuple[int, int]:
        self.bench.lay_out()
        shown = next((w for w in self.bench.group.widgets if isinstance(w, Shown)), None)
        if shown is None:
            raise ValueError("no picture is shown")
        dot = shown.dots[place - 1] if isinstance(place, int) else None
        x, y = shown.px_of(dot.x_mm, dot.y_mm) if dot else shown.px_of(*(float(one) for one in place))  # type: ignore
        return round(x), round(y)

    def _key(self, name: str, step: dict[str, Any]) -> None:
        code = pygame.key.key_code(NAMES.get(name, name.lower()))
        mod = MODS[step.get("mod", "")]
        for _ in range(int(step.get("times", 1))):
            self.send(pygame.KEYDOWN, key=code, mod=mod, scancode=0, unicode="")
            self.send(pygame.KEYUP, key=code, mod=mod, scancode=0)

    def _click(self, place: list[float] | int, step: dict[str, Any]) -> None:
        self._pressed(self._px(place), int(step.get("button", 1)), MODS["shift" if step.get("shift") else ""])
        self.seconds += seconds_of("click")

    def _pressed(self, at: tuple[int, int], button: int = 1, mod: int = 0) -> None:
        self.send(pygame.MOUSEMOTION, pos=at, rel=(0, 0), buttons=(0, 0, 0), mod=mod)
        self.send(pygame.MOUSEBUTTONDOWN, pos=at, button=button, mod=mod)
        self.send(pygame.MOUSEBUTTONUP, pos=at, button=button, mod=mod)

    def _drag(self, ends: list[list[float]], step: dict[str, Any]) -> None:
        a, b = self._px(ends[0]), self._px(ends[1])
        mod = MODS["shift" if step.get("shift") else ""]
        self.send(pygame.MOUSEBUTTONDOWN, pos=a, button=1, mod=mod)
        count = int(step.get("events", 12))
        for k in range(1, count + 1):
            at = round(a[0] + (b[0] - a[0]) * k / count), round(a[1] + (b[1] - a[1]) * k / count)
            self.send(pygame.MOUSEMOTION, pos=at, rel=(0, 0), buttons=(1, 0, 0), mod=mod)
        if step.get("cancel") == "escape":
            self.send(pygame.KEYDOWN, key=pygame.K_ESCAPE, mod=0, scancode=0, unicode="")
        elif step.get("cancel") == "right":
            self.send(pygame.MOUSEBUTTONDOWN, pos=b, button=3, mod=0)
            self.send(pygame.MOUSEBUTTONUP, pos=b, button=3, mod=0)
        self.send(pygame.MOUSEBUTTONUP, pos=b, button=1, mod=mod)
        self.seconds += seconds_of("drag")

    def _point(self, place: list[float], step: dict[str, Any]) -> None:
        self.send(pygame.MOUSEMOTION, pos=self._px(place), rel=(0, 0), buttons=(0, 0, 0), mod=0)

    def _press(self, id: str, step: dict[str, Any]) -> None:
        self.bench.lay_out()
        widget = next((w for w in self.bench.group.widgets if w.id == id), None)
        if widget is None:
            here = ", ".join(w.id for w in self.bench.group.widgets if w.focusable)
            raise ValueError(f"must be a widget of this page ({here}), got {id!r}")
        share = float(step.get("at", 0.5))
        self._pressed((round(widget.rect.left + share * (widget.rect.width - 1)), widget.rect.centery))
        self.seconds += seconds_of("click")

    def _type(self, text: str, step: dict[str, Any]) -> None:
        for letter in str(text):
            self.send(pygame.TEXTINPUT, text=letter)

    def _wait(self, seconds: float, step: dict[str, Any]) -> None:
        self.seconds += max(float(seconds), 0.0)

    def _zoom(self, factor: float, step: dict[str, Any]) -> None:
        assert self.bench.pane is not None
        self.bench.pane.zoom(float(factor), self.bench.pane.rect.center)

    def _resize(self, size: list[int], step: dict[str, Any]) -> None:
        self.surface = pygame.Surface((int(size[0]), int(size[1])))
        self.send(pygame.VIDEORESIZE, w=int(size[0]), h=int(size[1]))

    def _lamp(self, degrees: float, step: dict[str, Any]) -> None:
        assert self.bench.desk is not None
        self.bench.desk.set(lamp_deg=float(degrees) % 360.0)

    def _work(self, rounds: int, step: dict[str, Any]) -> None:
        """Rounds by a trained hand that follows the blue; each print is hung."""
        desk = self.bench.desk
        assert desk is not None
        hand_over(desk, partial(follow_the_blue, HANDS[step.get("hand", "skilled")]), int(rounds), anywhere=True)

    def _watch(self, acts: int, step: dict[str, Any]) -> None:
        """So many acts of the model solution, or until it asks or ends."""
        for _ in range(int(acts)):
            if not self.bench.room.busy():
                break
            self.now_s += 10.0
            self.bench.room.tick(self.now_s)

    def _iron(self) -> pygame.Surface:
        """The face alone, two cells a pixel."""
        assert self.bench.pane is not None
        assert self.bench.pane.iron is not None
        rgbx = self.bench.pane.iron.rgbx
        ny, nx = rgbx.shape[:2]
        return pygame.transform.smoothscale(pygame.image.frombuffer(rgbx.data, (nx, ny), "RGBX"), (nx // 2, ny // 2))

    def _shot(self, name: str, step: dict[str, Any]) -> None:
        path = self.shots / f"{name}.png"
        if path.exists() and not self.force:
            raise CannotWrite(f"{path}: is there already and is not overwritten without --force")
        self.bench.draw(self.surface)
        path.parent.mkdir(parents=True, exist_ok=True)
        pygame.image.save(self._iron() if step.get("of") == "face" else self.surface, path)
        self.saved.append(path)


def read_script(path: Path) -> dict[str, Any]:
    """A script from its file.

    Raises
    ------
    BadFile
        No JSON object with `steps`.
    """
    try:
        told = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise BadFile(f"{path}: must be a script in JSON, got: {error}") from None
    if not isinstance(told, dict) or not isinstance(told.get("steps"), list):
        raise BadFile(f"{path}: must be a JSON object with a list of steps")
    return told


def begun(told: dict[str, Any], folder: Path, size: tuple[int, int] = SIZE) -> Player:
    """A bench as the script wants it at its start, and a player for it."""
    pygame.display.init()
    pygame.font.init()
    start = told.get("start", {})
    if not isinstance(start, dict):
        raise BadFile(f"start must be an object with sample, file or lesson, got {str(start)[:60]}")
    theme, number = told.get("theme", "dark"), start.get("sample", 0)
    if theme not in THEMES or number not in range(len(SAMPLES)):
        raise BadFile(
            f"theme must be one of {', '.join(THEMES)} and sample 0 to {len(SAMPLES) - 1}, got {theme!r}, {number!r}"
        )
    try:
        prefs = replace(Prefs(), theme=theme, scale=float(told.get("scale", 1.0)))
        at = datetime.fromisoformat(told["now"]) if "now" in told else utc_now()
        if at.tzinfo is None:
            raise ValueError(f"got {told['now']!r}")
        kinds = tuple(str(kind) for kind in told["kinds"]) if "kinds" in told else None
        drilling = DrillRoom(folder, clock=lambda: player.seconds, now=lambda: at + timedelta(seconds=player.seconds),
                             kinds=kinds)  # fmt: skip
        bench = Bench(folder, size, prefs=prefs, seed=int(told.get("seed", 1)), drilling=drilling)
        player = Player(bench, pygame.Surface(size))
    except (TypeError, ValueError) as error:
        raise BadFile(f"scale and seed must be numbers, now a time with its zone: {error}") from None
    if "sample" in start:
        stand = read_part(paths.assets() / "parts" / "stand.toml") if start["sample"] == 2 else None
        bench.begin(*sample(int(start["sample"]), bench.seed, stand))
    elif "lesson" in start:
        player = Player(bench, pygame.Surface(size))
        if not bench.room.opens(str(start["lesson"])):
            raise BadFile(f"start.lesson: must be a lesson's name, number or file, got {str(start['lesson'])[:60]}")
        if "part" in start:
            player.play([{"press": f"part {start['part']}"}])
        return player
    elif "file" in start:
        bench.open_file(Path(start["file"]))
        if bench.desk is None:
            raise BadFile(f"start.file: {bench.note}")
    return player


def play(args: argparse.Namespace) -> int:
    """Play a script from the command line, save its pictures, and tell how long a person would have taken."""
    path = Path(args.script)
    told = read_script(path)
    told |= {k: v for k, v in (("theme", args.theme), ("scale", args.ui_scale)) if v is not None}
    warm()
    with tempfile.TemporaryDirectory(prefix="flatwright-script-") as folder:
        try:
            size = args.size or tuple(int(n) for n in told.get("size", SIZE))
            player = begun(told, Path(args.data_dir or folder), size)
        except (BadFile, TypeError, ValueError) as error:
            raise BadFile(f"{path}: {error}") from None
        player.shots, player.force = Path(args.shots or "."), args.force
        try:
            player.play(told["steps"])
        except BadFile as error:
            raise BadFile(f"{path}: {error}") from None
        finally:
            player.bench.close()
    for one in player.saved:
        print(f"picture: {one}")
    print(f"a person's hand: {player.seconds:.0f} s for the gestures of this script")
    return 0
