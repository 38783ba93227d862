"""Work beside the window: it tells how far it is, is stopped, and what it raises is raised where it is asked for."""

import threading

import pytest

from sim.bench.aside import Aside, Stopped


def test_it_tells_how_far_it_is_and_gives_its_result():
    half, go = threading.Event(), threading.Event()

    def make(told):
        told(1, 2)
        half.set()
        go.wait(5.0)
        told(2, 2)
        return "made"

    work = Aside("It is made", make)
    assert half.wait(5.0)
    assert (work.done, work.share) == (False, 0.5)
    go.set()
    assert work.result() == "made"
    assert (work.done, work.share) == (True, 1.0)


def test_stopped_it_ends_at_the_next_step():
    begun, go = threading.Event(), threading.Event()
    steps = []

    def make(told):
        begun.set()
        go.wait(5.0)
        for n in range(10):
            steps.append(n)
            told(n, 10)

    work = Aside("", make)
    assert begun.wait(5.0)
    work.stop()
    go.set()
    with pytest.raises(Stopped):
        work.result()
    assert steps == [0]


def test_an_error_of_the_work_is_raised_where_its_result_is_asked_for():
    def make(told):
        raise ValueError("no such thing")

    with pytest.raises(ValueError, match="no such thing"):
        Aside("", make).result()
