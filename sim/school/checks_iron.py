"""Checks of work on the iron: depth and place of strokes, lay, flatness, spots, parallel and square.

Figures that name no other origin are common practice, no source.
"""

import math
from itertools import pairwise

import numpy as np
from scipy.ndimage import distance_transform_edt

from sim.hands.autopilot import Pilot, blocks, read_print
from sim.measure import lay
from sim.measure.flatness import bearing_flatness_um as bearing_zone_um
from sim.measure.orient import part_orientation
from sim.measure.spots import islands, spots
from sim.measure.verdict import score, standard_marks
from sim.school.check import check
from sim.school.checks_reading import least, middle, worst
from sim.school.evidence import line_points, over_again, turned_deg
from sim.school.facts import Facts, Stroked
from sim.shop.job import in_doubt

DEPTH_WITHIN = 0.3
ON_MARK_MM = 1.0
LOW_UM = 2.5  # iron that much below the tops of the face is low: common practice, no source
OFF_BLUE = 0.1  # a stroke that cut less blue than this share went where none was to be seen
LARGE_MM2 = 8.0  # common practice, no source: a mark that must be split
FIELD_MM = 20.0
FIELD_BLUE = 0.02  # from which a field carries marks: as the pilot
TOP_PCT = 95.0
CROSSED_DEG = 45.0  # turned by less from round to round, the strokes go one way


def _table(strokes: list[Stroked]) -> np.ndarray:
    """Strokes as float64 (n, 5), mm and N."""
    return np.array([(s.x0, s.y0, s.x1, s.y1, s.push_n) for s in strokes]).reshape(-1, 5)


# Strokes


@check("strokes", "high", "stroke")
def strokes_made(facts: Facts) -> float:
    """Strokes made, on the piece with the fewest."""
    counts = [sum(s.piece == n for s in facts.strokes) for n in range(len(facts.pieces))]
    return float(min(counts)) if any(counts) else math.nan


@check("strokes", "high", "stroke")
def strokes_in_all(facts: Facts) -> float:
    """Strokes made, all pieces together."""
    return float(len(facts.strokes)) if facts.strokes else math.nan


@check("%", "high", "stroke")
def strokes_in_depth_pct(facts: Facts) -> float:
    """Strokes as deep as was asked, within 30 %; the poorest piece."""
    found = []
    for n, piece in enumerate(facts.pieces):
        mine = [s.depth_um for s in facts.strokes if s.piece == n]
        if piece.asked_um > 0.0:
            good = [abs(depth / piece.asked_um - 1.0) <= DEPTH_WITHIN for depth in mine]
            found.append(100.0 * sum(good) / len(good) if good else math.nan)
    return -worst([-v for v in found])


@check("um", "low", "stroke", fault=13)
def ledge_um(facts: Facts) -> float:
    """Step at the ends of strokes, the median stroke: the steepest over half a millimetre."""
    return middle([s.ledge_um for s in facts.strokes])


@check("%", "high", "stroke")
def strokes_on_calls_pct(facts: Facts) -> float:
    """Strokes that pass within 1 mm of a mark called high or medium before them."""
    hits = 0
    ends = [one.strokes for one in facts.called[1:]] + [len(facts.strokes)]
    for called, until in zip(facts.called, ends[: len(facts.called)], strict=True):
        mine = [s for s in facts.strokes[called.strokes : until] if (s.piece, s.round) == (called.piece, called.round)]
        near = _near_called(facts, called.piece, called.round, [c for c in called.calls if c.level < 3])
        if near is None or not mine:
            continue
        points, which = line_points(_table(mine))
        pitch = facts.printed[0].marks.pitch_mm
        i, j = (np.clip((points[:, a] / pitch).astype(int), 0, near.shape[1 - a] - 1) for a in (1, 0))
        hits += int((np.bincount(which, near[i, j], len(mine)) > 0).sum())
    return 100.0 * hits / len(facts.strokes) if facts.strokes else math.nan


def _near_called(facts: Facts, piece: int, round_: int, calls: list) -> np.ndarray | None:
    """Cells within 1 mm of the marks that were called on a print; None where there was none."""
    made = [one for one in facts.printed if (one.piece, one.round) == (piece, round_)]
    if not made or not calls:
        return None
    marks = made[-1].marks
    whole, _ = read_print(marks, Pilot())
    labels = islands(whole).labels
    pitch = marks.pitch_mm
    wanted = set()
    for call in calls:
        i, j = (min(max(int(v / pitch), 0), n - 1) for v, n in ((call.y_mm, labels.shape[0]),
                                                                 (call.x_mm, labels.shape[1])))  # fmt: skip
        box = labels[max(i - 4, 0) : i + 5, max(j - 4, 0) : j + 5]
        wanted.add(int(labels[i, j]) or int(box.max(initial=0)))
    wanted.discard(0)
    if not wanted:
        return None
    return np.asarray(distance_transform_edt(~np.isin(labels, list(wanted))) * pitch <= ON_MARK_MM)


