"""Bands: a wedge is taken off by the numbers written on the face, so many passes of full rows for each band of it.

The lowest corner is the plane to reach. While the plane through the readings spans little enough, the blue is followed.
What a pass takes is the hand's own, measured from sweep to sweep.
"""

from collections.abc import Generator, Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.hands.skill import HANDS, Hand
from sim.measure.gauge import Indicator, reading_plane
from sim.measure.orient import reversal
from sim.model.heights import Heights
from sim.model.part import Tolerance
from sim.params import param, tool
from sim.seat.compliant import middles_mm
from sim.shop.commands import Command, RollFilm, SpotFace, StoneFace, WipeFace
from sim.shop.luck import luck
from sim.shop.partwork import TURN_S, SweepFace
from sim.shop.sight import Sight
from sim.units import S_PER_H


@tool
class WedgeWork:
    """Habits of working a wedge off."""

    limit_um: float = param(3.0, "um", (0.1, 100.0), "span of the plane through the readings that is left to the blue",
                            "computed: trials of this model")
    sweep_every: int = param(2, "", (1, 1000), "rounds from sweep to sweep", "computed: trials of this model")
    station_mm: float = param(20.0, "mm", (5.0, 100.0), "from station to station", "common practice, no source")
    margin_mm: float = param(6.0, "mm", (0.0, 50.0), "stations keep so far from the rim", "common practice, no source")
    removal_um: float = param(2.1, "um", (0.1, 50.0), "what a pass of full rows takes, until it was measured",
                              "computed: semi push on this model, 2.1 rising to 2.7")
    blend_share: float = param(0.25, "", (0.0, 0.5),
                               "the border of a band wanders from round to round by this share of a band",
                               "common practice, no source")
    pad_mm: float = param(16.0, "mm", (5.0, 100.0), "side of a pad that is scraped first",
                          "common practice, no source")
    rest_share: float = param(0.1, "", (0.0, 1.0), "the rest has come down to the pads when less of it stands above",
                              "common practice, no source")
    most_passes: int = param(200, "", (1, 1000), "passes of a plan at most", "common practice, no source")
    row_mm: float = param(2.8, "mm", (0.5, 20.0), "from row to row, in an estimate",
                          "computed: as the pilot's semi stage")
    stroke_mm: float = param(9.0, "mm", (1.0, 100.0), "length of a stroke, in an estimate",
                             "computed: as the pilot's semi stage")


NARROW = 0.15  # of the shorter side: the margin of a small face
FIRST_GUESS = {"rough": 2.0, "semi": 1.0, "fine": 0.6, "split": 0.4}
"""What a pass of each blade is thought to take / a pass of the semi blade, until it was measured: from memory."""


@dataclass(frozen=True)
class BandPlan:
    """Passes of full rows for each place of a face.

    Attributes
    ----------
    depth_um : float64 (ny, nx)
        Readings, and between them, over the lowest corner.
    removal_um : float
        What a pass takes.
    rounds : int
        Passes over the highest band. In round 1 only that one is scraped, in the last all but the lowest.
    span_um : float
        Of the plane through the readings, over the face.
    """

    depth_um: NDArray[np.float64]
    removal_um: float
    rounds: int
    span_um: float

    def passes(self) -> NDArray[np.int64]:
        """How often each place is scraped, int64 (ny, nx); what lies under the plane to reach is left alone."""
        return np.maximum(np.floor(self.depth_um / self.removal_um + 0.5), 0.0).astype(np.int64)

    def region(self, left: int, wander: float = 0.0) -> NDArray[np.bool_]:
        """Where rows are scraped when so many rounds are left, this one included; the border moved by a share."""
        return self.depth_um / self.removal_um >= left - 0.5 + wander


def band_plan(readings: Heights, shape: tuple[int, int], pitch_mm: float, removal_um: float, *,
              work: WedgeWork | None = None, corner: tuple[int, int] | None = None) -> BandPlan:
    """Passes for a face of (ny, nx) cells from the readings on it; none when their plane spans little enough.

    corner: row and column, 0 or -1 each, of the corner whose height is reached; the lowest if none is named.
    """
    work = work or WedgeWork()
    x, y = middles_mm(shape, pitch_mm)
    plane = reading_plane(readings.x_mm, readings.y_mm, readings.z_um)
    corners = plane.at(x[[0, -1], None], y[None, [0, -1]])
    span = float(corners.max() - corners.min())
    depth = between(readings, x, y, work.station_mm)
    corner = corner or lowest_corner(depth)
    depth -= depth[corner]
    highest = float(depth.max())
    rounds = 0 if span <= work.limit_um else min(max(1, int(highest / removal_um + 0.5)), work.most_passes)
    return BandPlan(depth, max(removal_um, highest / work.most_passes), rounds, span)


