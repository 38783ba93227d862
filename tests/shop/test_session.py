"""The session: all or nothing, the same face again, and nothing lost that was done."""

import dataclasses
import hashlib
import os
import shutil

import numpy as np
import pytest

import sim
from sim.errors import BadFile, BadParam, CannotWrite, Refused
from sim.measure.verdict import score
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.shop import logbook
from sim.shop import session as session_module
from sim.shop.commands import (
    BreakEdges,
    HoneBlade,
    LetSoak,
    RollFilm,
    Scrape,
    SpotFace,
    StoneFace,
    WipeFace,
    strokes_as_data,
)
from sim.shop.job import JobStart
from sim.shop.logbook import fingerprint
from sim.shop.session import Session, replay

SPOT = SpotFace(30.0, 30.0)


def state(job):
    """Every array and every number of a job, bit for bit."""
    numbers = [getattr(job, f.name) for f in dataclasses.fields(job) if f.name not in ("face", "plate")]
    more = (job.face.warm_k, job.plate.drawn_um_mm2, job.plate.cloth_um_mm2, job.plate.wear_mm3_per_nm)
    arrays = {name: (a.shape, a.dtype, hashlib.sha256(a.tobytes()).digest()) for name, a in job.arrays().items()}
    return repr((numbers, more)), arrays


def some_strokes(count, seed=5):
    rng = np.random.default_rng(seed)
    begin = rng.uniform((5.0, 5.0), (50.0, 35.0), (count, 2))
    way = rng.uniform(0.5, 4.0, (count, 2)) * rng.choice([-1.0, 1.0], (count, 2))
    return strokes_as_data(np.column_stack([begin, begin + way, np.full(count, 90.0)]))


@pytest.fixture
def fresh(coupon):
    return Session.begin(coupon)


@pytest.fixture
def printed(fresh):
    for command in (RollFilm(), SPOT):
        fresh.do(command)
    return fresh


# the same again


def test_a_job_of_two_rounds_runs_again_bit_for_bit(job_file, worked):
    found = replay(job_file)
    assert (found.ok, found.whole, found.notes) == (True, True, [])
    assert found.rounds == found.fingerprints_checked == 2
    assert state(found.job) == state(worked[1])


def test_replay_sees_a_face_that_is_not_the_logged_one(job_file, monkeypatch):
    act = StoneFace.act
    monkeypatch.setattr(StoneFace, "act", lambda self, job: (act(self, job), job.face.height_um.__isub__(1e-12)))
    found = replay(job_file)
    assert not found.ok
    assert found.notes[-1].endswith("the face of round 1 is not the one that was logged here")
    assert found.notes[-1].startswith(f"{job_file}:")


def test_300_strokes_in_one_command_or_in_300_give_the_same_face(printed, coupon):
    other = Session.begin(coupon)
    for command in (RollFilm(), SPOT):
        other.do(command)
    strokes = some_strokes(300)
    printed.do(Scrape("fine", strokes))
    for stroke in strokes:
        other.do(Scrape("fine", (stroke,)))
    assert state(printed.job) == state(other.job)


def test_a_look_and_a_measurement_shift_nothing(coupon):
    sessions = [Session.begin(coupon) for _ in range(2)]
    for command in (RollFilm(), SPOT, Scrape("fine", some_strokes(40)), RollFilm(None), SPOT):
        for looking, session in enumerate(sessions):
            if looking:
                session.look()
                score(session.job.face)
            session.do(command)
    assert state(sessions[0].job) == state(sessions[1].job)


def test_all_that_a_fingerprint_covers_changes_it(printed):
    before = fingerprint(printed.job)
    covered = [name for name in printed.job.arrays() if name in logbook.FINGERPRINTED]
    assert covered == ["height_um", "burr_um", "blue_um", "film_um"], "a job of one face has nothing written on it"
    for name in covered:
        job = printed.job.copy()
        job.arrays()[name][3, 4] = np.nextafter(job.arrays()[name][3, 4], 1e9)
        assert fingerprint(job) != before


# all or nothing


@pytest.mark.parametrize(
    "command",
    [
        Scrape("fine", ((0, 0, 1, 0, 5),)),
        Scrape("axe", ((0, 0, 500, 0, 5),)),
        SpotFace(1000.0, 0.0),
        SpotFace(119.0, 99.0),  # on the plate with one corner: it tips off, which only the seat finds out
        BreakEdges(float("nan")),
        RollFilm("thick"),
    ],
)
def test_a_refused_command_leaves_job_log_and_file_unchanged(command, coupon, tmp_path):
    session = Session.begin(coupon, tmp_path / "a.job")
    session.do(RollFilm())
    session.do(Scrape("fine", some_strokes(500)))  # unwiped: chips would be left by the next print
    before, log = state(session.job), (tmp_path / "a.job").read_bytes()
    with pytest.raises(Refused) as refused:
        session.do(command)
    (problem,) = session.try_do(command)
    assert str(refused.value) == problem
    assert state(session.job) == before
    assert (tmp_path / "a.job").read_bytes() == log
    assert len(session.commands) == 2


