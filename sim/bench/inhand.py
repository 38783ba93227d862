"""The panel of what is in hand: settings of the tool, and what can be done with it."""

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
import pygame

from sim.bench.desk import Desk
from sim.bench.hold import COVERED, NO_CARRYING_ON, NO_ORDERS, Hold
from sim.bench.iron import STYLES
from sim.bench.lettering import CONTROL, LABEL, NAME, SMALL, Ui
from sim.bench.other_hand import strategy_of
from sim.bench.palette import INK, MARKS, WELL
from sim.bench.panels import Stack
from sim.bench.pieces import FILMS_UM, HAND_N, PUSHES, Prediction
from sim.bench.widgets import Button, Field, Label, Radio, Slider, Toggle, Widget
from sim.hands.skill import HANDS
from sim.model.blade import RACK
from sim.process.stroke import Iron, flat_cut, taken_um
from sim.units import counted

BLADES = tuple(sorted(RACK, key=lambda name: -RACK[name].end_radius_mm))
TAKES = ("high", "high and medium", "all in chalk")
MARK_CHOICES = ("more", "same", "fewer")
ORDERED = ("take", "length_mm", "spacing_mm", "angle_deg", "cross", "turn on", "turn back")
"""What an order that is drawn follows at once."""


OTHERS = ("hand over", "finish as")
NO_COPY = "In free practice, which every lesson has at its end."
NO_HAND = "this lesson is your own hand's; in free practice, and in lesson 17, a trained hand goes on for you."


class CutSection(Label):
    """Section of the cut that the set push makes on flat iron: the same anywhere on any face."""

    def show(self, depth_um: float, width_mm: float) -> "CutSection":
        """What it shows."""
        self.depth_um, self.width_mm = depth_um, width_mm
        return self

    def height(self, ui: Ui, width: int) -> int:
        """Pixels it needs."""
        return ui.px(64)

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        ui.box(surface, self.rect, WELL, ui.theme.line)
        inner = self.rect.inflate(-2 * ui.px(10), -2 * ui.px(8))
        across = self.width_mm * inner.width / 14.0  # 14 mm over the box; depth 1 um = 2 px
        deep = self.depth_um * ui.px(2)
        top = inner.top + ui.px(6)
        u = np.linspace(-1.0, 1.0, 41)
        x = inner.centerx + 0.5 * across * u
        y = top + np.minimum(deep, inner.height - ui.px(28)) * (1.0 - u * u)
        iron = [
            (inner.left, top),
            *zip(x.tolist(), y.tolist(), strict=True),
            (inner.right, top),
            (inner.right, inner.bottom),
            (inner.left, inner.bottom),
        ]
        pygame.draw.polygon(surface, MARKS["iron"], iron)
        pygame.draw.aalines(surface, MARKS["bared"], False, iron[:-2])
        ui.line(
            surface,
            pygame.Rect(inner.left, inner.bottom - ui.px(20), inner.width, ui.px(18)),
            self.string,
            SMALL,
            INK,
            align="centre",
        )


def in_hand(desk: Desk, hold: Hold, where: pygame.Rect, ui: Ui) -> list[Widget]:
    """The panel of the tool in hand, and at its foot what ends the practice."""
    stack = Stack(where.inflate(-2 * ui.px(16), -2 * ui.px(12)), ui, area=2)
    titles = {
        "roll": "Roller",
        "spot": "The part",
        "read": "The eye",
        "scrape": "Scraper",
        "stone": "Stone",
        "wipe": "Cloth",
        "indicator": "Indicator",
        "hinge": "A finger",
        "chalk": "Chalk",
        "square": "Counting square",
        None: "Nothing",
    }
    if where.height >= ui.px(520):
        stack.label("In hand", SMALL)
        stack.y -= ui.px(6)
    stack.label(titles[desk.tool], NAME, "text", bold=True)
    fill = {
        "roll": _roller,
        "spot": _part,
        "read": _eye,
        "scrape": _scraper,
        "stone": _stone,
        "wipe": _cloth,
        "indicator": _indicator,
        "hinge": _hinge,
        "chalk": _chalk,
        "square": _square,
    }
    if desk.tool in fill:
        fill[desk.tool](desk, hold, stack)
    else:
        _nothing(desk, stack)
    if desk.tool in ("roll", "read", "wipe", "indicator"):
        _faces(desk, stack)
    foot = Stack(pygame.Rect(stack.rect.left, where.bottom - ui.px(12 + 34), stack.rect.width, ui.px(34)), ui, area=2)
    foot.beside(
        [
            Button(
                "uncover",
                "Uncover",
                enabled=desk.freedom.uncover,
                reason=COVERED,
                hint="Show the heights under the counting square; it is counted (U)",
            ),
            Button("finish", "Finish", hint="Finish this face: uncover it and hold it against its goal (Ctrl+Enter)"),
        ],
        34,
    )
    return stack.made + foot.made


