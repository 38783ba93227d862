"""`flatwright replay` and `flatwright pack` as a user meets them."""

import json

import pytest

import sim
from sim.cli import main
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.shop.commands import RollFilm, Scrape, SpotFace, StoneFace, WipeFace
from sim.shop.job import JobStart
from sim.shop.session import Session

KEYS = ["commands", "rounds", "strokes", "shop_hours", "fingerprints_checked", "same_face", "whole", "sha256",
        "tolerances", "notes"]


@pytest.fixture
def job_file(tmp_path):
    start = JobStart(face=Start(length_mm=20.0, width_mm=15.0), plate=PlateMake(length_mm=40.0, width_mm=30.0))
    scrape = Scrape("fine", ((500, 500, 1200, 800, 900),) * 5)
    with Session.begin(start, tmp_path / "foot.job") as session:
        for command in (RollFilm(), SpotFace(10.0, 8.0), scrape, StoneFace(), WipeFace()) * 2:
            session.do(command)
        session.save()
    return tmp_path / "foot.job"


def told(capsys, code, *words):
    assert main([str(word) for word in words]) == code
    return capsys.readouterr()


def test_json_of_a_job_that_runs_again(capsys, job_file):
    out, err = told(capsys, 0, "replay", job_file, "--json")
    found = json.loads(out)
    assert list(found) == KEYS
    assert (found["commands"], found["rounds"], found["strokes"], found["fingerprints_checked"]) == (10, 2, 10, 2)
    assert (found["same_face"], found["whole"], found["notes"]) == (True, True, [])
    assert (err, out.count("\n")) == ("", 1)


def test_a_job_that_runs_again_is_told_in_one_line(capsys, job_file):
    out, err = told(capsys, 0, "replay", job_file)
    assert out.startswith("run again: 10 commands, 2 rounds, 10 strokes")
    assert out.endswith("the same face, bit for bit (2 fingerprints checked)\n")
    assert (err, out.count("\n")) == ("", 1)


def test_another_face_is_one_line_and_1(capsys, job_file, monkeypatch):
    act = StoneFace.act
    monkeypatch.setattr(StoneFace, "act", lambda self, job: (act(self, job), job.face.height_um.__isub__(0.001)))
    out, err = told(capsys, 1, "replay", job_file)
    assert out.startswith("run again up to a face that differs: 5 commands, 1 round,")
    assert err.count("\n") == 1
    assert "foot.job:7: the face of round 1 is not the one that was logged here" in err
    out, _ = told(capsys, 1, "replay", job_file, "--json")
    assert json.loads(out)["same_face"] is False


def test_a_log_cut_short_is_run_as_far_as_it_goes_and_is_2(capsys, job_file):
    job_file.write_bytes(job_file.read_bytes()[:-20])
    out, err = told(capsys, 2, "replay", job_file)
    assert "the same face, bit for bit (1 fingerprint checked)" in out
    assert err.startswith(f"flatwright: {job_file}:13: this line is cut short or damaged")
    assert err.count("\n") == 1


def test_a_log_cut_at_the_end_of_a_line_is_2(capsys, job_file):
    lines = job_file.read_bytes().splitlines(keepends=True)
    job_file.write_bytes(b"".join(lines[:4]))
    out, err = told(capsys, 2, "replay", job_file, "--json")
    assert (json.loads(out)["same_face"], json.loads(out)["whole"]) == (None, False)
    assert err.count("\n") == 1
    assert "must end with a fingerprint of the last face, got 3 commands and none after the last" in err


def test_an_edited_log_is_2(capsys, job_file):
    job_file.write_bytes(job_file.read_bytes().replace(b'"light"', b'"firm"', 1))
    _, err = told(capsys, 2, "replay", job_file)
    assert "foot.job:5: this line was changed after it was written" in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("command", ["replay", "pack"])
def test_a_file_that_is_no_job_is_one_line_and_2(capsys, job_file, tmp_path, command, monkeypatch):
    (tmp_path / "empty.job").touch()
    (tmp_path / "table.job").write_text("x_mm,y_mm,z_um\n1,2,3\n")
    for name, line in (
        ("none.job", "no such file"),
        ("empty.job", "got an empty file"),
        ("table.job", "got another file"),
        (".", "must be a file, got a folder"),
    ):
        out, err = told(capsys, 2, command, tmp_path / name)
        assert (out, err.count("\n")) == ("", 1)
        assert line in err
    monkeypatch.setattr(sim, "PHYSICS", 999)
    (tmp_path / "foot.job.npz").unlink()
    out, err = told(capsys, 2, command, job_file)
    assert (out, err.count("\n")) == ("", 1)
    assert "foot.job:1: physics must be 999" in err


def test_a_packed_job_is_taken_by_replay(capsys, job_file, tmp_path):
    out, err = told(capsys, 0, "pack", job_file)
    assert out.startswith(f"packed 10 commands, 2 rounds: {tmp_path / 'foot.zip'} (")
    assert err == ""
    out, _ = told(capsys, 0, "replay", tmp_path / "foot.zip", "--json")
    assert json.loads(out)["same_face"] is True
    out, _ = told(capsys, 0, "pack", tmp_path / "foot.zip", "--out", tmp_path / "again.zip")
    assert Session.load(tmp_path / "again.zip").commands == Session.load(job_file).commands


def test_pack_overwrites_nothing_without_force(capsys, job_file, tmp_path):
    before = job_file.read_bytes()
    (tmp_path / "foot.zip").write_text("mine")
    _, err = told(capsys, 2, "pack", job_file)
    assert "foot.zip: is there already and is not overwritten without --force" in err
    assert (tmp_path / "foot.zip").read_text() == "mine"
    told(capsys, 0, "pack", job_file, "--force")
    _, err = told(capsys, 2, "pack", job_file, "--out", job_file, "--force")
    assert "--out must name another file than the job" in err
    _, err = told(capsys, 2, "pack", job_file, "--out", tmp_path / "none" / "a.zip")
    assert "cannot be written" in err
    assert job_file.read_bytes() == before