def taper_plan(shape: tuple[int, int], pitch_mm: float, slopes_um_per_mm: tuple[float, float], removal_um: float,
               ) -> BandPlan:
    """Passes that tilt the part that stands on a face of (ny, nx) cells: the face is tapered, its lowest edge is left.

    slopes_um_per_mm: what is to come off rises so along x and y. A side that leans by an angle is put right by tapering
    the base by the same angle: 10 um in 100 mm of height are 6 um over a base of 60 mm.

    Raises
    ------
    BadParam
        When a pass takes nothing.
    """
    if not removal_um > 0.0:
        raise BadParam(f"removal_um must be above 0 µm, got {removal_um!r}")
    x, y = middles_mm(shape, pitch_mm)
    depth = slopes_um_per_mm[0] * x[None, :] + slopes_um_per_mm[1] * y[:, None]
    depth = depth - depth.min()
    span = float(depth.max())
    return BandPlan(depth, removal_um, int(span / removal_um + 0.5), span)


def lowest_corner(height_um: NDArray[np.float64]) -> tuple[int, int]:
    """Row and column, 0 or -1 each."""
    return min(((i, j) for i in (0, -1) for j in (0, -1)), key=lambda corner: float(height_um[corner]))


def between(readings: Heights, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64],
            reach_mm: float) -> NDArray[np.float64]:
    """Heights between and beyond the stations, um (ny, nx): the plane, and what the stations around stand off it.

    Notes
    -----
    A station r away counts 1 / (1 + (2 r / reach)^2)^2. Sums, products and quotients only: a hand acts on it, and the
    bits are the same on every machine.
    """
    plane = reading_plane(readings.x_mm, readings.y_mm, readings.z_um)
    weights, sums = np.zeros((len(y_mm), len(x_mm))), np.zeros((len(y_mm), len(x_mm)))
    off = readings.z_um - plane.at(readings.x_mm, readings.y_mm)
    for x, y, z in zip(readings.x_mm.tolist(), readings.y_mm.tolist(), off.tolist(), strict=True):
        near = 1.0 + ((x_mm[None, :] - x) ** 2 + (y_mm[:, None] - y) ** 2) * (4.0 / (reach_mm * reach_mm))
        weight = 1.0 / (near * near)
        weights += weight
        sums += weight * z
    return np.asarray(plane.at(x_mm[None, :], y_mm[:, None]) + sums / weights)


