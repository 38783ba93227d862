"""`flatwright bands` as a user meets it: the plan, the sheet, nothing overwritten, one line for every slip."""


import numpy as np
import pytest
from PIL import Image

from sim.cli import main

COMMAND = "bands"
KEYS = ["readings", "size_mm", "face_mm", "span_um", "limit_um", "removal_um", "lowest_corner_mm", "highest_um",
        "under_um", "rounds", "strokes", "hours", "iron_mm3", "wander_mm", "stations", "warnings",
        "size_from"]  # fmt: skip
SIZE = ("--size", "160x110")


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def write(name, points, head="x_mm,y_mm,z_um"):
    lines = [head] + [",".join(f"{v:.6f}" for v in point) for point in points]
    with open(name, "w", encoding="utf-8") as file:
        file.write("\n".join(lines) + "\n")
    return name


def grid(height, *, shift=(0.0, 0.0)):
    return [(x + shift[0], y + shift[1], height(x, y))
            for y in np.linspace(6.0, 104.0, 5) for x in np.linspace(6.0, 154.0, 8)]  # fmt: skip


def wedge(x, y):
    return 0.1 * x + 0.04 * y


def test_json_has_the_plan_of_a_plane_and_writes_no_file(told, tmp_path):
    found = told(write("top.csv", grid(wedge)), *SIZE)
    assert list(found) == KEYS
    # 160 x 110 mm at 0.1 and 0.04 um/mm, from cell to cell: half a cell of 0.5 mm short at each end
    assert found["span_um"] == pytest.approx(16.0 + 4.4 - 0.5 * 0.14, abs=1e-6)
    assert found["lowest_corner_mm"] == {"x": 0.0, "y": 0.0}
    assert found["iron_mm3"] == pytest.approx(160.0 * 110.0 * (8.0 + 2.2) / 1000.0, rel=0.01)
    assert [one["scrape"] for one in found["rounds"][:3]] == ["band 10", "bands 10 and 9", "bands 10, 9 and 8"]
    assert len(found["rounds"]) == 10 == round(found["span_um"] / 2.1)
    assert found["strokes"] == sum(one["strokes"] for one in found["rounds"])
    assert found["wander_mm"] == pytest.approx(0.25 * 2.1 / np.hypot(0.1, 0.04), rel=1e-6)
    for station in found["stations"]:
        assert station["to_take_um"] == pytest.approx(wedge(station["x_mm"], station["y_mm"]), abs=0.08)  # a cell
    assert found["warnings"] == []
    assert [path.name for path in tmp_path.iterdir()] == ["top.csv"]


@pytest.mark.slow
def test_the_sheet_and_its_picture_are_written_and_kept(capsys, refused, tmp_path):
    write("top.csv", grid(wedge))
    assert main(["bands", "top.csv", *SIZE, "--out", "paper"]) == 0
    out = capsys.readouterr().out
    for words in ("plane spans: 20.3 µm", "lowest corner: x 0, y 0 mm", "sweep again, make a new plan", "--removal",
                  "bands 10 and 9", "iron to come off: 179 mm³", "paper/top-bands.html"):  # fmt: skip
        assert words in out
    page, picture = tmp_path / "paper" / "top-bands.html", tmp_path / "paper" / "top-bands.png"
    assert "top.csv: 160 × 110 mm" in page.read_text(encoding="utf-8")
    with Image.open(picture) as shown:
        assert min(shown.size) > 600
    before = page.read_bytes()
    assert "is kept; --force" in refused("top.csv", "--removal", "1", "--out", "paper")
    assert page.read_bytes() == before
    assert main(["bands", "top.csv", "--removal", "1", "--out", "paper", "--force"]) == 0
    assert page.read_bytes() != before


def test_less_removal_means_more_rounds_and_as_much_iron(told):
    write("top.csv", grid(wedge))
    one, other = (told("top.csv", *SIZE, "--removal", removal) for removal in ("2", "1"))
    assert len(other["rounds"]) == 2 * len(one["rounds"])
    assert other["iron_mm3"] == pytest.approx(one["iron_mm3"], rel=1e-12)


