"""`flatwright lessons` and `flatwright lesson`: listed, checked, tried; shown, watched, looked at, played and kept."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from sim.books.record import Record
from sim.cli import bench, lesson, main
from sim.paths import lessons
from sim.school.lessonfile import lesson_files, read_lesson
from sim.school.result import read_result

COMMAND = "lesson"
OWN = """
title = "Two films"
number = 50
goal = "Roll what is asked."
minutes = 5
belief = "A film is a film."
permission = "Roll one twice as heavy."
cautions = ["rags"]

[[piece]]
title = "thin"
asked_um = 2.0
face = { length_mm = 30.0, width_mm = 20.0 }
plate = { length_mm = 70.0, width_mm = 60.0 }

[[piece]]
title = "heavy"
asked_um = 4.0
seed_step = 1
face = { length_mm = 30.0, width_mm = 20.0 }
plate = { length_mm = 70.0, width_mm = 60.0 }

[allowed]
tools = ["roll", "spot", "wipe"]

[[step]]
text = "Roll it, print it."
hints = ["Look at the plate.", "What is on it?", "Two films are as thick as both.", "Wipe it first."]
done = { check = "film_cv", at_most = 0.2 }

[[check]]
name = "film_off_pct"
passes = 30
merit = 25

[[check]]
name = "predictions"
passes = 0
merit = 1

[[question]]
id = "form"
text = "Which form has it?"
options = ["even", "crowned"]

[seeds]
trials = [21, 22]

[model]
way = "lay_films"

[wrong]
way = "lay_films"
options = { film_um = 8.0 }
fails = "film_off_pct"
reason = "Heavy, whatever was asked."
"""
GOOD = [{"piece": 1}, {"do": "RollFilm", "weight_um": 2.0}, {"say": "predict", "marks": "same"},
        {"do": "SpotFace", "x_mm": 20, "y_mm": 20}, {"piece": 2}, {"do": "RollFilm", "weight_um": 4.0},
        {"do": "SpotFace", "x_mm": 20, "y_mm": 20}]  # fmt: skip


@pytest.fixture
def own(tmp_path, monkeypatch):
    """A small lesson of one's own, and a data folder beside it."""
    monkeypatch.setenv("FLATWRIGHT_DATA", str(tmp_path / "data"))
    path = tmp_path / "50-two-films.toml"
    path.write_text(OWN, encoding="utf-8")
    return path


@pytest.fixture
def answers(tmp_path):
    """Write a file of answers: its name."""

    def answers(rows):
        path = tmp_path / "acts.json"
        path.write_text(json.dumps(rows))
        return str(path)

    return answers


def kept(tmp_path):
    with Record.open(tmp_path / "data") as record:
        return record.attempts("50-two-films")


def said(capsys, *words):
    """What a command that succeeds says; nothing on stderr."""
    assert main(list(words)) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


# flatwright lessons


def test_the_lessons_are_listed_with_the_best_result(capsys, tmp_path):
    folder = str(tmp_path / "data")
    with Record.open(folder) as record:
        record.end_attempt(record.begin_attempt("01-lay-a-film", "alone", 1000), {}, True, False, 1.0)
    listed = json.loads(said(capsys, "lessons", "--json", "--data-dir", folder))
    rows = listed["lessons"]
    assert [row["number"] for row in rows] == sorted(read_lesson(path).number for path in lesson_files())
    assert rows[0]["best"] == "passed"
    assert rows[0]["check_opens"].endswith("Z")
    assert {row["best"] for row in rows[1:]} == {None}
    out = said(capsys, "lessons", "--data-dir", folder)
    assert "1  Lay a film (01-lay-a-film), 6 min: passed" in out
    assert all(row["goal"] in out for row in rows)


def test_checks_and_ways_are_told_with_units_and_options(capsys):
    found = json.loads(said(capsys, "lessons", "--schema", "--json"))
    assert found["checks"]["bearing_flatness_um"]["unit"] == "um"
    assert found["ways"]["lay_films"]["options"]["applicator"] == "brayer"
    assert "| `bearing_flatness_um` | µm | low |" in said(capsys, "lessons", "--schema")


def test_sound_lessons_are_counted(capsys, own):
    assert said(capsys, "lessons", "--validate", str(own)) == "sound: 1 lesson\n"
    count = len(lesson_files())
    assert said(capsys, "lessons", "--validate", str(lessons())).startswith(f"sound: {count} lesson")
    model, wrong, sound = said(capsys, "lessons", "--validate", str(own), "--play").splitlines()
    assert model.startswith("50-two-films: model passes: film_off_pct ")
    assert model.endswith(", limit 30, predictions 2, limit 0")
    assert wrong.startswith("50-two-films: wrong fails: film_off_pct ")
    assert sound == "sound: 1 lesson"


