"""Trials on this machine's processes or on a running Dask cluster, with the same outcomes from either."""

import io
import os
import signal
import tempfile
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from concurrent.futures import wait as wait_for
from contextlib import contextmanager, redirect_stderr, suppress
from dataclasses import replace
from functools import cache
from multiprocessing import get_context
from pathlib import Path

from sim.errors import BadParam, ShopError
from sim.trials.trial import Outcome, Trial, run_trial

AHEAD = 2  # trials handed out for each worker
LOOK_S = 1.0
GRACE_S = 60.0
DIED = "its worker died: killed, or out of memory"
HUNG = "its worker hung where Python cannot stop it"
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
OnOutcome = Callable[[Outcome], None]


class ClusterLost(ShopError, RuntimeError):
    """The scheduler cannot be reached, or went away."""


def run_here(trials: Sequence[Trial], workers: int, on_outcome: OnOutcome) -> None:
    """Run trials in so many processes, each outcome told as it comes; the caller has compiled the kernels.

    A worker that dies breaks its pool. What was under way is then worked again one by one, each in a pool of its own,
    and what breaks that too is told as failed. Whatever ends this early (Ctrl-C too) ends the workers at once.

    Raises
    ------
    BadParam
        Fewer than one worker.
    ShopError
        A trial that cannot be at all, or what `on_outcome` raises; no more are begun.
    """
    if workers < 1:
        raise BadParam(f"workers must be at least 1, got {workers}")

    def work(turn: list[int], left: dict[int, Trial]) -> Suspects:
        return _in_a_pool(turn, left, min(workers, len(turn)), on_outcome)

    _all_of(trials, work, on_outcome)


Suspects = dict[int, str]
"""Trials that were under way when a worker went, by number, and what it may have been."""


def _all_of(trials: Sequence[Trial], work: Callable[[list[int], dict[int, Trial]], Suspects],
            on_outcome: OnOutcome) -> None:
    """Work all trials; each suspect once more, alone, and told as failed if that ends alike."""
    left = dict(enumerate(trials))
    while left:
        for n in work(list(left), left):
            again = work([n], left)
            if n in again:
                on_outcome(failed(left.pop(n), again[n]))


def _in_a_pool(turn: list[int], left: dict[int, Trial], workers: int, on_outcome: OnOutcome) -> Suspects:
    """Work these trials, each leaving `left` when it is done."""
    with _environment(ONE_THREAD):
        pool = _pool(workers)
        try:
            return _worked(turn, left, (pool, run_trial, AHEAD * workers), on_outcome, lambda: None)
        except BaseException as error:
            for process in list((getattr(pool, "_processes", None) or {}).values()):
                with suppress(OSError):
                    process.kill()
            if isinstance(error, _Stalled):
                return error.going
            raise
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


class _Stalled(Exception):
    """Nothing ends, though every trial's time is over: a worker hangs where Python cannot stop it."""

    def __init__(self, going: Suspects) -> None:
        super().__init__()
        self.going = going


def _worked(turn: list[int], left: dict[int, Trial], pool: tuple[Executor, Callable[..., Outcome], int],
            on_outcome: OnOutcome, look: Callable[[], None]) -> Suspects:
    """Hand trials out, no more than so many at once, and take outcomes in; `look` is called about once a second."""
    executor, call, most = pool
    going: dict[Future[Outcome], int] = {}
    waiting, last, suspects = deque(turn), time.monotonic(), Suspects()
    try:
        while True:
            while waiting and len(going) < most:
                future = executor.submit(call, left[waiting[0]])
                going[future] = waiting.popleft()
            if not going:
                return suspects
            done, _ = wait_for(going, timeout=LOOK_S, return_when=FIRST_COMPLETED)
            now = time.monotonic()
            if not done and now - last > AHEAD * max(left[n].deadline_s for n in going.values()) + GRACE_S:
                raise _Stalled(dict.fromkeys(sorted(going.values()), HUNG))
            last = now if done else last
            for future in done:
                outcome = _outcome_of(future, left[going[future]])
                n = going.pop(future)
                if outcome is None:
                    suspects[n] = DIED
                else:
                    del left[n]
                    on_outcome(outcome)
            look()
    except BrokenExecutor:
        return dict.fromkeys(sorted(going.values()) or [waiting[0]], DIED)
    finally:
        for future in going:
            future.cancel()


def _outcome_of(future: "Future[Outcome]", trial: Trial) -> Outcome | None:
    """What came of a trial; None for one under which too many of a cluster's workers died."""
    error = future.exception()
    if error is None:
        return future.result()
    if type(error).__name__ == "KilledWorker":
        return None
    if not isinstance(error, Exception):  # a strategy's own; Ctrl-C never gets to a worker
        return failed(trial, type(error).__name__)
    raise error


def failed(trial: Trial, fault: str) -> Outcome:
    """The outcome of a trial that came to nothing."""
    return Outcome(trial.label, trial.varied, trial.start.seed, fault=fault)


def _pool(workers: int) -> ProcessPoolExecutor:
    """Fresh processes, which take the environment as it is: set it before, and leave it while they work."""
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin_worker)
    with _deaf(), suppress(BrokenExecutor):
        for _ in range(workers):  # a process begins when work is handed out
            pool.submit(os.getpid)
    return pool


@contextmanager
def _deaf() -> Iterator[None]:
    """Processes begun meanwhile do not hear Ctrl-C, from their first moment on; the parent hears it afterwards."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if hasattr(signal, "pthread_sigmask") else None
    try:
        yield
    finally:
        if before is not None:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin_worker() -> None:
    """Load the kernels, which the parent has compiled and told what there was to tell; leave Ctrl-C to it."""
    from sim.kernels.warm import warm

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with redirect_stderr(io.StringIO()):
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
    """Run trials on a running Dask cluster, as `run_here`; a worker that dies is made good for by Dask itself, until it
    gives a trial up: that is then worked once more, alone.

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

    executor = client.get_executor(pure=False)
    call = _Sent(trials[0].own if trials else "")

    def work(turn: list[int], left: dict[int, Trial]) -> Suspects:
        workers = client.scheduler_info(n_workers=-1)["workers"].values()
        threads = max(sum(one["nthreads"] for one in workers), 1)
        return _worked(turn, left, (executor, call, AHEAD * threads), on_outcome, look)

    try:
        _all_of(trials, work, on_outcome)
    except (_Stalled, CancelledError):
        raise ClusterLost(f"the scheduler at {address} went away, or no worker ends a trial") from None
    finally:
        executor.shutdown(wait=False)
        client.close(timeout=5)


class _Sent:
    """What a cluster's worker does with a trial: the person's own file goes along, for it may lie on another disk."""

    def __init__(self, own: str) -> None:
        self.name, self.text = Path(own).name, Path(own).read_bytes() if own else b""

    def __call__(self, trial: Trial) -> Outcome:
        from sim.kernels.warm import warm

        warm()
        if trial.own:
            trial = replace(trial, own=str(Path(_laid_down(self.name, self.text).name, self.name)))
        return run_trial(trial)


@cache
def _laid_down(name: str, text: bytes) -> "tempfile.TemporaryDirectory[str]":
    """A folder of this process alone, with that file in it; it goes with the process."""
    folder = tempfile.TemporaryDirectory(prefix="flatwright-")
    Path(folder.name, name).write_bytes(text)
    return folder