@check("%", "low", "stroke")
def strokes_off_blue_pct(facts: Facts) -> float:
    """Strokes that cut where no blue was to be seen."""
    off = [s.inked_share < OFF_BLUE for s in facts.strokes]
    return 100.0 * sum(off) / len(off) if off else math.nan


@check("%", "low", "stroke", fault=20)
def cut_twice_pct(facts: Facts) -> float:
    """Strokes that go over a line that the same round has cut already."""
    twice = 0
    for piece, round_ in sorted({(s.piece, s.round) for s in facts.strokes}):
        table = _table([s for s in facts.strokes if (s.piece, s.round) == (piece, round_)])
        twice += int((over_again(table) > 0.5).sum())
    return 100.0 * twice / len(facts.strokes) if facts.strokes else math.nan


@check("%", "low", "stroke")
def low_strokes_pct(facts: Facts) -> float:
    """Strokes into low iron that took no blue."""
    low = [s.inked_share < OFF_BLUE and s.low_um > LOW_UM for s in facts.strokes]
    return 100.0 * sum(low) / len(low) if low else math.nan


@check("deg", "high", "rounds", fault=6)
def turned_each_round_deg(facts: Facts) -> float:
    """Turn of the strokes from round to round, the least of the last four."""
    rounds = sorted({(s.piece, s.round) for s in facts.strokes})[-5:]
    tables = [_table([s for s in facts.strokes if (s.piece, s.round) == one]) for one in rounds]
    turns = [turned_deg(a, b) for a, b in pairwise(tables)]
    return min(turns) if len(turns) >= 3 else math.nan


def _one_way(facts: Facts) -> int:
    """Fault 6, where the strokes of the rounds did not turn."""
    turned = turned_each_round_deg(facts)
    return 6 if turned < CROSSED_DEG else 0


@check("um", "low", fault=_one_way)
def ripple_um(facts: Facts) -> float:
    """Waves left in the face, the worst piece: of 0.8 to 4 mm, standard deviation."""
    return worst([lay.ripple_um(job.face) for job in facts.ended])


@check("", "low", fault=_one_way)
def lay_ratio(facts: Facts) -> float:
    """Waves across the worst direction over the best: 1 where it was crossed well."""
    return worst([lay.lay_ratio(job.face) for job in facts.ended])


# Flat


@check("um", "low")
def bearing_flatness_um(facts: Facts) -> float:
    """Bearing flatness of the face in hand, the worst piece."""
    return worst([bearing_zone_um(job.face) for job in facts.ended])


@check("fields", "high", "print")
def fields_bearing(facts: Facts) -> float:
    """Fields of 20 mm with a mark in the last print."""
    if not facts.printed:
        return math.nan
    blue, iron = blocks(facts.printed[-1].marks, FIELD_MM)
    whole = iron > 0.5 * iron.max()
    return float((blue[whole] > FIELD_BLUE * iron[whole]).sum())


@check("rounds", "low", "print")
def rounds_made(facts: Facts) -> float:
    """Prints made, all pieces together."""
    return float(facts.rounds) if facts.rounds else math.nan


@check("h", "low")
def shop_hours(facts: Facts) -> float:
    """Hours on the shop clock, all pieces together."""
    return facts.hours


@check("um", "high", "stroke")
def top_down_um(facts: Facts) -> float:
    """How far the top came down, the poorest piece: the highest twentieth of the face."""
    if not facts.strokes:
        return math.nan
    found = []
    for begun, ended in zip(facts.begun, facts.ended, strict=True):
        face = begun.face
        ny, nx = face.shape
        y, x = np.mgrid[0:ny, 0:nx]
        on = face.scored
        columns = np.column_stack([np.ones(on.sum()), x[on], y[on]])
        plane, *_ = np.linalg.lstsq(columns, face.height_um[on], rcond=None)
        tops = [float(np.percentile(h[on] - columns @ plane, TOP_PCT)) for h in
                (face.height_um, ended.part.faces[begun.in_hand].height_um)]  # fmt: skip
        found.append(tops[1] - tops[0])
    return -worst(found)


@check("mm3", "low", "stroke")
def removed_mm3(facts: Facts) -> float:
    """Iron taken by the blade, all pieces together."""
    return sum(s.removed_mm3 for s in facts.strokes) if facts.strokes else math.nan


@check("um", "high", "stroke")
def top_per_stroke_um(facts: Facts) -> float:
    """How far the top came down for ten strokes."""
    count = len(facts.strokes)
    return 10.0 * top_down_um(facts) / count if count else math.nan


# Spots


@check("per sq in", "high")
def spots_mean(facts: Facts) -> float:
    """Spots on the square inch in the standard print, the poorest piece."""
    return least([score(job.face, None, job.body).spots_mean for job in facts.ended])


@check("per sq in", "high")
def spots_lowest(facts: Facts) -> float:
    """Spots in the poorest square of the standard print, the poorest piece."""
    return least([score(job.face, None, job.body).spots_lowest for job in facts.ended])