def test_a_small_wedge_is_left_to_the_blue_and_no_sheet_is_made(told, capsys, tmp_path):
    write("top.csv", grid(lambda x, y: 0.018 * x))
    found = told("top.csv", *SIZE)
    assert (found["rounds"], found["hours"], found["iron_mm3"]) == ([], 0.0, 0.0)
    assert main(["bands", "top.csv", *SIZE, "--out", "."]) == 0
    assert "no wedge to take, 3 µm being left to the blue: follow the blue" in capsys.readouterr().out
    assert [path.name for path in tmp_path.iterdir()] == ["top.csv"]
    assert len(told("top.csv", *SIZE, "--limit", "2")["rounds"]) == 1


def test_a_pass_that_takes_more_than_the_wedge_is_no_plan(capsys):
    write("top.csv", grid(lambda x, y: 0.03 * x))
    assert main(["bands", "top.csv", "--removal", "20"]) == 0
    assert "a pass taking 20 µm: follow the blue" in capsys.readouterr().out


def test_a_datum_that_is_tilted_takes_its_tilt_out_of_the_heights(told):
    def tilt(x, y):
        return 0.2 * x - 0.1 * y

    write("foot.csv", grid(tilt))
    write("top.csv", [(x, y, z + 50_000.0) for x, y, z in grid(lambda x, y: tilt(x, y) + wedge(x, y))])
    plain = write("plain.csv", grid(wedge))
    found, alone = told("top.csv", *SIZE, "--datum", "foot.csv"), told(plain, *SIZE)
    assert found["span_um"] == pytest.approx(alone["span_um"], abs=1e-4)
    assert [one["scrape"] for one in found["rounds"]] == [one["scrape"] for one in alone["rounds"]]
    assert found["parallelism_um"] == pytest.approx(148.0 * 0.1 + 98.0 * 0.04, abs=1e-4)
    assert found["rocks"] is False
    assert min(one["z_um"] for one in found["stations"]) == pytest.approx(50_000.0 + wedge(6.0, 6.0), abs=0.01)


def test_a_datum_that_rocks_is_told(told):
    write("foot.csv", [(0.0, 0.0, 0.0), (160.0, 0.0, 5.0), (0.0, 110.0, 5.0), (160.0, 110.0, 0.0), (80.0, 55.0, 9.0)])
    write("top.csv", grid(wedge))
    assert any("rocks" in words for words in told("top.csv", "--datum", "foot.csv")["warnings"])


@pytest.mark.parametrize("at, sign", [(160.0, 1.0), (0.0, 1.0), (160.0, -1.0)])
def test_a_side_that_leans_is_set_upright_at_the_base(told, at, sign):
    write("foot.csv", grid(lambda x, y: 0.0))
    side = [(1000.0 * at + sign * 0.1 * z, y, z) for z in (5.0, 50.0, 95.0) for y in (10.0, 55.0, 100.0)]
    write("side.csv", side, head="x_um,y_mm,z_mm")
    found = told("side.csv", "--datum", "foot.csv", "--square", *SIZE)
    # 10 um in 100 mm over a base of 160 mm: 16 um, and off the end away from which the side leans
    assert found["lean_um_per_100mm"] == pytest.approx(10.0 * sign, abs=1e-3)
    assert found["span_um"] == pytest.approx(16.0, rel=0.01)
    assert found["lowest_corner_mm"]["x"] == (160.0 if sign > 0.0 else 0.0)
    assert len(found["rounds"]) == 8
    assert "tilts every other face" in found["warnings"][0]


def test_a_wedge_out_of_proportion_is_told_in_the_words_of_the_machine(told):
    found = told(write("top.csv", grid(lambda x, y: 0.5 * x)), *SIZE)
    assert "out of proportion for a hand" in found["warnings"][0]
    assert len(found["rounds"]) == 38


def test_pads_first_and_then_the_rest(told, capsys):
    write("top.csv", grid(wedge))
    found = told("top.csv", *SIZE, "--pads")
    first = [one["on_pads"] for one in found["rounds"]]
    assert first == sorted(first, reverse=True)
    assert found["rounds"][0]["scrape"] == "pad D"
    assert found["rounds"][0]["area_mm2"] == pytest.approx(16.0**2, rel=0.05)
    assert main(["bands", "top.csv", *SIZE, "--pads", "--out", "."]) == 0
    assert "Pads first" in capsys.readouterr().out