def test_every_problem_is_told_at_once(fresh):
    with pytest.raises(Refused, match=r"blade must be .*; care must be .*; strokes must be"):
        fresh.do(Scrape("axe", (), care=2.0))


def test_an_act_that_breaks_off_is_taken_back(printed, monkeypatch):
    def half(self, job):
        job.face.height_um[:5] -= 1.0
        raise KeyboardInterrupt

    before = state(printed.job)
    monkeypatch.setattr(StoneFace, "act", half)
    with pytest.raises(KeyboardInterrupt):
        printed.do(StoneFace())
    assert state(printed.job) == before
    assert not any(array.flags.writeable for array in printed.job.arrays().values())


def test_a_full_disk_leaves_the_job_as_it_was(coupon, tmp_path):
    session = Session.begin(coupon, tmp_path / "a.job")
    session.do(RollFilm())
    before, log = state(session.job), (tmp_path / "a.job").read_bytes()
    file = session._book._file

    class Full:
        def write(self, line):
            file.write(line[:10])
            raise OSError(28, "No space left on device")

        def __getattr__(self, name):
            return getattr(file, name)

    session._book._file = Full()
    with pytest.raises(CannotWrite, match=r"a\.job: cannot be written: No space left on device"):
        session.do(WipeFace())
    assert state(session.job) == before
    assert (tmp_path / "a.job").read_bytes() == log
    session._book._file = file
    session.do(WipeFace())
    assert state(Session.load(tmp_path / "a.job").job) == state(session.job)


def test_arrays_are_locked_outside_do(printed):
    for command in (None, Scrape("fine", some_strokes(3)), WipeFace(), RollFilm(1.0, "rag")):
        if command:
            printed.do(command)
        for array in printed.job.arrays().values():
            with pytest.raises(ValueError, match="read-only"):
                array[...] = 0
    with pytest.raises(AttributeError):
        printed.job = None


# taking back


def test_undo_restores_the_identical_job(printed):
    states = [state(printed.job)]
    commands = [
        Scrape("fine", some_strokes(30)),
        StoneFace(),
        WipeFace(),
        RollFilm(),
        SPOT,
        HoneBlade(),
        BreakEdges(1.0),
    ]
    for command in commands:
        printed.do(command)
        states.append(state(printed.job))
    assert printed.undo() == (commands[-1],)
    assert state(printed.job) == states[-2]
    assert printed.undo(4) == tuple(commands[2:6])
    assert state(printed.job) == states[2]
    for n in (2, 3, 4):
        printed.do(commands[n])
        assert state(printed.job) == states[n + 1]
    printed.undo(len(printed.commands))
    assert state(printed.job) == state(Session.begin(printed.job.start).job)


@pytest.mark.parametrize("copies_mb", [0.0, 4.1, 9.0])
def test_undo_is_exact_with_few_copies_or_none(coupon, copies_mb):
    session = Session.begin(coupon, copies_mb=copies_mb)
    states = []
    for _ in range(3):
        for command in (RollFilm(), SPOT, StoneFace()):
            states.append(state(session.job))
            session.do(command)
    assert sum(array.nbytes for _, job in session._copies for array in job.arrays().values()) <= copies_mb * 1e6
    while session.commands:
        session.undo()
        assert state(session.job) == states.pop()


def test_undo_is_kept_in_the_log(coupon, tmp_path):
    session = Session.begin(coupon, tmp_path / "a.job")
    for command in (RollFilm(), SPOT, WipeFace(), LetSoak(5.0)):
        session.do(command)
    session.undo(3)
    session.do(StoneFace())
    session.close()
    found = replay(tmp_path / "a.job")
    assert (found.ok, found.commands, found.fingerprints_checked) == (True, 2, 1)
    assert state(found.job) == state(Session.load(tmp_path / "a.job").job) == state(session.job)


@pytest.mark.parametrize(
    ("count", "error"), [(3, Refused), (0, BadParam), (-1, BadParam), ("all", BadParam), (1.0, BadParam)]
)
def test_no_more_can_be_taken_back_than_was_done(printed, count, error):
    before = state(printed.job)
    with pytest.raises(error):
        printed.undo(count)
    assert state(printed.job) == before


# files


