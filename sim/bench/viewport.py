"""Where the face lies in its pane: millimetres to pixels and back, zoom and move."""

from dataclasses import dataclass, replace

LEAST_PX_PER_MM, MOST_PX_PER_MM = 0.25, 64.0
MARGIN_PX = 24


@dataclass(frozen=True)
class Viewport:
    """A pane of the screen and what it shows of a face. Screen y runs down, face y up; nothing here changes in place.

    Attributes
    ----------
    left_px, top_px, width_px, height_px : int
        The pane.
    face_mm : (float, float)
        Length (x) and width (y) of the face.
    px_per_mm : float
    middle_mm : (float, float)
        Place on the face that lies in the middle of the pane.
    """

    left_px: int
    top_px: int
    width_px: int
    height_px: int
    face_mm: tuple[float, float]
    px_per_mm: float
    middle_mm: tuple[float, float]

    @property
    def middle_px(self) -> tuple[float, float]:
        """Middle of the pane."""
        return self.left_px + 0.5 * self.width_px, self.top_px + 0.5 * self.height_px

    def to_mm(self, px: float, py: float) -> tuple[float, float]:
        """Place on the face under a place on the screen."""
        cx, cy = self.middle_px
        return self.middle_mm[0] + (px - cx) / self.px_per_mm, self.middle_mm[1] - (py - cy) / self.px_per_mm

    def to_px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Place on the screen over a place on the face."""
        cx, cy = self.middle_px
        return cx + (x_mm - self.middle_mm[0]) * self.px_per_mm, cy - (y_mm - self.middle_mm[1]) * self.px_per_mm

    def covers(self, px: float, py: float) -> bool:
        """Whether a place on the screen is in the pane."""
        return 0 <= px - self.left_px < self.width_px and 0 <= py - self.top_px < self.height_px

    def zoomed(self, factor: float, at_px: tuple[float, float]) -> "Viewport":
        """Nearer (factor above 1) or farther, up to the limits; what lies under `at_px` stays there."""
        scale = min(max(self.px_per_mm * factor, LEAST_PX_PER_MM), MOST_PX_PER_MM)
        x, y = self.to_mm(*at_px)
        cx, cy = self.middle_px
        return replace(self, px_per_mm=scale, middle_mm=(x - (at_px[0] - cx) / scale, y + (at_px[1] - cy) / scale))

    def moved(self, dx_px: float, dy_px: float) -> "Viewport":
        """The face drawn along with the hand, as far as its edge may go: to the middle of the pane."""
        x = self.middle_mm[0] - dx_px / self.px_per_mm
        y = self.middle_mm[1] + dy_px / self.px_per_mm
        return replace(self, middle_mm=(min(max(x, 0.0), self.face_mm[0]), min(max(y, 0.0), self.face_mm[1])))

    def whole(self) -> "Viewport":
        """The whole face in the middle of the pane, as large as a margin of 24 px allows."""
        length, width = self.face_mm
        fit = min((self.width_px - 2 * MARGIN_PX) / length, (self.height_px - 2 * MARGIN_PX) / width)
        scale = min(max(fit, LEAST_PX_PER_MM), MOST_PX_PER_MM)
        return replace(self, px_per_mm=scale, middle_mm=(0.5 * length, 0.5 * width))

    def within(self, left_px: int, top_px: int, width_px: int, height_px: int) -> "Viewport":
        """The same view of the face in another pane."""
        return replace(self, left_px=left_px, top_px=top_px, width_px=width_px, height_px=height_px)

    def face_rect_px(self) -> tuple[float, float, float, float]:
        """Left, top, width and height of the face on the screen; it may reach out of the pane."""
        left, top = self.to_px(0.0, self.face_mm[1])
        return left, top, self.face_mm[0] * self.px_per_mm, self.face_mm[1] * self.px_per_mm


def whole_face(pane_px: tuple[int, int, int, int], face_mm: tuple[float, float]) -> Viewport:
    """The whole face in a pane (left, top, width, height)."""
    return Viewport(*pane_px, face_mm, 1.0, (0.0, 0.0)).whole()
