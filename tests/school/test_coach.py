"""The coach: each bad habit brings out its rule, a skilled hand none; one remark a round, short, with its evidence."""

import itertools
import re

import numpy as np
import pytest

from sim.school.calls import mark_heights, seat_plane
from sim.school.coach import RULES, Coach, speaks
from sim.school.remark import Found, Rule, where
from sim.school.seen import Counted, Seen
from sim.shop.commands import Scrape, SpotFace, WipeFace, perform
from sim.shop.job import begin_job
from tests.school.habits import BOWED, HABITS, bad, good, work

# habit, its rule, the fault, and the rounds that bring it out
BAD = (
    ("heavy film", "heavy film", 1, 3),
    ("rings taken", "rings taken", 2, 7),
    ("long rub", "long rub", 3, 3),
    ("hands in the middle", "long rub", 3, 4),
    ("no stone", "no stone", 4, 3),
    ("one-sided print", "one-sided print", 5, 7),
    ("one way", "one way", 6, 3),
    ("rough too long", "rough too long", 7, 11),
    ("fine too early", "fine too early", 8, 4),
    ("edges left", "edges left", 9, 7),
    ("dull edge", "dull edge", 12, 2),
    ("abrupt ends", "abrupt ends", 13, 3),
    ("short ramps", "abrupt ends", 13, 2),
    ("same place", "same place", 18, 5),
    ("twice over", "twice over", 20, 2),
    ("off the blue", "off the blue", 20, 7),
    ("stoned too much", "stoned too much", 24, 2),
    ("best square", "best square", 25, 2),
)


@pytest.mark.parametrize(("habit", "rule", "fault", "rounds"), BAD)
def test_a_bad_habit_brings_out_its_rule(habit, rule, fault, rounds):
    spoken = bad(habit, 1, rounds).spoken(rule)
    assert spoken, "it said nothing of it"
    assert spoken[0].fault == fault
    assert not spoken[0].praise
    assert spoken[0].rounds
    assert spoken[0].at_stake_um > 0.0


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 3])
@pytest.mark.parametrize(("habit", "rule", "fault", "rounds"), BAD)
def test_a_bad_habit_brings_out_its_rule_on_other_coupons(habit, rule, fault, rounds, seed):
    assert [remark.fault for remark in bad(habit, seed, rounds).spoken(rule)][:1] == [fault]


@pytest.mark.parametrize("seed", [1, 2])
def test_a_skilled_hand_hears_of_no_fault(seed):
    told = good(seed, "skilled", 20)
    assert told.faults() == []
    assert len(told.said) == 20


@pytest.mark.slow
@pytest.mark.parametrize("bowed", [False, True])
@pytest.mark.parametrize("seed", range(1, 9))
def test_a_skilled_hand_hears_of_no_fault_on_other_coupons(seed, bowed):
    told = good(seed, "skilled", 24, bowed)
    assert told.faults() == []


def test_a_skilled_hand_that_counts_the_poorest_square_is_left_in_peace():
    assert work(1, 4, **HABITS["poorest square counted"]).faults() == []


def test_pale_marks_that_were_rightly_chosen_are_praised_where_they_lay():
    praises = [(number, remark) for number, remark in good(1, "skilled", 20).said if remark and remark.praise]
    assert praises
    number, remark = praises[0]
    assert remark.rounds == (number - 1, number)
    assert re.match(r"Those \d+ marks with bare middles were what the face stood on\.", remark.rungs[0])
    before = good(1, "skilled", 20).seen.rounds[number - 2]
    assert all(0.0 < x < 60.0 and 0.0 < y < 40.0 for x, y in remark.places_mm)
    near = [before.marked[max(0, int(4 * y) - 8) : int(4 * y) + 8, max(0, int(4 * x) - 8) : int(4 * x) + 8].any()
            for x, y in remark.places_mm]
    assert all(near)


