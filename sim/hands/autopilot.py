"""A pilot that follows the blue: it takes what is marked, crosses each round, goes finer as the marks spread, splits.

It sees `shop.sight` only. Each round it yields commands; whoever drives it performs them and sends back what is seen.
"""

from collections.abc import Generator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label, minimum_filter, uniform_filter

from sim.hands.bands import Bands
from sim.hands.lanes import Lanes, strokes_over
from sim.hands.skill import Hand, lay
from sim.measure.spots import Islands, islands
from sim.model.marks import Marks
from sim.params import param, tool
from sim.shop.commands import Command, HoneBlade, RollFilm, Scrape, SpotFace, StoneFace, WipeFace, strokes_as_data
from sim.shop.luck import luck
from sim.shop.sight import Sight

TRIALS = "computed: trials on seeds 1 to 5 and 41 to 96"


@dataclass(frozen=True)
class Stage:
    """One stage of the work: blade, push (N), film (um), spacing and longest stroke (mm), least rounds to stay in it.

    narrow_share: least push in a narrow lane / in one as wide as the lanes are apart.
    """

    name: str
    blade: str
    push_n: float
    film_um: float
    spacing_mm: float
    longest_mm: float
    least_rounds: int
    narrow_share: float = 1.0


STAGES = (
    Stage("rough", "rough", 190.0, 8.0, 3.6, 14.0, 2),
    Stage("semi", "semi", 150.0, 4.0, 2.8, 9.0, 3),
    Stage("fine", "fine", 80.0, 2.0, 1.9, 7.0, 4),
    Stage("even", "fine", 60.0, 1.5, 1.7, 6.0, 1_000_000, 0.5),
)
SPLIT = Stage("split", "split", 49.0, 1.5, 3.0, 5.0, 1_000_000, 0.7)
"""Its blade and strokes go with the last stage's film: while the blue is uneven, or the film had to be laid thicker,
marks are taken where they are not thin; then large and hard ones are split, and what stands in crowded places."""


@tool
class Pilot:
    """Habits of the pilot."""

    field_mm: float = param(10.0, "mm", (2.0, 50.0), "side of the fields whose blue is looked at",
                            "common practice, no source")
    field_blue_pct: float = param(2.0, "%", (0.0, 100.0), "blue that counts a field as reached",
                                  "computed: trials of this model")
    fields_pct: float = param(97.0, "%", (0.0, 100.0), "share of fields reached before going finer",
                              "computed: trials of this model")
    square_mm: float = param(25.4, "mm", (5.0, 100.0), "side of the square that is moved over the print",
                             "common practice, no source: the counting square")
    even_share: float = param(0.45, "", (0.0, 1.0),
                              "blue in the poorest square / in the middle one from which large marks are split", TRIALS)
    ease_share: float = param(0.88, "", (0.5, 1.0), "push of each round of the last stage / that of the one before",
                              TRIALS)
    lightest_share: float = param(0.7, "", (0.1, 1.0), "lightest push of the last stage / its first", TRIALS)
    sparse_pct: float = param(10.0, "%", (0.0, 100.0), "blue on the face under which the next film is laid thicker",
                              TRIALS)
    thickest: float = param(2.0, "", (1.0, 10.0), "thickest film / the stage's", "common practice, no source")
    dense_share: float = param(0.5, "", (0.0, 2.0),
            "where the blue around is thinner than this share of the middle one, marks are left while evening", TRIALS)
    crowded_share: float = param(1.0, "", (0.0, 10.0),
            "where the blue around is thicker than this share of the middle one, "
            "all marks are taken while splitting", TRIALS)
    hard_mm2: float = param(0.12, "mm2", (0.0, 10.0), "bare middle from which a mark is hard and taken anywhere",
                            "common practice, no source")
    most_rounds: int = param(12, "", (1, 1000), "rounds of a stage at most, from semi on",
                             "computed: trials of this model")
    least_mark_mm2: float = param(0.3, "mm2", (0.0, 10.0), "smaller marks are left, but at edges until the last stage",
                                  "common practice, no source")
    edge_mm: float = param(2.0, "mm", (0.0, 50.0),
                           "marks this near an edge are taken first, and whatever their size until the last stage",
                           "common practice, no source")
    split_mm2: float = param(4.0, "mm2", (0.1, 100.0), "larger marks are split in the last stage",
                             "computed: trials of this model")
    hole_mm2: float = param(15.0, "mm2", (0.0, 1000.0), "a bare middle up to this size belongs to its ring",
                            "common practice, no source")
    beyond_mm: float = param(1.0, "mm", (0.0, 5.0), "a stroke begins before and ends beyond its mark by",
                             "common practice, no source")
    hone_m: float = param(8.0, "m", (0.1, 1000.0), "metres after which a blade is honed", "common practice, no source")
    film_factor: float = param(1.0, "", (0.1, 10.0), "film used / film meant", "computed: 1 by definition")


