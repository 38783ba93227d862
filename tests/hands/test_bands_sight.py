"""Working a wedge off by the numbers on the face: the hand reads those and the blue, and nothing that is true."""

from dataclasses import replace

import numpy as np
import pytest

from sim.hands.autopilot import STAGES, follow_the_blue
from sim.hands.bands import Bands, WedgeWork, taper_plan
from sim.hands.skill import HANDS
from sim.measure.gauge import Indicator, Stand, felt_um
from sim.model.part import FaceShape, Frame, PartShape, Tolerance
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.shop import partwork
from sim.shop.commands import Scrape, SpotFace, perform
from sim.shop.job import JobStart, begin_job
from sim.shop.partwork import SweepFace, TakeFace
from sim.shop.sight import look
from tests.hands.test_autopilot_sight import SEEN, veiled

SIZE = {"length_mm": 60.0, "width_mm": 40.0, "kind": "surface-ground"}
BLOCK = PartShape("block", 1.0, (30.0, 20.0, 25.0), (
    FaceShape("foot", Start(**SIZE), Frame((0.0, 40.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))),
    FaceShape("top", Start(**SIZE, wedge_x_um=20.0), Frame((0.0, 0.0, 50.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))),
), (Tolerance("parallelism", "top", "foot", 5.0),))  # fmt: skip


def worked(seed: int, rounds: int, see) -> list:
    job = begin_job(JobStart(plate=PlateMake(100.0, 80.0), part=BLOCK, seed=seed))
    perform(TakeFace("top"), job)
    pilot, done = follow_the_blue(HANDS["skilled"], stages=STAGES[1:], correct=Bands("foot")), []
    command = next(pilot)
    while job.round < rounds or not isinstance(command, SpotFace):
        perform(command, job)
        done.append(command)
        command = pilot.send(see(job))
    return done


def test_the_wedge_is_worked_off_alike_when_every_field_of_truth_raises():
    blind = worked(1, 6, lambda job: look(veiled(job, SEEN)))
    assert blind == worked(1, 6, look)
    assert sum(isinstance(command, SweepFace) for command in blind) >= 2
    assert sum(isinstance(command, Scrape) for command in blind) >= 4


class Watched(Bands):
    """Bands whose lessons are kept beside the truth, (thought um, true um) a pass: true by a block without a stand."""

    def __init__(self, job):
        super().__init__("foot")
        self.job, self.felt, self.lessons = job, None, []

    def _learn(self, now, pitch_mm):
        passes, before = self._passes, self.felt
        places = list(zip(now.x_mm, now.y_mm, strict=True))
        self.felt = np.array([felt_um(self.job.face, x, y, Indicator()) for x, y in places])
        super()._learn(now, pitch_mm)
        if before is None or passes is None or self._blade not in self.taken_um:
            return
        many = np.array([passes[int(y / pitch_mm), int(x / pitch_mm)] for x, y in places])
        true = np.median((before - self.felt)[many > 0] / many[many > 0])
        self.lessons.append((self.taken_um[self._blade], float(true)))


@pytest.mark.parametrize("seed", [1, 2])
def test_what_a_pass_is_thought_to_take_is_near_what_it_takes(seed):
    size = SIZE | {"length_mm": 120.0, "width_mm": 80.0}
    foot = FaceShape("foot", Start(**size), Frame((0.0, 80.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0)))
    top = FaceShape("top", Start(**size, wedge_x_um=20.0), Frame((0.0, 0.0, 50.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)))
    block = replace(BLOCK, mass_kg=4.0, centre_mm=(60.0, 40.0, 25.0), faces=(foot, top))
    job = begin_job(JobStart(plate=PlateMake(160.0, 120.0), part=block, seed=seed))
    perform(TakeFace("top"), job)
    bands = Watched(job)
    pilot = follow_the_blue(HANDS["skilled"], stages=STAGES[1:], correct=bands)
    command = next(pilot)
    while job.round < 8 or not isinstance(command, SpotFace):
        perform(command, job)
        command = pilot.send(look(job))
    assert len(bands.lessons) >= 3
    thought, true = np.mean(bands.lessons[1:], axis=0)  # single ones are up to half off: two sweeps, few stations
    assert abs(thought - true) <= 0.4 * true


def answered(gen, job):
    """What a generator of commands comes to, and its commands done on the job."""
    done = []
    try:
        command = next(gen)
        while True:
            perform(command, job)
            done.append(command)
            command = gen.send(look(job))
    except StopIteration as end:
        return end.value, done


def test_the_slope_of_the_stand_is_found_by_turning_and_is_no_wedge_of_the_part(monkeypatch):
    stand = Stand((0.4, -0.3), 0.0)
    monkeypatch.setattr(partwork.gauge, "stand_of", lambda rng: stand)
    true = {**SIZE, "kind": "true", "edge_break_mm": 0.0}
    faces = tuple(replace(face, start=Start(**true)) for face in BLOCK.faces)
    part = replace(BLOCK, faces=faces)
    job = begin_job(JobStart(plate=PlateMake(100.0, 80.0, flatness_um=0.0), part=part, seed=1))
    perform(TakeFace("top"), job)
    bands = Bands("foot", reverse=True)
    _, done = answered(bands.rows(look(job), "semi"), job)
    assert [command.turn_deg for command in done] == [180.0, 0.0]
    # left in, 0.4 x 60 + 0.3 x 40 = 36 um of wedge; put on instead of taken off, 72
    assert bands.plan.span_um < 5.0
    seen = tuple(v / np.cos(np.radians(15.0)) for v in stand.slopes_um_per_mm)
    assert bands.stand_um_per_mm == pytest.approx(seen, abs=2.0 / 28.0)  # the play, over the way across
    bands.since_sweep = bands.work.sweep_every
    _, again = answered(bands.rows(look(job), "semi"), job)
    assert [command.turn_deg for command in again] == [0.0], "once found it is kept"
    assert bands.plan.span_um < 5.0


def test_the_border_of_a_band_wanders_from_round_to_round_but_for_the_last():
    job = begin_job(JobStart(plate=PlateMake(100.0, 80.0), part=BLOCK, seed=1))
    seen = look(job)
    removal_um, work = 2.0, WedgeWork()
    plan = taper_plan(seen.iron.shape, seen.pitch_mm, (0.2, 0.0), removal_um)
    band_mm = removal_um / 0.2
    borders = {1: [], 3: []}
    for left, found in borders.items():
        for round_ in range(60):
            bands = Bands("foot", again=False)
            bands.plan, bands.left, bands.since_sweep = plan, left, 0
            region, commands = answered(bands.rows(replace(seen, round=round_), "semi"), job)
            assert commands == []
            found.append(float(region[len(region) // 2].argmax()) * seen.pitch_mm)
    assert np.ptp(borders[1]) == 0.0
    most = work.blend_share * band_mm
    wander = np.array(borders[3]) - 2.5 * band_mm
    assert np.abs(wander).max() <= most + seen.pitch_mm
    assert wander.std() == pytest.approx(most / np.sqrt(3.0), rel=0.25)  # even between the two ends
    assert len(set(borders[3])) > 10
