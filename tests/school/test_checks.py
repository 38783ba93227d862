"""Figures of attempts, against what is known beforehand; what says nothing passes no limit."""

import math
from dataclasses import replace

import numpy as np
import pytest

from sim.measure.lay import lay_ratio
from sim.measure.spots import spots
from sim.model.blade import RACK
from sim.model.face import Face
from sim.model.marks import Marks
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.process.stroke import Iron, taken_um
from sim.report.lesson_text import count_lines, judged_lines
from sim.school.attempt import Attempt, begin_attempt, left_open
from sim.school.calls import Call
from sim.school.checks import CHECKS, Row, judge, step_met
from sim.school.checks_reading import _in_square, counted, fooled_by, form_of, least, overlap
from sim.school.facts import gather, ledges_um, section_depth_um
from sim.school.faults import FAULTS
from sim.school.lesson import (
    Allowed,
    Bound,
    Lesson,
    Limit,
    Piece,
    Question,
    Seeds,
    Solution,
    Step,
    before_of,
    pieces_of,
)
from sim.school.lessonfile import find_lesson
from sim.shop.commands import RollFilm, Scrape, SpotFace, StoneFace, WipeFace, WipePlate, strokes_as_data
from sim.shop.job import JobStart, begin_job
from sim.shop.partwork import TakeFace

PLATE = PlateMake(length_mm=120.0, width_mm=100.0)
TRUE = JobStart(replace(COUPON, kind="true"), PLATE)
SMALL = Lesson(
    name="40-small", number=40, title="Small", goal="Goal", minutes=1.0, belief="None", faults=(1,), permission="Try",
    cautions=(), pieces=(Piece(TRUE),), allowed=Allowed(), steps=(Step("Do"),),
    limits=(Limit("strokes_on_calls_pct", 90.0, 100.0),), questions=(Question("form", "Which?", ("even",)),),
    seeds=Seeds(), model=Solution("call_marks"), wrong=Solution("call_marks", {}, "strokes_on_calls_pct", "None"),
)  # fmt: skip


def attempt(**changes) -> Attempt:
    return begin_attempt(replace(SMALL, **changes), "alone", 5)


def value(of, name):
    return CHECKS[name].figure(gather(of))


def test_a_figure_of_nothing_passes_no_limit_and_its_sentence_says_so():
    (row,) = judge(SMALL, gather(attempt())).rows
    assert math.isnan(row.value)
    assert not row.passed
    assert "not judged: nothing was done. Work at each piece before you finish. Asked at least 90 %" in row.sentence()


@pytest.mark.parametrize("name", sorted(set(CHECKS) - {"decision_loss_h", "hours_factor"}))  # of recorded cases alone
def test_every_check_has_a_unit_in_its_words_and_gives_a_number_for_an_untouched_coupon(name):
    one = CHECKS[name]
    assert one.doc[0].isupper()
    assert one.better in ("high", "low")
    assert isinstance(float(one.figure(gather(attempt()))), float)
    assert not one.reached(math.nan, 0.0)


def test_calls_said_twice_count_no_stroke_twice_and_strokes_before_them_hit_nothing():
    made = attempt(pieces=(Piece(JobStart(COUPON, PLATE)),))
    made.do(RollFilm(8.0))
    made.do(SpotFace(30.0, 30.0))
    rows, cols = np.nonzero(made.sight.marked)
    x, y = (cols[0] + 0.5) * 0.25, (rows[0] + 0.5) * 0.25
    on = strokes_as_data(np.array([(x - 2.0, y, x + 2.0, y, 70.0)]))
    made.do(Scrape("fine", on))
    for _ in range(2):
        made.say("calls", calls=[[x, y, 1, False]])
        made.do(Scrape("fine", on))
    assert value(made, "strokes_on_calls_pct") == pytest.approx(100.0 * 2 / 3)


