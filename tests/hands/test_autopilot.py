"""The pilot's habits, each on prints made by hand: nobody scrapes, the pilot is shown what a test wants it to see."""

from itertools import pairwise

import numpy as np
import pytest

from sim.hands.autopilot import SPLIT, STAGES, Pilot, choose, follow_the_blue, near_edge
from sim.hands.skill import Hand
from sim.measure.spots import islands
from sim.model.marks import Marks
from sim.shop.commands import HoneBlade, RollFilm, Scrape, SpotFace
from sim.shop.sight import Sight

STEADY = Hand(depth_scatter=0.0, drift_mm=0.0, direction_deg=0.0, style=0.0)
PITCH_MM, SIZE_MM, PLATE_MM = 0.5, (100.0, 80.0), (300.0, 200.0)
SHAPE = (160, 200)
IRON = np.ones(SHAPE, bool)
BLADES = {"rough", "semi", "fine", "split"}
LAST = (STAGES[-1],)


def marked(*boxes):
    """A print of rectangles (x, y, length, width in mm)."""
    out = np.zeros(SHAPE, bool)
    for x, y, length, width in boxes:
        j, i, nj, ni = (round(v / PITCH_MM) for v in (x, y, length, width))
        out[i : i + ni, j : j + nj] = True
    return out


def rows_of_marks(step_mm, to_mm=SIZE_MM[0]):
    """Squares of 1.5 mm, one every step."""
    x, y = np.arange(1.0, to_mm - 1.5, step_mm), np.arange(1.0, SIZE_MM[1] - 1.5, step_mm)
    return [(a, b, 1.5, 1.5) for a in x for b in y]


EVEN = marked(*rows_of_marks(4.0))  # 14 % of the face, everywhere
HALF = marked(*rows_of_marks(3.0, to_mm=60.0))  # nothing on the right


def watched(prints, **options):
    """What the pilot does in each round when it is shown these prints; a list of commands a round."""
    pilot, rounds, done = follow_the_blue(STEADY, **options), [], []
    metres = dict.fromkeys(BLADES, 0.0)
    seen, number = np.zeros(SHAPE, bool), 0
    command = next(pilot)
    while True:
        if isinstance(command, SpotFace):
            done = [done.pop()]  # the film that was rolled for it
            if number == len(prints):
                return rounds
            rounds.append(done)
            seen, number = prints[number], number + 1
        done.append(command)
        if isinstance(command, Scrape):
            metres[command.blade] += lengths_mm(command).sum() * 1e-3
        elif isinstance(command, HoneBlade):
            metres[command.blade] = 0.0
        command = pilot.send(Sight(seen, IRON, PITCH_MM, number, 0.0, 0, dict(metres), 1, PLATE_MM))


def of_kind(rounds, kind):
    return [command for done in rounds for command in done if isinstance(command, kind)]


def strokes_mm(command):
    return np.array(command.strokes, dtype=np.float64).reshape(-1, 5)[:, :4] * 0.01


def lengths_mm(command):
    x0, y0, x1, y1 = strokes_mm(command).T
    return np.hypot(x1 - x0, y1 - y0)


def blades(rounds):
    """The blade of each round; None where nothing was scraped."""
    return [next((c.blade for c in done if isinstance(c, Scrape)), None) for done in rounds]


# ---------------------------------------------------------------- what is taken

PLACES = {"plain": (75.0, 44.0), "large": (75.0, 24.0), "hard": (85.0, 64.0), "tiny": (65.0, 54.0),
          "tiny at the edge": (65.0, 0.5), "dense": (21.0, 41.0)}


def taken(how):
    """Which of the named marks are chosen: the left half is dense, in the right half lie few."""
    left = rows_of_marks(4.0, to_mm=50.0)
    right = [(x, y, 1.5, 1.5) for x in (55.0, 75.0, 95.0) for y in (14.0, 44.0, 74.0)]
    named = [(75.0, 24.0, 3.0, 2.0), (85.0, 64.0, 1.5, 1.5), (65.0, 54.0, 0.5, 0.5), (65.0, 0.5, 0.5, 0.5)]
    marks = Marks(marked(*left, *right, *named), IRON, PITCH_MM)
    pilot = Pilot()
    chosen = choose(marks, marked((85.5, 64.5, 0.5, 0.5)), near_edge(IRON, pilot.edge_mm, PITCH_MM), how, pilot)
    found = islands(marks).labels
    assert (chosen[chosen > 0] == found[chosen > 0]).all()
    cells = {name: tuple(round(v / PITCH_MM) for v in (y, x)) for name, (x, y) in PLACES.items()}
    assert all(found[at] > 0 for at in cells.values())
    return {name for name, at in cells.items() if chosen[at]}


@pytest.mark.parametrize("how,wanted", [
    ("all", {"plain", "large", "hard", "dense", "tiny at the edge"}),
    ("even", {"hard", "dense"}),
    ("split", {"large", "hard", "dense"}),
])  # fmt: skip
def test_what_is_taken_of_marks_large_hard_tiny_at_edges_and_where_the_blue_is_dense(how, wanted):
    assert taken(how) == wanted


def test_in_even_blue_only_large_marks_are_split():
    print_ = EVEN.copy()
    print_ |= marked((41.0, 41.0, 4.0, 2.0))
    marks = Marks(print_, IRON, PITCH_MM)
    chosen = choose(marks, np.zeros(SHAPE, bool), near_edge(IRON, 2.0, PITCH_MM), "split", Pilot(crowded_share=3.0))
    assert len(np.unique(chosen)) == 2
    assert chosen[82, 82] > 0


