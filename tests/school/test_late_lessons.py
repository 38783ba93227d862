"""Lessons 14 to 17 beyond what every lesson is held to: recorded trials, proof of a face, what blue alone leaves."""

import csv
import math
import re
from functools import lru_cache

import pytest

import sim
from sim.errors import BadFile, BadParam
from sim.measure.flatness import bearing_flatness_um
from sim.paths import lessons
from sim.school.attempt import begin_attempt
from sim.school.checks import CHECKS, Judged, judge
from sim.school.checks_reading import CUT, SCRAPE, Case, case_of, decisions, expected_hours
from sim.school.facts import Facts, gather
from sim.school.lesson import Lesson
from sim.school.lessonfile import find_lesson
from sim.school.recorded import BOW_UM, CASES, machine_again, record_machine_again, sole
from sim.school.ways import acts, work
from sim.shop.commands import RollFilm, SpotFace
from sim.shop.job import JobStart, begin_job
from sim.shop.partwork import TakeFace

LATE = ("14", "15", "16", "17")
TABLE = lessons() / "trials" / "machine_again.csv"


@lru_cache(maxsize=32)
def done(number: str, how: str, seed: int, hand: str | None = None) -> Judged:
    """What an attempt alone came to, by the model solution or the wrong one."""
    lesson = find_lesson(number)
    attempt = begin_attempt(lesson, "alone", seed)
    work(attempt, getattr(lesson, how), hand)
    return judge(lesson, gather(attempt))


def failed(judged: Judged) -> set[str]:
    """Names of the checks that were not passed."""
    return {row.check for row in judged.rows if not row.passed}


@pytest.mark.parametrize("number", LATE)
def test_a_late_lesson_is_whole(number):
    lesson: Lesson = find_lesson(number)
    assert lesson.number == int(number)
    assert lesson.faults
    assert lesson.cautions
    assert all(len(step.hints) == 4 for step in lesson.steps)
    assert all(piece.start.part is not None for piece in lesson.pieces)
    assert lesson.seeds.trials[1] - lesson.seeds.trials[0] >= 5


def test_only_faces_that_were_worked_are_asked_to_be_flat_and_none_is_no_pass():
    begun = begin_job(JobStart(part=find_lesson("15").pieces[0].start.part, seed=3))
    ended = begun.copy()
    facts = Facts(find_lesson("15"), "alone", begun=[begun], ended=[ended])
    assert math.isnan(CHECKS["worked_flat_um"].figure(facts))
    ended.cuts["foot"] += 1
    assert CHECKS["worked_flat_um"].figure(facts) == bearing_flatness_um(ended.part.faces["foot"])
    ended.in_hand = "side"
    assert CHECKS["worked_flat_um"].figure(facts) == bearing_flatness_um(ended.part.faces["foot"])


@pytest.mark.slow
def test_lesson_16_is_passed_by_deciding_from_the_rows_around_and_failed_by_cutting_always():
    good, wrong = done("16", "model", 21), done("16", "wrong", 21)
    assert good.passed
    assert good.figures["decision_loss_h"] == 0.0
    assert {"decision_loss_h"} <= failed(wrong)
    assert wrong.figures["pieces_measured"] == 3.0
    assert good.figures["strokes"] == wrong.figures["strokes"] == 0.0, "no iron is touched"


@pytest.mark.slow
def test_a_beginner_takes_far_longer_over_the_whole_stand_and_meets_less_of_the_drawing():
    skilled, beginner = (done("17", "model", 22, hand).figures for hand in ("skilled", "beginner"))
    assert beginner["shop_hours"] > 1.5 * skilled["shop_hours"]
    assert beginner["tolerances_missed"] > skilled["tolerances_missed"] == 0.0


@pytest.mark.slow
def test_each_face_of_the_stand_is_proved_by_a_thin_and_gentle_print_before_it_is_left():
    attempt = begin_attempt(find_lesson("17"), "alone", 22)
    last, film_um, face = {}, 0.0, "foot"
    for act, _ in acts(attempt, attempt.lesson.model):
        if isinstance(act, RollFilm):
            film_um = act.weight_um
        elif isinstance(act, TakeFace):
            face = act.face
        elif isinstance(act, SpotFace):
            last[face] = film_um, act.way_mm
    assert last == dict.fromkeys(("foot", "top", "side"), (1.5, 2.0))


@pytest.mark.slow
def test_the_blue_alone_leaves_a_flat_wedge():
    figures = done("14", "wrong", 22).figures
    assert figures["worked_flat_um"] < 3.0
    assert figures["parallelism_um"] > 10.0


