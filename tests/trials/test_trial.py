"""One trial: the same again, within its budget, and whatever a strategy does wrong is told in a line."""

import math
import time
from dataclasses import replace

import pytest

from sim.errors import BadFile, BadParam, CannotWrite
from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.hands.stand import scrape_part
from sim.hands.strategy import STRATEGIES
from sim.model.part import Tolerance
from sim.shop.logbook import fingerprint
from sim.shop.session import Session, replay
from sim.target import Target
from sim.trials.trial import CURVE, MOST_ACTS, MOST_IDLE, run_trial
from tests.hands.test_bands_sight import BLOCK
from tests.trials.conftest import BODY_LINE, PLATE, bits, coupon_trial

EASY = Target(bearing_flatness_um=1000.0, spots_mean=0.0, spots_lowest=0.0, bearing_pct=0.0)


def test_equal_trials_have_equal_outcomes_and_others_not():
    one, again = run_trial(coupon_trial()), run_trial(coupon_trial())
    assert bits([one]) == bits([again])
    assert one.seconds > 0.0
    assert not one.fault
    film = coupon_trial("heavy-film", options=(("film_um", 5.0),))
    for other in (coupon_trial(seed=2), coupon_trial(hand="beginner"), film):
        assert replace(run_trial(other), strategy="", seed=0) != replace(one, strategy="", seed=0)


def test_an_outcome_is_the_figures_of_the_job_it_came_from():
    trial = coupon_trial(rounds=4)
    found, logs = run_trial(trial), []
    session = Session.begin(trial.start)
    way = STRATEGIES["break-up-late"]
    scrape_part(session, HANDS["skilled"], rounds=4, on_round=lambda _, log: logs.append(log),
                work=lambda face: way.work(HANDS["skilled"]))  # fmt: skip
    job = session.job
    assert (found.rounds, found.strokes, found.off_marks) == (job.round, job.strokes, job.strokes_off_marks)
    assert (found.hours, found.removed_mm3) == (job.clock_s / 3600.0, job.removed_mm3)
    for name in ("bearing_flatness_um", "spots_mean", "spots_lowest", "bearing_pct"):
        assert getattr(found, name) == getattr(logs[-1], name)
    assert found.curve == tuple(tuple(float(getattr(log, name)) for name in CURVE) for log in logs)
    assert logs[-1].picture.size > 1, "pictures are left out of trials alone"
    assert math.isnan(found.against_um)
    assert not found.met


def test_a_part_is_met_when_every_face_is_and_told_by_its_poorest():
    asked = Tolerance("parallelism", "top", "foot", 15.0)
    start = replace(coupon_trial().start, part=replace(BLOCK, tolerances=(asked,)))
    met = run_trial(replace(coupon_trial("bands"), start=start, target=EASY, rounds=20))
    assert met.met
    assert 0.0 < met.against_um <= 15.0
    short = run_trial(replace(coupon_trial("bands"), start=start, target=EASY, rounds=1))
    assert not short.met, "the top leans by 20 um"
    assert short.against_um > 15.0


def test_it_ends_when_the_target_is_met_or_rounds_or_hours_are_used_up():
    easy = run_trial(coupon_trial(target=EASY, rounds=9))
    assert (easy.met, easy.rounds, len(easy.curve)) == (True, 1, 1)
    assert run_trial(coupon_trial(rounds=3)).rounds == 3
    whole = run_trial(coupon_trial(rounds=6))
    hours = 0.5 * whole.hours
    halved = run_trial(coupon_trial(rounds=6, hours=hours))
    assert 1 <= halved.rounds < 6
    assert not halved.met
    assert hours <= halved.hours < hours + 0.25, "one act over at most"
    assert halved.curve == whole.curve[: len(halved.curve)]
    none = run_trial(coupon_trial(hours=0.001))
    assert none.curve == ()
    assert math.isnan(none.bearing_flatness_um)
    assert not none.fault
    assert not none.met


def test_a_label_has_the_options_and_a_key_no_nan():
    trial = coupon_trial("fly-cut", 7, options=(("depth_um", 200.0), ("tram_um_per_100mm", 10.0)))
    assert trial.label == "fly-cut:depth_um=200,tram_um_per_100mm=10"
    assert trial.key == (trial.label, 0.0, 7)
    found = run_trial(replace(trial, varied=20.0, rounds=1))
    assert found.key == (trial.label, 20.0, 7)


def test_a_trial_that_cannot_be_is_an_error():
    with pytest.raises(BadParam, match="strategy must be one of"):
        run_trial(coupon_trial("mine"))
    with pytest.raises(BadParam, match="heavy-film: film_um must be in"):
        run_trial(coupon_trial("heavy-film", options=(("film", 500.0),)))
    with pytest.raises(BadFile, match=r"gone\.py"):
        run_trial(coupon_trial(own="gone.py"))


# ---------------------------------------------------------------- what a strategy may do wrong

