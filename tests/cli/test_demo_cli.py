"""The demo command: what it writes, what it tells, what it refuses."""

import json

import pytest

from sim.cli import main

KEYS = {"rounds", "strokes", "shop_hours", "target_met", "target_met_round", "bearing_flatness_um",
        "surface_flatness_um", "spots_per_sq_in",
        "bearing_pct", "pocket_depth_um", "removed_mm3", "strokes_off_marks_pct", "rounds_log"}


def test_two_rounds_write_a_report_and_a_job_that_replays_to_the_same_face(tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["demo", "--rounds", "2", "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told) >= KEYS
    assert told["rounds"] == len(told["rounds_log"]) == 2
    assert told["strokes"] == sum(r["strokes"] for r in told["rounds_log"]) > 200
    assert told["removed_mm3"] > 10.0
    assert {p.name for p in out.iterdir()} == {"report.html", "foot.job", "foot.job.npz", "foot-milled.job"}
    assert main(["replay", str(out / "foot.job"), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert again["same_face"]
    assert again["strokes"] == told["strokes"]
    before = (out / "report.html").read_bytes()
    assert main(["demo", "--rounds", "1", "--out", str(out)]) == 2
    assert "--force" in capsys.readouterr().err
    assert (out / "report.html").read_bytes() == before


@pytest.mark.parametrize("words", [["--seed", "-1"], ["--rounds", "0"], ["--rounds", "x"], ["--hand", "expert"]])
def test_what_cannot_be_done_is_refused_in_one_line(tmp_path, capsys, words):
    assert main(["demo", "--out", str(tmp_path / "o"), *words]) == 2
    told = capsys.readouterr().err.strip()
    assert len(told.splitlines()) == 1
    assert not (tmp_path / "o").exists()