def test_a_square_off_the_face_finds_nothing():
    marks = Marks(np.zeros((160, 240), bool), np.ones((160, 240), bool), 0.25)
    assert _in_square(marks, {"x_mm": 10.0, "y_mm": 10.0}) == 0.0
    for corner in ({"x_mm": -500.0, "y_mm": 0.0}, {"x_mm": 40.0, "y_mm": 0.0}, {}):
        assert math.isnan(_in_square(marks, corner))


def test_the_depth_of_a_stroke_is_that_of_the_round_section_that_it_removed():
    """Against the depth at which the push balances less the least chip, by Kienzle's law (tests/process)."""
    made = attempt()
    strokes = np.array([(15.0, 10.1, 35.0, 12.0, 95.0), (15.0, 25.0, 35.0, 24.0, 95.0)])
    command = Scrape("fine", strokes_as_data(strokes), ramp_mm=2.0)
    cut = made.do(command)
    lengths = np.hypot(*(command.made[:, 2:4] - command.made[:, :2]).T)
    assert section_depth_um(cut.removed_mm3, lengths, command) == pytest.approx(taken_um(RACK["fine"], 95.0, Iron()),
                                                                                rel=0.12)  # fmt: skip


def test_a_step_is_a_ledge_and_an_even_slope_is_not():
    taken = np.zeros((80, 160))
    taken[:, 40:120] = 4.0  # 10 mm to 30 mm, straight walls
    stroke = np.array([(10.0, 10.0, 30.0, 10.0, 90.0)])
    assert ledges_um(taken, 0.25, stroke)[0] == pytest.approx(4.0)
    slope = np.tile(np.clip((np.arange(160) - 40) * 0.1, 0.0, 4.0), (80, 1))  # 0.4 um a mm
    assert ledges_um(slope, 0.25, np.array([(10.0, 10.0, 20.0, 10.0, 90.0)]))[0] == pytest.approx(0.2, rel=1e-6)


@pytest.mark.parametrize(("form", "start"), [
    ("crowned", {"bow_x_um": 9.0}), ("hollow", {"bow_x_um": -9.0}), ("twisted", {"twist_um": 16.0}), ("even", {})])
def test_a_form_is_told_from_the_iron(form, start):
    assert form_of(begin_job(replace(TRUE, face=replace(TRUE.face, **start)))) == form


def test_waves_one_way_have_a_ratio_and_waves_both_ways_have_none():
    job = begin_job(TRUE)
    y, x = np.mgrid[0 : job.face.shape[0], 0 : job.face.shape[1]] * 0.25
    job.face.height_um[:] = np.sin(2 * np.pi * x / 3.0) + 0.25 * np.sin(2 * np.pi * y / 3.0)
    assert lay_ratio(job.face) == pytest.approx(4.0, rel=0.05)  # slopes of two waves go as their heights
    job.face.height_um[:] = np.sin(2 * np.pi * x / 3.0) + np.sin(2 * np.pi * y / 3.0)
    assert lay_ratio(job.face) == pytest.approx(1.0, abs=0.05)


def test_a_clean_stoned_face_is_falsified_by_nothing_and_one_with_blue_on_it_by_old_blue():
    job = begin_job(JobStart(replace(COUPON, kind="surface-ground"), PLATE, seed=3))
    assert fooled_by(job) == "nothing"
    job.face.blue_um[:40] = 3.0
    assert fooled_by(job) == "old blue"


def test_overlap_is_of_both_over_either():
    one, other = np.array([1, 1, 0, 0], bool), np.array([0, 1, 1, 0], bool)
    assert overlap(one, other) == pytest.approx(1 / 3)
    assert overlap(one & ~one, one & ~one) == 1.0


def test_films_are_held_against_what_each_piece_asks_in_whatever_order_they_come():
    pieces = tuple(Piece(TRUE, asked_um=film) for film in (1.5, 4.0, 8.0))
    made = attempt(pieces=pieces, shuffled=True)
    for n, piece in enumerate(pieces_of(made.lesson, 5)):
        made.take_piece(n)
        made.do(RollFilm(piece.asked_um * (1.2 if n == 1 else 1.0)))
        made.do(SpotFace(20.0, 20.0))
    assert value(made, "film_off_pct") == pytest.approx(20.0, abs=0.5)
    assert value(made, "film_cv") < 0.2


