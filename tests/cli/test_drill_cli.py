"""`flatwright drill`: questions and pictures, answers against the iron, refusals in one line."""

import json
from itertools import pairwise
from pathlib import Path

import pytest

from sim.books.record import Record
from sim.cli import main
from sim.school.kinds import KIND_NAMES
from sim.school.sitting import is_held_out, sitting
from sim.school.view import CONDITIONS

COMMAND = "drill"
ONE = ("--kind", "highest", "--items", "2", "--level", "2")


def test_it_asks_with_pictures_and_the_truth_answered_scores_100(told, tmp_path):
    asked = told(*ONE, "--shots", str(tmp_path / "shots"))["items"]
    assert [row["kind"] for row in asked] == ["highest", "highest"]
    for row in asked:
        with open(row["pictures"][0], "rb") as file:
            assert file.read(4) == b"\x89PNG"
    truth = [item.truth + 1 for item in sitting(("highest",), 2, 2, 1)]  # counted from 1 in the picture
    answers = tmp_path / "answers.json"
    answers.write_text(json.dumps(truth))
    found = told(*ONE, "--answers", str(answers))
    assert found["right"] == 2
    assert found["skill_by_kind"] == {"highest": pytest.approx(100.0)}
    answers.write_text(json.dumps([one % 3 + 1 for one in truth]))
    wrong = told(*ONE, "--answers", str(answers))
    assert wrong["skill_by_kind"]["highest"] < 100.0
    assert all(row["places_mm"] for row in wrong["items"])


@pytest.mark.parametrize(("content", "line"), [
    ("[1]", "must be a list of 2 answers, got 1 answer"),
    ("{}", "must be a list of 2 answers, got dict"),
    ("[1, 99]", "answer 2 (highest): must be a number of the picture, 1 to"),
    ("[0, 1]", "answer 1 (highest): must be a number of the picture, 1 to"),
    ("[0,", "must be JSON"), ("[" * 100_000, "must be JSON"),
])  # fmt: skip
def test_answers_that_are_none_are_one_line_that_says_where(refused, tmp_path, content, line):
    answers = tmp_path / "answers.json"
    answers.write_text(content)
    told = refused(*ONE, "--answers", str(answers))
    assert line in told
    assert "answers.json" in told


@pytest.mark.parametrize(("words", "line"), [
    (("--kind", "smell"), "kind must be one of"), (("--items", "25"), "items must be 1 to 24"),
    (("--level", "11"), "level must be 1 to 10"), (("--seed", "-1"), "--seed must be"),
])  # fmt: skip
def test_options_out_of_range_are_refused(refused, words, line):
    assert line in refused(*words)


def test_a_fifth_of_the_families_is_kept_for_checks_and_neighbours_share_neither_pigment_nor_lamp():
    held = [is_held_out(kind, level, one) for kind in KIND_NAMES for level in range(1, 11) for one in CONDITIONS]
    assert 0.17 < sum(held) / len(held) < 0.23, "2,880 families: three standard errors are 0.022"
    practised, checked = (sitting(("highest",), 2, 6, 3, check=check) for check in (False, True))
    assert not any(is_held_out(item.kind, item.level, item.condition) for item in practised)
    assert all(is_held_out(item.kind, item.level, item.condition) for item in checked)
    for one, other in pairwise(practised):
        pigment, _, lamp = one.condition.split(", ")
        assert pigment not in other.condition.split(", ")
        assert lamp not in other.condition.split(", ")


def test_todays_sitting_is_kept_in_the_record_and_then_another_one_comes(told, tmp_path):
    words = ("--today", "--kind", "highest", "--items", "2", "--data-dir", str(tmp_path / "data"))
    first = told(*words, "--shots", str(tmp_path / "one"))["items"]
    assert told(*words, "--shots", str(tmp_path / "again"))["items"][0]["question"] == first[0]["question"]
    answers = tmp_path / "answers.json"
    answers.write_text("[1, 2]")
    found = told(*words, "--answers", str(answers))
    with Record.open(tmp_path / "data") as record:
        kept = record.answers("highest")
    assert [one.loss for one in kept] == [row["loss"] for row in found["items"]]
    assert {one.level for one in kept} == {1}
    then = told(*words, "--shots", str(tmp_path / "then"))["items"]
    assert Path(then[0]["pictures"][0]).read_bytes() != Path(first[0]["pictures"][0]).read_bytes()


def test_a_wrong_answer_of_today_keeps_none_of_them(refused, tmp_path):
    answers = tmp_path / "answers.json"
    answers.write_text("[1, 99]")
    words = ("--today", "--kind", "highest", "--items", "2", "--data-dir", str(tmp_path))
    assert "answer 2 (highest): must be" in refused(*words, "--answers", str(answers))
    with Record.open(tmp_path) as record:
        assert record.answers() == []


def test_sensitivity_is_told_after_sixty_dots(told, tmp_path):
    words = ("--kind", "mark", "--level", "2", "--items", "5")
    answers = tmp_path / "answers.json"
    answers.write_text(json.dumps([[n + 1 for n in item.truth] for item in sitting(("mark",), 2, 5, 1)]))
    assert told(*words, "--answers", str(answers))["d_prime"] > 3.0
    answers.write_text(json.dumps([list(range(1, 13))] * 5))
    assert abs(told(*words, "--answers", str(answers))["d_prime"]) < 0.3


def test_what_is_told_to_people_has_signs_an_example_and_the_outcome_of_each_part(capsys, tmp_path):
    words = ["drill", "--kind", "film", "--level", "3", "--items", "1", "--seed", "4"]
    assert main([*words, "--shots", str(tmp_path / "shots")]) == 0
    asked = capsys.readouterr().out
    assert "µm" in asked
    assert " um" not in asked
    assert 'as [2.2, "thinner"]' in asked
    answers = tmp_path / "answers.json"
    answers.write_text('[[0.5, "thinner"]]')
    assert main([*words, "--answers", str(answers)]) == 0
    told = capsys.readouterr().out
    assert "µm" in told
    assert " um" not in told
    assert "times too thin (up to 1.3 times is near enough)" in told
    assert "0 of 1 right" in told
    assert "✕" in told


def test_the_window_takes_no_other_option(refused):
    assert "--window must go with --data-dir alone, got --kind as well" in refused("--window", "--kind", "form")
