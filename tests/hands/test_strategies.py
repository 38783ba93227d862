"""Every registered way of working: what it must say, what it may see, and that it does the same again."""

from dataclasses import asdict, fields, replace

import numpy as np
import pytest

from sim.errors import BadParam
from sim.hands.skill import HANDS
from sim.hands.strategy import STRATEGIES, known, strategy
from sim.model.plate import PlateMake
from sim.model.start import COUPON, Start
from sim.params import param
from sim.process.machining import machine_face
from sim.shop.commands import BreakEdges, Command, RollFilm, Scrape, SpotFace, StoneFace, perform
from sim.shop.job import JobStart, begin_job
from sim.shop.luck import luck
from sim.shop.partwork import RecutFace, SweepFace, TakeFace
from sim.shop.sight import look
from tests.hands.test_autopilot_sight import SEEN, veiled
from tests.hands.test_bands_sight import BLOCK

ROUNDS = 6
PLATE = PlateMake(length_mm=120.0, width_mm=100.0)
every = pytest.mark.parametrize("way", STRATEGIES.values(), ids=STRATEGIES)


def begun(way, seed=1, **start):
    """A coupon of sharp edges; for what works by heights a block whose top leans, with its top in hand."""
    if way.needs_heights:
        job = begin_job(JobStart(plate=PLATE, part=BLOCK, seed=seed))
        perform(TakeFace("top"), job)
        return job
    return begin_job(JobStart(replace(COUPON, edge_break_mm=0.0, **start), PLATE, seed=seed))


def worked(way, see=look, rounds=ROUNDS, hand="skilled", seed=1, **options):
    """Every command of some rounds by a hand that is shown what `see` makes of the job."""
    job, done = begun(way, seed), []
    work = way.work(HANDS[hand], **way.chosen(**options))
    command = next(work)
    while job.round < rounds or not isinstance(command, SpotFace):
        assert isinstance(command, Command)
        assert not command.problems(job)
        perform(command, job)
        done.append(command)
        command = work.send(see(job))
    work.close()
    return done


@pytest.fixture(scope="module")
def commands():
    """Commands of each strategy, made once."""
    made = {}

    def of(name):
        if name not in made:
            made[name] = worked(STRATEGIES[name])
        return made[name]

    return of


def of_kind(done, kind):
    return [command for command in done if isinstance(command, kind)]


# ---------------------------------------------------------------- the contract


@every
def test_a_strategy_says_what_it_does_and_its_options_can_be_chosen(way):
    assert way.doc.endswith(".")
    assert 20 < len(way.doc) <= 110
    for name, option in way.options.items():
        low, high = option.metadata["allowed"]
        assert low <= option.default <= high
        assert option.metadata["doc"]
        assert option.metadata["ref"]
        assert option.metadata["unit"].partition("/")[0] in name.split("_"), "its name carries its unit"
        assert way.chosen(**{name: low})[name] == low
        assert way.chosen(**{name[:3]: high})[name] == high
        with pytest.raises(BadParam, match=f"{way.name}: {name} must be in"):
            way.chosen(**{name: high + 1.0})
    with pytest.raises(BadParam, match=f"{way.name} takes .*, got 'colour'"):
        way.chosen(colour=1.0)


@every
def test_it_sees_what_a_person_sees_and_does_the_same_again(way, commands):
    """The second run is behind a veil: alike means that nothing of the truth was read, and that nothing is random."""
    blind = worked(way, lambda job: look(veiled(job, SEEN)))
    assert blind == commands(way.name)
    assert of_kind(blind, Scrape)
    assert len(of_kind(blind, SpotFace)) == ROUNDS


@every
def test_it_is_another_job_on_another_seed(way, commands):
    assert worked(way, rounds=2, seed=2) != commands(way.name)[: len(worked(way, rounds=2))]


def test_no_two_strategies_do_the_same(commands):
    """On a coupon; late and never part when the blue is even, which six rounds do not reach."""
    plain = [name for name, way in STRATEGIES.items() if not way.needs_heights]
    late = {"break-up-late", "break-up-never", "every-mark", "hard-first", "break-up-early"}
    first = {name: tuple(commands(name)) for name in plain}
    alike = {frozenset((a, b)) for a in plain for b in plain if a < b and first[a] == first[b]}
    assert all(pair <= late for pair in alike), alike
    heights = [tuple(commands(name)) for name, way in STRATEGIES.items() if way.needs_heights]
    assert len(set(heights)) == len(heights)


