"""Shop cards as data: whole, readable, and strict about what a learner types."""

import pytest

from sim.errors import BadFile, BadFiles, BadParam
from sim.paths import assets
from sim.school.cards import NAMES, card, cards, read_card


def test_eight_cards_are_numbered_in_their_order_and_no_file_lies_beside_them_unused():
    assert [one.number for one in cards()] == list(range(1, 9))
    assert {path.stem for path in (assets() / "cards").glob("*.toml")} == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_card_says_what_is_needed_done_written_down_and_minded(name):
    one = card(name)
    assert one.need
    assert len(one.steps) >= 4
    assert one.cautions
    assert one.draw
    assert len({field.key for field in one.fields}) == len(one.fields) >= 2
    assert all(field.low < field.high for field in one.fields)
    assert all(len(field.words) <= 38 for field in one.fields), "words of a field fit their column"


def test_values_are_read_with_their_units():
    got = card("films").read(["film_heavy=0.3 thou", "film_thin=1500nm", "bearing_heavy=70%", "marks_heavy= 4"])
    assert got == pytest.approx({"film_heavy": 7.62, "film_thin": 1.5, "bearing_heavy": 70.0, "marks_heavy": 4.0})
    assert card("pivot").read(["length=6in"]) == pytest.approx({"length": 152.4})


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("bearing_heavy=101", "bearing_heavy must be in [0, 100] %, got '101'"),
        ("bearing_heavy=nan", "bearing_heavy must be a number, with or without a unit (%, percent, pct), got 'nan'"),
        ("film_heavy=3kg", "film_heavy must be a number, with or without a unit (nm, um, µm, μm, mm, cm, m, in, inch, "
                           "\", thou, mil, tenth, tenths), got '3kg'"),
        ("film_heavy=0,8", "film_heavy must be written with a decimal point and no comma, got '0,8'"),
        ("marks_heavy=2.5", "marks_heavy must be a whole number, got '2.5'"),
        ("marks_heavy=2 um", "marks_heavy must be a plain number, got '2 um'"),
        ("marks_heavy", "what is entered must be FIELD=VALUE, got 'marks_heavy'"),
        ("blue=3", "a field of card films must be one of film_heavy, bearing_heavy, marks_heavy, film_normal, "
                   "bearing_normal, marks_normal, film_thin, bearing_thin, marks_thin, got 'blue'"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(typed, told):
    with pytest.raises(BadParam) as refused:
        card("films").read([typed])
    assert str(refused.value) == told


def test_nothing_and_the_same_field_twice_are_refused():
    with pytest.raises(BadParam, match="at least one FIELD=VALUE"):
        card("turn").read([])
    with pytest.raises(BadParam, match="same must be given once, got it twice"):
        card("turn").read(["same=1", "same=2"])


def test_a_card_file_tells_all_its_faults_with_their_lines(tmp_path):
    text = (assets() / "cards" / "turn.toml").read_text(encoding="utf-8")
    bad = text.replace("minutes = 15", 'minutes = "long"').replace('"lifting", "rags"', '"lifting", "dragons"')
    path = tmp_path / "turn.toml"
    path.write_text(bad.replace("high = 10", "hihg = 10", 1), encoding="utf-8")
    with pytest.raises(BadFiles) as refused:
        read_card(path)
    assert len(refused.value.faults) == 4  # the wrong key, and the right one that is missing
    assert f"{path}:4: minutes" in refused.value.faults[0]
    assert "dragons" in refused.value.faults[1]


def test_a_missing_card_and_an_unknown_one_are_told(tmp_path):
    with pytest.raises(BadFile, match="no such card"):
        read_card(tmp_path / "films.toml")
    with pytest.raises(BadParam, match="a card must be one of films, rub"):
        card("bingo")
