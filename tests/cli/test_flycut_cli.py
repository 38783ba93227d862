"""`flatwright flycut` as a user meets it."""

import json

import pytest
from PIL import Image

from sim.cli import main
from sim.cli.flycut import CAUTIONS, um_per_100mm
from sim.process.machining import fly_cut_dish_um

KEYS = {"cutter", "dish_um", "passes", "depth_um", "step_um", "tilt_um", "hours", "flatness_before_um",
        "flatness_after_um", "bearing_flatness_before_um", "bearing_flatness_after_um", "marked_before_pct",
        "marked_after_pct", "not_reached_pct", "removed_mm3", "warnings"}
SMALL = ("--size", "20x80")  # nearly as wide as the default and quick


def told(capsys, *words):
    assert main(["flycut", "--json", *words]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.count("\n") == 1
    return json.loads(out)


def test_a_bad_tram_makes_a_face_worse_and_a_good_one_does_not(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    bad, good = (told(capsys, *SMALL, "--tram", tram) for tram in ("0.15/150", "0.02/200"))
    assert set(bad) == KEYS
    assert bad["dish_um"] == pytest.approx(fly_cut_dish_um(60.0, 80.0, 0.15, 150.0), rel=1e-12)
    assert good["flatness_before_um"] == bad["flatness_before_um"] == pytest.approx(15.0, rel=1e-6)
    # form of 9 um and texture of about 2 um lie over the hollow of the circle and may go with it or against it
    assert abs(bad["flatness_after_um"] - bad["dish_um"]) < 11.0
    assert bad["flatness_after_um"] > 15.0 > good["flatness_after_um"]
    assert bad["bearing_flatness_after_um"] > bad["bearing_flatness_before_um"]
    assert bad["marked_after_pct"] < 0.5 * min(good["marked_after_pct"], bad["marked_before_pct"])
    assert "a hollow of 15.3 µm where you have 15 µm" in bad["warnings"][0]
    assert "as quickly by hand" in good["warnings"][0]
    assert sum("ram the head first" in words for words in bad["warnings"]) == 1
    assert not any("ram the head first" in words for words in good["warnings"])
    assert bad["not_reached_pct"] == good["not_reached_pct"] == 0.0
    assert not list(tmp_path.iterdir())  # no picture was asked for


def test_a_cut_that_makes_the_face_worse_for_want_of_tram_is_told_so_though_its_hollow_is_less_than_the_error(capsys):
    wide = ("--size", "20x203")  # three passes: the hollow of each is less than the 15 um of the face, the whole more
    found, trammed = (told(capsys, *wide, "--tram", tram) for tram in ("0.10/150", "0"))
    assert found["dish_um"] < 15.0 < found["flatness_after_um"]
    assert found["warnings"][0] == (
        f"Tram the head first: this cut leaves {found['flatness_after_um']:.1f} µm where you had 15.0 µm, and one with "
        f"the head in tram would leave {trammed['flatness_after_um']:.1f} µm.")  # fmt: skip
    assert not any("ram the head first" in words for words in trammed["warnings"])


def test_the_default_face_has_the_published_hollow_and_step(capsys):
    found = told(capsys, "--size", "10x100", "--across", "0.02/200")
    # computed: R 60, W 100, 0.02/200 -> 2.7 um; 60 mm x 0.02/200 = 6 um; 100 mm x 0.02/200 = 10 um
    assert found["dish_um"] == pytest.approx(2.7, abs=0.05)
    assert found["step_um"] == pytest.approx(6.0, rel=1e-12)
    assert found["tilt_um"] == pytest.approx(10.0, rel=1e-12)
    assert found["passes"] == 1
    assert told(capsys, "--size", "10x100", "--tram", "0.10/150")["dish_um"] == pytest.approx(17.9, abs=0.05)


def test_a_cup_wheel_takes_its_own_sweep_and_time(capsys):
    wheel = told(capsys, *SMALL, "--cup")
    assert wheel["cutter"] == "cup wheel"
    assert wheel["dish_um"] == pytest.approx(fly_cut_dish_um(50.0, 80.0, 0.02, 200.0), rel=1e-12)
    assert wheel["hours"] == pytest.approx(1.0 + 6 * 120.0 / 400.0 / 60.0)  # 60 um in goes of 10


def test_equal_seeds_cut_equal_faces(capsys):
    first, again, other = (told(capsys, *SMALL, "--seed", seed) for seed in ("4", "4", "5"))
    assert first == again
    assert first["removed_mm3"] != other["removed_mm3"]


def test_a_cut_too_shallow_for_the_error_is_told(capsys):
    found = told(capsys, *SMALL, "--error", "200", "--depth", "60")
    assert found["not_reached_pct"] > 10.0
    assert told(capsys, *SMALL, "--error", "200")["not_reached_pct"] == 0.0


def test_the_picture_is_written_once_and_the_cautions_come_last(capsys, tmp_path):
    words = ["flycut", *SMALL, "--tram", "-0.10/150", "--across", "-0.05/150", "--out", str(tmp_path / "new")]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert out.splitlines()[-len(CAUTIONS) :] == list(CAUTIONS)
    assert "hollow of 10.2 µm" in out
    assert "26.7 µm out of parallel over its width" in out
    picture = tmp_path / "new" / "flycut.png"
    assert f"picture: {picture}" in out
    assert min(Image.open(picture).size) > 500
    before = picture.read_bytes()
    assert main(words) == 2
    assert "--force" in capsys.readouterr().err
    assert picture.read_bytes() == before


def test_without_a_folder_an_older_picture_is_kept(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "flycut.png").write_text("keep me")
    assert main(["flycut", *SMALL]) == 0
    assert "no new picture" in capsys.readouterr().out
    assert (tmp_path / "flycut.png").read_text() == "keep me"


@pytest.mark.parametrize("text,tilt", [("0.02/200", 10.0), (" .05 / 150mm", 100.0 / 3.0), ("-0.1/150", -200.0 / 3.0),
                                       ("+0/100", 0.0), ("0", 0.0), ("0.0", 0.0)])
def test_a_tilt_is_read_as_the_shop_writes_it(text, tilt):
    assert um_per_100mm(text) == pytest.approx(tilt, rel=1e-12)


@pytest.mark.parametrize(
    "words,line",
    [
        (("--tram", "0.10"), "--tram must be mm over mm, such as 0.10/150, got '0.10'"),
        (("--tram", "0.1/0"), "must be mm over mm"),
        (("--tram", "1e5/1"), "must be mm over mm"),
        (("--tram", "5/100"), "--tram must be from -0.5/100 to 0.5/100 (mm over mm), got 5/100"),
        (("--cup", "--sweep", "2"), "--sweep must be in [5, 300] mm"),
        (("--sweep", "20"), "--stepover must be at most twice --sweep, 40 mm"),
        (("--depth", "20"), "--depth must be in [50, 1000] µm, got 20"),
        (("--depth", "nan"), "--depth must be a number with a decimal point, such as 2.1, got 'nan'"),
        (("--error", "0"), "--error must be in [1, 500] µm, got 0"),
        (("--error", "nan"), "--error must be a number with a decimal point, such as 2.1, got 'nan'"),
        (("--size", "1x1"), "each side of --size must be in [5, 600] mm, got 1.0"),
        (("--size", "9x900"), "each side of --size must be in [5, 600] mm, got 900.0"),
        (("--across", "-5/10"), "--across must be from -0.5/100 to 0.5/100 (mm over mm), got -50/100"),
        (("--size", "50"), "--size must be two lengths"),
        (("--seed", "-1"), "--seed must be 0 to"),
        (("--out", ""), "--out must name a folder, got ''"),
    ],
)
def test_a_slip_of_the_user_gets_one_line_and_no_picture(capsys, tmp_path, monkeypatch, words, line):
    monkeypatch.chdir(tmp_path)
    assert main(["flycut", *SMALL, *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert line in err
    assert not list(tmp_path.iterdir())