def test_all_faults_of_a_folder_are_told_with_file_and_line(capsys, own):
    (own.parent / "51-other.toml").write_text(OWN.replace("minutes = 5", "minutes = 0").replace("lay_films", "magic"))
    (own.parent / "52-torn.toml").write_text(OWN.replace("[seeds]", "[seeds"))
    (own.parent / "53-twin.toml").write_text(OWN)
    assert main(["lessons", "--validate", str(own.parent)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    lines = [line.removeprefix(f"flatwright: {own.parent}/") for line in err.splitlines()]
    minutes, seeds, number = (OWN.splitlines().index(line) + 1 for line in ("minutes = 5", "[seeds]", "number = 50"))
    model, wrong = (n for n, line in enumerate(OWN.splitlines(), start=1) if line == 'way = "lay_films"')
    assert [line.split(" ")[0] for line in lines] == [
        *(f"51-other.toml:{n}:" for n in (minutes, model, wrong)), f"52-torn.toml:{seeds}:", f"53-twin.toml:{number}:",
    ]  # fmt: skip
    assert "number: must be another than that of 50-two-films.toml, got 50" in lines[-1]


def test_a_solution_that_does_not_do_what_it_is_for_is_a_fault(capsys, own):
    own.write_text(OWN.replace("passes = 30", "passes = 1").replace("merit = 25", "merit = 1"))
    assert main(["lessons", "--validate", str(own), "--play"]) == 2
    assert "50-two-films.toml: the model must pass, got Film off what was asked" in capsys.readouterr().err


@pytest.mark.parametrize(("words", "line"), [
    (("--play",), "--play must go with --validate"), (("--processes", "0"), "--processes must be 1 to 64"),
    (("--trials", "sanding"), "lesson must be one of 01-lay-a-film"), (("--validate", ""), "--validate must name a"),
])  # fmt: skip
def test_options_of_lessons_that_do_not_fit_are_refused(capsys, words, line):
    assert main(["lessons", *words]) == 2
    assert line in capsys.readouterr().err


def test_a_folder_without_lessons_is_none(capsys, tmp_path):
    assert main(["lessons", "--validate", str(tmp_path)]) == 2
    assert "a folder that holds some (*.toml)" in capsys.readouterr().err


def test_trials_tell_limits_beside_those_of_the_file(capsys, own):
    found = json.loads(said(capsys, "lessons", "--trials", str(own), "--json"))
    film, predicted = found["rows"]
    assert (film["file_passes"], film["file_merit"], film["better"]) == (30.0, 25.0, "low")
    assert 0.0 < film["merit"] <= film["passes"]
    assert (predicted["passes"], predicted["trained"]) == (2.0, 1.0)
    assert found["seeds"] == [21, 22]
    out = said(capsys, "lessons", "--trials", str(own))
    assert "film_off_pct" in out
    assert "passed by all limits of the file: trained" in out


@pytest.mark.slow
def test_trials_in_two_processes_tell_the_same(capsys, own):
    one = said(capsys, "lessons", "--trials", str(own), "--json")
    assert said(capsys, "lessons", "--trials", str(own), "--json", "--processes", "2") == one


# flatwright lesson


def test_a_lesson_is_shown_with_all_that_is_read_before_it(capsys, own, tmp_path):
    out = said(capsys, "lesson", str(own), "--show", "--shots", str(tmp_path / "shots"))
    for words in ("Two films (5 min), alone, seed 1000", "Roll one twice as heavy.", "Oily rags:", "1. thin",
                  "2. heavy", "allowed: roll, spot, wipe", "Roll it, print it.", "at most 0.2", "even, crowned",
                  "at most 30 %"):
        assert words in out
    for n in (1, 2):
        assert (tmp_path / "shots" / f"piece-{n}.png").read_bytes().startswith(b"\x89PNG")
    assert kept(tmp_path) == []


def test_the_window_takes_over_where_there_is_a_display(capsys, refused, own, monkeypatch, tmp_path):
    opened = []
    monkeypatch.setattr(bench, "run", lambda args: opened.append((args.target, args.data_dir)) or 0)
    monkeypatch.setattr(lesson, "ROOM", "sim.bench.window")
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    assert said(capsys, "lesson", str(own), "--data-dir", str(tmp_path / "data")) == ""
    assert opened == [(str(own), str(tmp_path / "data"))]
    assert "got --part help for the window: there you choose the part" in refused(str(own), "--part", "help")
    for name in ("SDL_VIDEODRIVER", "DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    assert "Without a window: flatwright lesson" in said(capsys, "lesson", str(own), "--part", "help")
    assert len(opened) == 1


def test_one_looks_as_often_as_one_likes_and_nothing_is_kept(capsys, own, answers, tmp_path):
    rows = [*GOOD[:4], {"say": "hint", "step": 1, "rung": 4}]
    words = ("lesson", str(own), "--answers", answers(rows), "--look", "--shots", str(tmp_path / "shots"), "--force")
    out = said(capsys, *words)
    assert "act 5, piece 1, hint: Wipe it first." in out
    assert "piece 1: 2 acts, round 1" in out
    assert "Nothing was ended or kept" in out
    first = (tmp_path / "shots" / "piece-1.png").read_bytes()
    said(capsys, "lesson", str(own), "--shots", str(tmp_path / "before"))
    assert (tmp_path / "before" / "piece-1.png").read_bytes() != first, "there is a print to be seen now"
    assert kept(tmp_path) == []


def test_answers_are_judged_and_kept_and_the_next_attempt_has_another_face(told, own, answers, tmp_path):
    found = told(str(own), "--answers", answers(GOOD))
    assert (found["part"], found["seed"], found["passed"], found["merit"]) == ("alone", 1000, True, False)
    assert [row["check"] for row in found["checks"]] == ["film_off_pct", "predictions"]
    assert found["figures"]["film_off_pct"] < 5.0
    (row,) = kept(tmp_path)
    assert (row.passed, row.merit, row.seed, row.files) == (True, False, 1000, tuple(
        f"attempts/00001-50-two-films-alone/50-two-films-{n}.job" for n in (1, 2)))  # fmt: skip
    assert row.figures == found["figures"]
    again = told(str(own), "--answers", answers([*GOOD[:2], {"do": "RollFilm", "weight_um": 9.0}, *GOOD[3:]]))
    assert (again["seed"], again["passed"], again["attempt"]) == (1001, False, 2)
    assert len({json.dumps(one) for one in (found["files"], again["files"])}) == 2
    kept_acts = tmp_path / "data" / "attempts" / "00001-50-two-films-alone" / "acts.json"
    same = told(str(own), "--answers", str(kept_acts), "--seed", "1000")
    assert same["figures"] == found["figures"]


def test_what_came_of_it_is_told_in_words(capsys, own, answers):
    out = said(capsys, "lesson", str(own), "--answers", answers([{"do": "WipePlate"}]), "--unfinished")
    assert "not met: Film off what was asked" in out
    assert "worst piece: not judged: no print was made. Roll a film, then spot: lay, rub, lift. Asked at most" in out
    assert " min on the shop clock, 0 prints, 0 strokes" in out
    assert "\nnothing to judge\n" in out
    assert "what the coach saw: nothing else stood out" in out
    assert "kept as attempt 1" in out


def test_what_is_untouched_is_named_before_an_attempt_is_spent(refused, told, own, answers, tmp_path):
    words = "acts.json: nothing was done on any piece: there is nothing to judge, and nothing is kept"
    for nothing in ([{"piece": 1}], []):
        assert words in refused(str(own), "--answers", answers(nothing), "--unfinished")
    assert "acts.json: piece 2 is untouched: add acts" in refused(str(own), "--answers", answers(GOOD[:4]))
    assert kept(tmp_path) == []
    found = told(str(own), "--answers", answers(GOOD[:4]), "--unfinished")
    assert (found["passed"], found["checks"][0]["value"]) == (False, None)
    assert found["checks"][0]["not_judged"].startswith("no print was made on piece 2.")


def test_a_result_file_and_a_sheet_are_written_before_the_attempt_is_kept(told, refused, own, answers, tmp_path):
    result, sheet = tmp_path / "mine.result", tmp_path / "mine.html"
    words = (str(own), "--answers", answers(GOOD), "--result", str(tmp_path / "mine"), "--sheet")
    assert "--sheet must name a file .html or .pdf" in refused(*words, "sheet.txt")
    sheet.write_text("mine")
    assert "mine.html: is there already" in refused(*words, str(sheet))
    assert kept(tmp_path) == []
    found = told(*words, str(sheet), "--force")
    assert found["written"] == [str(sheet), str(result)]
    assert "Two films" in sheet.read_text(encoding="utf-8")
    told_by = read_result(result)
    assert (told_by.lesson, told_by.learner, told_by.seed, told_by.passed) == ("50-two-films", "learner", 1000, True)
    assert told_by.sealed
    assert told_by.figures == pytest.approx(found["figures"])


def test_a_bad_act_costs_neither_the_attempt_nor_the_face(refused, told, own, answers, tmp_path):
    assert "acts.json: [8]: This lesson does not allow the stone" in \
        refused(str(own), "--answers", answers([*GOOD, {"do": "StoneFace"}]))  # fmt: skip
    assert "acts.json: [1]: piece must be 1 to 2, got 9" in refused(str(own), "--answers", answers([{"piece": 9}]))
    assert kept(tmp_path) == []
    assert told(str(own), "--answers", answers(GOOD))["seed"] == 1000


def test_the_check_waits_for_another_day_and_only_there_is_merit(refused, told, own, answers, tmp_path):
    words = (str(own), "--part", "check", "--answers", answers(GOOD))
    assert "once it was passed alone" in refused(*words)
    told(str(own), "--answers", answers(GOOD))
    assert "20 h 0 min are left" in refused(*words)
    assert "are left" in refused(str(own), "--part", "check", "--shots", str(tmp_path / "shots"))
    before = datetime.now(UTC) - timedelta(hours=20, seconds=5)
    with Record.open(tmp_path / "data", now=lambda: before) as record:
        record.end_attempt(record.begin_attempt("50-two-films", "alone", 1000), {}, True, False, 1.0)
    assert "has a face that was not practised on, seed 1000 was" in refused(*words, "--seed", "1000")
    found = told(*words)
    assert (found["part"], found["seed"], found["passed"], found["merit"]) == ("check", 5000, True, True)
    assert [one for one in found["told"] if one["kind"] == "coach"] == []
    hinted = told(*words[:3], "--answers", answers([{"say": "hint", "step": 1, "rung": 1}, *GOOD]))
    assert (hinted["seed"], hinted["passed"], hinted["merit"]) == (5001, True, False)


def test_a_solution_is_played_and_never_kept(told, own, tmp_path):
    model = told(str(own), "--solution", "model")
    assert model["passed"]
    assert not model["merit"]
    wrong = told(str(own), "--solution", "wrong", "--hand", "beginner")
    assert (wrong["passed"], wrong["meant_to_fail"]) == (False, "film_off_pct")
    assert wrong["figures"]["film_off_pct"] > model["figures"]["film_off_pct"]
    assert kept(tmp_path) == []


def test_one_watches_how_it_is_done_and_can_play_it_again(capsys, told, own, answers):
    out = said(capsys, "lesson", str(own), "--watch")
    assert out.splitlines()[0] == "Lesson 50: Two films; on another face, seed 1: its figures are not yours"
    assert "step 1: Roll it, print it." in out
    assert "take piece 2" in out
    assert out.index("spot face") < out.index("step 1 is done") < out.index("take piece 2")
    assert "spot face: x " in out
    watched = told(str(own), "--watch")
    found = told(str(own), "--answers", answers(watched["acts"]), "--part", "help")
    assert found["figures"] == told(str(own), "--solution", "model", "--part", "help")["figures"]


def test_a_lesson_under_the_name_of_a_shipped_one_is_not_kept_as_that_one(refused, own, answers, tmp_path):
    copied = own.rename(tmp_path / "01-lay-a-film.toml")
    assert "must have another name than a shipped one" in refused(str(copied), "--answers", answers(GOOD))
    assert kept(tmp_path) == []


@pytest.mark.parametrize(("words", "line"), [
    (("sanding",), "lesson must be one of 01-lay-a-film"), (("1", "--seed", "-1"), "--seed must be 0 to 2^31 - 1"),
    (("1", "--look"), "--look must go with --answers"), (("1", "--hand", "trained"), "--hand must go with --solution"),
    (("1", "--result", "a.result"), "and without --look, got --result a.result alone"),
    (("1", "--unfinished"), "--unfinished must go with --answers FILE"),
    (("1", "--answers", "none.json"), "none.json: no such file"), (("1", "--part", "free"), "invalid choice"),
    (("1", "--watch", "--show"), "not allowed with"), (("1", "--watch", "--part", "alone"), "the part with help"),
    (("1", "--solution", "model", "--part", "check"), "a check's face is the learner's"),
    (("none.toml",), "none.toml: must be a lesson file"),
])  # fmt: skip
def test_options_of_a_lesson_that_do_not_fit_are_refused(refused, tmp_path, monkeypatch, words, line):
    monkeypatch.setenv("FLATWRIGHT_DATA", str(tmp_path))
    assert line in refused(*words)


def test_pictures_that_are_there_are_kept_without_force(refused, own, answers, tmp_path):
    (tmp_path / "piece-2.png").write_text("mine")
    words = (str(own), "--answers", answers(GOOD), "--shots", str(tmp_path))
    assert "piece-2.png: is there already" in refused(*words)
    assert kept(tmp_path) == [], "refused before anything was kept"
    assert not (tmp_path / "piece-1.png").exists()
