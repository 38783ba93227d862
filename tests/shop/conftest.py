"""A coupon that was scraped for two rounds, its files made once and copied for each test."""

import shutil

import pytest

from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.shop.job import JobStart
from sim.shop.rounds import drive
from sim.shop.session import Session
from sim.target import Target


@pytest.fixture(scope="session")
def coupon():
    return JobStart(face=COUPON, plate=PlateMake(length_mm=120.0, width_mm=100.0), seed=3)


@pytest.fixture(scope="session")
def worked(coupon, tmp_path_factory):
    """(folder of a.job and a.job.npz, the job as it was left)."""
    folder = tmp_path_factory.mktemp("worked")
    with Session.begin(coupon, folder / "a.job") as session:
        drive(session, follow_the_blue(HANDS["skilled"]), Target(), rounds=2, carry_on=True)
        session.save()
    return folder, session.job


@pytest.fixture
def job_file(worked, tmp_path):
    for name in ("a.job", "a.job.npz"):
        shutil.copy(worked[0] / name, tmp_path / name)
    return tmp_path / "a.job"
