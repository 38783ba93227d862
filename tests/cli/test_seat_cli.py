"""`flatwright seat` as a user meets it."""

import json
from pathlib import Path

import pytest

from sim.cli import main

DATA = Path(__file__).parent.parent / "data"
SADDLE = str(DATA / "saddle4.csv")
KEYS = ["stands_on_rows", "shares", "height_um", "slopes_um_per_mm", "rocks", "other_seat", "corner_drop_um"]


def told(capsys, *words):
    assert main(["seat", *words, "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.count("\n") == 1
    return json.loads(out)


def test_json_of_a_part_that_sits_firmly(capsys, tmp_path):
    rows = (DATA / "parallelism_faces.csv").read_text().splitlines()
    foot = [row[2:].rsplit(",", 1) for row in rows if row.startswith("A,")]
    path = tmp_path / "foot.csv"
    path.write_text("x_mm,y_mm,z_um\n" + "\n".join(f"{xy},{-float(z)}" for xy, z in foot))
    found = told(capsys, str(path), "--load-at", "100,100")
    assert list(found) == KEYS
    # shared check list, computed: face A stands on points 1, 6, 8 with shares .5, .25, .25
    assert found["stands_on_rows"] == [1, 6, 8]
    assert found["shares"] == pytest.approx([0.5, 0.25, 0.25], abs=1e-12)
    assert found["slopes_um_per_mm"] == pytest.approx([0.0025, -0.00375], abs=1e-12)
    assert (found["rocks"], found["other_seat"], found["corner_drop_um"]) == (False, None, [0.0] * 4)


def test_json_of_a_part_that_rocks(capsys):
    found = told(capsys, SADDLE, "--load-at", "0,0")
    assert list(found) == list(found["other_seat"]) == KEYS
    assert found["rocks"] is True
    assert found["corner_drop_um"] == pytest.approx([0.0, 20.0, 20.0, 0.0], abs=1e-9)


@pytest.mark.parametrize("words", [("--load-at", "-5,3"), ("--load-at=-5,3",), ("--load-at", "-5, +3.0")])
def test_a_negative_place_of_the_load_is_no_option(capsys, words):
    assert told(capsys, SADDLE, *words)["stands_on_rows"] == [0, 1, 3]


@pytest.mark.parametrize(("load", "words"), [("0,0", "The part rocks"), ("5,0", "The part sits firmly")])
def test_the_printed_answer_says_whether_it_rocks(capsys, load, words):
    assert main(["seat", SADDLE, "--load-at", load]) == 0
    out = capsys.readouterr().out
    assert words in out
    assert "50.0%" in out or "52.5%" in out
    assert ("20.000" in out) == ("rocks" in words)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ((SADDLE,), "--load-at"),
        ((SADDLE, "--load-at", "5"), "must be two numbers in mm, such as 80,55, got '5'"),
        ((SADDLE, "--load-at", "nan,0"), "must be two numbers"),
        ((SADDLE, "--load-at", "1e400,0"), "must be two numbers"),
        ((SADDLE, "--load-at", "1,2,3"), "must be two numbers"),
        ((SADDLE, "--load-at", "500,0"), "saddle4.csv: the load must be inside the outline of the points"),
        (("none.csv", "--load-at", "0,0"), "none.csv: no such file"),
    ],
)
def test_a_slip_of_the_user_gets_one_line(capsys, words, line):
    assert main(["seat", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert line in err