def test_low_iron_and_bare_iron_are_told_apart():
    made = attempt()
    for command in (RollFilm(3.0), SpotFace(20.0, 20.0)):
        made.do(command)
    made.do(WipeFace())
    made.do(Scrape("fine", strokes_as_data(np.array([(20.0, 20.0, 30.0, 20.0, 70.0)]))))
    assert value(made, "strokes_off_blue_pct") == 100.0
    assert value(made, "low_strokes_pct") == 0.0, "it lay at the height of the tops"
    assert value(made, "stonings") == 0.0
    made.do(StoneFace())
    assert value(made, "stonings") == 1.0


def test_a_bound_is_met_from_its_own_side():
    assert Bound("film_cv", at_most=0.2).met(0.1)
    assert not Bound("film_cv", at_most=0.2).met(0.3)
    assert not Bound("film_cv", at_most=0.2).met(math.nan)


def test_a_figure_that_is_missing_says_why_on_which_pieces_and_what_to_do():
    limits = tuple(Limit(name, 1.0, 1.0) for name in ("film_off_pct", "strokes_made", "forms_right", "lamps_used"))
    made = attempt(limits=limits, pieces=tuple(Piece(TRUE, asked_um=3.0) for _ in range(3)))
    judged = judge(made.lesson, gather(made))
    assert judged.nothing
    assert {row.why for row in judged.rows} == {"nothing was done. Work at each piece before you finish."}
    made.do(RollFilm(3.0))
    made.do(SpotFace(20.0, 20.0))
    film, strokes, forms, lamps = judge(made.lesson, gather(made)).rows
    assert film.why == "no print was made on pieces 2 and 3. Roll a film, then spot: lay, rub, lift."
    assert strokes.why == "no stroke was made. Scrape."
    assert forms.why == "no question was answered. Answer the questions."
    assert lamps.why == "the lamp was not turned. Turn the lamp."
    assert not judge(made.lesson, gather(made)).passed


def test_what_is_untouched_is_named_and_a_hint_touches_nothing():
    made = attempt(pieces=(Piece(TRUE),) * 3, questions=())
    made.say("hint", step=1, rung=1)
    made.say("lamp", lamp_deg=20.0)
    assert left_open(made) == "pieces 1, 2 and 3 are untouched"
    made.do(RollFilm(3.0))
    made.take_piece(2)
    made.say("calls", calls=[[30.0, 20.0, 1, True]])
    assert left_open(made) == "piece 2 is untouched"
    asked = attempt(pieces=(Piece(TRUE),) * 2)
    asked.say("answer", question="form", value="even")
    assert left_open(asked) == "piece 2 is untouched, and one question has no answer yet"


def test_a_count_is_held_against_the_print_that_was_counted():
    made = attempt(pieces=(Piece(replace(TRUE, face=COUPON)),))
    for film_um in (8.0, 1.0):
        made.do(RollFilm(film_um))
        made.do(SpotFace(20.0, 20.0))
        if film_um == 8.0:
            made.say("count", x_mm=10.0, y_mm=5.0, spots=7, bearing_pct=20.0)
        made.do(WipeFace())
        made.do(WipePlate())
    facts = gather(made)
    first, last = (spots(one.marks).bearing_pct for one in facts.printed)
    there = _in_square(facts.printed[0].marks, {"x_mm": 10.0, "y_mm": 5.0})
    assert first > 1.1 * last
    one = counted(facts, 0)
    assert (one.said_spots, one.spots, one.said_bearing_pct, one.bearing_pct) == (7.0, there, 20.0, first)
    assert CHECKS["count_off_spots"].figure(facts) == abs(7.0 - there)
    assert CHECKS["bearing_off_points"].figure(facts) == abs(20.0 - first)
    (line,) = count_lines(facts)
    assert f"counted 7, there are {there:g}; bearing 20.0 %, it is {first:.1f} %" in line


