"""`flatwright cards` as a user meets it."""

import pytest

from sim.cli import main
from sim.cli.cards import BAR, plotted
from sim.school.cards import NAMES
from sim.school.exercises import simulate

COMMAND = "cards"


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("FLATWRIGHT_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.chdir(tmp_path)


def test_without_a_name_it_lists_the_eight_and_makes_nothing(told, tmp_path):
    got = told()
    assert [one["name"] for one in got["cards"]] == list(NAMES)
    assert all(one["entered"] == 0 for one in got["cards"])
    assert list(tmp_path.iterdir()) == []


def test_what_is_entered_lies_beside_the_model(told):
    got = told("--enter", "films", "marks_heavy=4", "film_heavy=0.3 thou")
    assert got["entered"][0]["values"] == pytest.approx({"marks_heavy": 4.0, "film_heavy": 7.62})
    model = {one["key"]: one["model"] for one in got["fields"]}
    assert model["marks_heavy"] == simulate("films").numbers["marks_heavy"]
    assert len(told("--enter", "films", "marks_heavy=5")["entered"]) == 2
    assert [one["entered"] for one in told()["cards"]][:2] == [2, 0]


def test_each_learner_sees_his_own(told, refused):
    told("--enter", "turn", "same=9", "--learner", "Ada")
    told("--enter", "turn", "same=7", "--learner", "Bo")
    assert [one["values"]["same"] for one in told("turn", "--learner", "Ada")["entered"]] == [9.0]
    assert [one["values"]["same"] for one in told("turn")["entered"]] == [7.0]  # who practised last
    assert "the learner must be one of the record's (Ada, Bo), got 'Cy'" in refused("turn", "--learner", "Cy")


def test_the_words_show_steps_before_and_a_plot_after_the_first_entry(capsys):
    assert main(["cards", "turn"]) == 0
    before = capsys.readouterr().out
    assert " 1  Roll a thin film" in before
    assert "flatwright cards --enter turn turned=..." in before
    assert main(["cards", "--enter", "turn", "same=5"]) == 0
    after = capsys.readouterr().out
    assert " 1  Roll a thin film" not in after
    assert "#---" in after
    assert "Local rules" in after or "comes first" in after


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--enter", "turn", "same=11"), "flatwright: same must be in [0, 10], got '11'\n"),
        (("--enter", "turn"),
         "flatwright: card turn must be given at least one FIELD=VALUE, such as turned=5, got none\n"),
        (("--enter", "bingo", "a=1"), f"flatwright: a card must be one of {', '.join(NAMES)}, got 'bingo'\n"),
        (("rub", "--enter", "turn", "same=1"),
         "flatwright: --enter must name the same card as NAME, got 'rub' and 'turn'\n"),
    ],
)  # fmt: skip
def test_a_bad_entry_is_one_line_and_nothing_is_kept(refused, words, line, tmp_path):
    assert refused(*words) == line
    assert not (tmp_path / "data").exists()


@pytest.mark.slow
def test_pages_are_written_and_not_overwritten_unasked(told, refused, tmp_path):
    told("--enter", "turn", "same=9")
    got = told("turn", "--out", "printed", "--paper", "letter")
    assert [path.name for path in sorted((tmp_path / "printed").iterdir())] == [
        "shop-card-turn-yours.png", "shop-card-turn.html", "shop-card-turn.pdf"]  # fmt: skip
    assert len(got["written"]) == 3
    assert "is there already" in refused("turn", "--out", "printed")


def test_the_plot_sets_both_on_one_line_from_nought():
    assert plotted(5.0, 10.0) == "-" * 16 + "#" + "-" * (BAR - 18) + "o"
    assert plotted(10.0, 10.0) == "-" * (BAR - 1) + "@"
    assert plotted(0.0, 0.0)[0] == "@"
    assert plotted(3.0, None)[-1] == "#"
    assert plotted(None, 3.0) == ""
