"""Trials in processes: the same rows however many there are, and what is done is kept whatever becomes of a worker."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sim.errors import BadParam, CannotWrite
from sim.trials import executor
from sim.trials.executor import DIED, HUNG, run_here
from sim.trials.ledger import table
from sim.trials.trial import run_trial
from tests.trials.conftest import bits, coupon_trial

TOP = Path(__file__).resolve().parents[2]


def run(trials, workers=2):
    """Outcomes in the order they came, and in that of the trials."""
    came = []
    run_here(trials, workers, came.append)
    by_key = {one.key: one for one in came}
    assert len(by_key) == len(came) == len(trials), "each is told once"
    return came, [by_key[trial.key] for trial in trials]


def children():
    """Processes of this one that still run, zombies not counted; the tracker of shared memory stays."""
    found = []
    for task in Path("/proc/self/task").iterdir():
        for pid in (task / "children").read_text().split():
            try:
                state = (Path("/proc") / pid / "stat").read_text().rpartition(")")[2].split()[0]
                told = (Path("/proc") / pid / "cmdline").read_bytes().replace(b"\0", b" ")
            except OSError:
                continue
            if state != "Z" and b"resource_tracker" not in told:
                found.append((pid, told))
    return found


@pytest.fixture(autouse=True)
def no_child_is_left():
    before = children()
    yield
    deadline = time.monotonic() + 5.0
    while set(children()) - set(before) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not set(children()) - set(before)


def test_rows_are_the_same_bits_in_this_process_and_in_two():
    trials = [coupon_trial(way, seed) for seed in (1, 2) for way in ("break-up-late", "heavy-film")]
    _, found = run(trials)
    here = [run_trial(trial) for trial in trials]
    assert bits(found) == bits(here)
    assert table(found) == table(here)


@pytest.mark.slow
def test_rows_are_the_same_bits_from_one_two_and_three_workers_in_whatever_order_they_come():
    trials = [coupon_trial(way, seed, rounds=1 + 5 * (seed % 2), hand=hand)
              for seed in range(6) for way in ("break-up-late", "fly-cut") for hand in ("learning",)]  # fmt: skip
    came, rows = zip(*(run(trials, workers) for workers in (1, 2, 3)), strict=True)
    assert bits(rows[0]) == bits(rows[1]) == bits(rows[2])
    assert [one.key for one in came[0]] == [trial.key for trial in trials]
    orders = [[one.key for one in order] for order in came]
    print("in another order with two or three:", orders[1] != orders[0] or orders[2] != orders[0])


def test_less_than_one_worker_is_refused_and_no_trial_is_none():
    with pytest.raises(BadParam, match="workers must be at least 1, got 0"):
        run_here([coupon_trial()], 0, print)
    run_here([], 2, print)


@pytest.mark.slow
def test_workers_have_one_thread_of_linear_algebra_and_the_parent_keeps_its_own(own, monkeypatch):
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "7")
    told = own("raise ValueError(os.environ['OPENBLAS_NUM_THREADS'] + os.environ['OMP_NUM_THREADS'])")
    _, found = run([coupon_trial("mine", own=told)], 1)
    assert found[0].fault.endswith("ValueError: 11")
    assert os.environ["OPENBLAS_NUM_THREADS"] == "7"


# ---------------------------------------------------------------- a worker that goes


KILLS_ITSELF = "if sight.seed == 2: os.kill(os.getpid(), signal.SIGKILL)"


@pytest.mark.slow
def test_a_trial_that_kills_its_worker_is_told_as_failed_and_the_others_are_worked(own):
    path = own(KILLS_ITSELF)
    trials = [coupon_trial("mine", seed, own=path) for seed in range(1, 6)]
    _, found = run(trials)
    assert [one.fault for one in found] == ["", DIED, "", "", ""]
    assert bits(found[:1] + found[2:]) == bits([run_trial(trial) for trial in trials if trial.start.seed != 2])


@pytest.mark.slow
def test_a_worker_that_is_killed_once_costs_no_trial(own, tmp_path):
    marker = tmp_path / "killed"
    path = own(f"""
        if sight.seed == 2 and not Path({str(marker)!r}).exists():
            Path({str(marker)!r}).touch()
            os.kill(os.getpid(), signal.SIGKILL)""")
    trials = [coupon_trial("mine", seed, own=path) for seed in range(1, 6)]
    _, found = run(trials)
    assert marker.exists()
    assert bits(found) == bits([run_trial(trial) for trial in trials])
    assert not any(one.fault for one in found)


@pytest.mark.slow
def test_every_trial_that_kills_its_worker_is_told_and_it_ends(own):
    path = own("os.kill(os.getpid(), signal.SIGKILL)")
    _, found = run([coupon_trial("mine", seed, own=path) for seed in range(4)])
    assert [one.fault for one in found] == [DIED] * 4


@pytest.mark.slow
def test_workers_that_cannot_begin_end_it_too(monkeypatch):
    monkeypatch.setattr(executor, "_begin_worker", os.abort)
    _, found = run([coupon_trial(seed=seed) for seed in range(2)])
    assert [one.fault for one in found] == [DIED] * 2


@pytest.mark.slow
def test_a_worker_that_sleeps_for_ever_is_ended_and_told(own, monkeypatch):
    monkeypatch.setattr(executor, "GRACE_S", 8.0)
    path = own("if sight.seed == 2: time.sleep(1e6)")
    trials = [coupon_trial("mine", seed, own=path, deadline_s=2.0) for seed in range(1, 5)]
    _, found = run(trials)
    assert [one.fault for one in found] == ["", HUNG, "", ""]


@pytest.mark.slow
def test_a_strategy_that_leaves_or_stops_the_process_politely_is_a_fault(own):
    path = own("if sight.seed == 2: sys.exit(0)\nif sight.seed == 3: raise KeyboardInterrupt")
    _, found = run([coupon_trial("mine", seed, own=path) for seed in (1, 2, 3)])
    assert not found[0].fault
    assert found[1].fault.endswith("SystemExit: 0")
    assert found[2].fault == "KeyboardInterrupt"


# ---------------------------------------------------------------- an early end


@pytest.mark.slow
def test_a_full_disk_stops_it_and_no_more_are_begun():
    came = []

    def keep(outcome):
        if came:
            raise CannotWrite("outcomes.jsonl: cannot be written: No space left on device; 1 trials are kept")
        came.append(outcome)

    began = time.monotonic()
    with pytest.raises(CannotWrite, match="No space left"):
        run_here([coupon_trial(seed=seed, rounds=3) for seed in range(500)], 2, keep)
    assert len(came) == 1
    assert time.monotonic() - began < 60.0, "five hundred would take minutes"


@pytest.mark.slow
def test_a_trial_that_cannot_be_stops_it():
    with pytest.raises(BadParam, match="heavy-film: film_um must be in"):
        run_here([coupon_trial("heavy-film", options=(("film_um", 99.0),))], 1, print)


INTERRUPTED = """
import sys
from pathlib import Path
from sim.trials.executor import run_here
from sim.trials.ledger import Ledger
from tests.trials.conftest import coupon_trial

