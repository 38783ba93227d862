"""The page of a comparison: it tells what the summary holds, and claims nothing that the intervals do not."""

import io
import math
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from sim.hands.strategy import STRATEGIES
from sim.report import compare_words as words
from sim.report.compare_asked import command_lines
from sim.report.compare_page import ComparisonReport, comparison_page
from sim.report.compare_tables import comparison_tables
from sim.trials.comparison import Asked, Crossing, Summary, summary
from sim.trials.stats import Interval, Spread
from sim.trials.trial import Outcome
from tests.report.reading import Reader

HOSTILE = "<script>alert('x')</script>&\"$(touch x)"


def text_of(page):
    bare = re.sub(r"<style>.*?</style>|<wbr>", "", page, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", bare).split())


CURVE = tuple((0.5 * n, 20.0 / n, 2.0 * n, 1.0 * n, 1.0 * n) for n in range(1, 13))


def outcome(way, seed, hours, *, met=True, **more):
    given = {"varied": math.nan, "rounds": 12, "strokes": 2400, "removed_mm3": 101.5, "bearing_flatness_um": 1.25,
             "spots_mean": 24.5, "spots_lowest": 11.0, "bearing_pct": 13.5, "curve": CURVE, "seconds": 0.9} | more
    return Outcome(way, seed=seed, hours=float(hours), met=met, **given)


def told_of(outcomes, **more):
    names = tuple((name, ()) for name in dict.fromkeys(one.strategy for one in outcomes))
    asked = Asked(names, runs=len({one.seed for one in outcomes}), **more)
    return ComparisonReport(asked, outcomes, summary(outcomes), wall_s=30.0, workers=4)


def two_ways(longer_h=1.0, runs=20):
    rng = np.random.default_rng(5)
    face = rng.normal(8.0, 1.0, runs)
    return [one for n in range(runs) for one in (
        outcome("break-up-late", n + 1, face[n]),
        outcome("fly-cut", n + 1, face[n] + longer_h + rng.normal(0.0, 0.2)))]  # fmt: skip


@pytest.fixture
def no_charts(monkeypatch):
    monkeypatch.setattr("sim.report.figures.themed_svg", lambda draw, size_in, alt: "<svg></svg>")


@pytest.fixture(scope="module")
def page():
    outcomes = two_ways()
    outcomes[3] = replace(outcomes[3], met=False, hours=40.0)
    outcomes[7] = replace(outcomes[7], fault="ValueError: no luck", curve=())
    return comparison_page(told_of(outcomes))


def test_the_page_is_well_formed_and_asks_for_nothing_from_outside(page):
    read = Reader(page)
    assert not read.faults
    assert not read.open
    ids = [attrs["id"] for _, attrs in read.tags if "id" in attrs]
    assert len(ids) == len(set(ids)), "charts share an id: one would take the other's clip"
    assert not {tag for tag, _ in read.tags} & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for _, attrs in read.tags:
        assert all(attrs.get(name, "#").startswith("#") for name in ("src", "href", "xlink:href"))
    labels = [attrs["aria-label"] for tag, attrs in read.tags if tag == "svg"]
    assert len(labels) == 3 + 4  # hours, chance, differences; two figures over the rounds of each way
    assert len(set(labels)) == len(labels)


def test_charts_take_their_colours_from_the_style_sheet(page):
    from sim.report.figures import VARIABLES

    body = page[page.index("<body>"):]
    assert not [colour for colour in VARIABLES if colour in body]


def test_the_answer_comes_first_with_how_surely_and_how_much_longer(page):
    told = text_of(page)
    assert re.search(r"break-up-late got there soonest\. break-up-late: \d\.\d h in the median, met on 20 of 20 "
                     r"\(84–100 %\)\.", told)  # fmt: skip
    assert re.search(r"fly-cut: 0\.9 h more spent on the same faces, 95 % interval 0\.\d to 1\.\d; met on 18 of 19 "
                     r"\(75–99 %\), 1 trial failed\.", told)  # fmt: skip
    assert "Hours of a trial that was given up are those spent" in told


def test_nothing_is_claimed_where_the_interval_holds_nought(no_charts):
    report = told_of(two_ways(longer_h=0.07))
    hours = report.found.pairs[0].hours_difference
    assert hours.low < 0.0 < hours.high
    told = text_of(comparison_page(report))
    assert "Which way gets there soonest these runs cannot tell" in told
    assert "no difference in hours that these runs can tell, 95 % interval −0." in told
    assert "got there soonest" not in told
    assert " longer" not in told
    assert " shorter" not in told


def test_two_ways_that_are_the_same_are_told_apart_no_more_often_than_the_level_says():
    """The sign test behind the interval is at 4.1 % for 20 faces: 8 of 200, and two standard deviations are 6 more."""
    rng = np.random.default_rng(11)
    claims = 0
    for _ in range(200):
        hours = rng.gamma(9.0, 1.0, (20, 2))
        found = summary([outcome(way, n, hours[n, k]) for n in range(20) for k, way in enumerate(("a", "b"))])
        claims += "got there soonest" in words.headline(found)[0]
    assert 1 <= claims <= 14


def test_a_way_that_gives_up_early_is_never_called_the_soonest():
    """It spends two hours and hardly ever gets there; the other takes eight and does."""
    outcomes = [one for n in range(30) for one in (outcome("hasty", n, 2.0 + 0.01 * n, met=n < 3),
                                                   outcome("steady", n, 8.0 + 0.01 * n))]  # fmt: skip
    answer, more = words.headline(summary(outcomes))
    assert answer == "steady got there soonest."
    assert more[1].startswith("hasty: 6.0 h less spent on the same faces, 95 % interval 6.0 to 6.0; met on 3 of 30")


def test_sooner_on_most_faces_but_less_sure_is_no_claim():
    """Hours alone would say so; what was given up is not there yet."""
    outcomes = [one for n in range(20) for one in (outcome("quick", n, 4.0, met=n < 11),
                                                   outcome("sure", n, 6.0))]  # fmt: skip
    found = summary(outcomes)
    assert words.leading(found).strategy == "quick"
    assert found.pairs[0].hours_difference.high < 0.0
    assert words.headline(found)[0] == "Which way gets there soonest these runs cannot tell: quick or sure."


def test_every_figure_comes_from_the_summary(no_charts):
    """Numbers that no outcome holds are written into the summary; the page must tell them."""
    report = told_of(two_ways())
    spreads = {name: Spread(70.0 + n, 60.0 + n, 80.0 + n) for n, name in enumerate(report.found.strategies[0].figures)}
    first, second = report.found.strategies
    pair = replace(report.found.pairs[0], hours_difference=Interval(-3.3, -4.4, -2.2), a_sooner=17, b_sooner=2,
                   variance_ratio=0.1234, pairs=31)  # fmt: skip
    first = replace(first, figures=spreads, runs=40, chance_met=Interval(0.75, 0.61, 0.87))
    found = Summary((first, replace(second, figures=spreads)), (pair,), ())
    told = text_of(comparison_page(replace(report, found=found)))
    for n, digits in enumerate((1, 0, 0, 0, 2, 1, 0, 1, 1)):
        assert f"{70.0 + n:.{digits}f} {60.0 + n:.{digits}f}–{80.0 + n:.{digits}f}" in told
    assert "30 of 40 75 % (61–87 %)" in told
    assert "break-up-late fly-cut −3.3 −4.4 to −2.2 17 2 31 0.12" in told


def on_another_machine(report):
    return replace(report, outcomes=[replace(one, seconds=3.0) for one in report.outcomes], wall_s=99.0, workers=2,
                   cluster="tcp://there:8786", notes=("a line was cut off",))  # fmt: skip


def test_the_same_outcomes_make_the_same_page_byte_for_byte():
    report = told_of(two_ways(runs=7))
    first, second = (comparison_page(one, measured=False) for one in (report, on_another_machine(report)))
    assert "<svg" in first
    assert first == second


def test_what_was_measured_is_in_the_foot_alone(no_charts):
    report = told_of(two_ways())
    first, second = comparison_page(report), comparison_page(on_another_machine(report))
    assert first != second
    assert "a line was cut off" in second
    left = {re.sub(r"<footer>.*</footer>", "", one, flags=re.S)
            for one in (first, second, comparison_page(report, measured=False))}  # fmt: skip
    assert len(left) == 1


def test_the_foot_reckons_a_hundred_thousand_trials_from_the_processor_time(no_charts):
    outcomes = [replace(one, seconds=0.72 * (1.0 + n % 2)) for n, one in enumerate(two_ways())]  # mean 1.08 s
    outcomes[0] = replace(outcomes[0], seconds=0.0)  # its worker died: nothing was measured
    outcomes[1] = replace(outcomes[1], seconds=0.0)
    told = text_of(comparison_page(told_of(outcomes)))
    assert "A trial cost 1.08 s of one processor, in the mean of 38." in told
    assert "100,000 such trials would need 30.0 h on one core, 15.0 h on two and 7.5 h on 4, if" in told
    untold = [replace(one, seconds=0.0) for one in outcomes]
    assert "What a trial costs was not measured." in text_of(comparison_page(told_of(untold)))


def test_what_a_person_names_cannot_become_markup(monkeypatch):
    odd = HOSTILE + ":a=1"
    outcomes = [one for n in range(8) for one in (outcome(odd, n + 1, 3.0 + n), outcome("fly-cut", n + 1, 4.0 + n))]
    outcomes[0] = replace(outcomes[0], fault=HOSTILE)
    report = replace(told_of(outcomes, own=f"mine/{HOSTILE}.py".replace("</", "<")), docs={HOSTILE: HOSTILE},
                     cluster=HOSTILE, notes=(HOSTILE,))  # fmt: skip
    page = comparison_page(report)
    read = Reader(page)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert not read.faults
    assert not read.open
    make, see = command_lines(report, outcomes[0])
    import shlex

    assert shlex.split(make)[3] == f"{odd}@1"  # one word for the shell, whatever it holds
    assert len(shlex.split(see)) == 3


def test_failed_trials_are_told_with_their_fault_and_how_to_work_them_again(no_charts):
    outcomes = [replace(one, fault="own.py:7: ValueError: no luck") if one.seed == 3 else one for one in two_ways()]
    told = text_of(comparison_page(told_of(outcomes, own="/home/me/own.py")))
    assert "2 trials of 40 failed" in told
    assert ("fly-cut 3 own.py:7: ValueError: no luck flatwright compare --job fly-cut@3 --out DIR --own own.py") in told
    assert told.count("no luck") == 2
    many = [replace(one, fault="x") for one in two_ways(runs=40)]
    assert f"{80 - 50} more are in trials.csv" in text_of(comparison_page(told_of(many)))


def test_any_trial_can_be_seen_by_the_lines_that_are_told(no_charts):
    told = text_of(comparison_page(told_of(two_ways())))
    assert "flatwright compare --job STRATEGY@SEED --out DIR , then flatwright bench FILE.job" in told
    assert re.search(r"flatwright compare --job break-up-late@(\d+) --out DIR\s+"
                     r"flatwright bench DIR/break-up-late-\1\.job", told)  # fmt: skip
    assert words.named("fly-cut:depth_um=90", 7, 25.0) == "fly-cut:depth_um=90@7@25"
    assert words.job_file("fly-cut:depth_um=90@7@25") == "fly-cut-depth-um=90-7-25.job"


def test_what_was_asked_is_told(no_charts):
    told = text_of(comparison_page(told_of(two_ways(), hand="trained", rounds=33, hours=12.5)))
    for asked in ("length 160 mm, width 110 mm", "33 rounds of a face, 12.5 shop hours", "Seeds 1 to 20",
                  "Hand trained", "bearing flatness 2.5 µm, spots mean 20 1/in²", "from memory: 0.15 skilled",
                  "no estimate for a job", "The score decides when the target is met", STRATEGIES["fly-cut"].doc):
        assert asked in told


@pytest.mark.parametrize("outcomes", [
    [outcome("fly-cut", 1, 5.0)],
    [outcome("fly-cut", 1, 5.0, met=False)],
    [outcome("fly-cut", 1, 5.0), outcome("no-stone", 1, 5.0)],
    [outcome("fly-cut", 1, math.nan, fault="x", curve=()), outcome("no-stone", 1, math.nan, fault="x", curve=())],
    [outcome("fly-cut", n, 5.0 + n, curve=()) for n in range(4)],
    [outcome("fly-cut", n, 5.0 + n, curve=CURVE[:n]) for n in range(4)],
    [outcome("fly-cut", 1, 5.0), outcome("no-stone", 2, 5.0)],
    [outcome("fly-cut", 1, 0.0, met=False, bearing_flatness_um=math.nan, curve=((0.0, math.nan, 0.0, 0.0, 0.0),))],
])  # fmt: skip
def test_few_failed_or_empty_trials_make_a_page(outcomes):
    page = comparison_page(told_of(outcomes))
    read = Reader(page)
    assert not read.faults
    assert not re.search(r"\bnan\b|\binf\b", text_of(page))
    assert "got there soonest" not in page


def test_too_few_or_none_that_met_is_said():
    assert words.headline(summary([outcome("fly-cut", 1, 5.0, fault="x")]))[0].endswith("every trial failed.")
    none = [outcome(way, n, 5.0, met=False) for n in range(9) for way in ("a", "b")]
    assert words.headline(summary(none)) == ("None of these ways met the target.", [
        "a: met on 0 of 9 (0–30 %).", "b: met on 0 of 9 (0–30 %)."])  # fmt: skip
    few = [one for n in range(4) for one in (outcome("a", n, 5.0), outcome("b", n, 6.0))]
    answer, more = words.headline(summary(few))
    assert answer.startswith("Which way gets there soonest these runs cannot tell")
    assert "1.0 h longer in the median of 4 faces, too few for an interval" in more[1]


def test_a_way_whose_trials_all_failed_is_no_reason_for_a_claim():
    outcomes = [one for n in range(9) for one in (outcome("a", n, 5.0), outcome("b", n, math.nan, fault="x"))]
    answer, more = words.headline(summary(outcomes))
    assert answer == "Which way gets there soonest these runs cannot tell: a or b."
    assert more[1] == "b: every trial failed."


def test_what_pairing_did_is_told_as_measured():
    assert words.pairing(0.25, 40) == "narrowed: worth 4.0 times as many faces unpaired"
    assert words.pairing(0.9, 40) == words.pairing(1.2, 40) == "no gain or loss that these runs can tell"
    assert words.pairing(1.6, 40) == "widened: 0.62 times as many faces unpaired would do"
    assert words.pairing(math.nan, 40) == words.pairing(0.1, 2) == "too few faces, or nothing varies"


def test_an_interval_that_leaves_out_nought_is_never_rounded_onto_it():
    assert words.difference(Interval(0.5, 0.004, 0.9), 30) == (
        "0.500 h longer on the same faces, 95 % interval 0.004 to 0.900")
    assert words.difference(Interval(-0.5, -0.9, -0.2), 30) == (
        "0.5 h shorter on the same faces, 95 % interval 0.2 to 0.9")


def test_no_figure_and_no_name_is_cut_off_on_a_terminal_of_80_columns():
    ways = ("break-up-late", "fly-cut-out-of-tram")
    report = told_of([outcome(way, n, 8.25 + 0.1 * n + 9.0 * k, strokes=21_281, fault="x" if n == 0 else "")
                      for n in range(30) for k, way in enumerate(ways)])  # fmt: skip
    text = io.StringIO()
    console = Console(file=text, width=80, highlight=False)
    for one in comparison_tables(report.asked, report.found):
        console.print(one)
    lines = text.getvalue().splitlines()
    assert "…" not in text.getvalue()
    first = next(line for line in lines if "21,281" in line)
    assert first.split()[1:] == ["100", "88–100", "9.8", "8.6–10.9", "12", "21,281", "1.2", "11", "1"]
    names = "".join(line.split(" ")[0] for line in lines[lines.index(first) :])
    assert names.startswith("".join(ways))


def varied(hours_of_b):
    rng = np.random.default_rng(2)
    return [one for value, longer in hours_of_b.items() for n in range(12) for one in (
        outcome("a", n + 1, 5.0 + 0.1 * n, varied=value),
        outcome("b", n + 1, 5.0 + 0.1 * n + longer + rng.normal(0.0, 0.05), varied=value))]  # fmt: skip


def test_a_crossing_is_told_with_its_interval_and_who_is_ahead_on_either_side(no_charts):
    outcomes = varied({10.0: 1.0, 30.0: 0.4, 50.0: -0.4, 70.0: -1.0})
    told = text_of(comparison_page(told_of(outcomes, vary="start-error", values=(10.0, 30.0, 50.0, 70.0))))
    assert re.search(r"a and b cross at a start-error of (39|40|41) µm, 95 % interval \d\d to \d\d µm, 12 faces\. "
                     r"At 10 µm a takes fewer hours, at 70 µm b\.", told)  # fmt: skip
    assert "At 10 µm a got there soonest." in told
    assert "At 70 µm b got there soonest." in told
    assert "--job STRATEGY@SEED@VALUE" in told
    assert re.search(r"flatwright compare --job a@\d+@30 --out DIR", told)


def test_a_crossing_that_cannot_be_told_is_not_claimed():
    found = summary(varied({10.0: 0.0, 70.0: 0.0}))
    one = Crossing("a", "b", Interval(20.0, -math.inf, math.inf), 12)
    said = words.crossing_words(one, "start-error", (10.0, 70.0), found)
    assert "95 % interval below 10 to beyond 70 µm" in said
    assert said.endswith("Which of them is ahead at both ends these runs cannot tell.")
    none = Crossing("a", "b", Interval(math.nan, math.inf, math.inf), 12)
    assert words.crossing_words(none, "start-error", (10.0, 70.0), found) == (
        "a and b do not cross from 10 to 70 µm (12 faces).")


def test_a_varied_quantity_is_drawn_with_its_crossing():
    outcomes = varied({10.0: 1.0, 30.0: -1.0})
    page = comparison_page(told_of(outcomes, vary="start-error", values=(10.0, 30.0)))
    read = Reader(page)
    assert not read.faults
    ids = [attrs["id"] for _, attrs in read.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert re.search(r">cross at 20 \((19|20|21) to (19|20|21)\)<", page)


def test_a_dozen_ways_get_a_chart_each_and_all_pairs_in_a_table(monkeypatch):
    labels = []
    monkeypatch.setattr("sim.report.figures.themed_svg", lambda draw, size_in, alt: labels.append(alt) or "<svg></svg>")
    ways = [f"way-{n}" for n in range(12)]
    outcomes = [outcome(way, n, 5.0 + k + 0.1 * n) for n in range(7) for k, way in enumerate(ways)]
    page = comparison_page(told_of(outcomes))
    assert len(labels) == len(set(labels)) == 1 + 12 + 1 + 24
    assert "All 66 pairs as a table" in page
    assert "Of 66 intervals of differences about 3.3 miss the truth" in page


def test_a_trial_that_has_ended_keeps_its_last_figure_over_the_rounds():
    from sim.report.compare_figures import band

    found = band("a", [[8.0, 4.0], [8.0, 6.0, 2.0], [], [8.0, math.nan, 3.0]])
    assert found.median.tolist() == [8.0, 5.0, 3.0]
    assert found.p90[2] == pytest.approx(3.8)


def test_a_difference_that_holds_nought_is_drawn_hollow():
    from matplotlib.figure import Figure

    from sim.report.compare_figures import draw_differences
    from sim.report.figures import PAPER, RUST

    chart = Figure().subplots()
    draw_differences(chart, [("a", "b", Interval(1.0, 0.5, 1.5)), ("a", "c", Interval(0.1, -0.2, 0.4)),
                             ("b", "c", Interval(0.1, math.nan, math.nan))])  # fmt: skip
    dots = [line.get_markerfacecolor() for line in chart.get_lines() if line.get_marker() == "o"]
    assert dots == [RUST, PAPER, PAPER]


def test_the_modules_of_the_page_do_not_load_matplotlib():
    code = "import sys, sim.report.compare_page; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