def test_a_job_opens_the_same_from_its_checkpoint_and_by_running_its_log(job_file, worked, monkeypatch):
    with monkeypatch.context() as no_running:
        no_running.setattr(session_module, "_again", None)
        from_checkpoint = Session.load(job_file)
    os.unlink(f"{job_file}.npz")
    steps = []
    from_log = Session.load(job_file, lambda done, total: steps.append((done, total)))
    assert steps[-1] == (len(from_log.commands),) * 2
    assert state(from_checkpoint.job) == state(from_log.job) == state(worked[1])
    assert from_checkpoint.commands == from_log.commands
    assert from_checkpoint.notes == from_log.notes == []
    shutil.copy(job_file, job_file.with_name("b.job"))
    from_log = Session.load(job_file.with_name("b.job"))
    assert from_checkpoint.undo(3) == from_log.undo(3)
    assert state(from_checkpoint.job) == state(from_log.job)


def test_a_checkpoint_that_lags_behind_its_log_is_the_start_of_a_shorter_run(job_file):
    with Session.load(job_file) as session:
        session.do(StoneFace())
    steps = []
    again = Session.load(job_file, lambda done, total: steps.append((done, total)))
    assert steps == [(1, 1)]
    assert state(again.job) == state(session.job)


def test_a_checkpoint_of_what_was_taken_back_is_not_used(job_file):
    with Session.load(job_file) as session:
        session.undo(2)
        session.do(StoneFace("firm"))
        session.do(WipeFace())
    again = Session.load(job_file)
    assert state(again.job) == state(session.job)
    assert again.commands == session.commands


