"""Acts of a lesson as data: read whole, played as they stand, written out again; turns, trials, what is told aloud."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sim.books.record import Record
from sim.errors import BadFile, BadFiles, BadParam, Refused
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.report.piece import piece_figure
from sim.school.aloud import Aloud, last_cuts, lie_words, result_lines, section_lines
from sim.school.attempt import begin_attempt, said_data
from sim.school.checks import judge
from sim.school.facts import gather
from sim.school.lesson import Allowed, Lesson, Limit, Piece, Question, Seeds, Solution, Step
from sim.school.play import acts_of, acts_text, play, read_acts
from sim.school.trials import limits_from, reached_by, solution_faults, trial_figures
from sim.school.turns import check_opens, keep_attempt, seed_of, why_not_now
from sim.school.ways import work
from sim.shop.commands import RollFilm, Scrape, strokes_as_data
from sim.shop.job import JobStart
from sim.shop.logbook import fingerprint

START = JobStart(replace(COUPON, length_mm=30.0, width_mm=20.0), PlateMake(length_mm=70.0, width_mm=60.0))
HINTS = ("Look at the plate.", "What is on it?", "Two films are as thick as both.", "Wipe it first.")
LESSON = Lesson(
    name="two-films", number=50, title="Two films", goal="Roll what is asked.", minutes=5.0, belief="A film is a film.",
    faults=(1,), permission="Roll one twice as heavy.", cautions=("rags",),
    pieces=(Piece(START, "first", asked_um=2.0), Piece(START, "second", before=(RollFilm(3.0),), seed_step=1,
                                                       asked_um=4.0)),
    allowed=Allowed(tools=("roll", "spot", "scrape", "wipe", "hinge")), steps=(Step("Roll it.", HINTS),),
    limits=(Limit("film_off_pct", 30.0, 15.0), Limit("film_cv", 0.2, 0.15)),
    questions=(Question("form", "Which form?", ("even", "crowned")), Question("pivot_pct", "At?", (), "%", 0.0, 100.0)),
    seeds=Seeds(trials=(21, 23)), model=Solution("lay_films"),
    wrong=Solution("lay_films", {"film_um": 8.0}, "film_off_pct", "Heavy, whatever was asked."),
)  # fmt: skip
PRINT = {"do": "SpotFace", "x_mm": 20.0, "y_mm": 20.0}
ACTS = [
    {"piece": 2}, {"do": "RollFilm", "weight_um": 2.1}, {"say": "lamp", "lamp_deg": 40},
    {"say": "predict", "x_mm": 10, "y_mm": 9.5, "marks": "more"}, PRINT,
    {"say": "calls", "calls": [[5.0, 5.0, 1, True], [20, 10, 3, False]]}, {"piece": 1}, {"do": "PushEnds"},
    {"say": "answer", "question": "form", "value": "crowned"}, {"say": "answer", "question": "pivot_pct", "value": 41},
    {"piece": 2}, {"do": "Scrape", "strokes": [[500, 500, 1500, 520, 800], [600, 900, 1500, 930, 700]]},
    {"say": "count", "x_mm": 1, "y_mm": 2, "spots": 7}, {"do": "WipeFace"}, {"say": "hint", "step": 1, "rung": 2},
]  # fmt: skip


def file_of(tmp_path, rows):
    path = tmp_path / "acts.json"
    path.write_text(rows if isinstance(rows, str) else json.dumps(rows), encoding="utf-8")
    return path


def faults(tmp_path, rows):
    path = file_of(tmp_path, rows)
    with pytest.raises(BadFiles) as refused:
        read_acts(path, LESSON)
    return [fault.removeprefix(f"{path}: ") for fault in refused.value.faults]


def played(tmp_path, rows, part="alone"):
    attempt = begin_attempt(LESSON, part, 1000)
    return play(attempt, read_acts(file_of(tmp_path, rows), LESSON), "acts.json")


def test_acts_written_out_again_come_to_the_same_faces_bit_for_bit(tmp_path):
    first = played(tmp_path, ACTS)
    (tmp_path / "acts.json").write_text(acts_text(acts_of(first)))
    again = play(begin_attempt(LESSON, "alone", 1000), read_acts(tmp_path / "acts.json", LESSON))
    assert len(first.session.commands) == 5, "the film of before, and four acts"
    for one, other in zip(first.sessions, again.sessions, strict=True):
        assert fingerprint(one.job) == fingerprint(other.job)
        assert one.commands == other.commands
    assert sorted(map(str, said_data(first.said))) == sorted(map(str, said_data(again.said)))
    assert again.piece == first.piece == 1
    assert acts_of(again) == acts_of(first)
    assert judge(LESSON, gather(again)).rows == judge(LESSON, gather(first)).rows


def test_the_acts_of_a_worked_solution_are_a_file_of_answers(tmp_path):
    attempt = work(begin_attempt(LESSON, "check", 7), LESSON.model)
    (tmp_path / "acts.json").write_text(acts_text(acts_of(attempt)))
    again = play(begin_attempt(LESSON, "check", 7), read_acts(tmp_path / "acts.json", LESSON))
    assert [fingerprint(one.job) for one in again.sessions] == [fingerprint(one.job) for one in attempt.sessions]
    assert acts_of(begin_attempt(LESSON, "help", 7)) == [{"piece": 1}]


def test_what_was_taken_back_is_not_among_the_acts():
    attempt = begin_attempt(LESSON, "alone", 1000)
    attempt.do(RollFilm(2.0))
    attempt.say("hint", step=1, rung=1)
    attempt.session.undo()
    attempt.do(RollFilm(5.0))
    rows = acts_of(attempt)
    assert [row.get("weight_um") for row in rows if "do" in row] == [5.0]
    assert sum(row.get("say") == "hint" for row in rows) == 1


BAD = [
    ("roll", "an act must be an object with one of piece, do, say"),
    ({"piece": 1, "do": "WipeFace"}, "an act must be an object with one of piece, do, say"),
    ({"piece": 0}, "piece must be a whole number from 1"), ({"piece": 3}, "piece must be 1 to 2, got 3"),
    ({"piece": True}, "piece must be a whole number"), ({"do": "Polish"}, "do must be one of"),
    ({"do": ["WipeFace"]}, "do must be one of"), ({"do": "RollFilm", "weight": 1}, "RollFilm takes weight_um"),
    ({"do": "RollFilm", "weight_um": "3"}, "RollFilm.weight_um must be of the kind of 3.0"),
    ({"say": "shout"}, "say must be one of predict"), ({"say": ["calls"]}, "say must be one of predict"),
    ({"say": "lamp"}, "lamp takes lamp_deg, got ''"), ({"say": "predict"}, "predict takes x_mm, y_mm, marks, got ''"),
    ({"say": "predict", "marks": "none"}, "marks must be one of more, same, fewer"),
    ({"say": "predict", "x_mm": "4"}, "x_mm must be in [-10000, 10000] mm"),
    ({"say": "calls", "calls": [[1, 2, 1]]}, "call 1 must be [x_mm, y_mm, level, sure]"),
    ({"say": "calls", "calls": [[1, 2, 1, True], [1, 2, 4, True]]}, "call 2 must be"),
    ({"say": "calls", "calls": 4}, "calls must be a list of at most 2000"),
    ({"say": "answer", "question": "shape", "value": 1}, "question must be one of form, pivot_pct, got 'shape'"),
    ({"say": "answer", "question": "form", "value": "square"}, "form must be one of even, crowned, got 'square'"),
    ({"say": "answer", "question": "pivot_pct", "value": 140}, "pivot_pct must be in [0, 100] %, got 140"),
    ({"say": "answer", "question": "pivot_pct", "value": "40"}, "pivot_pct must be in [0, 100] %, got '40'"),
    ({"say": "answer", "question": "form"}, "answer takes question, value, got 'question'"),
    ({"say": "answer", "question": {}, "value": 1}, "question must be a word, got {}"),
    ({"say": "step", "step": 2}, "step must be 1 to 1, got 2"), ({"say": "step", "step": "1"}, "step must be a whole"),
    ({"say": "hint", "step": 1, "rung": 0}, "rung must be 1 to 4"),
    ({"say": "count", "spots": -1}, "spots must be in [0, 1e+06]"), ({"say": "uncover", "x_mm": 1}, "uncover takes n"),
]  # fmt: skip


def test_every_act_that_is_none_is_told_with_its_number(tmp_path):
    told = faults(tmp_path, [row for bad, _ in BAD for row in ({"do": "WipeFace"}, bad)])
    assert len(told) == len(BAD)
    for n, (fault, (_, words)) in enumerate(zip(told, BAD, strict=True), start=1):
        assert fault.startswith(f"[{2 * n}]: {words}")


@pytest.mark.parametrize(("content", "words"), [
    ("{}", "must be a list of 1 to 50,000 acts, got dict"), ("[]", "nothing was done on any piece"),
    ("[{", "acts.json:1: must be JSON, got no key in double quotes"),
    ("[\n{}\n{}]", "acts.json:3: must be JSON, got no comma between two values"),
    ("[" * 100_000, "must be JSON"), ('[{"do": "RollFilm", "weight_um": NaN}]', "numbers must be finite"),
    ("[" + "{}," * 50_000 + "{}]", "got 50,001 acts"),
])  # fmt: skip
def test_a_file_that_is_no_list_of_acts_is_one_line(tmp_path, content, words):
    with pytest.raises(BadFile) as refused:
        read_acts(file_of(tmp_path, content))
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_an_act_that_is_not_possible_is_named_and_nothing_before_it_is_lost(tmp_path):
    attempt = begin_attempt(LESSON, "alone", 1000)
    rows = [{"do": "RollFilm"}, {"do": "StoneFace"}, PRINT]
    with pytest.raises(BadFile, match=r"^acts\.json: \[2\]: This lesson does not allow the stone"):
        play(attempt, read_acts(file_of(tmp_path, rows), LESSON), "acts.json")
    assert [type(one).__name__ for one in attempt.session.commands] == ["RollFilm"]
    nowhere = [{"do": "Scrape", "strokes": [[0, 0, 0, 0, 0]]}]
    with pytest.raises(BadFile, match=r"^acts\.json: \[1\]: stroke 0 must be between 0\.1 and 200 mm long"):
        play(attempt, read_acts(file_of(tmp_path, nowhere), LESSON), "acts.json")
    play(attempt, read_acts(file_of(tmp_path, [PRINT]), LESSON))
    assert attempt.session.job.round == 1


def test_what_acts_show_and_hints_that_were_asked_for_are_told(tmp_path):
    attempt = begin_attempt(LESSON, "alone", 1000)
    aloud = Aloud(attempt)
    play(attempt, read_acts(file_of(tmp_path, ACTS), LESSON), "acts", aloud)
    told = aloud.finish()
    shown = [one for one in told if one.kind == "shown"]
    assert [(one.act, one.piece) for one in shown] == [(8, 1), (8, 1)]
    assert "it turns" in shown[0].text
    assert [(one.act, one.text) for one in told if one.kind == "hint"] == [(15, HINTS[1])]
    assert result_lines(np.array([1.25, -2.0])) == ["Read, µm: 1.2, -2.0"]
    assert result_lines(None) == []


ROUND = [{"do": "WipePlate"}, {"do": "RollFilm", "weight_um": 1.5}, PRINT,
         {"do": "Scrape", "strokes": [[500, 500 + 40 * n, 1500, 500 + 40 * n, 800] for n in range(20)]},
         {"do": "WipeFace"}]  # fmt: skip


@pytest.mark.parametrize(("part", "coach", "speaks"), [("alone", True, True), ("check", True, False),
                                                       ("alone", False, False)])  # fmt: skip
def test_the_coach_speaks_of_prints_and_strokes_but_not_in_a_check(tmp_path, part, coach, speaks):
    """Four rounds scraped one way only, never stoned: fault 6 or 4 by its rule."""
    lesson = replace(LESSON, allowed=replace(LESSON.allowed, coach=coach))
    attempt = begin_attempt(lesson, part, 1000)
    aloud = Aloud(attempt)
    play(attempt, read_acts(file_of(tmp_path, ROUND * 4), lesson), "acts", aloud)
    said = [one for one in aloud.finish() if one.kind == "coach"]
    assert bool(said) == speaks
    if speaks:
        rule = said[0].text.rpartition("(")[2].rstrip(")")
        play(attempt, read_acts(file_of(tmp_path, [{"say": "coach", "rule": rule, "rung": 3}]), lesson), "acts", aloud)
        assert aloud.told[-1].kind == "coach"
        assert aloud.told[-1].text not in [one.text for one in said]


# Turns


class Clock:
    """A time that can be moved."""

    def __init__(self):
        self.time = datetime(2026, 3, 4, 10, 0, tzinfo=UTC)

    def __call__(self):
        return self.time


@pytest.fixture
def clock():
    return Clock()


def test_the_check_opens_twenty_hours_after_the_lesson_was_first_passed_alone(tmp_path, clock):
    with Record.open(tmp_path, now=clock) as record:
        assert check_opens(record, LESSON) is None
        assert "once it was passed alone" in why_not_now(record, LESSON, "check")
        record.end_attempt(record.begin_attempt("two-films", "alone", 1000), {}, False, False, 1.0)
        record.end_attempt(record.begin_attempt("two-films", "help", 1), {}, True, False, 1.0)
        record.end_attempt(record.begin_attempt("another", "alone", 1), {}, True, False, 1.0)
        assert check_opens(record, LESSON) is None
        record.end_attempt(record.begin_attempt("two-films", "alone", 1001), {}, True, False, 1.0)
        clock.time += timedelta(hours=6, minutes=30)
        record.end_attempt(record.begin_attempt("two-films", "alone", 1002), {}, True, False, 1.0)
        assert "13 h 30 min are left" in why_not_now(record, LESSON, "check")
        assert why_not_now(record, LESSON, "alone") is None
        clock.time += timedelta(hours=13, minutes=30)
        assert why_not_now(record, LESSON, "check") is None
        assert "seed 1001 was" in why_not_now(record, LESSON, "check", 1001)
        record.switch("somebody else")
        assert check_opens(record, LESSON) is None


def test_every_attempt_has_another_seed_and_the_part_with_help_always_the_same(tmp_path, clock):
    with Record.open(tmp_path, now=clock) as record:
        seeds = []
        for part in ("alone", "alone", "check", "help", "alone", "help", "check"):
            seeds.append(seed_of(record, LESSON, part))
            record.begin_attempt("two-films", part, seeds[-1])
        assert seeds == [1000, 1001, 5000, 1, 1002, 1, 5001]
        with pytest.raises(BadParam, match="part must be one of"):
            seed_of(record, LESSON, "free")


def test_a_kept_attempt_has_its_figures_hints_logs_and_acts(tmp_path, clock):
    attempt = played(tmp_path, ACTS)
    judged = judge(LESSON, gather(attempt))
    with Record.open(tmp_path, now=clock) as record:
        number, files = keep_attempt(record, tmp_path, attempt, judged)
        (row,) = record.attempts("two-films")
        noted = record.noted(number)
    assert (row.part, row.seed, row.passed, row.merit, row.files) == ("alone", 1000, judged.passed, False, files)
    assert row.figures["film_cv"] == judged.figures["film_cv"]
    assert row.clock_s == pytest.approx(judged.figures["shop_hours"] * 3600.0)
    assert [(one.kind, one.data["rung"], one.data["piece"]) for one in noted] == [("hint", 2, 1)]
    again = play(begin_attempt(LESSON, "alone", 1000), read_acts((tmp_path / files[0]).with_name("acts.json"), LESSON))
    for name, session, other in zip(files, attempt.sessions, again.sessions, strict=True):
        assert fingerprint(session.job) in (tmp_path / name).read_text()
        assert fingerprint(session.job) == fingerprint(other.job)
    assert not list((tmp_path / files[0]).parent.glob("*.npz")), "a log gives its checkpoint again"


# Trials


def test_what_so_many_reach_is_the_hardest_figure_that_they_reach():
    values = np.array([5.0, 1.0, 2.0, 3.0, 4.0])
    assert reached_by(values, "low", 0.8) == 4.0
    assert reached_by(values, "high", 0.8) == 2.0
    assert reached_by(values, "low", 0.5) == 3.0
    assert np.mean(values <= reached_by(values, "low", 0.8)) == 0.8
    missing = np.array([1.0, 2.0, 3.0, np.nan, np.nan])
    assert np.isnan(reached_by(missing, "low", 0.8))
    assert reached_by(missing, "low", 0.6) == 3.0


def test_limits_come_from_the_trained_and_the_skilled_hand_on_the_seeds_of_the_lesson():
    told = []
    found = limits_from(LESSON, lambda done, total: told.append((done, total)))
    assert told == [(n, 9) for n in range(1, 10)]
    trained = trial_figures(LESSON, "trained", (21, 22, 23))
    skilled = trial_figures(LESSON, "skilled", (21, 22, 23))
    film = found.rows[0]
    assert (film.check, film.file_passes, film.file_merit) == ("film_off_pct", 30.0, 15.0)
    assert film.passes == max(trained["film_off_pct"]), "80 % of three seeds is all of them"
    assert film.merit == min(sorted(skilled["film_off_pct"])[1], film.passes)
    assert film.trained == np.mean(np.array(trained["film_off_pct"]) <= 30.0)
    assert set(found.passed) == {"trained", "skilled", "beginner"}
    with pytest.raises(BadParam, match="seeds must be one or more"):
        trial_figures(LESSON, "trained", ())


def test_solutions_that_do_not_do_what_they_are_for_are_told():
    faults, lines = solution_faults(LESSON)
    assert faults == []
    assert lines[0].startswith("model passes: film_off_pct ")
    assert lines[1].startswith("wrong fails: film_off_pct ")
    assert all(", limit 30" in line for line in lines)
    (fault,) = solution_faults(replace(LESSON, model=LESSON.wrong))[0]
    assert fault.startswith("the model must pass, got Film off what was asked")
    (fault,) = solution_faults(replace(LESSON, wrong=replace(LESSON.model, fails="film_cv", reason="none")))[0]
    assert fault.startswith("the wrong solution must fail film_cv, got Unevenness")
    lesson = replace(LESSON, allowed=Allowed(tools=("roll",)))
    (fault,) = solution_faults(lesson)[0]
    assert fault == "two-films, its own hand, seed 1000: This lesson does not allow spotting."
    with pytest.raises(BadParam, match="trained hand, seed 21: This lesson does not allow spotting"):
        limits_from(lesson)


def test_the_section_of_the_last_strokes_is_the_preview_of_the_bench():
    from sim.bench.inhand import preview

    attempt = begin_attempt(replace(LESSON, allowed=Allowed()), "alone", 1000)
    assert last_cuts(attempt, 0) == []
    strokes = np.array([(10.0, 8.0, 20.0, 8.0, 70.0), (10.0, 12.0, 20.0, 12.0, 110.0)])
    attempt.do(Scrape("fine", strokes_as_data(strokes)))
    cuts = last_cuts(attempt, 0)
    edge_um = attempt.session.job.edges["fine"].radius_um
    assert [(one.depth_um, one.width_mm) for one in cuts] == [preview("fine", push, edge_um) for push in (70.0, 110.0)]
    first, second = section_lines(attempt)
    assert first.startswith("piece 1, section of the last strokes on flat iron: fine, 70 N: ")
    assert second.endswith(f"mm × {cuts[1].depth_um:.1f} µm")
    assert lie_words(attempt.session, 0) == "face, round 0, no film yet"
    assert lie_words(attempt.session, len(attempt.session.commands)) == "face, as you get it"
    assert len(piece_figure(attempt.session.job, "cut", cuts=cuts).get_axes()) == 4  # the face, and three boxes


def test_a_refusal_of_turns_is_one_of_the_shop(tmp_path, clock):
    from sim.school.turns import refuse_now

    with Record.open(tmp_path, now=clock) as record, pytest.raises(Refused, match="another day"):
        refuse_now(record, LESSON, "check")
