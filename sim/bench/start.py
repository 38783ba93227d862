"""The first page with its doors, the settings, and what is remembered of both."""

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, ClassVar

import pygame

from sim import paths
from sim.bench.iron import STYLES
from sim.bench.lettering import BODY, CONTROL, LABEL, NAME, Ui
from sim.bench.panels import Stack
from sim.bench.widgets import Button, Label, Listing, Radio, Slider, Thumb, Toggle, Widget
from sim.errors import BadFile
from sim.model.part import PartShape
from sim.model.start import COUPON, Start
from sim.shop.job import JobStart
from sim.shop.store import write_new

USUAL_PX_PER_MM = 3.78  # 96 px in an inch
CARD_MM = 85.6  # ISO/IEC 7810, ID-1
SCALES = (0.875, 1.0, 1.25, 1.5)
RECENT = 8
PRINTS = (("print-first", "A first print: blue in patches"), ("print-half", "Half-way: it bears all over"),
          ("print-last", "Towards the end: many small marks"))  # fmt: skip
SAMPLES = ("Coupon, 60 × 40 mm", "Foot of the stand, 160 × 110 mm", "The whole stand, three faces")


Who = Callable[[int, int, int, Ui], list[Widget]]
"""Makes the row that says who practises, from its left and right end and its top."""


@dataclass(frozen=True)
class Prefs:
    """What the bench remembers of its user."""

    theme: str = "dark"
    scale: float = 1.0
    style: str = "plain"
    motion: bool = True
    inches: bool = False
    left_hand: bool = False
    true_px_per_mm: float = 0.0
    recent: tuple[str, ...] = field(default=())


def read_prefs(path: Path) -> Prefs:
    """Preferences as they were kept; the usual ones where there are none or the file is not ours."""
    try:
        told = json.loads(path.read_text("utf-8"))
        known = {f.name: getattr(Prefs(), f.name) for f in fields(Prefs)}
        good = {k: v for k, v in told.items() if k in known and k != "recent" and type(v) is type(known[k])}
        prefs = replace(Prefs(), **good, recent=tuple(str(one) for one in told.get("recent", ())[:RECENT]))
    except (OSError, ValueError, AttributeError, TypeError):
        return Prefs()
    sound = prefs.theme in ("dark", "light") and 0.75 <= prefs.scale <= 3.0 and prefs.style in STYLES
    return prefs if sound else Prefs()