def _nothing(desk: Desk, stack: Stack) -> None:
    """No tool in hand: the part can be turned, and the work left to another."""
    stack.label("Pick up a tool from the tray, or turn the part.")
    _faces(desk, stack)
    if desk.handed is not None:
        left = f" ({counted(desk.hand_rounds, 'round')} left)" if not desk.handing.strategy else ""
        stack.add(Button("let go", f"Stop{left}", key="Esc"))
        return
    stack.add(Radio("other", OTHERS, OTHERS.index(desk.settings.other), hint="Leave the work to another"))
    if desk.settings.other == "finish as":
        _finish_as(desk, stack)
        return
    may, reason = desk.freedom.hand_over, NO_HAND[:1].upper() + NO_HAND[1:]
    stack.label(f"Hand over: {'a trained hand goes on over what is chalked or called high.' if may else NO_HAND}")
    stack.beside([Button(f"hand over {n}", counted(n, "round"), enabled=may, reason=reason) for n in (1, 3)])


def _finish_as(desk: Desk, stack: Stack) -> None:
    """See the face finished as a strategy would, on a copy of the job."""
    may, chosen = desk.freedom.finish_as, strategy_of(desk)
    which = f"A copy, worked as {desk.settings.finished_as}." if desk.settings.finished_as else "On a copy of this job."
    stack.label(f"{chosen.doc} {which if may else NO_COPY}")
    stack.beside([Button("strategy before", "Before", enabled=may, reason=NO_COPY),
                  Button("strategy next", "Next", enabled=may, reason=NO_COPY)])  # fmt: skip
    stack.add(Button("finish as", f"Finish as {chosen.name}", hint="See it worked to its end, act by act", enabled=may,
                     reason=NO_COPY))  # fmt: skip


def _roller(desk: Desk, hold: Hold, stack: Stack) -> None:
    s = desk.settings
    _on_which(desk, stack)
    stack.label("Film")
    own = s.own_um not in (0.0, FILMS_UM[s.film])
    stack.add(Radio("film", ("thin", "normal", "heavy"), -1 if own else s.film - 1))
    stack.add(Slider("film_um", "Weight; keys 1 to 3", s.film_um, (0.5, 12.0), 0.5, "{:g} µm".format), 44)
    stack.add(Radio("applicator", ("brayer", "rag"), int(s.applicator == "rag")))
    stack.add(Button("do", "Roll it on", key="Space"))
    stack.add(Button("wipe plate", "Clean the plate"))


def _part(desk: Desk, hold: Hold, stack: Stack) -> None:
    s = desk.settings
    if desk.laid:
        stack.label(
            "It lies on the plate and was rubbed. Before you lift: where will it be hardest? Click there.",
            CONTROL,
            "text",
        )
        if desk.session.job.round:
            stack.label("Marks, against the last print")
            marks = desk.prediction.marks if desk.prediction else None
            stack.add(Radio("expect", MARK_CHOICES, MARK_CHOICES.index(marks) if marks in MARK_CHOICES else -1))
        stack.add(Button("do", "Lift", key="Space"))
        return
    _on_which(desk, stack)
    if stack.rect.height >= stack.ui.px(500):
        stack.label("Drag it on the plate, or move it with the arrows.", SMALL)
    rub = Slider("way_mm", "Rub", s.way_mm, (0.0, 30.0), 2.0, "{:g} mm".format)
    if s.on == "plate":
        stack.beside([rub, Radio("rub", ("↔", "↕"), int(s.rub == "across"), hint="Rub along, or across")], 40)
        stack.add(Toggle("press_n", "Press on its middle", bool(s.press_n)))
        stack.add(Toggle("turn_deg", "End for end (J)", s.turn_deg == 180.0))
    else:
        stack.add(rub, 44)
    stack.add(Button("do", "Lay and rub", key="Space"))
    _faces(desk, stack)


