"""Grades against the published tables and formulas."""

import csv
import math
from pathlib import Path

import pytest

from sim.measure.grades import STANDARDS, allowed_um, bearing_grade, grades

DATA = Path(__file__).parent.parent / "data"


def rows(name):
    with open(DATA / name, newline="") as file:
        return list(csv.DictReader(file))


def test_din_876_agrees_with_all_68_entries_of_the_table():
    table = rows("DIN876_flatness_um.csv")
    entries = [
        (row["L_longest_side_mm"], grade, row[f"grade{grade}"]) for row in table for grade in ("0", "I", "II", "III")
    ]
    assert len(entries) == 68
    for long_mm, grade, limit in entries:
        # DIN 876 table as reprinted by a plate maker
        assert allowed_um((100.0, float(long_mm)))["din_876"][grade] == pytest.approx(float(limit), abs=1e-9)


@pytest.mark.parametrize(
    "row", rows("GGG_P_463c_flatness.csv"), ids=lambda row: f"{row['width_in']}x{row['length_in']}"
)
def test_ggg_p_463c_follows_its_formula(row):
    size = float(row["width_in"]) * 25.4, float(row["length_in"]) * 25.4
    limits = allowed_um(size)["ggg_p_463c"]
    # GGG-P-463c, now ASME B89.3.7: AA = 40 + D²/25 microinch, printed to 0.01
    assert limits["AA"] / 0.0254 == pytest.approx(float(row["formula_AA_microinch"]), abs=6e-3)
    # the metric form, 1 + 1.6 D² um with D in m, is a rounding of the same rule
    assert limits["AA"] == pytest.approx(float(row["metric_formula_AA_um"]), rel=0.02)
    assert (limits["A"], limits["B"]) == pytest.approx((2 * limits["AA"], 4 * limits["AA"]))


@pytest.mark.parametrize("row", rows("JIS_B7513_listed_um.csv"), ids=lambda row: f"{row['l_mm']}x{row['w_mm']}")
def test_jis_b_7513_gives_the_listed_values_either_way_round(row):
    size = float(row["l_mm"]), float(row["w_mm"])
    expected = {grade: float(row[f"grade{grade}"]) for grade in "012"}  # JIS B 7513 as quoted by a plate maker
    assert allowed_um(size)["jis_b_7513"] == allowed_um(size[::-1])["jis_b_7513"] == expected


@pytest.mark.parametrize("size", [(200.0, 200.0), (500.0, 400.0), (3000.0, 2000.0), (252.0, 250.0)])
def test_jis_b_7513_does_not_guess_between_its_listed_sizes(size):
    assert allowed_um(size)["jis_b_7513"] == {}
    assert grades(0.1, size)["jis_b_7513"] is None


@pytest.mark.parametrize(
    ("size", "limits"),
    [
        ((300.0, 400.0), (4.0, 8.0, 16.0, 32.0)),
        ((400.0, 301.0), (4.3, 8.6, 17.2, 34.4)),
        ((60.0, 40.0), (2.8, 5.6, 11.2, 22.4)),
    ],
)
def test_iso_8512_1_rounds_the_diagonal_up_to_whole_100_mm(size, limits):
    # c1 d + c2 with 0.003/2.5, 0.006/5, 0.012/10, 0.024/20 (from memory, physics notes)
    assert tuple(allowed_um(size)["iso_8512_1"].values()) == pytest.approx(limits)


@pytest.mark.parametrize("standard", STANDARDS, ids=lambda standard: standard.key)
def test_the_best_grade_that_is_met_is_given_and_a_limit_meets_itself(standard):
    size = (1000.0, 1000.0)
    limits = standard.allowed_um(size)
    assert list(limits.values()) == sorted(limits.values())
    for worse, (grade, limit) in zip([*list(limits)[1:], None], limits.items(), strict=True):
        assert grades(limit, size)[standard.key] == grade
        assert grades(limit * 1.001, size)[standard.key] == worse
    assert grades(0.0, size)[standard.key] == next(iter(limits))
    assert math.isfinite(max(limits.values()))


@pytest.mark.parametrize(
    ("pct", "grade"), [(100.0, "0"), (20.0, "0"), (19.9, "1"), (15.0, "1"), (14.9, "2"), (10.0, "2"), (9.9, None)]
)
def test_bearing_area_grades_are_those_of_iso_8512_1(pct, grade):
    assert bearing_grade(pct) == grade  # ISO 8512-1 as issued in AS 1004.1-1998, clause 9: 20, 15, 10 %