@check("%", "high")
def bearing_pct(facts: Facts) -> float:
    """Bearing of the standard print, the poorest piece."""
    return least([spots(standard_marks(job.face, job.body)).bearing_pct for job in facts.ended])


@check("%", "low")
def large_marks_pct(facts: Facts) -> float:
    """Blue in marks of 8 mm² and more, the worst piece: of all blue in the standard print."""
    found = []
    for job in facts.ended:
        area = islands(standard_marks(job.face, job.body)).area_mm2
        found.append(100.0 * float(area[area >= LARGE_MM2].sum()) / float(area.sum()) if len(area) else math.nan)
    return worst(found)


# Parallel and square


def _against_um(facts: Facts, kind: str) -> float:
    found = [part_orientation(job.part, one).contact_um for job in facts.ended for one in job.start.shape.tolerances
             if one.kind == kind]  # fmt: skip
    return worst([float(v) for v in found])


def _flat_wedge(facts: Facts) -> int:
    """Fault 10, where faces were scraped flat and stand crooked all the same."""
    worked = worked_flat_um(facts) if facts.strokes else math.nan
    crooked = max((float(part_orientation(job.part, one).contact_um) for job in facts.ended
                   for one in job.start.shape.tolerances), default=0.0)  # fmt: skip
    return 10 if 2.0 * worked < crooked else 0


@check("um", "low", fault=_flat_wedge)
def parallelism_um(facts: Facts) -> float:
    """Parallelism to the plane the datum stands on, the worst face."""
    return _against_um(facts, "parallelism")


@check("um", "low", fault=_flat_wedge)
def perpendicularity_um(facts: Facts) -> float:
    """Squareness to the plane the datum stands on, the worst face."""
    return _against_um(facts, "perpendicularity")


@check("um", "low")
def faces_flat_um(facts: Facts) -> float:
    """Bearing flatness of the worst face of the part."""
    return worst([bearing_zone_um(face) for job in facts.ended for face in job.part.faces.values()])


@check("um", "low", "stroke")
def worked_flat_um(facts: Facts) -> float:
    """Bearing flatness of the worst face that was worked, whichever is in hand."""
    return worst([bearing_zone_um(b.part.faces[name]) for a, b in zip(facts.begun, facts.ended, strict=True)
                  for name in b.part.faces if b.cuts[name] > a.cuts[name]])  # fmt: skip


@check("readings", "low")
def in_doubt_at_end(facts: Facts) -> float:
    """Tolerances that were put in doubt and not read again."""
    return float(sum(sum(in_doubt(job)) for job in facts.ended))


@check("tolerances", "low")
def tolerances_missed(facts: Facts) -> float:
    """Tolerances and targets of the drawing that are not met."""
    missed = 0
    for job in facts.ended:
        shape = job.start.shape
        missed += sum(float(part_orientation(job.part, one).contact_um) > one.limit_um for one in shape.tolerances)
        for one in shape.faces:
            missed += not score(job.part.faces[one.name], one.target, job.start.body_behind(one.name)).meets(one.target)
    return float(missed)


@check("pieces", "high", "sweep")
def pieces_measured(facts: Facts) -> float:
    """Pieces that were swept with the indicator."""
    return float(len({piece for piece, _ in facts.swept})) if facts.swept else math.nan


@check("deg", "low", "sweep", fault=16)
def lever_deg(facts: Facts) -> float:
    """Largest angle of the indicator's lever in a sweep."""
    return max((sweep.lever_deg for _, sweep in facts.swept), default=math.nan)


@check("sweeps", "low", "sweep", fault=17)
def ball_sweeps(facts: Facts) -> float:
    """Sweeps with the ball tip, which falls into pockets."""
    return float(sum(sweep.tip == "ball" for _, sweep in facts.swept)) if facts.swept else math.nan


@check("strokes", "low", "stroke")
def strokes_on_side(facts: Facts) -> float:
    """Strokes on faces that the drawing asks to be square, instead of on their datum."""
    if not facts.strokes:
        return math.nan
    upright = {(n, one.face) for n, job in enumerate(facts.ended) for one in job.start.shape.tolerances
               if one.kind == "perpendicularity"}  # fmt: skip
    return float(sum((one.piece, one.face) in upright for one in facts.strokes))


@check("doubts", "high", "answer")
def doubt_named(facts: Facts) -> float:
    """Pieces of which it was said rightly which face was put in doubt."""
    if not facts.told("in_doubt"):
        return math.nan
    right = 0
    for n, (begun, ended) in enumerate(zip(facts.begun, facts.ended, strict=True)):
        cut = {name for name, count in ended.cuts.items() if count != begun.cuts[name]}
        shape = ended.start.shape
        moved = {one.face for one in shape.tolerances if one.kind == "parallelism" and {one.face, one.datum} & cut}
        right += facts.answers.get((n, "in_doubt")) in {f"the {name}" for name in moved}
    return float(right)
