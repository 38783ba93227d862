"""Drills about marks: which stands highest, which order.

Figures that name no other origin are common practice, no source.
"""

from typing import Any

import numpy as np
from scipy.ndimage import binary_fill_holes, distance_transform_edt

from sim.errors import BadParam
from sim.school.bank import Bank, MarkTable, Print, PrintMade, Worked
from sim.school.item import (
    Form,
    Item,
    Order,
    Part,
    Place,
    Points,
    between,
    number_of,
    numbers_of,
    share_hard,
)
from sim.school.view import Condition, Patch, Picture, picture

SIDE_MM = 16.0
APART_MM = 1.6
TRIES = 120
PALE = 0.05  # a middle that is paler than its rim by this darkness is seen as pale: tests of what prints tell


def seat_scatter_um(bank: Bank, worked: Worked, made: PrintMade, first: Print, points: np.ndarray) -> float:
    """How far two prints of the same iron disagree on height differences between points (n, 2), um."""
    again = bank.printed(worked, PrintMade(made.film_um, made.way_mm, made.luck + 1, made.raw))
    tilt = [p.pose.at(points[:, 0], points[:, 1]) for p in (first, again)]
    return float(np.ptp(tilt[0] - tilt[1]))


def stage(gap_um: float) -> tuple[int, ...]:
    """Rounds of a coupon on which marks differ by so much."""
    return (2, 3, 4) if gap_um > 2.0 else (3, 4, 5, 6) if gap_um > 1.0 else (6, 8, 10, 12, 14)


def _group(table: MarkTable, rng: np.random.Generator, size: int) -> tuple[np.ndarray, tuple[float, float]] | None:
    """Some marks that lie apart in one square, and the middle of the square."""
    if len(table.x_mm) < size:
        return None
    first = int(rng.integers(len(table.x_mm)))
    mx = float(np.clip(table.x_mm[first] + rng.uniform(-6.0, 6.0), 0.5 * SIDE_MM + 1.0, 59.0 - 0.5 * SIDE_MM))
    my = float(np.clip(table.y_mm[first] + rng.uniform(-6.0, 6.0), 0.5 * SIDE_MM + 1.0, 39.0 - 0.5 * SIDE_MM))
    reach = 0.5 * SIDE_MM - 0.6
    inside = np.flatnonzero((np.abs(table.x_mm - mx) < reach) & (np.abs(table.y_mm - my) < reach))
    chosen: list[int] = []
    for n in rng.permutation(inside):
        away = [np.hypot(table.x_mm[n] - table.x_mm[k], table.y_mm[n] - table.y_mm[k]) for k in chosen]
        if not away or min(away) > APART_MM:
            chosen.append(int(n))
        if len(chosen) == size:
            return np.array(chosen), (mx, my)
    return None


def _ways(rng: np.random.Generator, pale: bool) -> float:
    """A short rub leaves the tops blue; a long one rubs them bare."""
    return round(float(rng.uniform(12.0, 40.0) if pale else rng.uniform(1.0, 5.0)), 1)


def marks_facts(bank: Bank, level: int, rng: np.random.Generator, three: bool) -> dict[str, Any]:
    """Facts of an item of kinds 1 and 2: a print and some marks of it, with the differences that the level asks for."""
    wanted = between(level, 6.0, 1.0) if three else between(level, 4.0, 0.4)
    pale = bool(rng.random() < share_hard(level))
    nearest: tuple[float, dict[str, Any]] | None = None
    for _ in range(TRIES):
        worked = bank.draw(rng, stage(0.55 * wanted if three else wanted))
        film = (wanted * (1.0 if three else 1.35) + 0.8 + 0.8 * share_hard(level)) * float(rng.uniform(0.85, 1.2))
        made = PrintMade(round(film, 2), _ways(rng, pale), int(rng.integers(2**31)))
        printed = bank.printed(worked, made)
        table = printed.marks
        for _ in range(120):
            found = _group(table, rng, 3 if three else int(rng.integers(3, 6)))
            if found is None:
                continue
            chosen, (mx, my) = found
            height, dark = table.height_um[chosen], table.dark[chosen]
            ranked = np.sort(height)[::-1]
            gap = float(ranked[0] - ranked[-1] if three else ranked[0] - ranked[1])
            least = float(-np.diff(ranked).max())
            agreeing = _agreeing(height, dark)
            told = agreeing < 1.5 if pale else agreeing > 1.5
            if not three:
                told = (int(dark.argmax()) == int(height.argmax())) != pale
            if least < (0.2 if three else 0.05) * wanted or not told:
                continue
            off = abs(np.log(gap / wanted))
            if nearest is not None and off >= nearest[0]:
                continue
            points = np.column_stack([table.x_mm[chosen], table.y_mm[chosen]])
            scatter = seat_scatter_um(bank, worked, made, printed, points)
            if scatter > 0.5 * (least if three else gap):
                continue
            facts = {"coupon": worked.coupon, "round": worked.round, "film_um": made.film_um, "way_mm": made.way_mm,
                     "luck": made.luck, "square_mm": [round(mx, 2), round(my, 2)],
                     "points_mm": points.round(3).tolist(),
                     "paler": [round(paler(printed, table.cells[n]), 3) for n in chosen],
                     "height_um": height.round(3).tolist(), "dark": dark.round(3).tolist(),
                     "scatter_um": round(scatter, 3)}  # fmt: skip
            nearest = off, facts
            if off < 0.22:
                return facts
        if nearest is not None and nearest[0] < 0.4:
            return nearest[1]
    if nearest is None:
        raise BadParam(f"no marks on {bank.coupons} coupons differ as level {level} asks")
    return nearest[1]


