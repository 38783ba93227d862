"""`flatwright measure` as a user meets it: keys, plot, nothing overwritten, one line for every slip."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from sim.cli import main

COMMAND = "measure"
DATA = Path(__file__).parent.parent / "data"
BOWL = str(DATA / "grid21_bowl.csv")
READINGS = str(DATA / "moody1955_readings_arcsec.csv")


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


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


# ---------------------------------------------------------------- against a datum


@pytest.fixture
def faces():
    """Files of the shared check (foot.csv, top.csv), of a side that leans 5 um in 100 mm, and of a foot that rocks."""
    rows = (DATA / "parallelism_faces.csv").read_text().splitlines()
    for letter, name in (("A", "foot.csv"), ("B", "top.csv")):
        points = [row[2:] for row in rows if row.startswith(f"{letter},")]
        Path(name).write_text("\n".join(["x_mm,y_mm,z_um", *points]))
    y, z = (grid.ravel() for grid in np.meshgrid(np.linspace(0, 110, 12), np.linspace(10, 60, 6)))
    bowed = 160_000.0 + 0.05 * z + 2.0 * (y / 55 - 1.0) ** 2
    for name, x in (("side.csv", bowed), ("plane.csv", 160_000.0 + 0.0 * y)):
        np.savetxt(name, np.column_stack([x, y, z]), delimiter=",", header="x_um,y_mm,z_mm", comments="")
    x, y = (grid.ravel() for grid in np.meshgrid([0.0, 80.0, 160.0], [0.0, 55.0, 110.0]))
    for name, twist_um in (("rocks.csv", 3.0), ("level.csv", 0.0)):
        z = twist_um * (x / 80 - 1) * (y / 55 - 1)
        np.savetxt(name, np.column_stack([x, y, z]), delimiter=",", header="x_mm,y_mm,z_um", comments="")


FLATNESS = ["minimum_zone", "least_squares", "peak", "valley", "rms"]


@pytest.mark.usefixtures("faces")
def test_json_of_the_shared_check_of_parallelism(told):
    found = told("--datum", "foot.csv", "top.csv")
    keys = ["points", "flatness_um", "grades", "parallelism_um", "wedge_um_per_100mm", "twist_um", "datum"]
    assert list(found) == keys
    # shared check list, computed
    assert found["parallelism_um"] == pytest.approx({"contact_datum": 8.75, "least_squares_datum": 9.0}, rel=1e-8)
    assert found["wedge_um_per_100mm"] == pytest.approx({"x": 3.25, "y": 1.125}, abs=1e-7)
    assert list(found["datum"]) == ["points", "flatness_um", "rocks"]
    assert (found["datum"]["points"], found["datum"]["rocks"]) == (9, False)
    assert list(found["datum"]["flatness_um"]) == FLATNESS
    assert found["datum"]["flatness_um"]["minimum_zone"] == pytest.approx(4.625, rel=1e-8)
    assert found["datum"]["flatness_um"]["least_squares"] == pytest.approx(5.25, rel=1e-8)
    alone = told("top.csv")
    assert {key: found[key] for key in alone} == alone
    assert alone["flatness_um"]["minimum_zone"] == pytest.approx(1.5, rel=1e-8)
    assert told("--datum", "foot.csv", "top.csv", "--load-at", "100,100") == found
    assert told("--datum", "foot.csv", "top.csv", "--load-at", "30,20")["parallelism_um"]["contact_datum"] != 8.75
    assert not list(Path().glob("*.png"))


@pytest.mark.usefixtures("faces")
def test_json_of_a_side(told):
    found = told("--datum", "level.csv", "side.csv", "--square")
    keys = ["points", "flatness_um", "perpendicularity_um", "angle_deg", "angle_arcsec", "lean_um_per_100mm",
            "lean_along", "datum"]  # fmt: skip
    assert list(found) == keys
    bow = 2.0 - 2.0 * (5 / 55) ** 2  # the points nearest to the middle lie 5 mm beside it
    # closed forms: 5 um in 100 mm over 50 mm of height, and the bow; flatness is the bow alone
    zones = {"contact_datum": 2.5 + bow, "least_squares_datum": 2.5 + bow}
    assert found["perpendicularity_um"] == pytest.approx(zones, abs=1e-6)
    assert found["angle_deg"] == pytest.approx(0.0028648, abs=5e-8)
    assert found["angle_arcsec"] == pytest.approx(10.313, abs=1e-3)
    assert (found["lean_um_per_100mm"], found["lean_along"]) == (pytest.approx(5.0, abs=1e-6), "x")
    assert list(found["flatness_um"]) == FLATNESS
    assert found["flatness_um"]["minimum_zone"] == pytest.approx(bow, abs=1e-6)
    # it faces +x, away from the foot, and its ends stand out farthest: there are the peaks
    assert found["flatness_um"]["peak"] > found["flatness_um"]["valley"]


@pytest.mark.usefixtures("faces")
def test_a_side_that_is_a_plane_is_measured_though_from_above_it_is_a_line(told, refused):
    found = told("--datum", "level.csv", "plane.csv", "--square")
    assert found["perpendicularity_um"] == pytest.approx({"contact_datum": 0.0, "least_squares_datum": 0.0}, abs=1e-9)
    assert found["flatness_um"]["least_squares"] == pytest.approx(0.0, abs=1e-9)
    assert "plane.csv: a plane needs points that do not lie on one line in x and y" in refused("plane.csv")


@pytest.mark.usefixtures("faces")
def test_a_datum_that_rocks_gives_both_seats_in_json_and_in_words(told, capsys):
    found = told("--datum", "rocks.csv", "top.csv", "--load-at", "80,55")
    assert found["datum"]["rocks"] is True
    assert list(found["parallelism_um"]) == ["contact_datum", "least_squares_datum", "contact_datum_other_seat"]
    assert main(["measure", "--datum", "rocks.csv", "top.csv", "--load-at", "80,55"]) == 0
    out = capsys.readouterr().out
    assert "rocks.csv rocks under its load" in out
    for zone in found["parallelism_um"].values():
        assert f"{zone:.3f}" in out
    assert "the contact datum in its first seat" in out
    found = told("--datum", "rocks.csv", "plane.csv", "--square")
    # closed form: its twist of 6 um tips it by 6 um in 160 mm either way, over 50 mm of height
    zones = {"contact_datum": 1.875, "contact_datum_other_seat": 1.875, "least_squares_datum": 0.0}
    assert found["perpendicularity_um"] == pytest.approx(zones, abs=1e-6)


@pytest.mark.usefixtures("faces")
def test_without_json_both_datums_are_named_and_the_thick_end_is_told_in_words(capsys):
    assert main(["measure", "--datum", "foot.csv", "top.csv"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for words in ("Datum foot.csv: 9 points, flat within 4.625 µm", "contact datum 8.750 3.445",
                  "least-squares datum 9.000 3.543", "wedge along x in 100 mm +3.250 +1.280",
                  "The thick end lies toward high x and high y", "plot: top-flatness.png"):  # fmt: skip
        assert words in out
    assert out.index("parallelism to the") < out.index("minimum zone 1.500")
    assert "ISO 8512-1" not in out  # a part is no plate: grades where a size is given
    assert main(["measure", "--datum", "foot.csv", "top.csv", "--size", "160x110", "--force"]) == 0
    assert "ISO 8512-1" in capsys.readouterr().out
    assert main(["measure", "--datum", "level.csv", "side.csv", "--square"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for words in ("perpendicularity to the", "lean in 100 mm +5.000 +1.969", "angle from square 0.0029° 10.3″",
                  "Going up, the side leans toward +x, 5.000 µm in 100 mm", "plot: side-flatness.png"):  # fmt: skip
        assert words in out
    assert "ISO 8512-1" not in out
    assert sorted(path.name for path in Path().glob("*.png")) == ["side-flatness.png", "top-flatness.png"]


def test_the_help_says_the_signs(capsys):
    with pytest.raises(SystemExit):
        main(["measure", "--help"])
    out = " ".join(capsys.readouterr().out.split())
    assert "Wedge: positive where the face rises away from the contact datum toward +x or +y" in out
    assert "Lean of a side: positive where its x" in out


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("top.csv", "--load-at", "-5,3"), "--load-at goes with --datum FILE, got it alone"),
        (("side.csv", "--square"), "--square goes with --datum FILE, got it alone"),
        (("--datum", "foot.csv", "--levels", READINGS, "--foot", "4in"), "--datum goes with FILE, got --levels"),
        (("--datum", "foot.csv"), "either FILE or --levels FILE, got none"),
        (("--datum", "foot.csv", "side.csv", "--square", "--size", "60x60"), "a side (--square) has none"),
        (("--datum", "foot.csv", "top.csv", "--load-at", "here"), "must be two numbers in mm"),
        (("--datum", "foot.csv", "top.csv", "--load-at", "-5,3"), "foot.csv: the load must be inside the outline"),
        (("--datum", "none.csv", "top.csv"), "none.csv: no such file"),
        (("--datum", "line.csv", "top.csv"), "line.csv: a plane needs points that do not lie on one line"),
        (("--datum", "foot.csv", "line.csv"), "line.csv: a plane needs points that do not lie on one line"),
        (("--datum", "foot.csv", "line.csv", "--square"), "line.csv: a plane needs points that do not lie on one line"),
        (("--datum", "foot.csv", "words.csv"), "words.csv:2: row 0 (from 0), column z_um: must be a finite number"),
        (("--datum", "foot.csv", "side.csv"), "side.csv: the face must be within 45 degrees of parallel"),
        (("--datum", "foot.csv", "top.csv", "--square"), "top.csv: a side must be within 45 degrees of square"),
        (("--datum", "side.csv", "top.csv"), "side.csv: a datum must lie within 45 degrees of level"),
    ],
)
@pytest.mark.usefixtures("faces")
def test_a_slip_with_a_datum_gets_one_line_that_names_the_file(refused, words, line):
    Path("line.csv").write_text("x_mm,y_mm,z_um\n0,0,1\n1,1,2\n2,2,3\n")
    Path("words.csv").write_text("x_mm,y_mm,z_um\n0,0,high\n1,1,2\n2,1,3\n")
    assert line in refused(*words)
    assert not list(Path().glob("*.png"))