def test_each_does_what_its_doc_line_says(commands):
    assert {command.weight_um for command in of_kind(commands("heavy-film"), RollFilm)} == {8.0}
    assert max(command.weight_um for command in of_kind(commands("thin-film"), RollFilm)) <= 3.0
    assert not of_kind(commands("no-stone"), StoneFace)
    assert not of_kind(commands("no-edge-break"), BreakEdges)
    assert of_kind(commands("break-up-late"), BreakEdges)
    assert {command.blade for command in of_kind(commands("rough-only"), Scrape)} == {"rough"}
    assert of_kind(commands("fine-only"), Scrape)[0].blade == "fine"
    assert not of_kind(commands("blue-alone"), SweepFace)
    assert of_kind(commands("bands"), SweepFace)
    assert of_kind(commands("pads-first"), SweepFace)
    for name in ("fly-cut", "fly-cut-out-of-tram", "cup-grind"):
        assert isinstance(commands(name)[0], RecutFace)
    good, bad = (commands(name)[0].tram_along_um_per_100mm for name in ("fly-cut", "fly-cut-out-of-tram"))
    assert (good, bad) == (10.0, pytest.approx(66.667, abs=0.001))
    assert commands("cup-grind")[0] != commands("fly-cut")[0]


def lanes_turn(done):
    """Mean direction of the strokes of each scrape, degrees from 0 to 180."""
    found = []
    for command in of_kind(done, Scrape):
        x0, y0, x1, y1, _ = np.array(command.strokes, float).T
        twice = 2.0 * np.arctan2(y1 - y0, x1 - x0)
        found.append(0.5 * np.degrees(np.arctan2(np.sin(twice).sum(), np.cos(twice).sum())) % 180.0)
    return np.array(found)


def test_one_way_is_one_direction_and_the_others_cross(commands):
    assert np.ptp(lanes_turn(commands("one-way"))) < 10.0
    assert np.ptp(lanes_turn(commands("break-up-late"))) > 80.0


def test_an_option_gets_to_the_work():
    assert {one.weight_um for one in of_kind(worked(STRATEGIES["heavy-film"], rounds=1, film=5.0), RollFilm)} == {5.0}
    assert worked(STRATEGIES["fly-cut"], rounds=1, depth=200.0)[0].depth_um == 200.0


def test_a_strategy_must_be_a_generator_with_a_doc_line_and_a_plain_free_name():
    def mute(hand):
        yield

    def done(hand):
        """A doc line."""

    def fine(hand):
        """A doc line."""
        yield

    for name, work, words in (("mine", mute, "got no doc line"), ("mine", done, "yields nothing"),
                              ("My own", fine, "small letters"), ("bands", fine, "the name bands is taken already")):
        with pytest.raises(BadParam, match=words):
            strategy(name, film_um=param(1.0, "um", (0.0, 2.0), "film", "from memory"))(work)
    assert "mine" not in STRATEGIES
    assert STRATEGIES["bands"].work is not fine
    with pytest.raises(BadParam, match=r"strategy must be one of every-mark, .*, got 'mine'"):
        known(["mine"])
    assert known() == list(STRATEGIES.values())


# ---------------------------------------------------------------- edges that are broken can be seen


def test_whether_edges_came_broken_can_be_seen_of_each_face():
    assert not look(begun(STRATEGIES["every-mark"])).edges_broken
    assert look(begin_job(JobStart(COUPON, PLATE))).edges_broken
    faces = BLOCK.faces
    sharp = replace(BLOCK, faces=(faces[0], replace(faces[1], start=replace(faces[1].start, edge_break_mm=0.0))))
    job = begin_job(JobStart(plate=PLATE, part=sharp))
    assert look(job).edges_broken
    perform(TakeFace("top"), job)
    assert not look(job).edges_broken