class Bands:
    """The highest band first: what a person keeps in mind between sweeps, the plan and what a pass of each blade takes.

    Give its `rows` to `follow_the_blue` as `correct`. With `again` False the face is swept once, and after the plan
    the blue is followed alone.
    """

    def __init__(self, datum: str, *, work: WedgeWork | None = None, again: bool = True, reverse: bool = False) -> None:
        self.work = work or WedgeWork()
        self.datum, self.again, self.reverse = datum, again, reverse
        self.taken_um: dict[str, float] = {}
        self.plan: BandPlan | None = None
        self.left = 0
        self.since_sweep = -1
        self.corner: tuple[int, int] | None = None
        self.stand_um_per_mm: tuple[float, float] | None = None
        self._before: Heights | None = None
        self._passes: NDArray[np.int64] | None = None  # since the sweep before; None: the blue too
        self._blade = ""

    def rows(self, sight: Sight, blade: str) -> Generator[Command, Sight, NDArray[np.bool_] | None]:
        """At the start of a round: sweep when it is time; the iron to scrape in full rows, or None for the blue."""
        if self.since_sweep < 0 or (self.again and self.since_sweep >= self.work.sweep_every):
            readings = yield from self._sweep(sight)
            if readings is not None:
                self._learn(readings, sight.pitch_mm)
                removal = self.taken_um.get(blade, FIRST_GUESS[blade] * self.work.removal_um)
                self.plan = band_plan(readings, sight.iron.shape, sight.pitch_mm, removal, work=self.work,
                                      corner=self.corner)
                self.left = self.plan.rounds
                self._passes, self._blade = np.zeros(sight.iron.shape, np.int64), ""
            self.since_sweep = 0
        self.since_sweep += 1
        region = self._region(sight) if self.plan else None
        if region is None:
            self._passes = None
        elif self._passes is not None and self._blade in ("", blade):
            self._passes += region
        else:
            self._passes = None  # two blades since the sweep: what one of them took cannot be told
        self._blade = blade
        return region

    def _region(self, sight: Sight) -> NDArray[np.bool_] | None:
        """Iron of this round's bands; None when the plan is done."""
        assert self.plan is not None
        while self.left:
            wander = self.work.blend_share * (2.0 * luck(sight.seed, "plan", sight.round, 1).random() - 1.0)
            region = self.plan.region(self.left, wander if self.left > 1 else 0.0) & sight.iron
            self.left -= 1
            if region.any():
                return region
        return None

    def _sweep(self, sight: Sight) -> Generator[Command, Sight, Heights | None]:
        """Readings of the face, freed of the stand's own slope when that was found by turning the part."""
        margin = min(self.work.margin_mm, NARROW * min(sight.size_mm))
        along, across = (max(2, round((side - 2.0 * margin) / self.work.station_mm) + 1) for side in sight.size_mm)
        grid = along, across
        sweep = SweepFace(sight.in_hand, self.datum, grid, margin)
        if self.reverse and self.stand_um_per_mm is None:
            sight = yield SweepFace(sight.in_hand, self.datum, grid, margin, turn_deg=180.0)
            turned = sight.written
            sight = yield sweep
            if turned is not None and sight.written is not None and min(len(turned), len(sight.written)) >= 3:
                one, other = (reading_plane(h.x_mm, h.y_mm, h.z_um) for h in (sight.written, turned))
                self.stand_um_per_mm = reversal(one.slope_x, other.slope_x)[0], reversal(one.slope_y, other.slope_y)[0]
        else:
            sight = yield sweep
        found = sight.written
        if found is None or len(found) < 3:
            return None
        slope_x, slope_y = self.stand_um_per_mm or (0.0, 0.0)
        return Heights(found.x_mm, found.y_mm, found.z_um - slope_x * found.x_mm - slope_y * found.y_mm)

    def _learn(self, now: Heights, pitch_mm: float) -> None:
        """What a pass took since the sweep before: against the places that were left alone."""
        before, passes = self._before, self._passes
        self._before = now
        if before is None or passes is None:
            return
        places = zip(before.x_mm.tolist(), before.y_mm.tolist(), strict=True)
        old = dict(zip(places, before.z_um.tolist(), strict=True))
        drops, done = [], []
        for x, y, z in zip(now.x_mm.tolist(), now.y_mm.tolist(), now.z_um.tolist(), strict=True):
            if (x, y) in old:
                drops.append(old[x, y] - z)
                done.append(int(passes[int(y / pitch_mm), int(x / pitch_mm)]))
        drop, many = np.array(drops), np.array(done)
        if not (many == 0).any() or not (many > 0).any():
            return
        each = float(np.median((drop[many > 0] - np.median(drop[many == 0])) / many[many > 0]))
        last = self.taken_um.get(self._blade, self.work.removal_um)
        self.taken_um[self._blade] = min(max(0.5 * (last + each), 0.3), 20.0)


class PadsFirst(Bands):
    """The other way: pads at the three higher corners go down to the plane of the lowest, then the rest to the pads."""

    _reached = False

    def _region(self, sight: Sight) -> NDArray[np.bool_] | None:
        """The pads that stand higher than half a pass; when none does, all other iron that does; then bands again."""
        plan, now = self.plan, self._before
        if self._reached or not self.left or plan is None or now is None:
            return super()._region(sight)
        self.left -= 1
        self.corner = self.corner or lowest_corner(plan.depth_um)
        half = 0.5 * plan.removal_um
        pads = corner_pads(sight.iron.shape, round(self.work.pad_mm / sight.pitch_mm))
        row, col = ((v / sight.pitch_mm).astype(np.int64) for v in (now.y_mm, now.x_mm))
        stand = {corner: float(now.z_um[pad[row, col]].mean()) for corner, pad in pads.items() if pad[row, col].any()}
        rest, high = sight.iron.copy(), np.zeros_like(sight.iron)
        for corner, pad in pads.items():
            rest &= ~pad
            if corner in stand and self.corner in stand and stand[corner] - stand[self.corner] >= half:
                high |= pad
        if high.any():
            return high & sight.iron
        above = rest & (plan.depth_um >= half)
        if above.sum() >= self.work.rest_share * rest.sum():
            return above
        self._reached, self.corner = True, None
        return None