def _on_which(desk: Desk, stack: Stack) -> None:
    """The plate or the angle plate, for a face that is set against it."""
    if desk.upright_allowed():
        stack.add(Radio("on", ("plate", "angle plate"), int(desk.settings.on == "angle plate")))


def _faces(desk: Desk, stack: Stack) -> None:
    """Which face is worked; nothing for a part of one."""
    names = tuple(desk.session.job.part.faces)
    if len(names) > 1:
        stack.space(6)
        stack.label("Face in hand")
        stack.add(Radio("face", names[:4], names.index(desk.session.job.in_hand)))


def _eye(desk: Desk, hold: Hold, stack: Stack) -> None:
    s = desk.settings
    stack.label("Click a mark to call it")
    stack.add(Radio("level", ("▲ high", "■ med", "▽ low"), s.level - 1))
    stack.label("Keys 1, 2, 3; Shift: sure. 0 clears the last.", SMALL)
    counts = [sum(c.level == n for c in desk.calls) for n in (1, 2, 3)]
    stack.label(f"Called: {counts[0]} high, {counts[1]} medium, {counts[2]} low", LABEL, "text")
    stack.add(
        Button(
            "take calls",
            "Take my calls",
            key="C",
            enabled=bool(desk.calls),
            reason="No calls: click a mark, then 1 high, 2 medium, 3 low.",
        )
    )
    stack.add(Toggle("plate view", "Plate beside it (P)", desk.plate_view))


@lru_cache(maxsize=256)
def preview(blade: str, push_n: float, edge_um: float) -> tuple[float, float]:
    """Depth taken (um) and width (mm) of the cut that a push makes on flat iron; of no face in particular."""
    return taken_um(RACK[blade], push_n, Iron(), edge_um), flat_cut(RACK[blade], push_n, Iron(), edge_um)[1]


def _scraper(desk: Desk, hold: Hold, stack: Stack) -> None:
    s, ui = desk.settings, stack.ui
    step = PUSHES[s.push - 1]
    tight = stack.rect.height < ui.px(500)
    stack.gap = ui.px(3 if tight else 6)
    stack.label(f"Push: {step.name}, about {desk.settings.push_n:g} N")
    stack.add(Radio("push", tuple("123456"), s.push - 1), 32)
    if not tight:
        stack.label("End of the blade")
    stack.add(Radio("blade", tuple(f"R{RACK[name].end_radius_mm:g}" for name in BLADES), BLADES.index(s.blade)), 32)
    edge = desk.session.job.edges[s.blade]
    depth, wide = preview(s.blade, desk.settings.push_n, round(edge.radius_um, 2))
    words = f"Cut on flat iron: {wide:.1f} mm × {depth:.1f} µm"
    if tight:
        stack.label(words, SMALL)
    else:
        stack.add(CutSection("cut", string=words).show(depth, wide))
    stack.beside(
        [
            Slider("length_mm", "Length", s.length_mm, (3.0, 30.0), 1.0, "{:g} mm".format),
            Slider("spacing_mm", "Gap", s.spacing_mm, (0.5, 6.0), 0.1, "{:.1f} mm".format),
        ],
        42,
    )
    stack.beside(
        [
            Slider("angle_deg", "Direction", s.angle_deg, (0.0, 360.0), 5.0, "{:g}°".format),
            Button("hone", "Hone", hint=f"Hone this blade, two minutes (H); {edge.metres:.0f} m since the last",
                   enabled="hone" not in desk.closed, reason=desk.closed.get("hone", "")),
        ],
        42,
    )
    hand = hold.hand()
    whose = "Your hand today" if hand.measured else f"A {desk.freedom.hand} hand"
    stack.label(f"{whose}: {hand.sideways_mm:.1f} mm, ±{hand.direction_deg:.0f}°; edge {edge.metres:.0f} m", SMALL)
    _order(desk, stack)