LINE = f"own.py:{BODY_LINE}: "
FAULTS = {
    "raises": ("1 / 0", "own.py:{line}: ZeroDivisionError: division by zero"),
    "raises in two lines": ("raise ValueError('one\\n two')", "own.py:{line}: ValueError: one two"),
    "asserts": ("assert sight.round == 9", "own.py:{line}: AssertionError"),
    "looks for the truth": ("sight.height_um", "own.py:{line}: AttributeError: 'Sight' object has no attribute"),
    "leaves": ("sys.exit(2)", "own.py:{line}: SystemExit: 2"),
    "nothing": ("yield", "own.py:{line}: a strategy must yield commands, got None"),
    "a word": ("yield 'scrape'", "own.py:{line}: a strategy must yield commands, got 'scrape'"),
    "a dict": ("yield {'command': 'WipeFace'}", "own.py:{line}: a strategy must yield commands, got {{'command'"),
    "a class": ("yield WipeFace", "own.py:{line}: a strategy must yield commands, got <class"),
    "refused": ("yield RollFilm(-3.0)", "own.py:{line}: weight_um must be in (0, 50] um, got -3.0"),
    "refused below": ("def part():\n    yield RollFilm('x')\nyield from part()",
                      "own.py:{second}: weight_um must be in (0, 50] um, got 'x'"),
    "scrapes for ever": ("while True: yield Scrape('fine', ((500, 500, 1000, 500, 900),), pace_per_min=300.0)",
                         f"own.py:{{line}}: a strategy must print within {MOST_ACTS} acts, got none in round 1"),
    "wipes for ever": ("while True: yield WipeFace()",
                       f"own.py:{{line}}: a strategy must print or scrape within {MOST_IDLE} acts, got neither in "),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_told_in_one_line_with_the_line_of_the_file(own, fault):
    body, words = FAULTS[fault]
    found = run_trial(coupon_trial("mine", own=own(body)))
    assert found.fault.startswith(words.format(line=BODY_LINE, second=BODY_LINE + 1))
    assert "\n" not in found.fault
    assert found.fault.strip()
    assert not found.met
    assert (found.strategy, found.seed) == ("mine", 1)


@pytest.mark.parametrize("body", ["while True: pass", "while True: time.sleep(0.02)",
                                  "while True:\n    try:\n        sight.round / 0\n    except Exception: pass"])
def test_a_loop_without_a_yield_is_over_at_its_deadline(own, body):
    began = time.monotonic()
    found = run_trial(coupon_trial("mine", own=own(body), deadline_s=1.0))
    assert found.fault.startswith("own.py:")
    assert found.fault.endswith("took longer than 1 s")
    assert BODY_LINE <= int(found.fault.split(":")[1]) < BODY_LINE + 4
    assert time.monotonic() - began < 30.0
    assert not run_trial(coupon_trial(deadline_s=300.0)).fault, "the next is not touched"


def test_a_strategy_that_returns_at_once_has_done_nothing(own):
    found = run_trial(coupon_trial("mine", own=own("return")))
    assert not found.fault
    assert not found.met
    assert (found.rounds, found.strokes) == (1, 0)


def test_the_words_of_a_fault_are_never_endless(own):
    assert len(run_trial(coupon_trial("mine", own=own("raise ValueError('x' * 1_000_000)"))).fault) < 500
    assert len(run_trial(coupon_trial("other", own=own("yield 'x' * 1_000_000", "other"))).fault) < 200


def test_the_line_is_told_for_a_path_that_is_relative_too(own, tmp_path, monkeypatch):
    own("1 / 0")
    monkeypatch.chdir(tmp_path)
    assert run_trial(coupon_trial("mine", own="own.py")).fault.startswith(LINE)


def test_ctrl_c_is_no_fault(own):
    with pytest.raises(KeyboardInterrupt):
        run_trial(coupon_trial("mine", own=own("raise KeyboardInterrupt")))


# ---------------------------------------------------------------- its job


def test_the_job_of_a_trial_can_be_opened_and_is_the_trial(tmp_path):
    path, trial = tmp_path / "one.job", coupon_trial(rounds=3)
    assert bits([run_trial(trial, path)]) == bits([run_trial(trial)])
    other = Session.begin(trial.start)
    scrape_part(other, HANDS["skilled"], rounds=3, work=lambda face: STRATEGIES["break-up-late"].work(HANDS["skilled"]))
    loaded = Session.load(path)
    assert fingerprint(loaded.job) == fingerprint(other.job)
    assert loaded.job.clock_s == other.job.clock_s
    assert not loaded.notes
    again = replay(path)
    assert again.ok
    assert again.whole
    assert again.fingerprints_checked >= 3
    assert follow_the_blue(HANDS["skilled"]).send(None) is not None


@pytest.mark.parametrize("body", ["1 / 0", "yield RollFilm(-3.0)", "while True: pass"])
def test_the_job_of_a_trial_that_failed_can_be_opened_too(own, tmp_path, body):
    path = tmp_path / "failed.job"
    assert run_trial(coupon_trial("mine", own=own(body), deadline_s=1.0), path).fault
    again = replay(path)
    assert again.whole
    assert again.job.round == 1


def test_a_job_that_cannot_be_written_is_no_fault_of_the_strategy(tmp_path):
    with pytest.raises(CannotWrite):
        run_trial(coupon_trial(), tmp_path / "no" / "one.job")
    (tmp_path / "one.job").write_text("taken")
    with pytest.raises(CannotWrite):
        run_trial(coupon_trial(), tmp_path / "one.job")


def test_the_plate_is_the_one_that_was_asked_for():
    assert coupon_trial().start.plate == PLATE