def test_the_least_of_some_spots_is_missing_where_one_is_missing():
    assert least([3.0, 1.0, 2.0]) == 1.0
    for values in ([], [1.0, math.nan], [math.nan, 1.0]):
        assert math.isnan(least(values)), "a plain min would say 1 or nan, by their order"


def test_a_pass_of_the_stone_is_no_stroke_on_the_side_and_a_stroke_on_it_is_one():
    made = begin_attempt(find_lesson("15"), "alone", 3)
    made.do(TakeFace("foot"))
    stroke = strokes_as_data(np.array([(20.0, 20.0, 30.0, 20.0, 70.0)]))
    made.do(Scrape("fine", stroke))
    made.do(TakeFace("side"))
    made.do(StoneFace())
    assert value(made, "strokes_on_side") == 0.0
    made.do(Scrape("fine", stroke * 2))
    assert value(made, "strokes_on_side") == 2.0


def test_what_was_cut_beforehand_lies_elsewhere_on_other_seeds_and_the_same_on_one():
    cut = Scrape("rough", strokes_as_data(np.array([(15.0, 10.0, 25.0, 12.0, 90.0)])))
    piece = Piece(TRUE, before=(cut, StoneFace()), scatter_mm=4.0)
    found = {before_of(piece, seed)[0].strokes[0] for seed in range(40)}
    assert len(found) == 40
    assert before_of(piece, 3) == before_of(piece, 3)
    assert before_of(piece, 3)[1] == StoneFace()
    assert before_of(replace(piece, scatter_mm=0.0), 3) == piece.before
    middle = np.array([[0.5 * (x0 + x1), 0.5 * (y0 + y1)] for x0, y0, x1, y1, _ in found]) / 100.0
    for axis, (at, size) in enumerate(((20.0, 60.0), (11.0, 40.0))):
        off = np.minimum(np.abs(middle[:, axis] - at), np.abs(middle[:, axis] - (size - at)))
        assert off.max() <= 4.0
        assert 0.2 < (middle[:, axis] < 0.5 * size).mean() < 0.8, "both sides"
    assert len({round(math.hypot(x1 - x0, y1 - y0), 1) for x0, y0, x1, y1, _ in found}) == 1
    assert {push for *_, push in found} == {900}


def test_calls_are_kept_with_the_strokes_that_were_there():
    made = attempt()
    made.do(RollFilm(3.0))
    made.do(SpotFace(20.0, 20.0))
    made.say("calls", calls=[[30.0, 20.0, 1, True]])
    (called,) = gather(made).called
    assert called.strokes == 0
    assert called.calls == (Call(30.0, 20.0, 1, True),)
    assert isinstance(made.session.job.face, Face)


# Faults that figures are


def scraped(**changes) -> Attempt:
    made = attempt(pieces=(Piece(JobStart(COUPON, PLATE)),), **changes)
    rows = np.array([(15.0, y, 35.0, y, 300.0) for y in (10.0, 20.0, 30.0)])
    made.do(Scrape("fine", strokes_as_data(rows), ramp_mm=0.05))
    return made


def test_a_figure_that_fails_names_the_fault_that_it_is_and_one_that_passes_or_says_nothing_names_none():
    ledges = (Limit("ledge_um", 2.3, 2.0),)
    judged = judge(replace(SMALL, limits=ledges), gather(scraped(limits=ledges)))
    assert not judged.passed
    assert judged.faults == {13: 1}
    assert "what the coach saw: abrupt ends, ledges (1 time)" in judged_lines(judged, "alone")
    passing = (Limit("ledge_um", 1000.0, 1000.0),)
    judged = judge(replace(SMALL, limits=passing), gather(scraped(limits=passing)))
    assert (judged.passed, judged.faults) == (True, {})
    assert "what the coach saw: no fault" in judged_lines(judged, "alone")
    judged = judge(replace(SMALL, limits=ledges), gather(attempt(limits=ledges)))
    assert (judged.passed, judged.faults) == (False, {})
    assert "what the coach saw: nothing else stood out" in judged_lines(judged, "alone")


