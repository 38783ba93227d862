"""What is in the hand: press, move and release on the face, and the keys that stand for them, in mm. No pygame here.

Each tool answers in its own way; nothing is cut before a release, and Esc or the right button throws a gesture away.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.bench.desk import Desk
from sim.bench.gestures import CLICK_MM, Drag, Line, Manner, Place, Row, order_strokes, ring
from sim.bench.hand_today import HandToday, KeyStroke, hand_today, next_patch
from sim.bench.pieces import Prediction
from sim.hands.skill import HANDS
from sim.shop.luck import luck
from sim.shop.partwork import SweepFace

# common practice, no source:
RING_MM = 5.0  # radius of chalk set down by a click
GRAZE_SHARE = 0.35  # of the spacing: so near to a ghost a click drops it
STATION_MM = 10.0  # along a line under the indicator
CHALK_STEP_MM = 0.8
COVERED = "Heights stay covered here until the finish: they open in a part with help, and in free practice."
NO_ORDERS = "This lesson does not allow orders: each stroke is yours."
NO_CARRYING_ON = "This lesson does not carry on by itself: draw every order anew."
NO_ROWS = "This lesson does not allow rows: one stroke was cut."


@dataclass
class Hold:
    """The gesture under way, and the cursor that the keys move.

    Attributes
    ----------
    cursor_mm : (float, float)
        Where keys act; follows the pointer.
    met : bool
        Pointer or keys have been on the face: before that no tool is drawn over it.
    by_key : bool
        The cursor was moved by keys last, and is drawn.
    drag, row, key, outline :
        What is being drawn: a stroke, a row of ghosts, a stroke by keys, a piece of chalk.
    grip_mm : (float, float) or None
        Where the part is held while it is moved on the plate.
    pressing : str
        Tool whose act waits for the release of the button.
    """

    desk: Desk
    cursor_mm: tuple[float, float] = (0.0, 0.0)
    met: bool = False
    by_key: bool = False
    drag: Drag | None = None
    row: Row | None = None
    key: KeyStroke | None = None
    outline: list[tuple[float, float]] | None = None
    grip_mm: tuple[float, float] | None = None
    shift: bool = False
    _from_mm: tuple[float, float] = (0.0, 0.0)
    pressing: str = ""
    patch_draws: int = 0

    # ------------------------------------------------------------------ the hand

    def manner(self) -> Manner:
        """How clicks, rows and orders are set."""
        s = self.desk.settings
        return Manner(s.length_mm, s.angle_deg, s.spacing_mm, each=s.each)

    def hand(self) -> HandToday:
        """The scatter with which rows, orders, clicks and keys are laid in this round."""
        return hand_today(self.desk.dragged, HANDS[self.desk.freedom.hand])

    def laid(self, lines: list[Line]) -> NDArray[np.float64]:
        """Strokes as the hand of today makes them."""
        job = self.desk.session.job
        rng = luck(job.start.seed, "hand", job.round, job.strokes_this_round)
        return self.hand().laid(lines, self.desk.settings.push_n, rng)

    # ------------------------------------------------------------------ the pointer

    def press(self, x_mm: float, y_mm: float, *, shift: bool = False, level: int | None = None) -> None:
        """The left button goes down on the face."""
        desk, tool = self.desk, self.desk.tool
        self.cursor_mm, self.by_key, self.shift, self.met = (x_mm, y_mm), False, shift, True
        if desk.passing is not None or desk.handed is not None:
            self.cancel(tool=False)  # a click on the face stops what goes by itself
        elif self.row is not None:
            self._click_row(x_mm, y_mm)
        elif tool == "spot":
            self._press_spot(x_mm, y_mm)
        elif tool == "read":
            desk.call(x_mm, y_mm, level, sure=shift)
        elif tool in ("scrape", "indicator"):
            self.drag = Drag((x_mm, y_mm))
        elif tool == "chalk":
            self.outline = [(x_mm, y_mm)]
        elif tool == "square":
            self.move_square(x_mm, y_mm)
        elif tool is not None:
            self.pressing = tool  # done on release, so that it can still be thrown away

    def let_go(self) -> None:
        """End every gesture without doing it: another tool, another page, another print."""
        if self.grip_mm is not None:
            self.desk.set(x_mm=self._from_mm[0], y_mm=self._from_mm[1])
        self.drag = self.row = self.key = self.outline = self.grip_mm = None
        self.pressing = ""
        self.desk.order = ()

    def move(self, x_mm: float, y_mm: float) -> bool:
        """The pointer moves; True when something must be drawn."""
        self.cursor_mm, self.by_key, self.met = (x_mm, y_mm), False, True
        if self.drag is not None:
            self.drag.move(x_mm, y_mm)
        elif self.row is not None:
            self.row.aside(x_mm, y_mm)
            self.desk.order = tuple(self.row.ghosts())
        elif self.outline is not None:
            if math.dist(self.outline[-1], (x_mm, y_mm)) >= CHALK_STEP_MM:
                self.outline.append((x_mm, y_mm))
        elif self.grip_mm is not None:
            gx, gy = self.grip_mm
            at = self.desk.settings.x_mm + x_mm - gx, self.desk.settings.y_mm + y_mm - gy
            self.desk.set(x_mm=round(at[0], 2), y_mm=round(at[1], 2))
            self.grip_mm = x_mm, y_mm
        return True

    def release(self, x_mm: float, y_mm: float) -> None:
        """The left button comes up: now it cuts."""
        self.grip_mm = None
        pressing, self.pressing = self.pressing, ""
        if pressing and pressing == self.desk.tool:
            self.do()
            return
        if self.outline is not None:
            outline, self.outline = self.outline, None
            self.desk.add_chalk(outline if len(outline) >= 3 else ring(*outline[0], RING_MM))
        if self.drag is None:
            return
        drag, self.drag = self.drag, None
        line = drag.release(x_mm, y_mm, self.manner())
        if line is None:
            return
        if self.desk.tool == "indicator":
            self._sweep_line(drag)
        elif drag.is_click:
            self.desk.cut(self.laid([line]))
        elif self.shift and self.desk.freedom.rows:
            self._begin_row(line)
        else:
            self._turn_to(line)
            if self.desk.stroke(*line) and self.shift:
                self.desk.told = NO_ROWS

    def cancel(self, tool: bool = True) -> bool:
        """Let go, in order: stroke, ghosts, pass, the part on the plate, the tool; False when nothing was held.

        tool: whether the tool itself may be put down.
        """
        desk = self.desk
        if self.under_way() or self.key is not None:
            self.let_go()
            desk.told = "Thrown away; nothing was done."
        elif self.row is not None or desk.order:
            self.row, desk.order = None, ()
            desk.told = "The ghosts are gone; nothing was cut."
        elif desk.passing is not None:
            desk.stop_pass()
        elif desk.handed is not None:
            desk.handed = None
            desk.told = f"The trained hand stopped in round {desk.session.job.round}; what is cut stays cut."
        elif desk.laid:
            desk.laid = False
            desk.told = "Taken off the plate without rubbing."
        elif tool and desk.tool is not None:
            desk.take(None)
        else:
            return False
        return True

    def under_way(self) -> bool:
        """The pointer is in the middle of something on the face."""
        return bool(self.drag or self.outline or self.grip_mm or self.pressing)

    def _press_spot(self, x_mm: float, y_mm: float) -> None:
        if self.desk.laid:
            before = self.desk.prediction
            self.desk.prediction = Prediction(round(x_mm, 1), round(y_mm, 1), before.marks if before else None)
        else:
            self.grip_mm = (x_mm, y_mm)
            self._from_mm = self.desk.settings.x_mm, self.desk.settings.y_mm

    def _click_row(self, x_mm: float, y_mm: float) -> None:
        assert self.row is not None  # only called so
        ghosts = self.row.ghosts()
        near = self.row.ghost_at(x_mm, y_mm, GRAZE_SHARE * self.row.spacing_mm)
        if near is not None and near != len(ghosts) - 1:
            self.row.drop(near)
            self.desk.order = tuple(self.row.ghosts())
        else:
            self.row = None
            self.desk.begin_pass(self.laid(list(ghosts)))

    def _turn_to(self, line: Line) -> None:
        """Rows and orders go in the direction of the last single stroke."""
        self.desk.set(angle_deg=round(math.degrees(math.atan2(line[3] - line[1], line[2] - line[0]))) % 360)

    def _sweep_line(self, drag: Drag) -> None:
        """Stations along a line that was drawn; a click is a single one."""
        (x0, y0), (x1, y1) = drag.begun_mm, drag.at_mm
        count = 1 + round(math.dist((x0, y0), (x1, y1)) / STATION_MM)
        share = np.linspace(0.0, 1.0, count) if count > 1 else np.zeros(1)
        points = tuple((round(x0 + t * (x1 - x0), 2), round(y0 + t * (y1 - y0), 2)) for t in share.tolist())
        datum = self.datum()
        if datum is None:
            self.desk.told = "This part has no other face to stand on: the indicator needs a datum."
        else:
            self.desk.act(SweepFace(self.desk.session.job.in_hand, datum, points=points, tip=self.desk.settings.tip))

    def datum(self) -> str | None:
        """The face to stand on for a sweep of the one in hand: its tolerance's datum, or else another face."""
        job = self.desk.session.job
        asked = [one.datum for one in job.start.shape.tolerances if one.face == job.in_hand]
        others = [name for name in job.part.faces if name != job.in_hand]
        return next(iter(asked + others), None)

    # ------------------------------------------------------------------ the keys

    def step(self, dx_mm: float, dy_mm: float) -> None:
        """Move the cursor on the face; the part on the plate when it is about to be laid."""
        if self.desk.tool == "spot" and not self.desk.laid:
            s = self.desk.settings
            self.desk.set(x_mm=round(s.x_mm + dx_mm, 2), y_mm=round(s.y_mm + dy_mm, 2))
            return
        length, width = self.desk.session.job.face.size_mm
        x, y = self.cursor_mm
        self.cursor_mm = min(max(x + dx_mm, 0.0), length), min(max(y + dy_mm, 0.0), width)
        self.by_key = self.met = True
        if self.key is not None:
            self.key = KeyStroke(self.key.begun_mm, self.cursor_mm)
        if self.row is not None:
            self.row.aside(*self.cursor_mm)
            self.desk.order = tuple(self.row.ghosts())
        if self.desk.tool == "square":
            self.move_square(*self.cursor_mm)

    def jump(self, step: int) -> None:
        """Go to a random point of the next inked patch, or the one before."""
        sight = self.desk.sight
        rng = luck(sight.seed, "hand", sight.round, 1_000_000 + self.patch_draws)
        found = next_patch(sight.marked, sight.pitch_mm, self.cursor_mm, rng, step)
        self.patch_draws += 1
        if found is None:
            self.desk.told = "No blue to go to."
        else:
            self.cursor_mm, self.by_key, self.met = found, True, True

    def do(self) -> None:
        """Space: do what the tool in hand does; with the scraper, set the blade down and lift it."""
        desk = self.desk
        if desk.passing is not None:
            desk.passing.paused = not desk.passing.paused
            return
        if self.row is not None or desk.order:
            self.lay_order()
            return
        tool = desk.tool
        if tool == "spot":
            desk.lift() if desk.laid else desk.lay()
        elif tool == "read":
            desk.call(*self.cursor_mm)
        elif tool == "scrape":
            self._key_stroke()
        elif tool == "chalk":
            desk.add_chalk(ring(*self.cursor_mm, RING_MM))
        elif tool == "square":
            self.move_square(*self.cursor_mm)
        elif tool == "indicator":
            self.sweep()
        else:
            acts = {"roll": desk.roll, "stone": desk.stone, "wipe": desk.wipe, "hinge": desk.push_ends}
            if tool in acts:
                acts[tool]()

    def enter(self) -> None:
        """Enter: one stroke of set length at the cursor, or lay what is drawn; any other tool does its own."""
        if self.desk.tool == "scrape" and not self.desk.order and self.row is None and self.desk.passing is None:
            self.desk.cut(self.laid([self.manner().centred(*self.cursor_mm)]))
        else:
            self.do()

    def _key_stroke(self) -> None:
        if self.key is None:
            self.key, self.by_key, self.met = KeyStroke.begin(*self.cursor_mm), True, True
            return
        line, self.key = self.key.line(), None
        if line is None:
            self.desk.told = f"Too short for a stroke: at least {CLICK_MM:g} mm."
            return
        self._turn_to(line)
        self.desk.cut(self.laid([line]))

    def key_row(self) -> None:
        """A stroke made with the keys becomes the first of a row; the cursor then moves aside, Space lays it."""
        line = self.key.line() if self.key is not None else None
        if line is None or not self.desk.freedom.rows:
            self.do()
            return
        self.key = None
        self._begin_row(line)

    def _begin_row(self, line: Line) -> None:
        self._turn_to(line)
        self.row = Row(line, self.desk.settings.spacing_mm)
        self.desk.order = tuple(self.row.ghosts())
        self.desk.told = "Move aside for ghosts, click lays them; click on a ghost drops it, Esc lets go."

    def sweep(self, turn_deg: float = 0.0) -> None:
        """Sweep the face in hand over a grid."""
        datum = self.datum()
        if datum is None:
            self.desk.told = "This part has no other face to stand on: the indicator needs a datum."
        else:
            self.desk.sweep(datum, turn_deg)

    def move_square(self, x_mm: float, y_mm: float) -> None:
        """Lay the counting square with its middle here, within the face as far as it goes."""
        length, width = self.desk.session.job.face.size_mm
        self.desk.bared = False  # what was uncovered is shut where the square is taken away
        before = self.desk.settings.square_x_mm, self.desk.settings.square_y_mm
        self.desk.set(
            square_x_mm=min(max(x_mm - 12.7, 0.0), max(length - 25.4, 0.0)),
            square_y_mm=min(max(y_mm - 12.7, 0.0), max(width - 25.4, 0.0)),
        )
        if before != (self.desk.settings.square_x_mm, self.desk.settings.square_y_mm):
            self.desk.set(counted="", bearing="")  # a count is of one place

    def from_menu(self, id: str) -> None:
        """An entry of the menu, at the place where it was opened."""
        if id == "at undo":
            self.desk.undo()
        elif id == "at ring":
            self.desk.add_chalk(ring(*self.cursor_mm, RING_MM))
        elif id == "at square":
            self.move_square(*self.cursor_mm)
            self.desk.take("square")
        else:
            self.desk.call(*self.cursor_mm, int(id[-1]))

    # ------------------------------------------------------------------ orders

    def show_order(self) -> None:
        """Ghosts over what was called or chalked, and over nothing else."""
        desk = self.desk
        if not desk.freedom.orders:
            desk.told = NO_ORDERS
            return
        chalk = desk.chalk if desk.settings.take == "all in chalk" else []
        places = [] if chalk else [Place(c.x_mm, c.y_mm) for c in desk.chosen_calls()]
        desk.order = tuple(order_strokes(places, chalk, self.manner()))
        if desk.order:
            desk.told = f"Ghosts drawn: {len(desk.order)}. Enter lays them, Esc lets go."
        elif desk.settings.take == "all in chalk":
            desk.told = "No chalk yet: draw round an area (F)."
        else:
            desk.told = "No calls yet: click a mark, then 1 high, 2 medium, 3 low."

    def take_calls(self) -> None:
        """Put the scraper in hand with the order filled in from the calls: read, then cut."""
        self.let_go()
        self.desk.take("scrape")
        if self.desk.settings.take == "all in chalk":
            self.desk.set(take="high")
        self.show_order()

    def order_chalk(self) -> None:
        """Put the scraper in hand with an order over all that is chalked."""
        self.let_go()
        self.desk.take("scrape")
        self.desk.set(take="all in chalk")
        self.show_order()

    def uncover(self) -> None:
        """Show the heights under the counting square; it is counted."""
        desk = self.desk
        if not desk.freedom.uncover:
            desk.told = COVERED
            return
        self.let_go()
        desk.take("square")
        desk.uncovered, desk.bared, desk.unkept = desk.uncovered + 1, True, True
        desk.told = f"Uncovered under the counting square; times so far: {desk.uncovered}. It is in the record."

    def carry_on(self) -> None:
        """Repeat the last order over all that is called high or medium now."""
        if not self.desk.freedom.carry_on:
            self.desk.told = NO_CARRYING_ON
            return
        self.take_calls()
        if self.desk.order:
            self.lay_order()

    def lay_order(self) -> None:
        """Begin to lay the ghosts, with the scatter of the hand of today."""
        lines = list(self.desk.order)
        self.row = None
        self.desk.begin_pass(self.laid(lines))

    def preview(self) -> Line | None:
        """The stroke that a release, or the second Space, would cut."""
        if self.drag is not None:
            return self.drag.line(self.manner())
        return self.key.line() if self.key is not None else None