@pytest.mark.parametrize("damage", ["cut", "flip", "empty", "text", "other"])
def test_a_damaged_checkpoint_is_told_and_the_log_is_run(job_file, worked, damage):
    path = job_file.with_name("a.job.npz")
    data = bytearray(path.read_bytes())
    if damage == "flip":
        data[len(data) // 2] ^= 1
    made = {"cut": data[:5000], "flip": data, "empty": b"", "text": b"hello", "other": b"PK\x03\x04" + bytes(99)}
    path.write_bytes(made[damage])
    session = Session.load(job_file)
    assert state(session.job) == state(worked[1])
    (note,) = session.notes
    assert note.startswith(f"{job_file}: the checkpoint of this job is damaged and was not used: ")


def test_a_checkpoint_with_another_face_is_not_believed(job_file, worked):
    path = job_file.with_name("a.job.npz")
    with np.load(path) as found:
        arrays = dict(found)
    arrays["height_um"] = arrays["height_um"] * 0.5
    np.savez(path, **arrays)
    session = Session.load(job_file)
    assert state(session.job) == state(worked[1])
    assert "not the face of its line in the log" in session.notes[0]


@pytest.mark.parametrize("cut", [1, 2, 30])
def test_a_torn_last_line_is_cut_off_and_told(job_file, cut):
    data = job_file.read_bytes()
    job_file.write_bytes(data[:-cut])
    lines = data.count(b"\n")
    session = Session.load(job_file)
    (note,) = session.notes
    assert note.startswith(f"{job_file}:{lines}: this line is cut short or damaged")
    session.close()
    assert job_file.read_bytes() == data[:-cut], "opening alone changes no file"
    session.do(StoneFace())
    session.close()
    assert job_file.read_bytes().startswith(data[: data[:-1].rindex(b"\n") + 1])
    assert replay(job_file).whole
    assert state(Session.load(job_file).job) == state(session.job)


def test_an_edited_line_stops_the_log_at_the_last_good_one_and_is_kept_aside(job_file):
    lines = job_file.read_bytes().splitlines(keepends=True)
    lines[5] = lines[5].replace(b"light", b"firm").replace(b"1", b"2", 1)
    job_file.write_bytes(b"".join(lines))
    session = Session.load(job_file)
    assert session.notes[0].startswith(f"{job_file}:6: this line was changed after it was written")
    assert "the job stands as of the 5 lines before it" in session.notes[0]
    assert len(session.commands) <= 5
    session.do(WipeFace())
    session.close()
    assert job_file.with_name("a.job.damaged-1").read_bytes() == b"".join(lines)
    assert replay(job_file).whole
    found = Session.load(job_file)
    assert found.notes == []
    assert state(found.job) == state(session.job)


def test_a_job_that_two_programs_hold_is_not_written_twice(job_file):
    one, two = Session.load(job_file), Session.load(job_file)
    one.do(StoneFace())
    with pytest.raises(CannotWrite, match="was changed by another program"):
        two.do(StoneFace())
    one.close()
    assert replay(job_file).whole


def test_a_job_of_other_physics_opens_from_its_checkpoint_alone(job_file, worked, monkeypatch):
    monkeypatch.setattr(sim, "PHYSICS", sim.PHYSICS + 1)
    with pytest.raises(BadFile, match=f"physics must be {sim.PHYSICS} from start to end to run this log again, got"):
        replay(job_file)
    session = Session.load(job_file)
    assert state(session.job) == state(worked[1])
    with pytest.raises(Refused, match="what came before was made under other physics"):
        session.undo()
    session.do(StoneFace())
    session.do(LetSoak(1.0))
    session.undo()
    session.close()
    lagging = Session.load(job_file)
    assert state(lagging.job) == state(session.job)
    lagging.undo()
    assert state(lagging.job) == state(worked[1])
    with pytest.raises(Refused):
        lagging.undo()
    lagging.save()
    assert state(Session.load(job_file).job) == state(worked[1])
    os.unlink(f"{job_file}.npz")
    with pytest.raises(BadFile, match=f"physics must be {sim.PHYSICS} to run this log again, .* no checkpoint fits"):
        Session.load(job_file)


def test_a_checkpoint_that_lags_is_no_help_under_other_physics(job_file, monkeypatch):
    with Session.load(job_file) as session:
        session.do(StoneFace())
    monkeypatch.setattr(sim, "PHYSICS", sim.PHYSICS + 1)
    with pytest.raises(BadFile, match="no checkpoint fits its last line"):
        Session.load(job_file)


def test_nothing_is_overwritten_without_force(coupon, job_file, fresh):
    before = job_file.read_bytes(), job_file.with_name("a.job.npz").read_bytes()
    with pytest.raises(CannotWrite, match="is there already"):
        Session.begin(coupon, job_file)
    with pytest.raises(CannotWrite, match="is there already"):
        fresh.save(job_file)
    os.unlink(job_file)
    with pytest.raises(CannotWrite, match="is there already"):
        fresh.save(job_file)
    assert not job_file.exists()
    assert job_file.with_name("a.job.npz").read_bytes() == before[1]
    fresh.save(job_file, force=True)
    assert state(Session.load(job_file).job) == state(fresh.job)


def test_a_job_in_memory_is_saved_then_logged_where_it_was_saved(printed, tmp_path):
    with pytest.raises(CannotWrite, match="must be given a name"):
        printed.save()
    printed.save(tmp_path / "a.job")
    printed.do(WipeFace())
    printed.save(tmp_path / "copy.job")
    assert printed.path == tmp_path / "a.job"
    printed.close()
    assert [state(Session.load(tmp_path / name).job) for name in ("a.job", "copy.job")] == [state(printed.job)] * 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.job", "a.job.npz", "copy.job", "copy.job.npz"]


def test_a_folder_that_cannot_be_written_is_told(coupon, tmp_path, printed):
    for act in (
        lambda: Session.begin(coupon, tmp_path / "none" / "a.job"),
        lambda: printed.save(tmp_path / "none" / "a"),
        lambda: printed.pack(tmp_path / "none" / "a.zip"),
        lambda: printed.save(tmp_path, force=True),
    ):
        with pytest.raises(CannotWrite, match="cannot be written"):
            act()
    assert list(tmp_path.iterdir()) == []


def test_a_packed_job_opens_and_runs_again(job_file, worked, tmp_path):
    Session.load(job_file).pack(tmp_path / "a.zip")
    session = Session.load(tmp_path / "a.zip")
    assert (session.path, session.notes) == (None, [])
    assert state(session.job) == state(worked[1])
    session.do(StoneFace())
    assert replay(tmp_path / "a.zip").ok
    with pytest.raises(CannotWrite):
        session.pack(tmp_path / "a.zip")


def test_a_start_with_cutouts_and_warmth_survives_its_file(tmp_path):
    start = JobStart(
        face=Start(length_mm=30.0, width_mm=20.0, cutouts=((15.0, 10.0, 6.0, 6.0),), warm_k=2.0, kind="planed"),
        plate=PlateMake(length_mm=60.0, width_mm=50.0),
        seed=2**60,
    )
    with Session.begin(start, tmp_path / "a.job") as session:
        for command in (RollFilm(), SpotFace(10.0, 10.0), LetSoak(7.0), WipeFace()):
            session.do(command)
    assert replay(tmp_path / "a.job").ok
    again = Session.load(tmp_path / "a.job")
    assert again.job.start == start
    assert state(again.job) == state(session.job)


def test_one_fingerprint_a_round_and_one_for_what_follows(coupon, tmp_path):
    with Session.begin(coupon, tmp_path / "a.job") as session:
        for _ in range(3):
            for command in (RollFilm(), SPOT, StoneFace(), WipeFace()):
                session.do(command)
        session.do(StoneFace())
    prints = session._book.prints
    assert [one.round for one in prints] == [1, 2, 3, 3]
    assert [one.after for one in prints] == [4, 8, 12, 13]
    shutil.rmtree(tmp_path)