def test_the_marks_that_are_praised_truly_stood_above_the_others():
    told = work(2, 6, hand="beginner")
    remark = next(remark for _, remark in told.said if remark and remark.praise)
    job = begin_job(told.session.job.start)
    for command in told.session.commands:
        perform(command, job)
        if job.round == remark.rounds[0]:
            break
    marks = mark_heights(told.seen.rounds[job.round - 1].marks, job.face.height_um, seat_plane(job.face, job.body))
    praised = {marks.at(x, y, 0.25) for x, y in remark.places_mm} - {None}
    others = [k for k in np.flatnonzero(marks.found.area_mm2 >= 0.3) if k not in praised]
    over_um = marks.height_um[sorted(praised)].mean() - marks.height_um[others].mean()
    print(f"{len(praised)} marks praised, {over_um:.1f} um above {len(others)} others")
    assert len(praised) >= 2
    assert over_um > 1.0


def test_praises_do_not_follow_each_other_closely():
    rounds = [number for number, remark in good(1, "beginner").said if remark and remark.praise]
    apart = [b - a for a, b in itertools.pairwise(rounds) if b > a]
    assert rounds
    assert min(apart, default=4) >= 4


def spoken():
    """Everything said on all coupons of these tests."""
    told = [bad(habit, 1, rounds) for habit, _, _, rounds in BAD] + [good(seed) for seed in (1, 2)]
    told.append(good(1, "beginner"))
    return [(one, number, remark) for one in told for number, remark in one.said if remark]


@pytest.mark.slow
def test_what_is_said_is_short_plain_and_rests_on_something():
    remarks = [remark for _, _, remark in spoken()]
    assert len(remarks) > 20
    for remark in remarks:
        assert len(remark.rungs) == 4
        assert all(0 < len(rung) <= 96 for rung in remark.rungs), remark.rungs
        text = " ".join(remark.rungs)
        assert "!" not in text
        assert not re.search(r"\b(great|wrong|bad|careless|nan)\b", text, re.I)
        assert "?" in remark.rungs[1]
        assert all(rung[-1] in ".?" for rung in remark.rungs)
        assert remark.rounds or remark.places_mm


def test_whatever_a_rule_would_say_is_short():
    told = [good(1).seen.rounds, bad("edges left", 1, 7).seen.rounds, bad("one-sided print", 1, 7).seen.rounds]
    found = [one.look(rounds[:n]) for rounds in told for n in range(1, len(rounds) + 1) for one in RULES]
    rungs = [rung for one in found if one is not None for rung in one.rungs]
    assert len(rungs) > 500
    assert max(len(rung) for rung in rungs) <= 96


def test_places_lie_on_the_face_and_rounds_are_rounds_that_were_made():
    for told, number, remark in spoken():
        assert all(-1.0 <= x <= 61.0 and -1.0 <= y <= 41.0 for x, y in remark.places_mm)
        assert set(remark.rounds) <= {one.number for one in told.seen.rounds}
        assert max(remark.rounds) == number


def test_the_same_rule_never_speaks_two_rounds_running_and_keeps_quiet_longer_each_time():
    heard = [number for number, remark in bad("no stone", 1, 14).said if remark and remark.rule == "no stone"]
    assert heard == [2, 4, 7, 12]


# ---------------------------------------------------------------- how it chooses, with rules made for the purpose


def rule(name, outs, stake=1.0, **more):
    """A rule whose figure is out of its band in the listed rounds."""
    def look(rounds):
        number = rounds[-1].number
        return Found(float(number), number in outs, stake, (name,) * 4, ((1.0, 1.0),), (number,))
    return Rule(name, 0, look, **more)


class UpTo(Seen):
    """The first rounds of a coupon."""

    def __init__(self, count):
        super().__init__()
        self.count = count

    @property
    def rounds(self):
        """The rounds so far."""
        return good(1).seen.rounds[: self.count]


def heard(*rules, rounds=8):
    coach, said = Coach(rules), []
    for count in range(1, rounds + 1):
        remark = coach.at_round(UpTo(count))
        said.append(remark.rule if remark else "")
    return said


def test_a_figure_must_leave_its_band_twice_running():
    assert heard(rule("one", {2, 4, 5, 7})) == ["", "", "", "", "one", "", "", ""]


