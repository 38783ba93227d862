"""Lessons in the window: choosing, watching, an attempt with help, alone and in a check, its judgement and record."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pygame
import pytest

from sim.bench.script import begun
from sim.books.record import Record
from sim.errors import BadFile, BadParam
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.school import attempt as attempts
from sim.school.calls import Call
from sim.school.classroom import Assignment, Task, handed_out
from sim.school.coach import Coach
from sim.school.facts import gather
from sim.school.lesson import Allowed, Bound, Lesson, Limit, Piece, Question, Seeds, Solution, Step
from sim.school.play import acts_of, acts_text, play, read_acts
from sim.school.remark import Rule
from sim.school.result import read_result
from sim.shop.job import Job, JobStart
from tests.bench.test_coach_line import RUNGS, always
from tests.bench.test_layout import SIZES
from tests.bench.test_no_leak import Blind, said

START = JobStart(COUPON, PlateMake(length_mm=120.0, width_mm=100.0))
LESSON = Lesson(
    name="07-roll-and-tell", number=7, title="Roll and tell", minutes=6.0, belief="More blue shows more.", faults=(1,),
    goal="Roll a film of what is asked, say where the print will be hardest, and name the form.",
    permission="Spoil a piece on purpose if you want to see what happens.", cautions=("rags",),
    pieces=(Piece(START, "thin: 1.5 µm", asked_um=1.5), Piece(START, "heavy: 8 µm", asked_um=8.0, seed_step=1)),
    allowed=Allowed(tools=("roll", "spot", "wipe", "scrape"), rows=False, orders=False, strokes=3),
    steps=(Step("Clean the plate and roll the film that is asked for here.", ("Look at the plate.", "Wipe it first.")),
           Step("Say where it will be hardest, then spot and lift.", ("Click the place.",), Bound("predictions", 2))),
    limits=(Limit("film_off_pct", 30.0, 10.0), Limit("predictions", 2.0, 2.0)),
    questions=(Question("form", "Which form has this face?", ("even", "crowned", "hollow", "twisted")),
               Question("film_um", "How thick was the film?", unit="µm", low=0.0, high=20.0)),
    seeds=Seeds(help=3, alone=1000, check=5000), model=Solution("lay_films"),
    wrong=Solution("lay_films", {"film_um": 8.0}, "film_off_pct", "A heavy film whatever was asked for."),
)  # fmt: skip
NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
PRINT = [{"press": "do"}, {"press": "take spot"}, {"press": "do"}, {"click": [30.0, 20.0]}, {"press": "do"}]
FORM, NUMBER = {"press": "answer form 1"}, [{"press": "answer film_um"}, {"type": "1.5"}, {"key": "RETURN"}]


def find(name):
    if name not in (LESSON.name, "7"):
        raise BadParam(f"lesson must be {LESSON.name}")
    return LESSON


@pytest.fixture
def player(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    return opened(tmp_path)


def opened(folder, size=SIZES[0], now=NOON):
    player = begun({}, folder, size)
    room = player.bench.room
    room.find, room.shipped, room.now = find, lambda: [LESSON], lambda: now
    return player


def chosen(player, *steps):
    player.play([{"press": "door lessons"}, {"press": "open lesson"}, *steps])
    return player


def widgets(player):
    player.bench.lay_out()
    return {w.id: w for w in player.bench.group.widgets}


def whole(player):
    """Everything of the lesson done well: both films, both predictions, every answer."""
    asked = {one.title: one.asked_um for one in LESSON.pieces}
    for n in range(2):
        at = player.bench.room.at
        title = attempts.pieces_of(LESSON, at.attempt.seed)[n].title
        film = {"key": "1"} if asked[title] == 1.5 else {"key": "3"}
        player.play([{"press": "take roll"}, film, *PRINT, {"press": "answers"}, FORM, *NUMBER, {"press": "answers"}])
        if n == 0:
            player.play([{"press": "piece on"}])


def test_the_list_shows_number_title_minutes_and_the_best_result_and_a_row_opens_its_lesson(player, tmp_path):
    with Record.open(tmp_path, lambda: NOON) as record:
        record.end_attempt(record.begin_attempt(LESSON.name, "alone", 1000), {}, True, False, 0.0)
    player.play([{"press": "door lessons"}])
    assert widgets(player)["lesson"].rows == ["7\tRoll and tell\t6 min\tpassed"]
    row = widgets(player)["lesson"].rect
    player._pressed((row.left + 80, row.top + 10))
    words = " ".join(getattr(w, "string", "") for w in widgets(player).values())
    for said_there in (LESSON.title, LESSON.goal, LESSON.belief, LESSON.permission, "Oily rags"):
        assert said_there in words
    check = widgets(player)["part check"]
    assert not check.enabled
    assert "20 h 0 min are left" in check.reason
    assert "Passed, 1 attempt" in words
    player.play([{"key": "4"}])
    assert player.bench.page == "lesson"
    assert "20 h 0 min" in player.bench.note


def test_enter_opens_the_lit_line_of_the_list_though_nothing_has_the_focus(player):
    player.play([{"press": "door lessons"}])
    player.bench.group.focus_on(None)
    player.play([{"key": "RETURN"}])
    assert (player.bench.page, player.bench.room.lesson.name) == ("lesson", LESSON.name)


def test_what_the_lesson_does_not_allow_is_greyed_with_its_reason_and_is_not_done(player):
    chosen(player, {"press": "part alone"})
    desk = player.bench.desk
    stone = widgets(player)["take stone"]
    assert (stone.enabled, stone.reason) == (False, "This lesson does not allow the stone.")
    indicator = widgets(player)["take indicator"].reason
    assert indicator == "This lesson does not allow the indicator yet. It comes in lesson 14."
    assert widgets(player)["take scrape"].enabled
    player.play([{"key": "S"}])
    assert (desk.tool, desk.told) == ("roll", stone.reason)
    count = len(desk.session.commands)
    desk.stone()
    desk.hone()
    assert len(desk.session.commands) == count
    for _ in range(4):
        desk.stroke(10.0, 10.0, 18.0, 14.0)
    assert len(desk.session.commands) == count + 3
    assert desk.told == "This lesson has 3 strokes, 0 are left."
    player.play([{"press": "take scrape"}])
    assert not widgets(player)["order"].enabled
    player.play([{"key": "Z", "mod": "ctrl"}])
    assert "Iron does not come back here" in desk.told
    assert len(desk.session.commands) == count + 3


def test_steps_hints_answers_predictions_and_pieces_are_said_and_lie_on_the_disk_at_once(player):
    chosen(player, {"press": "part alone"})
    desk, at = player.bench.desk, player.bench.room.at
    assert desk.told == LESSON.permission
    assert widgets(player)["step"].string == LESSON.steps[0].text
    player.play([{"press": "hint"}])
    assert widgets(player)["answered"].string == "Look at the plate."
    player.play([{"press": "hint"}])
    assert not widgets(player)["hint"].enabled
    player.play([{"press": "step done"}, *PRINT])
    assert widgets(player)["step"].string == LESSON.steps[1].text
    player.play([{"click": [20.0, 20.0]}, {"lamp": 40.0}, {"click": [30.0, 20.0], "shift": True}])
    player.play([{"press": "answers"}, FORM, *NUMBER, {"press": "piece on"}, {"press": "answer form 0"}])
    assert player.bench.desk is at.desks[1]
    assert player.bench.desk.session is at.attempt.sessions[1]
    kinds = [(one.piece, one.kind) for one in at.attempt.said]
    assert kinds == [(0, "hint"), (0, "hint"), (0, "step"), (0, "predict"), (0, "lamp"), (0, "calls"), (0, "lamp"),
                     (0, "calls"), (0, "answer"), (0, "answer"), (1, "answer")]  # fmt: skip
    rows = (at.attempt.folder / "attempt.jsonl").read_text().splitlines()
    assert len(rows) == 1 + len(kinds) + 1, "a head, what was said, and the piece that was taken"
    assert widgets(player)["answers"].label == "Answers 3/4"
    facts = gather(at.attempt)
    assert facts.answers == {(0, "form"): "crowned", (0, "film_um"): 1.5, (1, "form"): "even"}
    assert facts.printed[0].predicted == {"x_mm": pytest.approx(30.0, abs=0.1), "y_mm": pytest.approx(20.0, abs=0.1)}
    assert (facts.hints, len(facts.called)) == (2, 1)


def test_an_answer_out_of_its_range_is_told_and_not_taken(player):
    chosen(player, {"press": "part alone"}, {"press": "answers"}, {"press": "answer film_um"}, {"type": "2,5"})
    player.play([{"key": "RETURN"}, {"press": "answer film_um"}, {"key": "A", "mod": "ctrl"}, {"type": "99"},
                 {"key": "RETURN"}])  # fmt: skip
    assert [one.data["value"] for one in player.bench.room.at.attempt.said] == [2.5]
    assert "from 0 to 20 µm" in player.bench.desk.told


def test_finish_asks_once_for_missing_answers_then_judges_records_and_uncovers(player, tmp_path):
    chosen(player, {"press": "part alone"}, {"press": "hint"}, {"press": "finish"})
    assert player.bench.page == "bench"
    assert player.bench.desk.told.startswith("Pieces 1 and 2 are untouched, and 4 questions have no answer yet: finish")
    player.play([{"press": "answers"}])
    whole(player)
    folder = player.bench.room.at.attempt.folder
    player.play([{"press": "finish"}])
    assert player.bench.page == "judged"
    assert widgets(player)["verdict"].string == "Roll and tell: passed."
    assert widgets(player)["check 1 0"].string == "2"
    assert widgets(player)["check 0 2"].string == "✓"
    with Record.open(tmp_path, lambda: NOON) as record:
        (row,) = record.attempts()
        assert (row.lesson, row.part, row.seed, row.passed, row.merit) == (LESSON.name, "alone", 1000, True, False)
        assert row.figures["predictions"] == 2.0
        assert row.clock_s > 0.0
        assert [one.kind for one in record.noted(row.id)] == ["hint"]
    assert player.bench.room.at.attempt.ended
    player.play([{"press": "sheet"}])
    assert "to hand in" in player.bench.note
    assert "Roll and tell" in (folder / "07-roll-and-tell-1.html").read_text("utf-8")
    result = read_result(folder / "07-roll-and-tell-1.result")
    assert (result.passed, result.seed, result.hints) == (True, 1000, 1)
    player.play([{"press": "piece back"}])
    assert player.bench.page == "judged"
    player.play([{"key": "ESCAPE"}])
    assert player.bench.page == "lesson"
    assert player.bench.room.left is None, "it is over and not offered any more"
    assert (folder / "07-roll-and-tell-2.job").is_file()
    player.play([{"press": "part alone"}])
    assert player.bench.room.at.attempt.seed == 1001, "another face"


def test_what_was_missing_is_shown_with_a_cross_and_an_attempt_of_nothing_is_none(player, tmp_path):
    chosen(player, {"press": "part help"})
    folder = player.bench.room.at.attempt.folder
    assert folder.is_dir()
    player.play([{"press": "finish"}, {"press": "finish"}])
    assert player.bench.page == "lesson"
    assert player.bench.note == "Nothing was done: it counts as no attempt. Work at each piece before you finish."
    with Record.open(tmp_path, lambda: NOON) as record:
        assert record.attempts() == []
    assert not folder.exists()
    assert player.bench.room.left is None, "it is not offered to go on with"
    player.play([{"press": "part help"}, {"press": "take roll"}, {"press": "take wipe"}, {"press": "do"},
                 {"press": "finish"}, {"press": "finish"}])  # fmt: skip
    assert "not judged: no print" in widgets(player)["check 0"].string
    assert (widgets(player)["check 0 0"].string, widgets(player)["check 0 2"].string) == ("–", "✕")
    assert widgets(player)["check 1 1"].string == "≥ 2"


def test_with_help_a_step_that_is_not_done_is_told_once_with_its_figure_and_alone_it_is_not(player):
    chosen(player, {"press": "part help"}, {"press": "step done"}, *PRINT, {"press": "step done"})
    at = player.bench.room.at
    assert at.step == 1
    assert "1, at least 2 is wanted" in widgets(player)["answered"].string
    player.play([{"press": "piece on"}, *PRINT, {"press": "step done"}])
    assert at.step == 2, "pressed again, it is taken as done"
    assert "All steps are done" in widgets(player)["step"].string
    player.play([{"key": "W", "mod": "ctrl"}])
    chosen(player, {"press": "part alone"}, {"press": "step done"}, {"press": "step done"})
    assert player.bench.room.at.step == 2, "alone, what the figures are waits for the finish"


def test_with_help_a_step_whose_figure_is_reached_goes_on_at_once(player):
    chosen(player, {"press": "part help"}, {"press": "step done"}, *PRINT, {"press": "piece on"}, *PRINT)
    player.play([{"press": "step done"}])
    assert player.bench.room.at.step == 2
    assert "Not yet" not in widgets(player)["answered"].string


def with_rule(player):
    for one in player.bench.room.at.practices:
        one.coach = Coach([Rule("always", 2, always, at_once=True)])


STROKED = [{"press": "take scrape"}, {"drag": [[18.0, 18.0], [24.0, 22.0]]}, {"press": "take wipe"}, {"press": "do"}]


def test_with_help_the_coach_speaks_and_calls_are_told_against_the_truth_at_once(player):
    chosen(player, {"press": "part help"}, *PRINT)
    with_rule(player)
    desk = player.bench.desk
    rows, cols = np.nonzero(desk.sight.marked)
    for level, k in ((1, 0), (3, len(rows) - 1)):
        desk.calls.append(Call(0.25 * cols[k] + 0.125, 0.25 * rows[k] + 0.125, level))
    player.bench.heard()
    player.play(STROKED[:2])
    told = widgets(player)["answered"].string
    assert told.endswith(".")
    assert "perfect calling" in told or "one mark" in told.lower() or "All 1" in told or "No call" in told
    player.play(STROKED[2:])
    assert widgets(player)["remark"].string == RUNGS[0], "nobody asked him"
    player.play([{"press": "take square"}, {"key": "U"}])
    assert desk.bared
    assert [one.kind for one in player.bench.room.at.attempt.said][-1] == "uncover"


def test_alone_the_coach_speaks_at_the_end_of_a_round_and_nothing_is_uncovered(player):
    chosen(player, {"press": "part alone"}, *PRINT)
    with_rule(player)
    player.play([{"click": [20.0, 20.0]}, *STROKED[:2]])
    assert "answered" not in widgets(player), "calls wait for the finish"
    assert "remark" not in widgets(player)
    player.play(STROKED[2:])
    assert widgets(player)["remark"].string == RUNGS[0]
    assert not widgets(player)["uncover"].enabled
    player.play([{"key": "U"}])
    assert not player.bench.desk.bared
    assert [one.data["rung"] for one in player.bench.room.at.attempt.said if one.kind == "coach"] == [0]


def test_a_check_waits_for_another_day_has_no_coach_and_another_blue(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    with Record.open(tmp_path, lambda: NOON) as record:
        record.end_attempt(record.begin_attempt(LESSON.name, "alone", 1000), {}, True, False, 0.0)
    player = chosen(opened(tmp_path, now=NOON + timedelta(hours=19, minutes=59)), {"press": "part check"})
    assert player.bench.page == "lesson"
    player.bench.close()
    player = chosen(opened(tmp_path, now=NOON + timedelta(hours=20)), {"press": "part check"}, *PRINT)
    with_rule(player)
    player.play([*STROKED, {"key": "I"}])
    assert not {"remark", "ask", "answered"} & set(widgets(player))
    blue = player.bench.desk.session.job.start.material.blue
    assert blue.opacity_um != START.material.blue.opacity_um
    assert player.bench.room.at.attempt.seed == 5000


@pytest.mark.parametrize("part", ["help", "alone"])
def test_no_word_of_an_attempt_looks_at_the_heights_before_the_finish(player, monkeypatch, part):
    chosen(player, {"press": f"part {part}"}, *PRINT)
    with_rule(player)
    player.play([{"click": [20.0, 20.0]}, *STROKED, {"press": "hint"}])
    seen = said(player.bench)
    monkeypatch.setattr(Job, "face", property(lambda job: Blind(job.part.faces[job.in_hand])))
    assert said(player.bench) == seen
    player.bench.said("answers", True)
    assert any(one[0].startswith("answer form") for one in said(player.bench))


def test_an_attempt_that_was_broken_off_is_offered_at_the_next_start_and_gone_on_with(player, tmp_path):
    chosen(player, {"press": "part alone"}, {"press": "hint"}, {"press": "step done"}, *PRINT, {"click": [20.0, 20.0]})
    player.play([{"press": "piece on"}, {"press": "do"}])
    told = [one.data for one in player.bench.room.at.attempt.said]
    again = opened(tmp_path)  # the first was never closed
    button = widgets(again)["go on attempt"]
    assert "alone" in button.label
    again.play([{"press": "go on attempt"}])
    at = again.bench.room.at
    assert again.bench.page == "bench"
    assert [one.data for one in at.attempt.said] == told
    assert (at.attempt.piece, at.step, at.rungs, at.attempt.seed) == (1, 1, {0: 1}, 1000)
    assert "Nothing was lost" in again.bench.desk.told
    assert [type(one).__name__ for one in at.attempt.sessions[0].commands] == ["RollFilm", "SpotFace"]
    again.play([{"press": "piece back"}])
    assert len(again.bench.desk.calls) == 1, "called, and the desk was not written down yet"
    assert len(again.bench.practice.attempt.said) == len(told)
    again.bench.to_start()
    again.play([{"press": "door lessons"}, {"press": "leave attempt"}])
    assert "go on attempt" not in widgets(again)
    with Record.open(tmp_path, lambda: NOON) as record:
        assert [one.unfinished for one in record.attempts()] == [True]


def test_the_model_is_watched_step_by_step_asks_one_prediction_and_nothing_is_kept_of_it(player, tmp_path):
    chosen(player, {"press": "part watch"})
    room = player.bench.room
    player.play([{"watch": 50}])
    assert room.watching.asking
    assert widgets(player)["step"].string == LESSON.steps[1].text
    count = len(player.bench.desk.session.commands)
    player.play([{"press": "take wipe"}, {"click": [30.0, 20.0]}])
    assert len(player.bench.desk.session.commands) == count, "by hand nothing is done"
    assert player.bench.desk.prediction.x_mm == pytest.approx(30.0, abs=0.2)
    player.play([{"key": "SPACE"}, {"watch": 1}])
    assert len(player.bench.desk.hung) == 1
    player.play([{"key": "SPACE"}])
    assert not room.busy(), "paused"
    player.play([{"key": "SPACE"}, {"watch": 60}])
    assert room.watching.ended
    assert [len(one.hung) for one in room.watching.desks] == [1, 1], "both pieces"
    assert not (tmp_path / "attempts").exists()
    player.play([{"key": "ESCAPE"}])
    assert (player.bench.page, room.watching) == ("lesson", None)
    with Record.open(tmp_path, lambda: NOON) as record:
        assert record.attempts() == []


def test_free_practice_of_a_lesson_is_a_job_like_any_other(player):
    chosen(player, {"press": "part free"}, *PRINT, {"key": "Z", "mod": "ctrl"})
    assert player.bench.room.at is None
    assert player.bench.desk.session.path.parent == player.bench.jobs
    assert "step" not in widgets(player)
    assert "Taken back: the print" in player.bench.desk.told


def test_long_work_is_stopped_and_the_lesson_is_there_again(player, monkeypatch):
    chosen(player)
    room = player.bench.room
    room.begin("alone")
    assert player.bench.page == "working"
    assert widgets(player)["stop work"].key == "Esc"
    player.bench.said("stop work", True)
    assert (player.bench.page, room.work, room.at) == ("lesson", None, None)


PAGES = {
    "list": [{"press": "door lessons"}],
    "lesson": [{"press": "door lessons"}, {"press": "open lesson"}],
    "begun": [{"press": "part alone"}],
    "hint": [{"press": "part alone"}, *PRINT, {"press": "hint"}],
    "questions": [{"press": "part help"}, {"press": "answers"}],
    "scraper": [{"press": "part help"}, *PRINT, {"press": "take scrape"}],
    "watching": [{"press": "part watch"}, {"watch": 50}],
    "judged": [{"press": "part help"}, *PRINT, {"click": [20.0, 20.0]}, {"press": "finish"}, {"press": "finish"}],
}


@pytest.mark.parametrize("page", PAGES)
def test_nothing_of_the_lessons_is_clipped_or_lies_on_something_else(tmp_path, monkeypatch, page):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    player = opened(tmp_path)
    player.play(PAGES[page]) if page in ("list", "lesson") else chosen(player, *PAGES[page])
    bench = player.bench
    for size, scale in (*((size, 1.0) for size in SIZES), ((1280, 800), 1.5), ((800, 500), 1.0)):
        bench.prefer(replace(bench.prefs, scale=scale))
        player.play([{"resize": size}])
        assert bench.group.overlaps() == [], (size, scale)
        assert bench.group.clipped(bench.ui) == [], (size, scale)
        if scale == 1.0 and size in SIZES:
            assert bench.group.targets_below(32) == [], size
            window = pygame.Rect(0, 0, *size)
            assert [w.id for w in bench.group.widgets if not window.contains(w.rect)] == [], size


def test_a_script_begins_with_a_lesson_and_one_that_is_not_there_is_refused(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    player = begun({"start": {"lesson": "04-first-strokes"}}, tmp_path)
    assert (player.bench.page, player.bench.room.lesson.number) == ("lesson", 4)
    with pytest.raises(BadFile, match=r"start\.lesson"):
        begun({"start": {"lesson": "no-such-lesson"}}, tmp_path)
    with pytest.raises(BadFile, match="widget of this page"):
        begun({"start": {"lesson": "4", "part": "asleep"}}, tmp_path)


def test_a_long_step_makes_the_strip_higher_and_long_answers_lie_one_below_the_other(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    long = "Look at the hours that the part would take as it is, and with a cut first, before you decide. " * 3
    asked = Question("way", "What is to be done with it?", ("scrape it just as it is", "have it machined once more"))
    lesson = replace(LESSON, steps=(Step(long.strip()),), questions=(asked,))
    player = opened(tmp_path)
    player.bench.room.shipped = lambda: [lesson]
    chosen(player, {"press": "part help"})
    for size in SIZES:
        player.play([{"resize": size}])
        assert player.bench.group.clipped(player.bench.ui) == [], size
        assert player.bench.group.overlaps() == [], size
    player.play([{"press": "answers"}])
    one, other = (widgets(player)[f"answer way {n}"].rect for n in (0, 1))
    assert one.bottom <= other.top
    assert player.bench.group.clipped(player.bench.ui) == []


def test_a_lesson_is_opened_by_name_by_number_or_from_the_command_line(player):
    room = player.bench.room
    assert room.opens("7")
    assert (player.bench.page, room.lesson) == ("lesson", LESSON)
    assert not room.opens("nothing-such")
    assert not room.opens("coupon-1.job")


def test_an_assignment_lists_its_lessons_with_its_seed_and_shows_no_more_than_it_wants(player, tmp_path):
    path = tmp_path / "assignment.json"
    path.write_text(handed_out(Assignment("Week 3", (Task(LESSON.name, "alone", 77),), coach=False, due="Friday")))
    other = replace(LESSON, name="08-other", number=8, title="Not asked for")
    player.bench.room.shipped = lambda: [LESSON, other]
    player.bench.open_file(path)
    assert player.bench.page == "lessons"
    assert [one.name for one in player.bench.room.lessons] == [LESSON.name]
    assert "Week 3" in player.bench.note
    player.play([{"press": "open lesson"}, {"press": "part alone"}])
    attempt = player.bench.room.at.attempt
    assert (attempt.seed, attempt.part) == (77, "alone")
    assert not attempt.lesson.allowed.coach
    assert not attempt.lesson.allowed.uncover
    player.bench.close()
    again = opened(tmp_path)
    again.play([{"press": "go on attempt"}])
    kept = again.bench.room.at.attempt.lesson.allowed
    assert (kept.coach, kept.uncover) == (False, False), "what a class must not see stays covered after a stop"


def test_a_file_that_is_no_assignment_is_told_and_nothing_changes(player, tmp_path):
    path = tmp_path / "assignment.json"
    path.write_text("{}")
    player.bench.open_file(path)
    assert "must be an assignment" in player.bench.note
    assert player.bench.room.asked is None


def test_what_was_said_in_the_window_plays_again_as_a_file_of_acts(player, tmp_path):
    chosen(player, {"press": "part alone"}, {"press": "hint"}, {"press": "step done"}, {"press": "hint"}, *PRINT)
    attempt = player.bench.room.at.attempt
    path = tmp_path / "acts.json"
    path.write_text(acts_text(acts_of(attempt)), encoding="utf-8")
    again = attempts.begin_attempt(LESSON, "alone", attempt.seed)
    play(again, read_acts(path, LESSON))
    assert [(one.kind, one.data) for one in again.said] == [(one.kind, one.data) for one in attempt.said]
    hints = [one.data for one in again.said if one.kind == "hint"]
    assert hints == [{"step": 1, "rung": 1}, {"step": 2, "rung": 1}]


def test_what_one_learner_broke_off_is_not_offered_to_another_nor_entered_under_his_name(player, tmp_path):
    with Record.open(tmp_path, lambda: NOON) as record:
        record.switch("Ada")
    chosen(player, {"press": "part alone"}, *PRINT)
    player.bench.to_start()
    assert "go on attempt" in widgets(player)
    player.bench._learner("Ben")
    assert "go on attempt" not in widgets(player)
    player.bench._learner("Ada")
    player.play([{"press": "go on attempt"}])
    assert player.bench.room.at.attempt.learner == "Ada"
