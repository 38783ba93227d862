"""Faces that somebody has worked on: made once, loaded after that, made again when the kept file is damaged."""

import pytest

from sim.errors import BadParam
from sim.hands import worked
from sim.hands.worked import MOST_ROUNDS, worked_job
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.shop.job import JobStart
from sim.shop.logbook import fingerprint

START = JobStart(COUPON, PlateMake(length_mm=120.0, width_mm=100.0), seed=3)
ROUNDS = 2


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("FLATWRIGHT_CACHE", str(tmp_path))
    return tmp_path


def kept_in(cache):
    (kept,) = (cache / "worked").iterdir()
    return kept


def count_drives(monkeypatch):
    """A list that grows by one each time that rounds are worked."""
    driven, drive = [], worked.drive

    def counted(*args, **options):
        driven.append(options["rounds"])
        return drive(*args, **options)

    monkeypatch.setattr(worked, "drive", counted)
    return driven


def test_the_second_call_loads_what_the_first_made(cache, monkeypatch):
    driven = count_drives(monkeypatch)
    first = worked_job(START, "skilled", ROUNDS)
    kept = kept_in(cache).read_bytes()
    second = worked_job(START, "skilled", ROUNDS)
    assert driven == [ROUNDS]
    assert second.job.round == first.job.round == ROUNDS
    assert second.job.strokes == first.job.strokes > 0
    assert fingerprint(second.job) == fingerprint(first.job)
    assert kept_in(cache).read_bytes() == kept


def test_another_hand_is_another_face_with_a_file_of_its_own(cache):
    skilled, beginner = (worked_job(START, hand, 1) for hand in ("skilled", "beginner"))
    assert fingerprint(skilled.job) != fingerprint(beginner.job)
    assert len(list((cache / "worked").iterdir())) == 2


@pytest.mark.parametrize("damage", [lambda data: b"no zip", lambda data: data[: len(data) // 2], lambda data: b""])
def test_a_damaged_file_is_made_again(cache, monkeypatch, damage):
    driven = count_drives(monkeypatch)
    first = worked_job(START, "skilled", ROUNDS)
    kept = kept_in(cache)
    good = kept.read_bytes()
    kept.write_bytes(damage(good))
    again = worked_job(START, "skilled", ROUNDS)
    assert driven == [ROUNDS, ROUNDS]
    assert fingerprint(again.job) == fingerprint(first.job)
    assert kept.read_bytes() == good


def test_a_cache_that_cannot_be_written_is_done_without(cache):
    (cache / "worked").write_bytes(b"a file where the folder should be")
    assert worked_job(START, "skilled", 1).job.round == 1


@pytest.mark.parametrize(
    "hand,rounds,words",
    [("expert", 2, "hand must be one of"), ("skilled", 0, "rounds must be 1 to"),
     ("skilled", MOST_ROUNDS + 1, "rounds must be 1 to")],
)  # fmt: skip
def test_a_hand_or_rounds_that_there_are_not_are_refused_in_one_line(cache, hand, rounds, words):
    with pytest.raises(BadParam, match=words) as refused:
        worked_job(START, hand, rounds)
    assert len(str(refused.value).splitlines()) == 1
    assert not (cache / "worked").exists()