@pytest.mark.parametrize(("film_um", "faults"), [(8.0, {1: 1}), (0.3, {})])
def test_a_film_that_is_off_is_the_fault_of_a_heavy_one_only_where_it_is_too_heavy(film_um, faults):
    limits = (Limit("film_off_pct", 30.0, 10.0),)
    made = attempt(pieces=(Piece(TRUE, asked_um=2.0),), limits=limits)
    made.do(RollFilm(film_um))
    made.do(SpotFace(30.0, 30.0))
    judged = judge(replace(SMALL, limits=limits), gather(made))
    assert (judged.passed, judged.faults) == (False, faults)


def test_every_fault_of_a_check_is_one_of_the_list_on_an_attempt_of_nothing_too():
    for one in CHECKS.values():
        assert isinstance(one.fault, int) or callable(one.fault)
        if one.name not in ("decision_loss_h", "hours_factor"):
            assert one.shows(gather(attempt())) in (0, *FAULTS), one.name


def fine_on_a_crown(**changes) -> Attempt:
    """Eighteen fine strokes after two thin prints on a face crowned by 18 µm, nothing called, no square, no stone."""
    made = attempt(pieces=(Piece(JobStart(replace(COUPON, bow_x_um=18.0), PLATE)),), **changes)
    for _ in range(2):
        made.do(RollFilm(2.0))
        made.do(SpotFace(30.0, 30.0))
        rows, cols = np.nonzero(made.sight.marked)
        at = np.linspace(0, len(rows) - 1, 9).astype(int)
        x, y = np.clip((cols[at] + 0.5) * 0.25, 5.0, 55.0), np.clip((rows[at] + 0.5) * 0.25, 2.0, 38.0)
        made.do(Scrape("fine", strokes_as_data(np.column_stack([x - 3.0, y, x + 3.0, y, np.full(9, 70.0)]))))
        made.do(WipeFace())
    return made


def test_no_fault_of_calls_or_squares_is_told_where_there_was_none_and_what_was_done_is():
    assert gather(fine_on_a_crown()).faults() == {4: 1, 8: 1}


def test_no_stone_is_no_fault_where_the_lesson_has_none():
    allowed = Allowed(tools=("roll", "spot", "scrape", "wipe"))
    assert set(gather(fine_on_a_crown(allowed=allowed)).faults()) == {8}


def test_a_figure_stands_before_its_limit_as_finely_as_that_and_finer_where_it_just_misses_it():
    row = Row("call_skill", "Calls in order: 0 is dealt at random", "points", "high", -86.71, 66.0, 80.0, False, False)
    assert row.sentence() == "Calls in order: -87 points, at least 66 asked; 0 is dealt at random"
    assert replace(row, value=65.96).shown == "65.96"
    assert replace(row, better="low", passes=30.0, value=0.0026, passed=True).shown == "0"
    assert replace(row, better="low", passes=2.3, value=15.9).shown == "15.9"


def test_a_step_that_waits_for_strokes_is_done_by_a_print_after_them_alone():
    bound = Bound("fields_bearing", at_least=0, after="stroke")
    made = attempt(pieces=(Piece(JobStart(COUPON, PLATE)),))
    for done in ("print", "stroke", "print after it"):
        if done == "stroke":
            made.do(Scrape("fine", strokes_as_data(np.array([(15.0, 10.0, 35.0, 10.0, 70.0)]))))
        else:
            made.do(RollFilm(8.0))
            made.do(SpotFace(30.0, 30.0))
        assert step_met(bound, gather(made)) == (done == "print after it"), done


def test_a_step_that_waits_for_every_piece_is_not_done_by_the_first():
    bound = Bound("film_cv", at_most=10.0, after="film")
    made = attempt(pieces=(Piece(TRUE), Piece(TRUE, seed_step=1)))
    assert not step_met(bound, gather(made))
    for n in range(2):
        made.take_piece(n)
        made.do(RollFilm(2.0))
        assert step_met(bound, gather(made)) == (n == 1)