def bands_for(tolerances: Iterable[Tolerance], face: str, corrector: type[Bands] = Bands) -> Bands | None:
    """How the wedge of a face is worked off: by its closest tolerance; None for a face that is held to no other."""
    asked = [one for one in tolerances if one.face == face]
    if not asked:
        return None
    closest = min(asked, key=lambda one: one.limit_um)
    return corrector(closest.datum, reverse=closest.kind == "perpendicularity")


def corner_pads(shape: tuple[int, int], side: int) -> dict[tuple[int, int], NDArray[np.bool_]]:
    """Squares of so many cells in the four corners of a face, bool (ny, nx), by row and column of the corner."""
    pads = {}
    for corner in ((i, j) for i in (0, -1) for j in (0, -1)):
        i, j = (np.arange(n)[:: 1 if end == 0 else -1] < side for n, end in zip(shape, corner, strict=True))
        pads[corner] = i[:, None] & j[None, :]
    return pads


def level_pads(plan: BandPlan, iron: NDArray[np.bool_], pads: dict[tuple[int, int], NDArray[np.bool_]]) -> BandPlan:
    """The same plan where each pad is scraped as one, to the plane of the lowest, and the rest to the pads."""
    depth = plan.depth_um.copy()
    means = [(pad, float(depth[pad & iron].mean())) for pad in pads.values() if (pad & iron).any()]
    for pad, mean in means:
        depth[pad] = mean
    depth -= min(mean for _, mean in means)
    return replace(plan, depth_um=depth, rounds=max(0, int(float(depth[iron].max()) / plan.removal_um + 0.5)))


@dataclass(frozen=True, eq=False)
class PlannedRound:
    """One round of a plan as it is told to a person.

    Attributes
    ----------
    region : bool (ny, nx)
        Iron that is scraped in full rows.
    bands : tuple of int
        Bands in it, the highest first, each by the passes that the plan gives it.
    on_pads : bool
        Pads are scraped, and nothing else.
    strokes : int
    """

    region: NDArray[np.bool_]
    bands: tuple[int, ...]
    on_pads: bool
    strokes: int


def planned_rounds(plan: BandPlan, iron: NDArray[np.bool_], pitch_mm: float, *, work: WedgeWork | None = None,
                   pads: dict[tuple[int, int], NDArray[np.bool_]] | None = None) -> list[PlannedRound]:
    """The plan round by round: the highest band, the two highest, and so on; pads, if any, before all other iron."""
    work = work or WedgeWork()
    passes = plan.passes()
    on_pads = np.any(list(pads.values()), axis=0) if pads else np.zeros_like(iron)
    stroke_cells = work.row_mm * work.stroke_mm / pitch_mm**2
    rounds = []
    for first, part in ((True, on_pads & iron), (False, ~on_pads & iron)):
        for left in range(plan.rounds, 0, -1):
            region = plan.region(left) & part
            if region.any():
                bands = tuple(np.unique(passes[region])[::-1].tolist())
                rounds.append(PlannedRound(region, bands, first, int(np.ceil(region.sum() / stroke_cells))))
    return rounds


def estimated_hours(rounds: list[PlannedRound], stations: int, *, work: WedgeWork | None = None,
                    hand: Hand | None = None) -> float:
    """Hours of these rounds: strokes, a print, stone and wipe each, and a sweep after every second and after the last.

    Honing is left out.
    """
    work, hand = work or WedgeWork(), hand or HANDS["skilled"]
    each_s = RollFilm.seconds + SpotFace.seconds + hand.read_s + StoneFace.seconds + WipeFace.seconds
    sweeps = -(-len(rounds) // work.sweep_every)
    strokes = sum(one.strokes for one in rounds)
    sweep_s = TURN_S + Indicator().set_up_s + Indicator().station_s * stations
    return (strokes * 60.0 / hand.pace_per_min + len(rounds) * each_s + sweeps * sweep_s) / S_PER_H


def wander_mm(plan: BandPlan, pitch_mm: float, work: WedgeWork | None = None) -> float:
    """How far the border of a band wanders to either side on the face, by the mean slope; 0 on a level one."""
    share = (work or WedgeWork()).blend_share
    ny, nx = plan.depth_um.shape
    slope_x = float((plan.depth_um[:, -1] - plan.depth_um[:, 0]).mean()) / (max(nx - 1, 1) * pitch_mm)
    slope_y = float((plan.depth_um[-1] - plan.depth_um[0]).mean()) / (max(ny - 1, 1) * pitch_mm)
    steepest = float(np.hypot(slope_x, slope_y))
    return share * plan.removal_um / steepest if steepest > 0.0 else 0.0
