"""The demo command: what it writes, what it tells, what it refuses."""

import json

import pytest

from sim.cli import main
from sim.hands import stand
from sim.target import Target

KEYS = {"rounds", "strokes", "shop_hours", "target_met", "target_met_round", "bearing_flatness_um",
        "surface_flatness_um", "spots_per_sq_in",
        "bearing_pct", "pocket_depth_um", "removed_mm3", "strokes_off_marks_pct", "rounds_log"}
EASY = Target(bearing_flatness_um=1000.0, spots_mean=0.0, spots_lowest=0.0, bearing_pct=0.0)
ROUND_KEYS = {"round", "strokes", "shop_hours", "bearing_flatness_um", "spots_mean", "spots_lowest", "bearing_pct"}


def demo(capsys, out, *words):
    """Run the demo of the foot to its end and return its JSON object."""
    assert main(["demo", "--face", "foot", "--out", str(out), "--json", *words]) == 0
    return json.loads(capsys.readouterr().out)


def test_two_rounds_write_a_report_and_a_job_that_replays_to_the_same_face(tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["demo", "--face", "foot", "--rounds", "2", "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told) >= KEYS
    assert set(told["spots_per_sq_in"]) == {"mean", "lowest", "cv"}
    assert all(set(entry) == ROUND_KEYS for entry in told["rounds_log"])
    assert [entry["round"] for entry in told["rounds_log"]] == [1, 2]
    assert told["rounds"] == len(told["rounds_log"]) == 2
    assert told["strokes"] == sum(r["strokes"] for r in told["rounds_log"]) > 200
    assert told["removed_mm3"] > 10.0
    assert {p.name for p in out.iterdir()} == {"report.html", "foot.job", "foot.job.npz", "foot-milled.job"}
    assert main(["replay", str(out / "foot.job"), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert again["same_face"]
    assert again["strokes"] == told["strokes"]
    before = (out / "report.html").read_bytes()
    assert main(["demo", "--face", "foot", "--rounds", "1", "--out", str(out)]) == 2
    assert "--force" in capsys.readouterr().err
    assert (out / "report.html").read_bytes() == before


@pytest.mark.parametrize("words", [["--seed", "-1"], ["--rounds", "0"], ["--rounds", "x"], ["--hand", "expert"],
                                   ["--face", "top"], ["--face", "foot", "--part", "x.toml"], ["--part", "no.toml"]])
def test_what_cannot_be_done_is_refused_in_one_line(tmp_path, capsys, words):
    assert main(["demo", "--out", str(tmp_path / "o"), *words]) == 2
    told = capsys.readouterr().err.strip()
    assert len(told.splitlines()) == 1
    assert not (tmp_path / "o").exists()


@pytest.mark.parametrize("words,rounds", [((), 1), (("--carry-on",), 2)])
def test_work_ends_where_the_target_is_met_unless_told_to_carry_on(tmp_path, capsys, monkeypatch, words, rounds):
    drive = stand.drive

    def drive_to_an_easy_target(session, pilot, target, **options):
        return drive(session, pilot, EASY, **options)

    monkeypatch.setattr(stand, "drive", drive_to_an_easy_target)
    told = demo(capsys, tmp_path / "out", "--rounds", "2", *words)
    assert told["target_met_round"] == 1
    assert told["rounds"] == rounds


@pytest.mark.slow
def test_a_beginner_scrapes_another_face_from_the_same_start(tmp_path, capsys):
    skilled = demo(capsys, tmp_path / "s", "--rounds", "1")
    beginner = demo(capsys, tmp_path / "b", "--rounds", "1", "--hand", "beginner")
    assert (skilled["hand"], beginner["hand"]) == ("skilled", "beginner")
    assert skilled["removed_mm3"] != beginner["removed_mm3"]
    milled = [(tmp_path / name / "foot-milled.job").read_bytes() for name in "sb"]
    assert milled[0] == milled[1]


@pytest.mark.slow
def test_force_writes_over_an_earlier_run(tmp_path, capsys):
    out = tmp_path / "out"
    demo(capsys, out, "--rounds", "1")
    told = demo(capsys, out, "--rounds", "2", "--force")
    assert main(["replay", str(out / "foot.job"), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert again["same_face"]
    assert again["strokes"] == told["strokes"]


@pytest.mark.parametrize("under", ["a file", "a file/out"])
def test_a_folder_that_cannot_be_written_is_refused_in_one_line(tmp_path, capsys, under):
    (tmp_path / "a file").write_text("keep me")
    assert main(["demo", "--rounds", "1", "--out", str(tmp_path / under)]) == 2
    told = capsys.readouterr()
    assert "--out must be a folder that can be written" in told.err
    assert len(told.err.strip().splitlines()) == 1
    assert not told.out
    assert (tmp_path / "a file").read_text() == "keep me"


def test_the_demo_scrapes_the_whole_stand_and_says_how_its_faces_lie(tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["demo", "--rounds", "1", "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert list(told["faces"]) == ["foot", "top", "side"]
    assert all(set(face) >= KEYS for face in told["faces"].values())
    assert all(face["rounds"] == len(face["rounds_log"]) == 1 for face in told["faces"].values())
    assert told["shop_hours"] == pytest.approx(sum(face["shop_hours"] for face in told["faces"].values()))
    assert told["target_met"] is False
    assert [(one["kind"], one["face"], one["datum"]) for one in told["tolerances"]] == [
        ("parallelism", "top", "foot"), ("perpendicularity", "side", "foot")]
    assert [told["parallelism_um"], told["perpendicularity_um"]] == [o["contact_datum_um"] for o in told["tolerances"]]
    assert told["parallelism_um"] > 5.0, "one round does not make it parallel"
    assert {p.name for p in out.iterdir()} == {"report.html", "stand.job", "stand.job.npz", "stand-milled.job"}
    assert main(["replay", str(out / "stand.job"), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert again["same_face"]
    assert [one["read_um"] for one in again["tolerances"]] == [one["read_um"] for one in told["tolerances"]]
    assert not any(one["in_doubt"] for one in again["tolerances"])


@pytest.mark.slow
def test_the_foot_of_the_stand_is_the_foot_of_the_demo_of_one_face(tmp_path, capsys):
    alone = demo(capsys, tmp_path / "foot", "--rounds", "1")
    assert main(["demo", "--rounds", "1", "--out", str(tmp_path / "stand"), "--json"]) == 0
    foot = json.loads(capsys.readouterr().out)["faces"]["foot"]
    assert foot == alone