def main():
    ledger = Ledger(Path(sys.argv[1]), {})
    def keep(outcome):
        ledger.add(outcome)
        print(outcome.seed, flush=True)
    try:
        run_here([coupon_trial("mine", seed, own=sys.argv[2]) for seed in range(300)], 2, keep)
    except KeyboardInterrupt:
        print("interrupted", flush=True)

if __name__ == "__main__":
    main()
"""


@pytest.mark.slow
@pytest.mark.parametrize("body", ["pass", "if sight.seed > 4: time.sleep(1e6)"], ids=["at work", "hung"])
def test_ctrl_c_keeps_what_is_done_and_leaves_no_process(own, tmp_path, body):
    """As a terminal does it: the signal goes to the whole group. Workers say nothing of it."""
    script, out = tmp_path / "interrupted.py", tmp_path / "out"
    script.write_text(INTERRUPTED)
    parent = subprocess.Popen([sys.executable, str(script), str(out), own(body)], cwd=TOP, text=True,
                              env=os.environ | {"PYTHONPATH": str(TOP)}, stdout=subprocess.PIPE,
                              stderr=subprocess.PIPE, start_new_session=True)  # fmt: skip
    told = [parent.stdout.readline() for _ in range(3)]
    os.killpg(parent.pid, signal.SIGINT)
    rest, errors = parent.communicate(timeout=60)
    assert rest.splitlines()[-1] == "interrupted"
    assert not errors
    told += rest.splitlines()[:-1]
    assert 3 <= len(told) < 300
    assert len((out / "outcomes.jsonl").read_bytes().splitlines()) >= len(told)
    deadline = time.monotonic() + 10.0
    while group_of(parent.pid) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not group_of(parent.pid)


def group_of(pid):
    """Processes of a group that still run."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, group = stat.read_text().rpartition(")")[2].split()[:3]
        except OSError:
            continue
        if int(group) == pid and state != "Z":
            found.append(stat.parent.name)
    return found