def _order(desk: Desk, stack: Stack) -> None:
    """What an order takes; its ghosts are laid when they are drawn."""
    s = desk.settings
    stack.add(Radio("take", ("high", "+ med", "chalk"), TAKES.index(s.take)), 32)
    if desk.order:
        seconds = round(len(desk.order) * 60.0 / HANDS[desk.freedom.hand].pace_per_min)
        stack.add(
            Button(
                "lay",
                f"Lay {counted(len(desk.order), 'stroke')} ({clock(seconds)})",
                in_hand=True,
            ),
            34,
        )
    else:
        stack.beside(
            [
                Button("order", "Order", hint="Ghosts over your calls or chalk; nothing is cut yet",
                       enabled=desk.freedom.orders, reason=NO_ORDERS),
                Button(
                    "carry on",
                    "Carry on",
                    enabled=desk.freedom.carry_on,
                    reason=NO_CARRYING_ON,
                    hint="Lay the order over all you called in this print (K)",
                ),
            ],
            34,
        )


def clock(seconds: int) -> str:
    """Shop time that something takes: 40 s, 1 min 40 s."""
    return f"{seconds} s" if seconds < 60 else f"{seconds // 60} min {seconds % 60:02d} s"


def _stone(desk: Desk, hold: Hold, stack: Stack) -> None:
    stack.add(Radio("pressure", ("light", "firm"), int(desk.settings.pressure == "firm")))
    stack.label("One pass over the face takes a minute. Burrs that stand carry the part at the next print.", SMALL)
    stack.add(Button("do", "Stone once", key="Space"))


def _cloth(desk: Desk, hold: Hold, stack: Stack) -> None:
    stack.label("Chips and blue go; some blue stays in the pockets.", SMALL)
    stack.add(Button("do", "Wipe the face", key="Space"))


def _indicator(desk: Desk, hold: Hold, stack: Stack) -> None:
    datum = hold.datum()
    if datum is None:
        stack.label("This part has one face only: there is nothing to stand it on. Open the whole stand to use it.")
        return
    stack.label(f"The part stands on its {datum}; heights are written on the {desk.session.job.in_hand}.")
    stack.add(Radio("tip", ("block", "ball"), int(desk.settings.tip == "ball")))
    stack.add(Button("do", "Sweep the face", key="Space"))
    stack.add(
        Button("sweep turned", "Sweep it turned round", hint="The other way round: stand and part are told apart")
    )
    stack.label("Click a place, or drag a line, for a few stations.", SMALL)
    sight = desk.sight
    for asked, reading, doubt in zip(sight.tolerances, sight.readings, sight.doubts, strict=True):
        if asked.face == sight.in_hand:
            read = "not read yet" if reading is None else f"{reading.value_um:g} µm" + (", in doubt" if doubt else "")
            stack.label(
                f"{asked.kind.capitalize()} to {asked.datum}: {read}; wanted {asked.limit_um:g} µm", LABEL, "text"
            )


def _hinge(desk: Desk, hold: Hold, stack: Stack) -> None:
    stack.label("Push each end sideways on the clean plate. It turns about what carries it.", SMALL)
    stack.add(Button("do", "Push both ends", key="Space"))
    if desk.turned is not None:
        for end, pivot in zip(("right", "left"), desk.turned.pivots, strict=True):
            stack.label(
                f"Pushed at the {end}: it turns {100.0 * pivot.share:.0f} % of the length from the far end",
                LABEL,
                "text",
            )
        stack.label(f"An even face of this outline: {100.0 * desk.turned.even[0].share:.0f} %", LABEL)
        stack.label("Crosses: where it turned. Near the middle: crowned; near the far end: hollow.", SMALL)


