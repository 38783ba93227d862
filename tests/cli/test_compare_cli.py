"""`flatwright compare` as a user meets it; on a coupon, for speed."""

import csv
import json
from pathlib import Path

import pytest

from sim.cli import main
from sim.shop.session import Session
from sim.trials import comparison
from sim.trials.executor import run_here

COMMAND = "compare"
COUPON = """name = "coupon"
mass_kg = 0.4
centre_mm = [30.0, 20.0, 10.0]

[[face]]
name = "top"
kind = "rough-milled"
length_mm = 60.0
width_mm = 40.0
edge_break_mm = 0.0
thickness_mm = 20.0
[face.frame]
origin_mm = [0.0, 0.0, 20.0]
along = [1.0, 0.0, 0.0]
across = [0.0, 1.0, 0.0]
out = [0.0, 0.0, 1.0]
"""
OWN = '''from sim.hands.strategy import begin, go_on, strategy


@strategy("my-way")
def my_way(hand):
    """As break-up-late, in a file of one's own."""
    sight = yield from begin()
    yield from go_on(sight, hand)


@strategy("wrong-way")
def wrong_way(hand):
    """Yields what is no command."""
    sight = yield from begin()
    yield "scrape it all"
'''


@pytest.fixture
def coupon(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "coupon.toml").write_text(COUPON)
    return ("--face", "coupon.toml", "--workers", "1", "--target", "spots_mean=5,spots_lowest=1,bearing_pct=3")


def test_the_list_tells_every_strategy_with_its_doc_line(told, capsys):
    listed = told("--list")
    assert {"every-mark", "hard-first", "break-up-early", "break-up-late", "break-up-never", "bands", "pads-first",
            "heavy-film", "thin-film", "no-stone", "one-way", "fly-cut", "fly-cut-out-of-tram", "cup-grind",
            "rough-only", "fine-only"} <= {one["name"] for one in listed["strategies"]}  # fmt: skip
    assert all(one["doc"].endswith(".") for one in listed["strategies"])
    assert main([COMMAND, "--list"]) == 0
    out = capsys.readouterr().out
    assert ":film_um=8" in out
    assert "--vary start-error=A:B:STEP" in out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "name a strategy or more: every-mark, "),
        (("fly",), "strategy must be one of every-mark, "),
        (("heavy-film:film=99",), "heavy-film: film_um must be in [2, 20] µm, got 99.0"),
        (("heavy-film:blade=2",), "heavy-film takes film_um, got 'blade'"),
        (("heavy-film:film",), "options of heavy-film must be NAME=NUMBER"),
        (("one-way", "one-way"), "each strategy must be named once"),
        (("bands",), "bands needs a part with a face held to another: give --part FILE"),
        (("one-way", "--runs", "0"), "--runs must be 1 to 100000, got 0"),
        (("one-way", "--hours", "nan"), "--hours"),
        (("one-way", "--vary", "start-error=20:10:5"), "--vary start-error must run from A up to B"),
        (("one-way", "--vary", "luck=1:2:1"), "--vary must be NAME=A:B:STEP, or NAME=A, with NAME one of start-error"),
        (("one-way", "--vary", "wedge=5"), "--vary wedge needs a part"),
        (("one-way", "--target", "spots=3"), "--target takes bearing_flatness_um, "),
        (("one-way", "--target", "none.toml"), "none.toml: a TOML file with limits is wanted"),
        (("one-way", "--face", "coupon.toml:side"), "has the faces top, got 'side'"),
        (("one-way", "--own", "none.py"), "none.py"),
        (("one-way", "--cluster", "tcp://127.0.0.1:1", "--workers", "2"), "not allowed with"),
        (("--job", "one-way@1", "--json"), "--resume and --job need --out DIR"),
        (("--resume", "--out", "nothing"), "comparison.json"),
    ],
)  # fmt: skip
def test_what_cannot_be_compared_is_refused_in_one_line(refused, coupon, words, says):
    assert says in refused(*words)