def test_nothing_is_broken_before_it_was_looked_at():
    first = [next(way.work(HANDS["skilled"], **way.chosen())) for way in STRATEGIES.values()]
    assert not of_kind(first, BreakEdges)


def test_broken_edges_are_left_alone():
    job = begin_job(JobStart(COUPON, PLATE))
    work = STRATEGIES["break-up-late"].work(HANDS["skilled"])
    command, done = next(work), []
    while job.round < 1:
        perform(command, job)
        done.append(command)
        command = work.send(look(job))
    assert not of_kind(done, BreakEdges)


# ---------------------------------------------------------------- the hand that learns


def test_the_learning_hand_goes_from_beginner_to_trained():
    learner, first, last = HANDS["learning"], HANDS["beginner"], HANDS["trained"]
    assert asdict(learner.at(0)) == asdict(first)
    half = learner.at(round(learner.half_rounds))
    for one in fields(first):
        a, b = getattr(first, one.name), getattr(last, one.name)
        assert getattr(half, one.name) == pytest.approx(0.5 * (a + b))
        at = [getattr(learner.at(n), one.name) for n in range(0, 400, 20)]
        steps = np.diff(at)
        assert (steps * np.sign(b - a) > 0.0).all() if a != b else np.abs(steps).max() < 1e-12
        assert getattr(learner.at(1_000_000), one.name) == pytest.approx(b, rel=1e-3)
    assert HANDS["skilled"].at(500) is HANDS["skilled"]


def test_the_learner_is_a_beginner_until_the_first_print(commands):
    way = STRATEGIES["break-up-late"]
    learner, beginner = worked(way, hand="learning", rounds=3), worked(way, hand="beginner", rounds=3)
    spots = [k for k, command in enumerate(learner) if isinstance(command, SpotFace)]
    assert learner[: spots[0] + 1] == beginner[: spots[0] + 1], "the first print is read as a beginner reads it"
    assert learner[spots[0] + 1 : spots[1]] == beginner[spots[0] + 1 : spots[1]], "and scraped so"
    assert learner[spots[1] : spots[2]] != beginner[spots[1] : spots[2]], "from the second on he is better"
    assert learner[spots[1]].read_s < beginner[spots[1]].read_s == 120.0


# ---------------------------------------------------------------- a start that is out by so much


def grown(error_um, kind="rough-milled", seed=4):
    start = Start(length_mm=80.0, width_mm=60.0, edge_break_mm=0.0, kind=kind, error_um=error_um)
    return machine_face(start, luck(seed, "start"))


@pytest.mark.parametrize("kind", ["rough-milled", "surface-ground", "casting"])
def test_the_error_of_a_start_scales_its_form_and_nothing_else(kind):
    """Cusps and skin of two errors are the same bits but for rounding, so forms differ as the errors do."""
    plain, ten, forty = (grown(um, kind) for um in (0.0, 10.0, 40.0))
    form = (forty.height_um - ten.height_um) / 30.0  # of range 1
    assert np.ptp(form) == pytest.approx(1.0, abs=1e-9)
    rest = ten.height_um - 10.0 * form
    share = np.polyfit(form.ravel(), (plain.height_um - rest).ravel(), 1)[0]
    np.testing.assert_allclose(plain.height_um - share * form, rest, rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(grown(80.0, kind).height_um - 80.0 * form, rest, rtol=0.0, atol=1e-9)
    assert np.ptp(rest) < np.ptp(plain.height_um)


def test_no_error_leaves_the_face_bit_for_bit():
    """A start as it was written before errors could be scaled has none: the same face."""
    assert Start().error_um == 0.0
    same = machine_face(Start(length_mm=80.0, width_mm=60.0, edge_break_mm=0.0), luck(4, "start"))
    for name in ("height_um", "burr_um", "iron"):
        assert getattr(grown(0.0), name).tobytes() == getattr(same, name).tobytes()


def test_a_form_added_by_amount_is_scaled_with_the_rest():
    bowed = machine_face(Start(length_mm=60.0, width_mm=40.0, kind="true", bow_x_um=3.0, error_um=20.0,
                               edge_break_mm=0.0), luck(1, "start"))  # fmt: skip
    assert np.ptp(bowed.height_um) == pytest.approx(20.0, abs=1e-9)
