"""The pane of the face: the iron as it looks now, what lies on it, and the tool over it; beside it the plate."""

import math
from typing import Any

import numpy as np
import pygame

from sim.bench.desk import Desk
from sim.bench.hold import Hold
from sim.bench.iron import IronPicture, film_picture
from sim.bench.lettering import LABEL, SMALL, Ui
from sim.bench.palette import (
    CALL_FILL,
    CHALK,
    INK,
    MARKS,
    WELL,
    WELL_FOCUS,
    WELL_TEXT,
)
from sim.bench.pieces import Hung
from sim.bench.signs import (
    blade_end,
    call_sign,
    call_word,
    coach_ring,
    cross,
    dashes,
    draw_legend,
    expected,
    expects,
    ghost,
    haloed,
    pointed,
    stamp,
)
from sim.bench.uncovered import height_map
from sim.bench.viewport import Viewport, whole_face
from sim.model.blade import RACK
from sim.shop.commands import Scrape

SQUARE_MM = 25.4
PLATE_SHARE = 0.36  # of the pane's width, for the plate beside the part
LEAST_FOR_PLATE = 800
CAPTION = 430  # room for scale and words at the foot, pixels at scale 1
TOOLS_MM = {
    "roll": (60.0, 12.0, False), "read": (4.0, 4.0, True), "stone": (100.0, 25.0, False), "wipe": (70.0, 70.0, True),
    "indicator": (9.0, 9.0, False), "chalk": (10.0, 10.0, True),
}  # fmt: skip
"""Tools at the cursor, to scale: width, height, and whether they are round. Roller, ring of the eye, stone, cloth,
gauge block, and the ring that a click would chalk. Common practice, no source."""