# ---------------------------------------------------------------- the order of things


def test_marks_at_edges_are_taken_first():
    (done,) = watched([EVEN])
    (scrape,) = [command for command in done if isinstance(command, Scrape)]
    x0, y0, x1, y1 = strokes_mm(scrape).T
    x, y = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
    # squares of 1.5 mm that begin 1 mm from an edge reach into the 2 mm along it
    at_edge = (np.minimum(x, y) < 3.0) | (x > SIZE_MM[0] - 3.0) | (y > SIZE_MM[1] - 3.0)
    count = int(at_edge.sum())
    assert 0 < count < len(x)
    assert at_edge[:count].all()


def test_it_goes_finer_once_the_blue_is_everywhere():
    rounds = watched([EVEN] * 14)
    # a stage lasts its least rounds and one more; the round that ends it is scraped as it was printed, but that an even
    # print may be split at once
    assert blades(rounds)[:11] == ["rough"] * 3 + ["semi"] * 4 + ["fine"] * 4
    assert blades(rounds)[12:] == ["split"] * 2
    films = [command.weight_um for command in of_kind(rounds, RollFilm)]
    assert films == [8.0] * 3 + [4.0] * 4 + [2.0] * 5 + [1.5] * 2


def test_it_stays_rough_while_part_of_the_face_is_bare():
    assert blades(watched([HALF] * 16)) == ["rough"] * 16


def test_it_leaves_a_stage_after_the_most_rounds_from_semi_on():
    rounds = watched([EVEN] * 3 + [HALF] * 20, pilot=Pilot(most_rounds=6))
    assert blades(rounds)[:17] == ["rough"] * 3 + ["semi"] * 7 + ["fine"] * 7


def test_the_directions_cross_from_round_to_round_and_do_not_when_told():
    for crossing in (True, False):
        slopes = []
        for scrape in of_kind(watched([EVEN] * 4, crossing=crossing), Scrape):
            x0, y0, x1, y1 = strokes_mm(scrape).T
            slopes.append(float(np.median((y1 - y0) / (x1 - x0))))
        assert np.abs(slopes) == pytest.approx(1.0, abs=0.02)
        assert [s * slopes[0] > 0 for s in slopes] == ([True, False, True, False] if crossing else [True] * 4)


def test_a_blade_is_honed_when_it_has_cut_its_metres():
    hone_m, cut_m, honed = 1.0, 0.0, 0
    for command in of_kind(watched([EVEN] * 3, pilot=Pilot(hone_m=hone_m)), (Scrape, HoneBlade)):
        if isinstance(command, HoneBlade):
            assert cut_m >= hone_m
            cut_m, honed = 0.0, honed + 1
            continue
        assert cut_m < hone_m
        each_m = lengths_mm(command) * 1e-3
        cut_m += each_m.sum()
        assert cut_m < hone_m + 2.0 * each_m.max()  # the stroke at hand is finished
    assert honed >= 3


def test_large_marks_are_split_only_from_an_even_print():
    assert blades(watched([EVEN] * 3, stages=LAST)) == [SPLIT.blade] * 3
    assert blades(watched([HALF] * 3, stages=LAST)) == [LAST[0].blade] * 3
    assert blades(watched([HALF, EVEN, HALF], stages=LAST)) == [LAST[0].blade, SPLIT.blade, LAST[0].blade]
    assert blades(watched([EVEN] * 3, stages=LAST, split=None)) == [LAST[0].blade] * 3


def test_the_face_is_put_elsewhere_and_end_for_end_and_rubbed_the_other_way():
    spots = of_kind(watched([EVEN] * 8), SpotFace)
    assert [spot.turn_deg for spot in spots] == [0.0, 0.0, 180.0, 180.0] * 2
    assert len({(spot.x_mm, spot.y_mm) for spot in spots}) == 8
    assert all(a.along != b.along for a, b in pairwise(spots))
    for spot in spots:  # on the plate, to the end of the rub
        for at, size, plate in zip((spot.x_mm, spot.y_mm), SIZE_MM, PLATE_MM, strict=True):
            assert 0.5 * spot.way_mm <= at <= plate - size - 0.5 * spot.way_mm


def test_the_film_is_laid_thicker_while_little_shows_and_thinner_again_when_much_does():
    little, much = marked(*rows_of_marks(10.0)), marked(*rows_of_marks(3.0))  # 2 and 25 % of the face
    rounds = watched([little] * 5 + [EVEN] + [much] * 5, stages=LAST)
    films = [command.weight_um for command in of_kind(rounds, RollFilm)]
    thinnest, factor = LAST[0].film_um, 1.25
    assert films[:5] == pytest.approx([thinnest * min(factor**k, Pilot().thickest) for k in range(5)])
    assert films[5] == films[6] == thinnest * Pilot().thickest  # neither too little nor much
    assert all(b < a or a == thinnest for a, b in pairwise(films[6:]))
    assert films[10] == thinnest


def test_the_film_that_is_used_is_the_factor_times_the_one_meant():
    plain, twice = (of_kind(watched([EVEN] * 5, pilot=Pilot(film_factor=f)), RollFilm) for f in (1.0, 2.0))
    assert [c.weight_um for c in twice] == [2.0 * c.weight_um for c in plain]
