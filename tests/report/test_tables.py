"""Rows of the scorecard and the sentence that sums them up."""

import dataclasses
import io

import pytest

from sim.report.tables import number, orientation_rows, scorecard_rows, scorecard_table, thick_end, verdict
from sim.target import Target

GOOD = {"bearing_flatness_um": 1.2, "spots_mean": 24.0, "spots_lowest": 11.0, "bearing_pct": 12.5, "strokes": 9876.0}


def test_each_limit_of_the_target_is_held_against_its_figure_and_other_figures_have_none():
    rows = scorecard_rows({**GOOD, "spots_lowest": 7.0}, Target())
    assert [row.met for row in rows] == [True, True, False, True, None]
    assert (rows[2].got, rows[2].wanted) == ("7", "≥ 8")
    assert rows[0].wanted == "≤ 2.5"
    assert rows[-1].got == "9,876"


def test_a_figure_exactly_on_its_limit_is_met():
    target = Target()
    on = {key: getattr(target, key) for key in GOOD if key != "strokes"}
    assert all(row.met for row in scorecard_rows(on, target))


@pytest.mark.parametrize("key, value, got", [
    ("bearing_flatness_um", 2.5004, "2.5004"), ("bearing_flatness_um", 2.4996, "2.4996"),
    ("bearing_pct", 9.97, "9.97"), ("bearing_pct", 9.4, "9.4"), ("spots_mean", 20.0, "20.0"),
    ("spots_lowest", 11.0, "11"), ("spots_lowest", 7.98, "7.98"), ("spots_lowest", 10.37, "10.4"),
])  # fmt: skip
def test_a_figure_has_the_digits_that_show_on_which_side_of_its_limit_it_lies(key, value, got):
    assert scorecard_rows({key: value}, Target())[0].got == got


def test_a_figure_that_is_not_there_is_a_dash_and_nought_has_no_sign():
    assert [number(value, 3) for value in (float("nan"), -0.0, -0.0004, -0.0006)] == ["–", "0.000", "0.000", "-0.001"]
    assert scorecard_rows({"spots_cv": float("nan")}, Target())[0].got == "–"


def test_every_limit_of_the_target_has_a_row():
    limits = {field.name for field in dataclasses.fields(Target)} - {"spot_area_mm2"}
    rows = scorecard_rows(dict.fromkeys(limits, 1.0), Target())
    assert len(rows) == len(limits)
    assert all(row.met is not None for row in rows)


def test_the_verdict_names_round_and_hours():
    assert verdict(scorecard_rows(GOOD, Target()), 22, (22, 4.62)) == ["Met in round 22 after 4.6 h."]


def test_the_verdict_says_when_a_face_was_met_and_lost_again():
    rows = scorecard_rows({**GOOD, "spots_lowest": 7.0}, Target())
    told = verdict(rows, 40, (22, 4.62))
    assert told[0] == "Met in round 22 after 4.6 h."
    assert "round 40" in told[1]
    assert "spots, lowest square 7 " in told[1]
    assert "bearing flatness" not in told[1]
    assert verdict(scorecard_rows(GOOD, Target()), 40, (22, 4.62))[1].endswith("still met.")


def test_only_what_can_be_met_or_missed_is_wanted():
    rows = scorecard_rows({**GOOD, "spots_cv": 0.26, "pocket_depth_um": 4.0, "bearing_tenths_pct": 12.0}, Target())
    assert [bool(row.wanted) for row in rows] == [row.met is not None for row in rows]
    (unevenness,) = (row for row in rows if row.name.startswith("unevenness"))
    assert "up to 0.25 is even" in unevenness.meaning


def test_the_verdict_says_what_is_missing():
    rows = scorecard_rows({**GOOD, "bearing_flatness_um": 9.0, "bearing_pct": 1.0}, Target())
    told = verdict(rows, 1, None)
    assert told[0] == "Not met in 1 round."
    assert "bearing flatness 9.00 µm, wanted ≤ 2.5" in told[1]
    assert "1.0 %, wanted ≥ 10" in told[1]
    assert "spots" not in told[1]


def test_the_terminal_shows_every_row_and_takes_no_markup_from_it():
    from rich.console import Console

    rows = scorecard_rows({**GOOD, "spots_lowest": 7.0}, Target())
    rows.append(dataclasses.replace(rows[0], name="[bold]name"))
    out = io.StringIO()
    Console(file=out, width=100, color_system=None).print(scorecard_table(rows))
    lines = [line for line in out.getvalue().splitlines() if line.strip()]
    assert len(lines) == len(rows) + 2  # head and its rule
    assert any("lowest square" in line and line.rstrip().endswith("no") for line in lines)
    assert "[bold]name" in out.getvalue()


@pytest.mark.parametrize(("x", "y", "words"), [
    (3.0, 0.0, "toward high x:"), (-3.0, 2.0, "toward low x and high y:"), (0.0, -0.0006, "toward low y:"),
    (0.0004, -0.0004, "Neither end is thick"),
])  # fmt: skip
def test_the_thick_end_is_told_as_far_as_it_is_printed(x, y, words):
    assert words in thick_end({"wedge_um_per_100mm": {"x": x, "y": y}, "datum": {"rocks": False}})


def test_a_twist_that_is_not_known_has_a_dash_and_nought_has_no_minus():
    told = {"parallelism_um": {"contact_datum": 2.54, "least_squares_datum": 1.0}, "twist_um": None,
            "wedge_um_per_100mm": {"x": -0.0001, "y": -2.54}}  # fmt: skip
    assert orientation_rows(told) == [
        ("contact datum", "2.540", "1.000"), ("least-squares datum", "1.000", "0.394"),
        ("wedge along x in 100 mm", "+0.000", "+0.000"), ("wedge along y in 100 mm", "-2.540", "-1.000"),
        ("twist", "–", "–"),
    ]  # fmt: skip


def test_a_side_that_leans_by_less_than_is_printed_stands_square():
    told = {"lean_um_per_100mm": -0.0004, "lean_along": "y", "datum": {"rocks": False}}
    assert thick_end(told) == "The side stands square to the contact datum."
    assert "toward -y, 0.600 µm in 100 mm" in thick_end({**told, "lean_um_per_100mm": -0.6})