RUB_MM = 12.0
BLOCK_MM = 1.0  # blue is counted in blocks of this side, not cell by cell
DIRECTIONS = ((0.7071067811865476, 0.7071067811865476), (0.7071067811865476, -0.7071067811865476))


def follow_the_blue(hand: Hand, pilot: Pilot | None = None, *, stages: tuple[Stage, ...] = STAGES,
                    split: Stage | None = SPLIT, stone: bool = True, crossing: bool = True, hard_first: bool = False,
                    correct: Bands | None = None) -> Generator[Command, Sight, None]:
    """Scrape a face, round after round, for ever; whoever drives it decides when it is done.

    Yields a command; expects the sight after it. One direction only when `crossing` is False; no stone when asked.
    With `hard_first`, before the last stage, marks with a bare middle alone are taken in a round that shows any.
    With `correct`, rounds in which it names a region scrape full rows there instead of marks.
    """
    pilot, learns = pilot or Pilot(), hand
    stage, in_stage, thicker, last = 0, 0, 1.0, len(stages) - 1
    sight = yield WipeFace()
    edge = near_edge(sight.iron, pilot.edge_mm, sight.pitch_mm)
    while True:
        now, hand = stages[stage], learns.at(sight.round)
        region = (yield from correct.rows(sight, now.blade)) if correct else None
        yield RollFilm(weight_um=now.film_um * thicker * pilot.film_factor)
        sight = yield _spot(sight, hand)
        direction = DIRECTIONS[sight.round % 2 if crossing else 0]
        if region is not None:
            chosen = region.astype(np.int64)
            sight = yield from scrape_marks(chosen, sight, now, hand, along=direction, edge=edge, pilot=pilot)
            sight = yield from _clean(stone)
            continue
        in_stage += 1
        marks, bare = read_print(sight, pilot)
        late = stage > 0 and in_stage > pilot.most_rounds
        if stage < last and (late or is_covered(marks, now, in_stage, pilot)):
            stage, in_stage, thicker = stage + 1, 0, 1.0
        else:
            thicker = next_film(marks, thicker, pilot)
        evening = split is not None and stage == last
        splitting = evening and thicker <= 1.0 and evenness(marks, pilot) >= pilot.even_share
        how = "split" if splitting else "even" if evening else "hard" if hard_first else "all"
        chosen = choose(marks, bare, edge, how, pilot)
        if split and splitting:
            now = split
        elif now is stages[last]:
            now = lighter(now, in_stage, pilot)
        sight = yield from scrape_marks(chosen, sight, now, hand, along=direction, edge=edge, pilot=pilot)
        sight = yield from _clean(stone)


def _clean(stone: bool) -> Generator[Command, Sight, Sight]:
    """The end of a round: stone unless told not to, wipe."""
    if stone:
        yield StoneFace()
    return (yield WipeFace())


def is_covered(marks: Marks, stage: Stage, rounds: int, pilot: Pilot) -> bool:
    """True when blue stands nearly everywhere after the stage's least rounds: time to go finer."""
    return rounds > stage.least_rounds and fields_reached_pct(marks, pilot) > pilot.fields_pct


