"""The union jack: the published example, a made-up plate, and lines that do not make a plate."""

import csv
from pathlib import Path

import numpy as np
import pytest

from sim.errors import BadFile, BadParam
from sim.intake.levels import LINES, read_levels
from sim.units import UM_PER_MICROINCH

DATA = Path(__file__).parent.parent / "data"
READINGS = DATA / "moody1955_readings_arcsec.csv"
FOOT_MM = 101.6


def test_the_worked_example_of_1955_comes_out():
    levels = read_levels(READINGS, FOOT_MM)
    with open(DATA / "moody1955_heights.csv", newline="") as file:
        published = list(csv.DictReader(file))
    # J. C. Moody, The Tool Engineer, October 1955: column z_microinch, printed to 1e-6 microinch
    microinch = np.array([float(row["z_microinch"]) for row in published])
    np.testing.assert_allclose(levels.heights.z_um / UM_PER_MICROINCH, microinch, rtol=0, atol=6e-7)
    assert levels.lines == tuple(row["line"] for row in published)
    np.testing.assert_allclose(levels.heights.x_mm, [float(row["x_4in"]) * FOOT_MM for row in published], atol=1e-9)
    np.testing.assert_allclose(levels.heights.y_mm, [float(row["y_4in"]) * FOOT_MM for row in published], atol=1e-9)
    assert levels.range_um == pytest.approx(4.5317, abs=5e-5)  # the same article: 178.411 microinch
    assert levels.range_um / UM_PER_MICROINCH == pytest.approx(178.411, abs=5e-4)
    assert levels.closure_east_west_um / UM_PER_MICROINCH == pytest.approx(-13.5748, abs=5e-5)
    assert levels.closure_north_south_um == pytest.approx(0.0, abs=1e-9)


def test_one_arc_second_on_four_inches_rises_19_39255_microinch():
    text = survey(lambda x, y: 0.0, 4, 4, reading=lambda line, step: float(line == ("E", "W") and step == 1))
    levels = from_text(text, FOOT_MM)
    # 1 arc second = 4.848137 um/m (shared check list); a bump of one reading leaves 3/4 of it at the first station
    bump = levels.heights.z_um[[name == "E_W" for name in levels.lines]]
    assert np.ptp(bump) / UM_PER_MICROINCH == pytest.approx(0.75 * 19.39255, abs=1e-5)


def survey(surface, long, short, reading=None, steps=None, reverse=()):
    """What an instrument without error reads in arc seconds on a plate of long x short steps of 101.6 mm."""
    place = {
        "SW": (0, 0),
        "SE": (1, 0),
        "NW": (0, 1),
        "NE": (1, 1),
        "S": (0.5, 0),
        "N": (0.5, 1),
        "W": (0, 0.5),
        "E": (1, 0.5),
    }
    rows = []
    for ends in LINES:
        horizontal, vertical = (place[ends[0]][k] != place[ends[1]][k] for k in (0, 1))
        count = (steps or {}).get(ends) or (
            long if not vertical else short if not horizontal else 2 * round(np.hypot(long, short) / 2)
        )
        start, end = (place[end] for end in (ends[::-1] if ends in reverse else ends))
        along = np.linspace(0, 1, count + 1)
        x, y = (start[k] + (end[k] - start[k]) * along for k in (0, 1))
        rises = np.diff([surface(a, b) for a, b in zip(x, y, strict=True)])
        name = "_".join(ends[::-1] if ends in reverse else ends)
        for step, rise in enumerate(rises, start=1):
            value = reading(ends, step) if reading else rise / (4.848136811095360e-3 * FOOT_MM) + 7.0
            rows.append(f"{name},{step},{float(value)!r}")
    return "line,step,reading_arcsec\n" + "\n".join(rows) + "\n"


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def from_text(text, foot_mm=FOOT_MM):
    Path("levels.csv").write_text(text)
    return read_levels("levels.csv", foot_mm)


def surface(x, y):
    """A twist, a crown and a dip, um, equal at opposite corners as Moody's datum demands."""
    return (
        6 * (x - 0.5) * (y - 0.5) + 4 * x * (1 - x) - 3 * y * (1 - y) + np.sin(5 * x) * np.sin(np.pi * x) * y * (1 - y)
    )


@pytest.mark.parametrize("reverse", [(), (("NW", "SE"), ("E", "W"), ("NE", "SE"))])
def test_a_plate_of_known_shape_is_recovered_whichever_way_the_lines_are_walked(reverse):
    levels = from_text(survey(surface, 8, 6, reverse=reverse))
    x, y = levels.heights.x_mm / (8 * FOOT_MM), levels.heights.y_mm / (6 * FOOT_MM)
    true = np.array([surface(a, b) for a, b in zip(x, y, strict=True)])
    np.testing.assert_allclose(levels.heights.z_um, true - true.min(), atol=1e-9)
    assert levels.closure_east_west_um == pytest.approx(0, abs=1e-9)


def test_other_units_of_the_readings_give_the_same_heights():
    text = survey(surface, 8, 6).splitlines()
    um_per_m = [
        f"{line},{step},{float(value) * 4.848136811095360!r}"
        for line, step, value in (row.split(",") for row in text[1:])
    ]
    ours = from_text("line,step,reading_um_per_m\n" + "\n".join(um_per_m))
    np.testing.assert_allclose(ours.heights.z_um, from_text("\n".join(text)).heights.z_um, atol=1e-9)


good = survey(surface, 8, 6)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (good.replace("reading_arcsec", "reading"), "header must name line, step and one of reading_arcsec"),
        (good.replace("line,", "path,"), "header must name line"),
        (good.replace("N_S,3,", "X_Y,3,"), "column line: must be one of NW_SE.*got 'X_Y'"),
        (good.replace("N_S,3,", "S_N,3,"), "must keep one direction, got S_N after N_S"),
        (good.replace("N_S,3,", "N_S,4,"), r"column step: must be step 3 of N_S .*got 4"),
        (good.replace("N_S,3,", "N_S,3.5,"), r"must be step 3 of N_S .*got 3.5"),
        (good.replace("N_S,1,", "N_S,one,"), "column step: must be a finite number, got 'one'"),
        ("\n".join(row for row in good.split("\n") if not row.startswith("E_W")), "eight lines, E_W is missing"),
        (good + "NE_NW,9,7\n", "NE_NW and SE_SW must have the same number of steps, got 9 and 8"),
        (survey(surface, 7, 6), "NE_NW must have an even number of steps"),
        (survey(surface, 8, 6, steps={("N", "S"): 8}), "NE_SE and N_S must have the same number of steps, got 6 and 8"),
        (survey(surface, 8, 6, steps={("NW", "SE"): 12, ("NE", "SW"): 12}), "need diagonals of 10.0 steps .*got 12"),
        (good.replace("N_S,1,", "N_S,1,1e9 "), "column reading_arcsec: must be a finite number"),
        (survey(surface, 8, 6, reading=lambda line, step: 1e6), "must be a slope of at most 1 in 10"),
        ("line,step,reading_arcsec\n", "NW_SE is missing"),
    ],
)  # fmt: skip
def test_readings_that_make_no_plate_are_refused(text, words):
    with pytest.raises(BadFile, match=words):
        from_text(text)


@pytest.mark.parametrize("foot_mm", [0.0, -4.0, 1e9, float("nan")])
def test_a_foot_out_of_range_is_refused(foot_mm):
    with pytest.raises(BadParam, match="the foot must be 1 to 2000 mm long"):
        read_levels(READINGS, foot_mm)
