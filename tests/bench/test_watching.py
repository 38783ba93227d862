"""Which step of a lesson the model is at, and in what time it is played."""

from itertools import pairwise

from sim.bench.desk import Desk
from sim.bench.practice import free_attempt
from sim.bench.watching import MOST_S, PAUSE_S, Watcher, Watching
from sim.school.lesson import Step
from sim.school.steps import step_of
from sim.shop.session import Session
from tests.bench.test_lessons import LESSON

STEPS = (Step("Print, and call the marks that are to be cut."), Step("Cut what you called, each place once."),
         Step("Wipe the face, then look."))  # fmt: skip


def test_a_step_is_found_by_what_it_names_first():
    assert step_of(STEPS, 0, "SpotFace") == 0
    assert step_of(STEPS, 0, "calls") == 0
    assert step_of(STEPS, 0, "Scrape") == 1
    assert step_of(STEPS, 1, "WipeFace") == 2
    assert step_of(STEPS, 1, "HoneBlade") == 1, "no step names it: it stays"
    assert step_of(STEPS, 2, "SpotFace") == 0, "and round again"


def test_acts_follow_one_another_slowly_enough_to_read_and_faster_on_demand():
    session = Session.begin(LESSON.pieces[0].start)
    desks = [Desk(session), Desk(Session.begin(LESSON.pieces[1].start))]
    for desk in desks:
        Watcher(free_attempt(desk.session, []), 0, "never").sit(desk)
    watching = Watching(LESSON, desks)
    assert watching.tick(0.0)
    assert not watching.tick(0.5 * PAUSE_S), "not yet"
    times, now = [], 0.0
    while not watching.asking:
        now += 0.05
        if watching.tick(now):
            times.append(now)
    assert all(PAUSE_S - 0.06 <= b - a <= MOST_S + 0.06 for a, b in pairwise(times))
    assert not watching.tick(now + 100.0), "it waits for what is expected"
    watching.skip()
    watching.faster = True
    assert watching.tick(now + 100.0)
    assert watching.tick(now + 100.0 + PAUSE_S / 4.0 + 0.01)
    assert len(session.commands) == 3, "plate cleaned, film rolled, print lifted"
