"""Trials on this machine's processes or on a running Dask cluster, with the same outcomes from either."""

import hashlib
import os
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from concurrent.futures import wait as wait_for
from contextlib import contextmanager, suppress
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

from sim.errors import BadParam, ShopError
from sim.trials.trial import Outcome, Trial, run_trial

AHEAD = 2  # trials handed out for each worker
LOOK_S = 1.0
GRACE_S = 60.0
DIED = "its worker died: killed, or out of memory"
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
OnOutcome = Callable[[Outcome], None]


class ClusterLost(ShopError, RuntimeError):
    """The scheduler cannot be reached, or went away."""


def run_here(trials: Sequence[Trial], workers: int, on_outcome: OnOutcome) -> None:
    """Run trials in so many processes, each outcome told as it comes; the caller has compiled the kernels.

    A worker that dies breaks its pool. What was under way is then worked again one by one, each in a pool of its own,
    and what breaks that too is told as failed.

    Raises
    ------
    BadParam
        Fewer than one worker.
    ShopError
        A trial that cannot be at all, or what `on_outcome` raises; no more are begun.
    """
    if workers < 1:
        raise BadParam(f"workers must be at least 1, got {workers}")
    left = dict(enumerate(trials))
    while left:
        suspects = _in_a_pool(list(left), left, workers, on_outcome)
        for n in suspects:
            if _in_a_pool([n], left, 1, on_outcome):
                on_outcome(failed(left.pop(n), DIED))


def _in_a_pool(turn: list[int], left: dict[int, Trial], workers: int, on_outcome: OnOutcome) -> list[int]:
    """Work these trials, each leaving `left` when it is done; returns what was under way if the pool broke."""
    pool = _pool(min(workers, len(turn)))
    try:
        return _worked(turn, left, (pool, run_trial, AHEAD * workers), on_outcome, lambda: None)
    except _Stalled as stalled:
        for process in list((getattr(pool, "_processes", None) or {}).values()):
            with suppress(OSError):
                process.kill()
        return stalled.going
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


class _Stalled(Exception):
    """Nothing ends, though every trial's time is over: a worker hangs where Python cannot stop it."""

    def __init__(self, going: list[int]) -> None:
        super().__init__()
        self.going = going


def _worked(turn: list[int], left: dict[int, Trial], pool: tuple[Executor, Callable[..., Outcome], int],
            on_outcome: OnOutcome, look: Callable[[], None]) -> list[int]:
    """Hand trials out, no more than so many at once, and take outcomes in; `look` is called about once a second."""
    executor, call, most = pool
    going: dict[Future[Outcome], int] = {}
    waiting, last = iter(turn), time.monotonic()
    try:
        while True:
            while len(going) < most and (n := next(waiting, None)) is not None:
                going[executor.submit(call, left[n])] = n
            if not going:
                return []
            done, _ = wait_for(going, timeout=LOOK_S, return_when=FIRST_COMPLETED)
            look()
            now = time.monotonic()
            if not done and now - last > AHEAD * max(left[n].deadline_s for n in going.values()) + GRACE_S:
                raise _Stalled(sorted(going.values()))
            last = now if done else last
            for future in done:
                outcome = _outcome_of(future, left[going[future]])
                del left[going.pop(future)]
                on_outcome(outcome)
    except BrokenExecutor:
        return sorted(going.values())
    finally:
        for future in going:
            future.cancel()


def _outcome_of(future: "Future[Outcome]", trial: Trial) -> Outcome:
    """What came of a trial; of one whose worker died on a cluster, that."""
    try:
        return future.result()
    except (ShopError, BrokenExecutor, CancelledError):
        raise
    except Exception as error:
        if type(error).__name__ != "KilledWorker":
            raise
        return failed(trial, DIED)


def failed(trial: Trial, fault: str) -> Outcome:
    """The outcome of a trial that came to nothing."""
    return Outcome(trial.label, trial.varied, trial.start.seed, fault=fault)


def _pool(workers: int) -> ProcessPoolExecutor:
    """Fresh processes, each with one thread of linear algebra: the environment is set before they import anything."""
    with _environment(ONE_THREAD):
        pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin_worker)
        for _ in range(workers):  # a process begins when work is handed out
            pool.submit(os.getpid)
    return pool


def _begin_worker() -> None:
    """Load the kernels; leave Ctrl-C to the parent."""
    import signal

    from sim.kernels.warm import warm

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warm()


@contextmanager
def _environment(values: dict[str, str]) -> Iterator[None]:
    before = {name: os.environ.get(name) for name in values}
    os.environ.update(values)
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value


def run_on_cluster(trials: Sequence[Trial], address: str, on_outcome: OnOutcome) -> None:
    """Run trials on a running Dask cluster, as `run_here`; a worker that dies is made good for by Dask itself.

    Raises
    ------
    BadParam
        The extra `cluster` is not installed.
    ClusterLost
        The scheduler cannot be reached, or went away; no outcome is lost that was told.
    ShopError
        As `run_here`.
    """
    try:
        from distributed import Client
    except ImportError:
        raise BadParam("--cluster needs Dask: pip install '.[cluster]'") from None
    try:
        client = Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        told = str(error).partition("\n")[0][:120]
        raise ClusterLost(f"--cluster must be the address of a running scheduler, got {address!r}: {told}") from None

    def look() -> None:
        if client.status != "running":
            raise ClusterLost(f"the scheduler at {address} went away")

    left = dict(enumerate(trials))
    try:
        workers = max(len(client.scheduler_info(n_workers=-1)["workers"]), 1)
        with client.get_executor(pure=False) as executor:
            pool = executor, _Sent(trials[0].own if trials else ""), AHEAD * workers
            _worked(list(left), left, pool, on_outcome, look)
    except (_Stalled, CancelledError):
        raise ClusterLost(f"the scheduler at {address} went away, or no worker ends a trial") from None
    finally:
        client.close(timeout=5)


class _Sent:
    """What a cluster's worker does with a trial: the person's own file goes along, for it may lie on another disk."""

    def __init__(self, own: str) -> None:
        self.name, self.text = Path(own).name, Path(own).read_bytes() if own else b""

    def __call__(self, trial: Trial) -> Outcome:
        from sim.kernels.warm import warm

        warm()
        if self.text:
            folder = Path(tempfile.gettempdir()) / f"flatwright-{hashlib.sha256(self.text).hexdigest()[:24]}"
            folder.mkdir(mode=0o700, exist_ok=True)
            if not (folder / self.name).exists():
                fresh = folder / f"{self.name}.{os.getpid()}.new"
                fresh.write_bytes(self.text)
                fresh.replace(folder / self.name)
            trial = replace(trial, own=str(folder / self.name))
        return run_trial(trial)