def test_a_face_in_a_frame_of_its_own_keeps_its_places(told):
    away = told(write("away.csv", grid(wedge, shift=(-300.0, 40.0))), *SIZE)
    near = told(write("near.csv", grid(wedge)), *SIZE)
    assert away["lowest_corner_mm"] == pytest.approx({"x": -300.0, "y": 40.0})
    assert away["span_um"] == pytest.approx(near["span_um"], abs=1e-9)
    assert away["stations"][0]["x_mm"] == pytest.approx(-294.0)
    bare = told("near.csv")
    assert bare["size_mm"] == pytest.approx([148.0, 98.0], rel=1e-9)
    assert bare["face_mm"] == {"x": pytest.approx([6.0, 154.0]), "y": pytest.approx([6.0, 104.0])}
    assert near["face_mm"] == {"x": [0.0, 160.0], "y": [0.0, 110.0]}
    assert away["face_mm"] == {"x": pytest.approx([-300.0, -140.0]), "y": pytest.approx([40.0, 150.0])}
    assert (bare["size_from"], near["size_from"]) == ("readings", "option")


@pytest.mark.parametrize("shift, words, corner", [
    ((0.0, 0.0), "laid from 0, 0: x 0 to 121, y 0 to 90 mm", "lowest corner: x 0, y 90 mm"),
    ((25.0, -5.0), "laid with its middle at that of the readings: x 24.5 to 145.5, y -5 to 85 mm",
     "lowest corner: x 24.5, y 85 mm"),
])  # fmt: skip
def test_the_summary_says_where_the_face_is_laid_and_the_corner_is_its_corner(shift, words, corner, capsys):
    points = [(x + shift[0], y + shift[1], 0.1 * x - 0.1 * y) for x in np.linspace(6.0, 114.0, 7)
              for y in np.linspace(6.0, 84.0, 5)]  # fmt: skip
    assert main(["bands", write("face.csv", points), "--size", "121x90"]) == 0
    out = capsys.readouterr().out
    assert words in out
    assert corner in out


def test_a_hollow_and_a_lump_are_told(told):
    hollow = grid(lambda x, y: wedge(x, y) - (60.0 if abs(x - 70.0) < 12.0 and y == 55.0 else 0.0))
    lump = grid(lambda x, y: wedge(x, y) + (60.0 if abs(x - 70.0) < 12.0 and y == 55.0 else 0.0))
    assert any("under the lowest corner" in words for words in told(write("a.csv", hollow), *SIZE)["warnings"])
    assert any("bad reading" in words for words in told(write("b.csv", lump), *SIZE)["warnings"])


@pytest.mark.parametrize("words, message", [
    (("none.csv",), "none.csv: no such file"),
    (("top.csv", "--removal", "0"), "--removal must be in [0.1, 50] µm"),
    (("top.csv", "--removal", "nan"), "--removal must be a number with a decimal point"),
    (("top.csv", "--removal", "2,1"), "--removal must be a number with a decimal point, such as 2.1, got '2,1' (see "),
    (("top.csv", "--sise", "3"), "unrecognized arguments: --sise 3 (see `flatwright bands --help`)"),
    (("top.csv", "--limit", "-1"), "--limit must be in [0.1, 100] µm"),
    (("top.csv", "--size", "100x100"), "--size must hold the readings, 148 x 98 mm, got 100 x 100"),
    (("top.csv", "--size", "wide"), "two lengths"),
    (("top.csv", "--square"), "--square goes with --datum"),
    (("top.csv", "--load-at", "1,1"), "--load-at goes with --datum"),
    (("top.csv", "--square", "--pads", "--datum", "top.csv"), "got both"),
    (("top.csv", "--square", "--datum", "top.csv"), "a side must be within 45 degrees"),
    (("top.csv", "--out", ""), "--out must name a folder, got ''"),
    (("line.csv",), "line.csv: "),
    (("steep.csv",), "a plan must have at most 200 passes, got"),
    (("top.csv", "--datum", "line.csv"), "line.csv: "),
    (("top.csv", "--datum", "none.csv"), "none.csv: no such file"),
    (("many.csv",), "many.csv: at most 2,000 readings"),
    ((), "READINGS"),
])  # fmt: skip
def test_a_slip_is_refused_in_one_line(refused, words, message):
    write("top.csv", grid(wedge))
    write("line.csv", [(float(n), 2.0 * n, 1.0) for n in range(5)])
    write("steep.csv", grid(lambda x, y: 10.0 * x))
    write("many.csv", [(float(n % 50), float(n // 50), 0.0) for n in range(2001)])
    assert message in refused(*words)