def test_a_comparison_is_kept_told_gone_on_with_and_any_trial_of_it_is_a_job(told, coupon, capsys):
    asked = ("every-mark", "thin-film:film=2", *coupon, "--runs", "2", "--out", "cmp")
    one = told(*asked)
    assert set(one["strategies"]) == {"every-mark", "thin-film:film_um=2"}
    for name in ("hours", "rounds", "strokes"):
        assert set(one["strategies"]["every-mark"][name]) == {"median", "p10", "p90"}
    chance = one["strategies"]["every-mark"]["chance_met"]
    assert chance["low"] <= chance["value"] <= chance["high"]
    assert [(pair["a"], pair["b"]) for pair in one["pairs"]] == [("every-mark", "thin-film:film_um=2")]
    assert set(one["pairs"][0]["hours_difference"]) == {"median", "low", "high"}
    assert one["trials"] == 4

    with open("cmp/trials.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["strategy"], row["seed"]) for row in rows[:2]] == [("every-mark", "1"), ("thin-film:film_um=2", "1")]
    hours = [float(row["hours"]) for row in rows if row["strategy"] == "every-mark"]
    assert one["strategies"]["every-mark"]["hours"]["median"] == pytest.approx(sum(hours) / 2)

    with open("cmp/outcomes.jsonl", "r+b") as file:
        lines = file.read().splitlines(keepends=True)
        file.truncate(sum(map(len, lines[:3])) + 7)  # killed in the fourth
    before = Path("cmp/trials.csv").read_text()
    assert main([COMMAND, "--resume", "--out", "cmp", "--workers", "1"]) == 0
    out = capsys.readouterr().out
    assert "4 of 4 trials" in out
    assert "this line is damaged" in out
    assert Path("cmp/trials.csv").read_text() == before

    job = told("--job", "every-mark@2", "--out", "cmp")
    session = Session.load(job["job"])
    row = next(row for row in rows if row["strategy"] == "every-mark" and row["seed"] == "2")
    assert session.job.strokes == int(row["strokes"])
    assert job["hours"] == float(row["hours"])


@pytest.mark.slow
def test_what_is_varied_is_told_for_each_value_and_where_it_crosses(told, coupon):
    one = told("every-mark", "fly-cut", *coupon, "--runs", "1", "--rounds", "8", "--vary", "start-error=10:30:20")
    assert [found["value"] for found in one["varied"]["values"]] == [10.0, 30.0]
    assert one["varied"]["crossings"][0]["pairs"] == 1
    assert one["trials"] == 4


@pytest.mark.slow
def test_a_file_of_ones_own_is_run_and_what_fails_in_it_is_told_with_its_line(coupon, capsys, tmp_path):
    (tmp_path / "mine.py").write_text(OWN)
    words = [COMMAND, "my-way", "wrong-way", "break-up-late", *coupon, "--own", "mine.py", "--runs", "1", "--out", "o"]
    try:
        assert main(words) == 0
        assert "wrong-way" in capsys.readouterr().out
    finally:
        for name in ("my-way", "wrong-way"):
            comparison.STRATEGIES.pop(name, None)
    with open("o/trials.csv", newline="") as file:
        mine, wrong, late = csv.DictReader(file)
    assert "mine.py:15: a strategy must yield commands, got 'scrape it all'" in wrong["fault"]
    assert {k: v for k, v in mine.items() if k != "strategy"} == {k: v for k, v in late.items() if k != "strategy"}
    assert "mine.py" in Path("o/report.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_ctrl_c_keeps_what_is_done_and_says_how_to_go_on(coupon, capsys, monkeypatch):
    def stopped(trials, workers, on_outcome):
        run_here(trials[:1], workers, on_outcome)
        raise KeyboardInterrupt

    monkeypatch.setattr(comparison, "run_here", stopped)
    assert main([COMMAND, "every-mark", *coupon, "--runs", "2", "--rounds", "2", "--out", "cmp"]) == 130
    out, err = capsys.readouterr()
    assert err == "flatwright: stopped: 1 of 2 trials are kept; go on with: flatwright compare --resume --out cmp\n"
    assert "1 of 2 trials" in out
    assert len(Path("cmp/outcomes.jsonl").read_bytes().splitlines()) == 1
    assert json.loads(Path("cmp/comparison.json").read_text())["runs"] == 2
