"""A class: twenty result files of ten rounds each, run again by two processes."""

import time

import pytest

from sim import paths
from sim.school.classroom import collect
from sim.school.facts import gather
from sim.school.result import write_result
from tests.school.handed_in import TEN, check_ten_rounds, judge, ten_rounds

FILES = 20
BAR_S = 30.0


@pytest.mark.slow
def test_a_class_of_twenty_files_collects_in_under_half_a_minute(tmp_path, monkeypatch):
    """Every learner with another seed, and nothing of theirs in the teacher's cache: the dearest case."""
    folder = tmp_path / "in"
    folder.mkdir()
    for seed in range(1, FILES + 1):
        attempt = ten_rounds(seed)
        assert attempt.lesson.pieces == (TEN,)
        write_result(folder / f"{seed}.result", attempt, f"Learner {seed}", judge(attempt.lesson, gather(attempt)))
    (tmp_path / "cache").mkdir(mode=0o700)
    (tmp_path / "cache" / "kernels").symlink_to(paths.cache_dir() / "kernels")
    monkeypatch.setenv("FLATWRIGHT_CACHE", str(tmp_path / "cache"))
    took = []
    for _ in range(2):
        before = time.perf_counter()
        book = collect(folder, check_ten_rounds, processes=2)
        took.append(time.perf_counter() - before)
        assert [one.state for one in book.counted] == ["genuine"] * FILES
    size_kb = sum(path.stat().st_size for path in folder.iterdir()) / FILES / 1000
    print(f"\n{FILES} result files of {size_kb:.0f} kB: {took[0]:.1f} s, once more {took[1]:.1f} s: bar {BAR_S:.0f} s")
    assert took[0] < BAR_S