class FacePane:
    """What is seen of the face and the plate; it draws, and never acts.

    Attributes
    ----------
    view : Viewport
        Of the face; of the plate while the part is about to be laid on it.
    over : int or None
        Hung print that is laid over the face, counted from the newest.
    """

    def __init__(self, desk: Desk, rect: pygame.Rect) -> None:
        self.desk, self.rect = desk, rect
        self.over: int | None = None
        self.iron: IronPicture | None = None
        self._of: Any = None
        self._seen = -1
        self._scaled: tuple[Any, tuple[pygame.Surface, tuple[int, int]]] | None = None
        self._bared: tuple[Any, np.ndarray] | None = None
        self._filmed: tuple[Any, np.ndarray] | None = None
        self.face_view = whole_face((rect.left, rect.top, rect.width, rect.height), desk.session.job.face.size_mm)
        self.zoomed = False
        self.place(rect)

    # ------------------------------------------------------------------ where

    @property
    def on_plate(self) -> bool:
        """The pane shows the plate and the part about to be laid."""
        return self.desk.tool == "spot" and not self.desk.laid

    def beside(self) -> pygame.Rect | None:
        """Where the plate lies beside the part; None when it is not shown."""
        wanted = self.desk.tool == "read" and self.desk.plate_view and self.over is None
        if not wanted or self.rect.width < LEAST_FOR_PLATE or self.desk.session.job.round == 0:
            return None
        wide = round(self.rect.width * PLATE_SHARE)
        return pygame.Rect(self.rect.right - wide, self.rect.top, wide, self.rect.height)

    def place(self, rect: pygame.Rect) -> None:
        """Give the pane its place; the whole face is shown in it."""
        self.rect = rect
        self.whole()

    def whole(self) -> None:
        """Show the whole face."""
        self.zoomed = False
        self.face_view = whole_face(self._face_pane(), self.desk.session.job.face.size_mm)

    def _face_pane(self) -> tuple[int, int, int, int]:
        beside = self.beside()
        width = self.rect.width - (beside.width if beside else 0)
        return self.rect.left, self.rect.top, width, self.rect.height - 28

    @property
    def view(self) -> Viewport:
        """What the pointer's place means now."""
        if self.on_plate:
            r = self.rect
            return whole_face((r.left, r.top + 32, r.width, r.height - 32), self.desk.plate.size_mm)
        if not self.zoomed:
            return whole_face(self._face_pane(), self.desk.session.job.face.size_mm)
        return self.face_view.within(*self._face_pane())

    def to_mm(self, pos: tuple[int, int]) -> tuple[float, float]:
        """Place under a pixel: on the face, or on the plate while the part is about to be laid."""
        return self.view.to_mm(*pos)

    def holds(self, pos: tuple[int, int]) -> bool:
        """Whether a pixel belongs to the face (or to the plate that the part is laid on)."""
        beside = self.beside()
        return self.rect.collidepoint(pos) and not (beside and beside.collidepoint(pos))

    def zoom(self, factor: float, pos: tuple[int, int]) -> None:
        """Nearer or farther; what is under the pointer stays."""
        if not self.on_plate:
            self.face_view, self.zoomed = self.view.zoomed(factor, pos), True

    def shift(self, dx_px: float, dy_px: float) -> None:
        """Move the face along with the hand."""
        if not self.on_plate:
            self.face_view, self.zoomed = self.view.moved(dx_px, dy_px), True

    # ------------------------------------------------------------------ what is seen

    def refresh(self) -> None:
        """Bring the picture up to date with the iron; only what changed is drawn again when that can be told."""
        job, s = self.desk.session.job, self.desk.settings
        key = job.in_hand, int(job.face.scored.sum())
        looks = key, self.desk.changes, s.lamp_deg, s.style
        if self.iron is not None and looks == (self._of, self._seen, self.iron.lamp_deg, self.iron.style):
            return
        if self.iron is None or key != self._of:
            self.iron = IronPicture(job.face, lamp_deg=s.lamp_deg, style=s.style)
            self._of = key
        elif (s.lamp_deg, s.style) != (self.iron.lamp_deg, self.iron.style):
            self.iron.style = s.style
            self.iron.light(s.lamp_deg, job.face)
        else:
            self.iron.redraw(job.face, self._changed())
        self._seen = self.desk.changes
        self._scaled = None

    def _changed(self) -> tuple[int, int, int, int] | None:
        """Cells that the last command alone can have changed; None: any."""
        last = self.desk.last
        if self.desk.changes != self._seen + 1 or not isinstance(last, Scrape):
            return None
        pitch = self.desk.session.job.face.pitch_mm
        ny, nx = self.desk.session.job.face.shape
        table = np.asarray(last.table)[:, :4] / 100.0
        x, y = table[:, 0::2], table[:, 1::2]
        wide = RACK[last.blade].width_mm
        left, right = (math.floor((v - d) / pitch) for v, d in ((x.min(), wide), (x.max(), -wide)))
        low, high = (math.floor((v - d) / pitch) for v, d in ((y.min(), wide), (y.max(), -wide)))
        left, low, right, high = max(left, 0), max(low, 0), min(right, nx), min(high, ny)
        return (low, left, high - low, right - left) if right > left and high > low else (0, 0, 1, 1)

    def draw(self, surface: pygame.Surface, ui: Ui, hold: Hold) -> None:
        """The pane as it is now."""
        surface.fill(WELL, self.rect)
        before = surface.get_clip()
        surface.set_clip(self.rect)
        if self.on_plate:
            self._draw_plate_and_part(surface, ui)
        else:
            self._draw_face(surface, ui, hold)
            beside = self.beside()
            if beside:
                self._draw_beside(surface, ui, beside)
            draw_legend(surface, ui, self.desk, self._legend_row(ui))
        surface.set_clip(before)

    def _draw_face(self, surface: pygame.Surface, ui: Ui, hold: Hold) -> None:
        view = self.view
        pane = pygame.Rect(view.left_px, view.top_px, view.width_px, view.height_px)
        assert self.iron is not None  # refreshed before it is drawn
        hung = self.desk.hung[-1 - self.over] if self.over is not None and self.over < len(self.desk.hung) else None
        hung = hung if hung is not None and hung.face == self.desk.session.job.in_hand else None
        surface.blit(*self._face_picture(view, pane))
        if hung is not None:
            self._lay_over(surface, view, hung)
        stamp(surface, view)
        for outline in self.desk.chalk:
            pygame.draw.lines(surface, CHALK, True, [view.to_px(*p) for p in outline], 2)
        if hold.outline and len(hold.outline) > 1:
            pygame.draw.lines(surface, CHALK, False, [view.to_px(*p) for p in hold.outline], 2)
        self._draw_written(surface, ui, view)
        for call in self.desk.calls:
            call_sign(surface, ui, view.to_px(call.x_mm, call.y_mm), call.level)
        for line in self.desk.order:
            ghost(surface, view, line)
        if self.desk.tool in ("read", "square"):
            s = self.desk.settings
            x, y = view.to_px(s.square_x_mm, s.square_y_mm + SQUARE_MM)
            side = SQUARE_MM * view.px_per_mm
            box = pygame.Rect(round(x), round(y), round(side), round(side))
            if self.desk.bared:
                self._draw_bared(surface, box)
            pygame.draw.rect(surface, INK, box, 3)
            pygame.draw.rect(surface, WELL_FOCUS if self.desk.tool == "square" else CHALK, box, 1)
        prediction = self.desk.prediction
        if prediction is not None and expects(self.desk):
            expected(surface, ui, view.to_px(prediction.x_mm or 0.0, prediction.y_mm or 0.0))
        if self.desk.tool == "hinge" and self.desk.turned is not None:
            for pivot in self.desk.turned.pivots:
                x, y = view.to_px(pivot.x_mm, pivot.y_mm)
                pygame.draw.circle(surface, INK, (round(x), round(y)), ui.px(9), 4)
                pygame.draw.circle(surface, CALL_FILL, (round(x), round(y)), ui.px(8), 2)
                cross(surface, (x, y))
        for place in self.desk.lit_mm:
            coach_ring(surface, ui, view.to_px(*place))
        self._draw_tool(surface, ui, view, hold)
        for call in self.desk.calls:
            call_word(surface, ui, view.to_px(call.x_mm, call.y_mm), call.level, call.sure)
        self._caption(surface, ui, view, hung)

    def _draw_bared(self, surface: pygame.Surface, box: pygame.Rect) -> None:
        """Heights under the counting square, and nowhere else."""
        job, s = self.desk.session.job, self.desk.settings
        key = job.in_hand, self.desk.changes
        if self._bared is None or self._bared[0] != key:
            self._bared = key, height_map(job.face)[0]
        picture, ny = self._bared[1], job.face.shape[0]
        col, row, side = (round(v / job.face.pitch_mm) for v in (s.square_x_mm, s.square_y_mm, SQUARE_MM))
        part = np.ascontiguousarray(picture[max(ny - row - side, 0) : ny - row, col : col + side])
        made = pygame.image.frombuffer(part.data, (part.shape[1], part.shape[0]), "RGB")
        surface.blit(pygame.transform.smoothscale(made, box.size), box)

    def _face_picture(self, view: Viewport, pane: pygame.Rect) -> tuple[pygame.Surface, tuple[int, int]]:
        """What is seen of the iron, scaled, and where it lies; kept until the iron or the view changes."""
        assert self.iron is not None
        if self._scaled is not None and self._scaled[0] == (view, id(self.iron)):
            return self._scaled[1]
        rgbx = self.iron.rgbx
        ny, nx = rgbx.shape[:2]
        pitch = self.desk.session.job.face.pitch_mm
        x0, y1 = view.to_mm(pane.left, pane.top)
        x1, y0 = view.to_mm(pane.right, pane.bottom)
        left, right = max(math.floor(x0 / pitch), 0), min(math.ceil(x1 / pitch), nx)
        top, bottom = max(ny - math.ceil(y1 / pitch), 0), min(ny - math.floor(y0 / pitch), ny)
        seen = pygame.Surface((1, 1)), pane.topleft
        if right > left and bottom > top:
            cells = rgbx if (right - left, bottom - top) == (nx, ny) else rgbx[top:bottom, left:right].copy()
            picture = pygame.image.frombuffer(cells.data, (right - left, bottom - top), "RGBX")
            px, py = view.to_px(left * pitch, (ny - top) * pitch)
            qx, qy = view.to_px(right * pitch, (ny - bottom) * pitch)
            size = max(round(qx) - round(px), 1), max(round(qy) - round(py), 1)
            seen = pygame.transform.smoothscale(picture, size), (round(px), round(py))
        self._scaled = (view, id(self.iron)), seen
        return seen

    def _lay_over(self, surface: pygame.Surface, view: Viewport, hung: Hung) -> None:
        """An older print over the face, half seen through."""
        ny, nx = hung.picture.shape
        shade = np.zeros((nx, ny, 4), np.uint8)
        shade[:, :, :3] = MARKS["ring"]
        shade[:, :, 3] = (hung.picture[::-1].T * 0.8).astype(np.uint8)
        picture = pygame.image.frombuffer(np.ascontiguousarray(shade.swapaxes(0, 1)).data, (nx, ny), "RGBA")
        left, top, wide, high = view.face_rect_px()
        surface.blit(
            pygame.transform.smoothscale(picture, (max(round(wide), 1), max(round(high), 1))), (round(left), round(top))
        )

    def _draw_written(self, surface: pygame.Surface, ui: Ui, view: Viewport) -> None:
        job = self.desk.session.job
        written = job.part.numbers(job.in_hand)
        if written is None:
            return
        for x, y, z in zip(written.x_mm.tolist(), written.y_mm.tolist(), written.z_um.tolist(), strict=True):
            haloed(surface, ui, view.to_px(x, y), f"{z:+.0f}" if z else "0")

    def _draw_tool(self, surface: pygame.Surface, ui: Ui, view: Viewport, hold: Hold) -> None:
        """The stroke under way, and the tool to scale at the cursor."""
        line = hold.preview()
        if line is not None:
            pygame.draw.line(surface, INK, view.to_px(*line[:2]), view.to_px(*line[2:]), 4)
            pygame.draw.line(surface, WELL_FOCUS, view.to_px(*line[:2]), view.to_px(*line[2:]), 2)
        if not hold.met:
            return
        if self.desk.tool == "scrape" and self.desk.passing is None:
            blade_end(surface, view, hold)
        elif self.desk.tool in TOOLS_MM:
            wide, high, round_ = TOOLS_MM[self.desk.tool]
            x, y = view.to_px(*hold.cursor_mm)
            box = pygame.Rect(0, 0, max(round(wide * view.px_per_mm), 3), max(round(high * view.px_per_mm), 3))
            box.center = round(x), round(y)
            radius = box.height // 2 if round_ else 2
            pygame.draw.rect(surface, INK, box.inflate(2, 2), 1, border_radius=radius + 1)
            pygame.draw.rect(surface, CHALK, box, 1, border_radius=radius)
        elif hold.by_key:
            pointed(surface, ui, view.to_px(*hold.cursor_mm))

    def _legend_row(self, ui: Ui) -> pygame.Rect:
        """The foot of the pane, right of its caption."""
        left = min(self.rect.left + ui.px(CAPTION), self.rect.right)
        return pygame.Rect(left, self.rect.bottom - ui.px(26) - ui.px(8), self.rect.right - left, ui.px(16))

    def _caption(self, surface: pygame.Surface, ui: Ui, view: Viewport, hung: Hung | None) -> None:
        """Scale, and how the face lies."""
        y = self.rect.bottom - ui.px(26)
        step = next((n for n in (1, 2, 5, 10, 20, 50, 100) if n * view.px_per_mm >= ui.px(40)), 100)
        left, right = self.rect.left + ui.px(24), self.rect.left + ui.px(24) + round(step * view.px_per_mm)
        for a, b in (((left, y), (right, y)), ((left, y - 4), (left, y + 4)), ((right, y - 4), (right, y + 4))):
            pygame.draw.line(surface, WELL_TEXT, a, b)
        ui.text(surface, (right + ui.px(8), y - ui.px(8)), f"{step} mm", SMALL, WELL_TEXT)
        told, in_hand = "face up, turned over its long edge", self.desk.session.job.in_hand
        if hung is not None:
            told = f"print {hung.round} laid over the face as it is now"
        ui.text(
            surface,
            (right + ui.px(90), y - ui.px(8)),
            told if in_hand == "face" else f"{in_hand}: {told}",
            SMALL,
            WELL_TEXT,
        )

    # ------------------------------------------------------------------ the plate

    def _film(self, mirrored: bool) -> np.ndarray:
        """Picture of the film; kept until something is done."""
        key = self.desk.changes, self.desk.settings.on, mirrored
        if self._filmed is None or self._filmed[0] != key:
            self._filmed = key, film_picture(self.desk.plate, mirrored=mirrored)
        return self._filmed[1]

    def _draw_beside(self, surface: pygame.Surface, ui: Ui, where: pygame.Rect) -> None:
        job, s = self.desk.session.job, self.desk.settings
        view = whole_face((where.left, where.top, where.width, where.height - 28), self.desk.plate.size_mm)
        surface.fill(WELL, where)
        _blit_plate(surface, view, self._film(mirrored=True))
        across, deep = job.face.size_mm
        low = self.desk.plate.size_mm[1] - s.y_mm - deep
        _outline(surface, view, s.x_mm, low, (across, deep))
        ui.text(
            surface,
            (where.left + ui.px(16), where.top + ui.px(10)),
            "Plate, as in a mirror",
            LABEL,
            WELL_TEXT,
            width=where.width - ui.px(24),
        )

    def _draw_plate_and_part(self, surface: pygame.Surface, ui: Ui) -> None:
        job, s = self.desk.session.job, self.desk.settings
        view = self.view
        _blit_plate(surface, view, self._film(mirrored=False))
        _outline(surface, view, s.x_mm, s.y_mm, job.face.size_mm, dashed=False)
        ui.text(
            surface,
            (self.rect.left + ui.px(16), self.rect.top + ui.px(10)),
            "Plate: where the part will lie",
            LABEL,
            WELL_TEXT,
        )


