"""`flatwright measure` as a user meets it: keys, plot, nothing overwritten, one line for every slip."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from sim.cli import main

DATA = Path(__file__).parent.parent / "data"
BOWL = str(DATA / "grid21_bowl.csv")
READINGS = str(DATA / "moody1955_readings_arcsec.csv")


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def told(capsys):
    """Run a command that should succeed with --json: the object, and nothing else said."""

    def told(*words):
        assert main(["measure", *words, "--json"]) == 0
        out, err = capsys.readouterr()
        assert err == ""
        assert out.count("\n") == 1
        return json.loads(out)

    return told


@pytest.fixture
def refused(capsys):
    """Run a command that should be refused: its one line."""

    def refused(*words):
        assert main(["measure", *words]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert err.count("\n") == 1
        return err

    return refused


def test_json_has_the_keys_and_figures_and_writes_no_file(told):
    found = told(BOWL)
    assert list(found) == ["points", "flatness_um", "grades"]
    assert found["points"] == 441
    # closed form of the bowl, shared check list
    assert found["flatness_um"] == pytest.approx(
        {"minimum_zone": 20.0, "least_squares": 20.0, "peak": 12.666666667, "valley": 7.3333333333, "rms": 4.6221688},
        abs=1e-6,
    )
    # a square of 200 mm: 13.6 and 27.2 um by ISO grade 2 and 3, 12 and 24 by DIN grade I and II, 4.6 by GGG grade B
    assert found["grades"] == {"iso_8512_1": "3", "din_876": "II", "ggg_p_463c": None, "jis_b_7513": None}
    assert not list(Path().iterdir())


def test_the_size_for_the_grades_can_be_given(told):
    assert told(BOWL, "--size", "1000x1000")["grades"]["jis_b_7513"] == "2"
    assert told(BOWL, "--size", "1000x1000mm")["grades"] == told(BOWL, "--size", "100 x 100 cm")["grades"]
    assert told(BOWL, "--size", "48x96in")["grades"]["ggg_p_463c"] == "A"  # 12.72 and 25.4 um by 40 + D²/25 microinch


def test_level_readings_give_the_published_range_and_closure(told):
    found = told("--levels", READINGS, "--foot", "4in")
    assert list(found) == ["points", "flatness_um", "grades", "levels"]
    assert found["points"] == len(found["levels"]["heights_um"]) == 126
    # J. C. Moody, The Tool Engineer, October 1955
    assert found["levels"]["range_um"] == pytest.approx(4.5317, abs=5e-5)
    assert found["levels"]["closure_um"]["east_west"] == pytest.approx(-13.5748 * 0.0254, abs=2e-6)
    assert found["levels"]["closure_um"]["north_south"] == pytest.approx(0.0, abs=1e-9)
    assert found == told("--levels", READINGS, "--foot", "101.6 mm")


def test_without_json_the_figures_are_printed_and_the_plot_written(capsys):
    assert main(["measure", BOWL]) == 0
    out, err = capsys.readouterr()
    for words in ("441 points", "minimum zone", "20.000", "12.667", "DIN 876", "plot: grid21_bowl-flatness.png"):
        assert words in out
    assert err == ""
    assert [path.name for path in Path().iterdir()] == ["grid21_bowl-flatness.png"]
    assert Path("grid21_bowl-flatness.png").read_bytes().startswith(b"\x89PNG")


def test_a_plot_that_is_there_is_kept_unless_forced(capsys, refused):
    Path("grid21_bowl-flatness.png").write_text("mine")
    assert main(["measure", BOWL]) == 0
    assert "no new plot: grid21_bowl-flatness.png: is there already and is kept" in capsys.readouterr().out
    assert "is there already" in refused(BOWL, "--out", ".")
    assert Path("grid21_bowl-flatness.png").read_text() == "mine"
    assert main(["measure", BOWL, "--force"]) == 0
    assert Path("grid21_bowl-flatness.png").read_bytes().startswith(b"\x89PNG")


def test_the_plot_goes_to_the_folder_named_also_with_json(told):
    told("--levels", READINGS, "--foot", "4in", "--out", "new/plots")
    assert [path.name for path in Path("new/plots").iterdir()] == ["moody1955_readings_arcsec-flatness.png"]


def test_an_output_folder_that_cannot_be_is_refused_and_nothing_is_left(refused):
    Path("file").write_text("")
    assert "cannot be written" in refused(BOWL, "--out", "file/plots", "--json")
    assert "cannot be written" in refused(BOWL, "--out", "file", "--json")
    Path("grid21_bowl-flatness.png").mkdir()
    assert "must be a file, got a folder" in refused(BOWL, "--out", ".", "--force")
    assert sorted(path.name for path in Path().iterdir()) == ["file", "grid21_bowl-flatness.png"]


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ((), "either FILE or --levels FILE, got none"),
        ((BOWL, "--levels", READINGS, "--foot", "4in"), "got both"),
        (("--levels", READINGS), "--levels and --foot LENGTH, such as 4in, go together, got --levels alone"),
        ((BOWL, "--foot", "4in"), "got --foot alone"),
        (("--levels", READINGS, "--foot", "4"), "must be a length with its unit"),
        (("--levels", READINGS, "--foot", "nanmm"), "must be a length with its unit"),
        (("--levels", READINGS, "--foot", "900in"), "the foot must be 1 to 2000 mm long, got 22860 mm"),
        (("--levels", BOWL, "--foot", "4in"), "header must name line, step"),
        ((BOWL, "--size", "0x100"), "two lengths above 0"),
        ((BOWL, "--size", "100"), "two lengths above 0"),
        ((BOWL, "--size", "1e9x5"), "two lengths above 0"),
        ((BOWL, "--size", "5.5.5x3"), "two lengths above 0"),
        ((BOWL, "--size", "-5x3"), "--size"),
        (("none.csv",), "none.csv: no such file"),
        ((".",), "folder"),
        ((BOWL, "--colour"), "--colour"),
    ],
)
def test_a_slip_of_the_user_gets_one_line(refused, words, line):
    assert line in refused(*words)
    assert not list(Path().iterdir())


def test_points_on_one_line_are_refused_with_the_name_of_the_file(refused):
    Path("line.csv").write_text("x_mm,y_mm,z_um\n0,0,1\n1,1,2\n2,2,1\n")
    assert "line.csv: a plane needs points that do not lie on one line" in refused("line.csv")


def test_odd_names_of_files_are_no_trouble(capsys):
    name = "[bold]$x_1$ %s µ\u4e2d.csv"
    shutil.copy(BOWL, name)
    assert main(["measure", name]) == 0
    assert "[bold]$x_1$ %s" in capsys.readouterr().out
    assert Path("[bold]$x_1$ %s µ\u4e2d-flatness.png").exists()


def test_a_cloud_of_many_points_is_drawn_in_fields():
    rng = np.random.default_rng(2)
    points = rng.uniform(0, [200, 100, 5], (25_000, 3))
    np.savetxt("many.csv", points, delimiter=",", header="x_mm,y_mm,z_um", comments="", fmt="%.4f")
    assert main(["measure", "many.csv", "--json", "--out", "."]) == 0
    assert Path("many-flatness.png").stat().st_size > 20_000


def test_a_plot_that_breaks_off_leaves_nothing_behind(monkeypatch, refused):
    def full(figure, path, **_):
        Path(path).write_bytes(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("matplotlib.figure.Figure.savefig", full)
    assert "cannot be written: No space left on device" in refused(BOWL, "--out", ".", "--json")
    assert not list(Path().iterdir())