def test_of_two_rules_the_one_with_more_at_stake_is_told_and_the_other_when_it_pauses():
    said = heard(rule("small", range(1, 9), 0.5), rule("large", range(1, 9), 4.0), rounds=5)
    assert said == ["", "large", "small", "large", "small"]


def test_praise_waits_for_a_round_without_fault():
    said = heard(rule("fault", {2, 3}), rule("praise", {3, 4}, praise=True, at_once=True), rounds=5)
    assert said == ["", "", "fault", "praise", ""]


def test_asked_twice_for_a_round_it_says_the_same():
    told = bad("no stone", 1, 3)
    last = told.said[-1][1]
    assert told.coach.at_round(told.seen) is last
    assert Coach().at_round(Seen()) is None


def test_a_round_that_was_taken_back_is_forgotten_with_what_was_said_of_it():
    told = work(1, 2, **HABITS["no stone"])
    assert told.said[-1][1].rule == "no stone"
    back = next(k for k, one in enumerate(reversed(told.session.commands)) if isinstance(one, SpotFace)) + 1
    told.seen.taken_back(back)
    assert told.coach.at_round(told.seen) is None
    assert set(told.coach.said) == {1}


def test_rules_have_names_of_their_own_and_carry_the_faults_of_the_list():
    assert len({one.name for one in RULES}) == len(RULES)
    assert {1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 13, 18, 20, 24, 25} <= {one.fault for one in RULES}


def test_a_rule_with_nothing_to_go_by_is_silent():
    for one in RULES:
        assert speaks(one, good(1).seen.rounds[:1]) is None or one.at_once


def test_places_are_told_with_y_upwards():
    one = good(1).seen.rounds[0]
    assert where((2.0, 38.0), one) == "the upper left corner"
    assert where((58.0, 2.0), one) == "the lower right corner"
    assert where((30.0, 38.0), one) == "the upper side"
    assert where((30.0, 20.0), one) == "the middle"


# ---------------------------------------------------------------- at the finish


def test_low_iron_that_was_worked_at_is_told_at_the_finish_with_its_place():
    told = work(1, 8)
    digging = tuple((950, 100 * y, 2050, 100 * y, 2000) for y in range(9, 22)) * 10
    for command in (Scrape("rough", digging), WipeFace()):
        told.session.do(command)
        told.seen.note(command, told.session)
    found = {one.rule: one for one in told.coach.at_finish(told.seen, told.session.job)}
    low = found["low iron taken"]
    (x, y), = low.places_mm
    assert abs(x - 15.0) <= 6.0
    assert abs(y - 15.0) <= 6.0
    assert low.at_stake_um > 1.0
    assert "times as many strokes" in low.rungs[2]
    assert all(len(rung) <= 96 for one in found.values() for rung in one.rungs)


def test_what_stands_at_the_finish_is_told_and_a_skilled_coupon_has_nothing_of_the_kind():
    crowned = work(1, 1, start=BOWED)
    found = {one.rule: one for one in crowned.coach.at_finish(crowned.seen, crowned.session.job)}
    (x, _), = found["left standing"].places_mm
    assert abs(x - 30.0) <= 12.0
    assert found["left standing"].at_stake_um > 3.0
    done = good(1, "skilled", 20)
    assert not {"left standing", "low iron taken"} & {
        one.rule for one in done.coach.at_finish(done.seen, done.session.job)}


def test_a_count_is_held_against_the_poorest_square_at_the_finish():
    told = work(1, 6)
    told.seen.counted(told.seen.rounds[-1].number, Counted(5.0, 5.0, 60.0, 20.0))
    found = [one for one in told.coach.at_finish(told.seen, told.session.job) if one.rule == "count"]
    assert found
    assert "60 spots" in found[0].rungs[0]
    assert found[0].fault == 25
    held = int(re.search(r"holds (\d+)", found[0].rungs[1])[1])
    told.seen.counted(told.seen.rounds[-1].number, Counted(5.0, 5.0, float(max(held, 1)), 20.0))
    assert "count" not in {one.rule for one in told.coach.at_finish(told.seen, told.session.job)}


def test_before_the_first_round_the_finish_says_nothing():
    assert Coach().at_finish(Seen(), good(1).session.job) == []