# ---------------------------------------------------------------------- small things


def _blit_plate(surface: pygame.Surface, view: Viewport, picture: np.ndarray) -> None:
    left, top, wide, high = view.face_rect_px()
    made = pygame.image.frombuffer(np.ascontiguousarray(picture).data, picture.shape[1::-1], "RGB")
    surface.blit(
        pygame.transform.smoothscale(made, (max(round(wide), 1), max(round(high), 1))), (round(left), round(top))
    )


def _outline(
    surface: pygame.Surface,
    view: Viewport,
    x_mm: float,
    y_mm: float,
    size_mm: tuple[float, float],
    *,
    dashed: bool = True,
) -> None:
    """Outline of the part on the plate, with its stamp."""
    left, top = view.to_px(x_mm, y_mm + size_mm[1])
    box = pygame.Rect(round(left), round(top), round(size_mm[0] * view.px_per_mm), round(size_mm[1] * view.px_per_mm))
    corners = [box.topleft, (box.right - 1, box.top), (box.right - 1, box.bottom - 1), (box.left, box.bottom - 1)]
    for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
        dashes(surface, a, b, CHALK) if dashed else pygame.draw.line(surface, WELL_FOCUS, a, b, 2)
    pygame.draw.circle(surface, CHALK if dashed else WELL_FOCUS, (box.left + 9, box.top + 9), 3)
