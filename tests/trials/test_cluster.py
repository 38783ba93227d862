"""Trials on a Dask cluster: the same rows as from processes; workers and scheduler may go. All are slow."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sim.errors import CannotWrite
from sim.trials import executor
from sim.trials.executor import DIED, ClusterLost, run_here, run_on_cluster
from sim.trials.trial import run_trial
from tests.trials.conftest import bits, coupon_trial

pytestmark = pytest.mark.slow
pytest.importorskip("distributed", reason="needs the extra `cluster`")
TOP = Path(__file__).resolve().parents[2]


class Cluster:
    """A scheduler and workers of one thread each, as a person begins them; each in a group of its own."""

    def __init__(self, folder, workers=2, failures=0):
        self.folder = folder
        self.env = os.environ | {
            "PYTHONPATH": str(TOP), "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": str(failures),
            "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1",
        }  # fmt: skip
        port = self.free_port()
        self.address, self.running = f"tcp://127.0.0.1:{port}", []
        self.scheduler = self.begin("scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard")
        for _ in range(workers):
            self.begin("worker", self.address, "--nthreads", "1", "--no-dashboard", "--local-directory", str(folder))
        self.wait(workers)

    @staticmethod
    def free_port():
        import socket

        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            return free.getsockname()[1]

    def begin(self, *words):
        log = open(self.folder / f"{words[0]}{len(self.running)}.log", "wb")  # noqa: SIM115
        self.running.append(subprocess.Popen([sys.executable, "-m", "dask", *words], env=self.env, cwd=self.folder,
                                             stdout=log, stderr=log, start_new_session=True))  # fmt: skip
        return self.running[-1]

    def wait(self, workers):
        from distributed import Client

        with Client(self.address, timeout="60s", set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=90)

    def end(self):
        for one in self.running:
            try:
                os.killpg(one.pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
            one.wait()


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    made = Cluster(tmp_path_factory.mktemp("cluster"))
    yield made
    made.end()


@pytest.fixture
def lost_soon(tmp_path):
    made = Cluster(tmp_path, workers=1)
    yield made
    made.end()


def run(trials, address):
    came = []
    run_on_cluster(trials, address, came.append)
    by_key = {one.key: one for one in came}
    assert len(by_key) == len(came) == len(trials)
    return [by_key[trial.key] for trial in trials]


def test_rows_are_the_same_bits_as_from_processes(cluster):
    trials = [coupon_trial(way, seed, hand="learning") for seed in (1, 2, 3) for way in ("break-up-late", "cup-grind")]
    here = []
    run_here(trials, 2, here.append)
    assert sorted(bits(run(trials, cluster.address))) == sorted(bits(here))


def test_a_persons_own_file_is_sent_along(cluster, own):
    path = own("pass")
    trials = [coupon_trial("mine", seed, own=path) for seed in (1, 2)]
    here = [run_trial(trial) for trial in trials]
    sent = executor._Sent(path)
    Path(path).rename(path + ".gone")  # the workers' disks do not have it
    came = []
    executor._Sent, kept = lambda own: sent, executor._Sent
    try:
        run_on_cluster(trials, cluster.address, came.append)
    finally:
        executor._Sent = kept
    assert sorted(bits(came)) == sorted(bits(here))


def test_a_fault_is_told_with_its_line(cluster, own):
    path = own("1 / 0", "faulty")
    assert run([coupon_trial("faulty", own=path)], cluster.address)[0].fault.startswith("own.py:12: ZeroDivisionError")


def test_a_trial_that_kills_its_worker_is_told_as_failed_and_the_others_are_worked(cluster, own):
    path = own("if sight.seed == 2: os.kill(os.getpid(), signal.SIGKILL)", "kills")
    found = run([coupon_trial("kills", seed, own=path) for seed in range(1, 6)], cluster.address)
    assert [one.fault for one in found] == ["", DIED, "", "", ""]


def test_a_worker_that_is_killed_once_costs_no_trial(cluster, own, tmp_path):
    marker = tmp_path / "killed"
    path = own(f"""
        if sight.seed == 2 and not Path({str(marker)!r}).exists():
            Path({str(marker)!r}).touch()
            os.kill(os.getpid(), signal.SIGKILL)""", "once")
    found = run([coupon_trial("once", seed, own=path) for seed in range(1, 6)], cluster.address)
    assert marker.exists()
    assert not any(one.fault for one in found)


def test_a_full_disk_stops_it(cluster):
    def keep(outcome):
        raise CannotWrite("no room")

    began = time.monotonic()
    with pytest.raises(CannotWrite, match="no room"):
        run_on_cluster([coupon_trial(seed=seed) for seed in range(500)], cluster.address, keep)
    assert time.monotonic() - began < 30.0


def test_a_scheduler_that_goes_is_told_and_what_came_is_kept(lost_soon):
    came, at = [], []

    def keep(outcome):
        came.append(outcome)
        if len(came) == 3:
            os.killpg(lost_soon.scheduler.pid, signal.SIGKILL)
            at.append(time.monotonic())

    with pytest.raises(ClusterLost, match=f"the scheduler at {lost_soon.address} went away"):
        run_on_cluster([coupon_trial(seed=seed) for seed in range(500)], lost_soon.address, keep)
    took = time.monotonic() - at[0]
    print(f"told {took:.1f} s after the scheduler was killed")
    assert took < 60.0
    assert len(came) >= 3
    assert bits(came[:1]) == bits([run_trial(coupon_trial(seed=came[0].seed))])


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:{port}", "127.0.0.1:{port}", "nonsense", "tcp://no.such.host.invalid:1"])
def test_where_nobody_listens_that_is_told(address):
    address, began = address.format(port=Cluster.free_port()), time.monotonic()
    with pytest.raises(ClusterLost, match="--cluster must be the address of a running scheduler, got") as told:
        run_on_cluster([coupon_trial()], address, print)
    assert "\n" not in str(told.value)
    assert time.monotonic() - began < 40.0