def _chalk(desk: Desk, hold: Hold, stack: Stack) -> None:
    stack.label("Draw round marks or an area; a click sets a ring of 10 mm.", SMALL)
    stack.label(f"{len(desk.chalk)} chalked", LABEL, "text")
    stack.add(
        Button(
            "order chalk",
            "Order over all in chalk",
            enabled=bool(desk.chalk),
            reason="No chalk yet: draw round an area.",
        )
    )
    stack.add(Button("rub out", "Rub out the last", enabled=bool(desk.chalk), reason="No chalk yet."))


def _square(desk: Desk, hold: Hold, stack: Stack) -> None:
    stack.label("Click to lay it; the counts are yours.", SMALL)
    stack.add(Field("counted", text=desk.settings.counted, empty="your count", unit="spots"))
    stack.add(Field("bearing", text=desk.settings.bearing, empty="your guess", unit="% bearing"))


def is_count(text: str) -> bool:
    """A number from 0 to 100, or nothing."""
    try:
        return not text.strip() or 0.0 <= float(text) <= 100.0
    except ValueError:
        return False


def set_tool(desk: Desk, hold: Hold, id: str, value: Any) -> bool:
    """Set a tool as a widget of its panel, or the key that stands for it, says; False when it is none of these."""
    s = desk.settings
    sets: dict[str, Callable[[], dict[str, Any]]] = {
        "film": lambda: {"film": value + 1, "own_um": 0.0},
        "film_um": lambda: {"own_um": float(value)},
        "applicator": lambda: {"applicator": ("brayer", "rag")[value]},
        "way_mm": lambda: {"way_mm": float(value)},
        "turn_deg": lambda: {"turn_deg": 180.0 if value else 0.0},
        "rub": lambda: {"rub": ("along", "across")[value]},
        "press_n": lambda: {"press_n": HAND_N if value else 0.0},
        "turn over": lambda: {"turn_deg": 180.0 - s.turn_deg},
        "level": lambda: {"level": value + 1},
        "push": lambda: {"push": value + 1, "quarter": 0, "blade": PUSHES[value].blade},
        "blade": lambda: {"blade": BLADES[value]},
        "length_mm": lambda: {"length_mm": float(value)},
        "spacing_mm": lambda: {"spacing_mm": float(value)},
        "angle_deg": lambda: {"angle_deg": float(value) % 360.0},
        "turn on": lambda: {"angle_deg": (s.angle_deg - 15.0) % 360.0},
        "turn back": lambda: {"angle_deg": (s.angle_deg + 15.0) % 360.0},
        "cross": lambda: {"angle_deg": (s.angle_deg + s.cross_deg) % 360.0},
        "take": lambda: {"take": TAKES[value]},
        "pressure": lambda: {"pressure": ("light", "firm")[value]},
        "other": lambda: {"other": OTHERS[value]},
        "tip": lambda: {"tip": ("block", "ball")[value]},
        "counted": lambda: {"counted": str(value)[:12]},
        "bearing": lambda: {"bearing": str(value)[:12]},
        "next blade": lambda: {"blade": BLADES[(BLADES.index(s.blade) + 1) % len(BLADES)]},
        "next style": lambda: {"style": STYLES[(STYLES.index(s.style) + 1) % len(STYLES)]},
    }
    if id in ("turn over", "turn_deg") and desk.laid:
        desk.told = "It lies on the plate and was rubbed: lift it first."
    elif id in ("push less", "push more"):
        s.push_by(1 if id == "push more" else -1)
    elif id in ("counted", "bearing") and not is_count(str(value)):
        desk.told = "A count, or a share in per cent, is a number from 0 to 100."
    elif id == "on":
        desk.done.discard("roll")
        desk.set(on=("plate", "angle plate")[value])
        desk.centre()
    elif id == "expect":
        desk.prediction = (desk.prediction or Prediction())._replace(marks=MARK_CHOICES[value])
    elif id in sets:
        desk.set(**sets[id]())
        if id in ORDERED and desk.order and hold.row is None:
            hold.show_order()
    else:
        return False
    return True