def write_prefs(path: Path, prefs: Prefs) -> None:
    """Keep preferences; raises CannotWrite."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_new(path, json.dumps(asdict(prefs)).encode(), force=True)


def changed(prefs: Prefs, id: str, value: Any) -> Prefs | None:
    """Preferences as a widget of the settings says; None when it is none of these."""
    sets: dict[str, Callable[[], dict[str, Any]]] = {
        "theme": lambda: {"theme": ("dark", "light")[value]}, "scale": lambda: {"scale": SCALES[value]},
        "style": lambda: {"style": STYLES[value]}, "inches": lambda: {"inches": bool(value)},
        "less movement": lambda: {"motion": not value}, "left hand": lambda: {"left_hand": bool(value)},
        "card": lambda: {"true_px_per_mm": float(value)},
    }  # fmt: skip
    return replace(prefs, **sets[id]()) if id in sets else None


def rescaled(prefs: Prefs, step: int) -> Prefs:
    """The same with letters a size larger or smaller."""
    return replace(prefs, scale=SCALES[min(max(_nearest(SCALES, prefs.scale) + step, 0), len(SCALES) - 1)])


def with_recent(prefs: Prefs, job: Path) -> Prefs:
    """The same with a job on top of the recent ones."""
    name = str(job)
    return replace(prefs, recent=(name, *(one for one in prefs.recent if one != name))[:RECENT])


def sample(number: int, seed: int, stand: PartShape | None = None) -> tuple[str, JobStart]:
    """Name and start of a sample.

    Raises
    ------
    BadFile
        The stand is asked for and not given.
    """
    if number == 0:
        return "coupon", JobStart(face=replace(COUPON), seed=seed)
    if number == 1:
        return "foot", JobStart(face=Start(), seed=seed)
    if stand is None:
        raise BadFile("the stand's file is missing; install flatwright again")
    return "stand", JobStart(part=stand, seed=seed)


def worked_on(path: Path) -> str:
    """When a file was last worked on."""
    try:
        return time.strftime("%d %b, %H:%M", time.localtime(path.stat().st_mtime))
    except OSError:
        return ""


def start_page(
    size: tuple[int, int], ui: Ui, prefs: Prefs, recent: Sequence[Path], *, who: Who, left_off: str = "", note: str = ""
) -> list[Widget]:
    """Who practises, doors, samples, recent jobs, and the size of the letters.

    `left_off`: a lesson that was broken off, in words.
    """
    width = min(size[0] - ui.px(64), ui.px(1040))
    left, pad = (size[0] - width) // 2, ui.px(16)
    head = Label("title", string="flatwright", size=26, bold=True)
    head.rect = pygame.Rect(left, ui.px(36), ui.px(160), ui.px(40))
    line = Label("lead", string="A bench for practising how cast iron is scraped flat.", size=BODY, role="muted")
    line.rect = pygame.Rect(left, head.rect.bottom + ui.px(2), ui.px(448), ui.px(26))
    top = line.rect.bottom + ui.px(16)
    doors = [
        Button("door print", "A first print", key="1 min", sub="A small coupon, blue, a plate"),
        Button("door lessons", "Lessons", key=" ", sub="Watched, with help, alone"),
        Button("door minutes", "Today's five minutes", sub="Questions about prints"),
        Button("door part", "I have a part", key=" ", sub="A part file, or a job"),
    ]
    each = (width - (len(doors) - 1) * pad) // len(doors)
    for n, door in enumerate(doors):
        door.rect, door.area = pygame.Rect(left + n * (each + pad), top, each, ui.px(104)), 1
    if left_off:
        go_on = Button("go on attempt", left_off, hint="Nothing was lost; it lies in the folder of attempts")
        go_on.rect = pygame.Rect(left, head.rect.bottom - ui.px(2), ui.px(430), ui.px(36))
        doors.append(go_on)
    made: list[Widget] = [head, *([] if left_off else [line])]
    made += [*who(left + ui.px(456), left + width, ui.px(48), ui), *doors, *_shown_prints(size, ui, left, width)]
    half, top = (width - pad) // 2, top + ui.px(104) + ui.px(20)
    samples = Stack(pygame.Rect(left, top, half, 10), ui, area=2)
    samples.label("Samples", NAME, "text", bold=True)
    for n, name in enumerate(SAMPLES):
        samples.add(Button(f"sample {n}", name))
    jobs = Stack(pygame.Rect(left + half + pad, top, half, 10), ui, area=3)
    jobs.label("Go on with", NAME, "text", bold=True)
    rows = [f"{one.stem}     {worked_on(one)}" for one in recent]
    jobs.add(
        Listing("recent", rows, shown=3, empty="Your jobs appear here. A job file dropped on the window opens too."),
        124,
    )
    foot_y = max(samples.y, jobs.y) + ui.px(14)
    foot = Stack(pygame.Rect(left, foot_y, width, 10), ui, area=4)
    foot.beside(
        [
            Label("size told", string="Size of the letters", size=CONTROL, role="muted"),
            Radio("scale", ("S", "M", "L", "XL"), _nearest(SCALES, prefs.scale)),
            Radio("theme", ("dark", "light"), int(prefs.theme == "light")),
            Button("settings", "Settings"),
            Button("quit", "Quit", hint="Close the window (Ctrl+Q)"),
        ]
    )
    if note:
        told, pad = Label("note", string=note, size=LABEL), ui.px(32)
        told.rect = pygame.Rect(pad, size[1] - ui.px(40), size[0] - 2 * pad, ui.px(36))
        made.append(told)
    return made + samples.made + jobs.made + foot.made


@dataclass(eq=False)
class CardBar(Widget):
    """A bar as long as a bank card, when the size of a pixel is right."""

    focusable: ClassVar[bool] = False

    px_per_mm: float = USUAL_PX_PER_MM

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        bar = self.rect.copy()
        bar.width = min(round(CARD_MM * self.px_per_mm), bar.width)
        ui.box(surface, bar, ui.theme.accent, ui.theme.line)


@lru_cache(maxsize=8)
def _print_picture(name: str) -> pygame.Surface:
    return pygame.image.load(paths.assets() / "bench" / f"{name}.png")


def _shown_prints(size: tuple[int, int], ui: Ui, left: int, width: int) -> list[Widget]:
    """Three prints of one face, where there is room: what one is working towards."""
    pad = ui.px(16)
    each = (width - 2 * pad) // 3
    top, foot = ui.px(36 + 440), size[1] - ui.px(44)
    high = min(round(each * 110 / 160), foot - top - ui.px(18))
    if high < ui.px(120):
        return []
    wide = round(high * 160 / 110)
    made: list[Widget] = []
    for n, (name, told) in enumerate(PRINTS):
        thumb = Picture(f"shown {n}", picture=_print_picture(name), caption=told, area=6)
        thumb.rect = pygame.Rect(left + n * (each + pad) + (each - wide) // 2, top, wide, high + ui.px(18))
        made.append(thumb)
    return made


class Picture(Thumb):
    """A small picture that is only looked at."""

    focusable: ClassVar[bool] = False


def settings_page(size: tuple[int, int], ui: Ui, prefs: Prefs, where: Path, note: str = "") -> list[Widget]:
    """Everything that can be set away from the tools, in two columns."""
    width, gap = min(size[0] - ui.px(64), ui.px(1080)), ui.px(40)
    left, half = (size[0] - width) // 2, (width - gap) // 2
    head = Stack(pygame.Rect(left, ui.px(32), width, 10), ui, area=0)
    head.label("Settings", 26, "text", bold=True)
    looks = Stack(pygame.Rect(left, head.y + ui.px(8), half, 10), ui, area=1)
    looks.label("Theme")
    looks.add(Radio("theme", ("dark", "light"), int(prefs.theme == "light")))
    looks.label("Size of letters and controls")
    looks.add(Radio("scale", ("small", "middle", "large", "largest"), _nearest(SCALES, prefs.scale)))
    looks.label("How marks are set off besides their colour")
    looks.add(Radio("style", STYLES, STYLES.index(prefs.style)))
    looks.label("Goal and result are shown in")
    looks.add(Radio("inches", ("µm and mm", "tenths and inches"), int(prefs.inches)))
    hands = Stack(pygame.Rect(left + half + gap, head.y + ui.px(8), half, 10), ui, area=2)
    hands.add(Toggle("left hand", "Pointer in the left hand", prefs.left_hand))
    hands.label("The six stations then lie on the keys U I O and J K L.")
    hands.add(Toggle("less movement", "Less movement", not prefs.motion))
    hands.label("The strokes of an order are laid at once.")
    hands.space(10)
    hands.label("True size: hold a bank card (85.6 mm) to the bar, and make it as long.")
    card = prefs.true_px_per_mm or USUAL_PX_PER_MM
    hands.add(Slider("card", "A millimetre", card, (2.0, 20.0), 0.02, "{:.2f} px".format), 44)
    hands.add(CardBar("card bar", px_per_mm=card), 20)
    foot = Stack(pygame.Rect(left, max(looks.y, hands.y) + ui.px(16), width, 10), ui, area=3)
    foot.beside([Button("keys file", "Write the keys to a file"), Button("to start", "To the start page"),
                 Button("back", "Back", key="Esc")])  # fmt: skip
    foot.label(f"Jobs, settings and keys lie in {where}. Nothing leaves this machine.", LABEL)
    if note:
        foot.label(note, LABEL, "text")
    return head.made + looks.made + hands.made + foot.made


def _nearest(values: Sequence[float], wanted: float) -> int:
    return min(range(len(values)), key=lambda n: abs(values[n] - wanted))