def test_the_table_of_trials_is_of_this_model_and_has_every_case_both_ways():
    head = TABLE.read_text(encoding="utf-8").splitlines()
    assert head[0] == f"# physics: {sim.PHYSICS}", "make it again: the command stands in the file"
    found = decisions()
    assert {case_of(title) for title in found} == set(CASES)
    assert all(set(ways) == {SCRAPE, CUT} for ways in found.values())
    assert all(one["met_pct"] > 50.0 for ways in found.values() for one in ways.values())


def test_a_cut_costs_the_same_whatever_the_sole_was_like_and_more_with_the_head_out_of_tram():
    cut = {case: decisions()[case.title][CUT]["hours"] for case in CASES}
    scraped = [decisions()[Case(um, "in").title][SCRAPE]["hours"] for um in (10.0, 12.0, 25.0, 45.0, 60.0)]
    assert max(h for c, h in cut.items() if c.tram == "in") < min(h for c, h in cut.items() if c.tram == "out of")
    assert scraped == sorted(scraped)


def test_the_rows_that_a_learner_reads_are_those_of_the_table():
    lesson = find_lesson("16")
    hidden = {piece.case for piece in lesson.pieces}
    told = [step.text for step in lesson.steps if "µm" in step.text]
    assert len(told) == 2
    for text, tram in zip(told, ("in", "out of"), strict=True):
        rows = re.findall(r"(\d+) µm(?: out)?: ([\d.]+) h(?: scraped as it was,| and) ([\d.]+) h", text)
        assert len(rows) == sum(one.tram == tram and one.title not in hidden for one in CASES)
        for um, scraped, cut in rows:
            ways = decisions()[Case(float(um), tram).title]
            assert (float(scraped), float(cut)) == (round(ways[SCRAPE]["hours"], 1), round(ways[CUT]["hours"], 1))


def test_hours_are_read_between_the_rows_around_and_never_from_the_row_itself():
    hidden = [piece.case for piece in find_lesson("16").pieces]
    low, high = (decisions()[Case(um, "in").title][SCRAPE]["hours"] for um in (10.0, 25.0))
    assert expected_hours(Case(16.0, "in"), hidden)[SCRAPE] == pytest.approx(low + 0.4 * (high - low))
    assert expected_hours(Case(10.0, "in"), hidden)[SCRAPE] == pytest.approx(low)
    beyond = expected_hours(Case(40.0, "out of"), hidden)[SCRAPE]
    assert beyond == pytest.approx(high + 1.0 * (high - low)), "as the last two rows go on"
    with pytest.raises(BadFile, match="two recorded cases"):
        expected_hours(Case(12.0, "in"), list(decisions()))


@pytest.mark.parametrize("title", ("", "12 mm, cutter in tram", "12 um, cutter near tram", "1e9 um, cutter in tram"))
def test_what_is_no_case_is_told(title):
    with pytest.raises(BadParam, match="a case must be as"):
        case_of(title)


def test_a_piece_of_lesson_16_starts_as_the_trials_did():
    for piece in find_lesson("16").pieces:
        um = case_of(piece.case).um
        assert piece.start.part.faces[0].start == sole(um).faces[0].start
        assert piece.start.part.faces[0].start.bow_x_um == BOW_UM[um]


def test_recorded_trials_are_written_whole_with_the_command_that_makes_them_again(tmp_path, monkeypatch):
    monkeypatch.setattr("sim.school.recorded.trial", lambda case, way, seed: (case.um + seed, 1.0, seed > 1))
    record_machine_again(tmp_path / "again.csv", [1, 2, 3])
    lines = (tmp_path / "again.csv").read_text(encoding="utf-8").splitlines()
    head = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert any("record_machine_again" in line and "[1, 2, 3]" in line for line in head)
    assert "# seeds: 1, 2, 3; hand: skilled" in head
    assert len(rows) == 2 * len(CASES)
    assert rows[0] == {"case": "10 um, cutter in tram", "way": SCRAPE, "hours": "12.00", "left_um": "1.00",
                       "met_pct": "67"}  # fmt: skip


@pytest.mark.slow
def test_a_case_of_the_table_comes_out_the_same_when_it_is_tried_again():
    seeds = re.search(r"^# seeds: ([\d, ]+);", TABLE.read_text(encoding="utf-8"), re.M)
    assert seeds
    case = Case(12.0, "in")
    rows = machine_again([case], [int(one) for one in seeds[1].split(",")])
    assert [{key: float(row[key]) for key in ("hours", "left_um", "met_pct")} for row in rows] == [
        decisions()[case.title][way] for way in (SCRAPE, CUT)]  # fmt: skip
