"""A whole face: 36 rounds of a skilled hand, driven through a session and scored, on one core."""

import time

import pytest

from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.shop.job import JobStart
from sim.shop.rounds import drive
from sim.shop.session import Session
from sim.target import Target
from tests.speed.test_stroke_speed import machine_factor

ROUNDS = 36
BAR_S = 2.5


def whole_face(rounds=ROUNDS):
    """The demo's work without its report; returns what was driven."""
    session = Session.begin(JobStart(seed=2))
    return drive(session, follow_the_blue(HANDS["skilled"]), Target(), rounds=rounds, carry_on=True)


@pytest.mark.slow
def test_a_whole_face_takes_two_and_a_half_seconds(benchmark):
    whole_face(3)  # tables made, modules imported
    driven = benchmark.pedantic(whole_face, rounds=3)
    assert len(driven.rounds) == ROUNDS
    factor, took_ms = machine_factor()
    started, cpu = time.perf_counter(), time.process_time()
    whole_face()
    wall_s, cpu_s = time.perf_counter() - started, time.process_time() - cpu
    strokes = driven.rounds[-1].strokes
    print(f"\n{ROUNDS} rounds, {strokes} strokes: {wall_s:.2f} s, {cpu_s:.2f} s of them on the core; "
          f"z.max() of 282,000 takes {took_ms:.4f} ms: bar {BAR_S * factor:.2f} s")