def paler(made: Print, cells: np.ndarray) -> float:
    """By how much darkness the middle of a mark is paler than its rim; a bare middle is part of its mark.

    The deepest fifth of the mark against the dark quarter of the rest, as the coach reads a print.
    """
    i, j = np.unravel_index(cells, made.face.shape)
    box = slice(int(i.min()), int(i.max()) + 1), slice(int(j.min()), int(j.max()) + 1)
    mark = np.zeros((box[0].stop - box[0].start, box[1].stop - box[1].start), bool)
    mark[i - box[0].start, j - box[1].start] = True
    mark = binary_fill_holes(mark)
    depth = distance_transform_edt(np.pad(mark, 1))[1:-1, 1:-1]
    deep = mark & (depth >= 0.8 * depth.max())
    rest, dark = mark & ~deep, made.dark[box]
    return float(np.quantile(dark[rest], 0.75) - np.median(dark[deep])) if rest.any() else 0.0


def _agreeing(height: np.ndarray, dark: np.ndarray) -> int:
    """Pairs in which the darker is the higher."""
    i, j = np.triu_indices(len(height), 1)
    return int(((height[i] - height[j]) * (dark[i] - dark[j]) > 0).sum())


class _MarkItem(Item):
    """What kinds 1 and 2 share."""

    @property
    def points_mm(self) -> Points:
        """Where the marks are."""
        return tuple((x, y) for x, y in self.facts["points_mm"])

    @property
    def height_um(self) -> np.ndarray:
        """How high each stands above the seat plane, um."""
        return np.array(self.facts["height_um"])

    def draw(self, condition: Condition) -> tuple[Picture, ...]:
        """Its pictures under a condition."""
        f = self.facts
        made = self.bank.print_of(f)
        x, y = f["square_mm"]
        patch = Patch(x - 0.5 * SIDE_MM, y - 0.5 * SIDE_MM, SIDE_MM, SIDE_MM)
        return (
            picture(made.face, patch, condition, caption=f"film {f['film_um']:.1f} µm, rubbed {f['way_mm']:.0f} mm"),
        )

    def places(self) -> Points:
        """Where to look when the truth is told."""
        return (self.points_mm[int(self.height_um.argmax())],)

    def sign(self, n: int) -> str:
        """What the picture shows of a mark."""
        f, mark = self.facts, f"mark {n + 1}"
        if f["paler"][n] >= PALE:
            return f"the middle of {mark} is rubbed paler than its rim"
        if max(f["paler"]) >= PALE:
            others = " and ".join(f"mark {k + 1}" for k, one in enumerate(f["paler"]) if one >= PALE)
            return f"{mark} shows no pale middle, though {others} {'do' if ' and ' in others else 'does'}"
        shown = f"{mark} is the darkest" if f["dark"][n] >= max(f["dark"]) else f"{mark} is not the darkest either"
        return f"no mark here was rubbed pale in its middle, and {shown}"


class Highest(_MarkItem):
    """Kind 1: which of three to five marks stands highest."""

    kind = "highest"
    target_s = 8.0

    @property
    def question(self) -> str:
        """What is asked."""
        return "Which of the numbered marks stands highest? Give its number."

    @property
    def forms(self) -> tuple[Form, ...]:
        """How it is answered."""
        return (Place(self.points_mm),)

    @property
    def truth(self) -> int:
        """An answer that costs nothing."""
        return int(self.height_um.argmax())

    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs."""
        h = self.height_um
        picked = h[number_of(answer, len(h))]
        return (Part("below the highest", "um", float(h.max() - picked), float((h.max() - h).mean())),)

    def blind(self, rng: np.random.Generator) -> int:
        """An answer that knows nothing of the item."""
        return int(rng.integers(len(self.height_um)))

    def why(self, answer: Any) -> str:
        """With the figures: by how much it stands higher, and what the picture shows of it."""
        h, mine = self.height_um, number_of(answer, len(self.height_um))
        other = mine if mine != self.truth else int(np.argsort(-h)[1])
        higher = f"{h.max() - h[other]:.1f} µm above mark {other + 1}{', yours' if other == mine else ', the next'}"
        return f"Mark {self.truth + 1} stands {higher}; {self.sign(self.truth)}."


class ThreeInOrder(_MarkItem):
    """Kind 2: put three marks in order."""

    kind = "order"
    target_s = 12.0

    @property
    def question(self) -> str:
        """What is asked."""
        return "Put the three numbered marks in order of height. Name the highest first."

    @property
    def forms(self) -> tuple[Form, ...]:
        """How it is answered."""
        return (Order(self.points_mm),)

    @property
    def truth(self) -> list[int]:
        """An answer that costs nothing."""
        return np.argsort(-self.height_um).tolist()

    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs."""
        h = self.height_um[numbers_of(answer, len(self.height_um), whole=True)]
        i, j = np.triu_indices(len(h), 1)
        wrong = float(np.maximum(h[j] - h[i], 0.0).sum())
        fault = f"marks put above higher ones, by {wrong:.1f} µm in all" if wrong >= 0.05 else ""
        return (Part("wrongly ordered", "um", wrong, float(0.5 * np.abs(h[i] - h[j]).sum()), fault=fault),)

    def blind(self, rng: np.random.Generator) -> list[int]:
        """An answer that knows nothing of the item."""
        return rng.permutation(len(self.height_um)).tolist()

    def why(self, answer: Any) -> str:
        """With the figures: how far the first stands above the others, and what the picture shows of it."""
        h, first = self.height_um, self.truth[0]
        order = ", ".join(str(n + 1) for n in self.truth)
        above = " and ".join(f"{h.max() - h[n]:.1f}" for n in self.truth[1:])
        return f"The order is {order}: mark {first + 1} stands {above} µm above the others; {self.sign(first)}."