def next_film(marks: Marks, thicker: float, pilot: Pilot) -> float:
    """Film of the next print / the stage's: more where too little showed to work on, back to 1 where much did."""
    share = 100.0 * marks.marked.sum() / max(int(marks.iron.sum()), 1)
    if share < pilot.sparse_pct:
        return min(thicker * 1.25, pilot.thickest)
    return max(thicker / 1.25, 1.0) if share > 2.0 * pilot.sparse_pct else thicker


def lighter(stage: Stage, rounds: int, pilot: Pilot) -> Stage:
    """The last stage with the push eased from round to round: what is left to take gets thinner."""
    return replace(stage, push_n=stage.push_n * max(pilot.lightest_share, pilot.ease_share ** (rounds - 1)))


def _spot(sight: Sight, hand: Hand) -> SpotFace:
    """Put the face down elsewhere and end for end by turns, lest it copies the plate, and rub it along or across."""
    at = luck(sight.seed, "plan", sight.round).random(2)
    room = (max(p - s - RUB_MM, 0.0) for p, s in zip(sight.plate_mm, sight.size_mm, strict=True))
    x, y = (0.5 * (p - s) + (float(d) - 0.5) * r
            for p, s, d, r in zip(sight.plate_mm, sight.size_mm, at, room, strict=True))
    along = (1.0, 0.0) if sight.round % 2 == 0 else (0.0, 1.0)
    return SpotFace(round(max(x, 0.0), 2), round(max(y, 0.0), 2), RUB_MM, along, read_s=hand.read_s,
                    turn_deg=180.0 * (sight.round // 2 % 2))


def read_print(sight: Sight | Marks, pilot: Pilot) -> tuple[Marks, NDArray[np.bool_]]:
    """Marks as they are taken, the bare middle of a ring belonging to it, and these bare middles alone."""
    places, count = label(~sight.marked)
    area_mm2 = np.bincount(places.ravel(), minlength=count + 1) * sight.pitch_mm**2
    small = area_mm2 <= pilot.hole_mm2
    small[np.concatenate([places[0], places[-1], places[:, 0], places[:, -1], places[~sight.iron]])] = False
    small[0] = False
    bare = small[places]
    return Marks(sight.marked | bare, sight.iron, sight.pitch_mm), bare


def blocks(marks: Marks, side_mm: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cells of blue and of iron in each square block of a side, int64 (rows, columns) both."""
    size = max(1, round(side_mm / marks.pitch_mm))
    ny, nx = marks.marked.shape
    rows, cols = np.arange(0, ny, size), np.arange(0, nx, size)
    blue, iron = (np.add.reduceat(np.add.reduceat(a, rows, axis=0, dtype=np.int64), cols,
                                  axis=1) for a in (marks.marked, marks.iron))
    return blue, iron


def fields_reached_pct(marks: Marks, pilot: Pilot) -> float:
    """Share of fields that carry more than the stated blue; a field is a block that is more than half iron."""
    blue, iron = blocks(marks, pilot.field_mm)
    whole = iron > 0.5 * iron.max()
    return 100.0 * float((100.0 * blue[whole] > pilot.field_blue_pct * iron[whole]).mean())


def evenness(marks: Marks, pilot: Pilot) -> float:
    """Blue in the poorest placement of the square / in the middle one: a bare corner shows here first."""
    blue, iron = blocks(marks, BLOCK_MM)
    size = max(1, min(round(pilot.square_mm / BLOCK_MM), *iron.shape))
    sums = (np.pad(a, ((1, 0), (1, 0))).cumsum(axis=0).cumsum(axis=1) for a in (blue, iron))
    blue, iron = (c[size:, size:] - c[:-size, size:] - c[size:, :-size] + c[:-size, :-size] for c in sums)
    whole = iron >= 0.9 * iron.max()
    share = blue[whole] / iron[whole]
    return float(share.min() / max(float(np.median(share)), 1e-9))


def choose(marks: Marks, bare: NDArray[np.bool_], edge: NDArray[np.bool_], how: str, pilot: Pilot) -> NDArray[np.int64]:
    """Labels of the marks to take, 0 elsewhere.

    "all": marks large enough to matter, and every mark that reaches into `edge`. "hard": of these the hard ones, with a
    bare middle, if there are any. "even": what lies where the blue is not thin, and hard marks anywhere. "split": large
    marks, hard ones, and what lies where the blue is thicker than in most places.
    """
    found = islands(marks)
    cells = np.bincount(found.labels[bare], minlength=len(found.area_mm2) + 1)[1:]
    hard = cells * marks.pitch_mm**2 >= pilot.hard_mm2
    take = found.area_mm2 >= pilot.least_mark_mm2
    if how != "split":
        take |= _reaching(found.labels, edge)[1:]
    if how == "hard" and (take & hard).any():
        take &= hard
    if how in ("even", "split"):
        around, middle = _blue_around(marks, found, pilot)
        take &= around > middle * (pilot.dense_share if how == "even" else pilot.crowded_share)
        take |= hard
    if how == "split":
        take |= found.area_mm2 >= pilot.split_mm2
    return np.where(np.concatenate([[False], take])[found.labels], found.labels, 0)


def _blue_around(marks: Marks, found: Islands, pilot: Pilot) -> tuple[NDArray[np.float64], float]:
    """Share of blue on the iron of the square around each island, and the middle one of all places of the square."""
    size = 2 * round(0.5 * pilot.square_mm / BLOCK_MM) + 1
    blue, iron = (uniform_filter(a.astype(np.float64), size, mode="constant") for a in blocks(marks, BLOCK_MM))
    share = blue / np.maximum(iron, 1e-9)
    i, j = (np.minimum((v / BLOCK_MM).astype(np.int64), n - 1) for v,
            n in zip((found.y_mm, found.x_mm), share.shape, strict=True))
    return share[i, j], float(np.median(share))


def near_edge(iron: NDArray[np.bool_], edge_mm: float, pitch_mm: float) -> NDArray[np.bool_]:
    """Iron within a distance (along x or y) of an edge."""
    size = 2 * round(edge_mm / pitch_mm) + 1
    return iron & ~minimum_filter(iron, size, mode="constant")


def _reaching(labels: NDArray[np.int64], zone: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """For each label from 0 up to the last, whether its mark reaches into the zone; False for 0."""
    reaches = np.zeros(int(labels.max()) + 1, dtype=bool)
    reaches[labels[zone]] = True
    reaches[0] = False
    return reaches


def scrape_marks(labels: NDArray[np.int64], sight: Sight, stage: Stage, hand: Hand, *, along: tuple[float, float],
                 edge: NDArray[np.bool_], pilot: Pilot) -> Generator[Command, Sight, Sight]:
    """Strokes over the chosen marks, those at edges first, with the stage's blade, honed whenever it has cut enough."""
    lanes = Lanes(along, stage.spacing_mm, stage.longest_mm, pilot.beyond_mm, stage.push_n, stage.narrow_share)
    meant = strokes_over(labels, sight.pitch_mm, lanes, _reaching(labels, edge))
    made = lay(meant, hand, sight.seed, sight.round)
    metres = np.cumsum(np.hypot(made[:, 2] - made[:, 0], made[:, 3] - made[:, 1])) * 1e-3
    k = 0
    while k < len(made):
        if sight.metres[stage.blade] >= pilot.hone_m:
            sight = yield HoneBlade(stage.blade)
        done = metres[k - 1] if k else 0.0
        end = int(np.searchsorted(metres, done + pilot.hone_m - sight.metres[stage.blade])) + 1
        end = min(end, k + 2000, len(made))
        sight = yield Scrape(stage.blade, strokes_as_data(made[k:end]), hand.care, hand.ramp_mm, hand.pace_per_min)
        k = end
    return sight
