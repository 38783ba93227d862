"""Commands as data: each is documented, survives JSON, and says what stands in its way without ever raising."""

import dataclasses
import json
import math

import pytest

from sim.errors import BadParam
from sim.model.part import FaceShape, Frame, PartShape, Tolerance
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.process import bluing
from sim.shop.commands import COMMANDS, BlueFace, RollFilm, Scrape, SpotFace, as_data, from_data, perform
from sim.shop.job import JobStart, begin_job
from sim.shop.partwork import SpotUpright, TakeFace

STROKES = ((100, 100, 900, 400, 900), (900, 100, 100, 400, 500))
SAMPLES = {
    "Scrape": {"strokes": STROKES},
    "SpotFace": {"along": (0.6, 0.8), "hands": ((3.0, 4.0, 20.0),), "x_mm": 3.0, "y_mm": 4.0},
    "SweepFace": {"margin_mm": 2.0},
    "RollFilm": {"weight_um": 2.5, "applicator": "rag"},
}
NEVER_ALLOWED = (
    math.nan,
    math.inf,
    -math.inf,
    "x",
    "",
    10**400,
    True,
    [],
    {},
    object(),
    ((),),
    (("a",) * 5,) * 2,
    ((math.nan,) * 5,),
    ((1.5,) * 5,),
    ((10**30,) * 5,),
    (None,),
    (("a", "b", "c"),),
    ((math.nan,) * 3,),
)
every_command = pytest.mark.parametrize("kind", COMMANDS.values(), ids=COMMANDS)


@pytest.fixture(scope="module")
def start():
    """A block of three small faces: foot, top over it, side square to it."""
    face = Start(length_mm=10.0, width_mm=8.0)
    faces = (
        FaceShape("foot", face, Frame((0.0, 8.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))),
        FaceShape("top", face, Frame((0.0, 0.0, 12.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))),
        FaceShape("side", face, Frame((10.0, -1.0, 2.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))),
    )
    asked = Tolerance("parallelism", "top", "foot"), Tolerance("perpendicularity", "side", "foot")
    return JobStart(plate=PlateMake(length_mm=30.0, width_mm=25.0),
                    part=PartShape("block", 4.0, (5.0, 4.0, 6.0), faces, asked))


@pytest.fixture(scope="module")
def job(start):
    return begin_job(start)


def sample(kind):
    return kind(**SAMPLES.get(kind.__name__, {}))


@every_command
def test_a_command_says_what_it_does(kind):
    assert kind.__doc__
    assert not kind.__doc__.startswith(kind.__name__ + "(")  # what a dataclass writes by itself


@every_command
def test_a_command_survives_json(kind):
    command = sample(kind)
    assert from_data(json.loads(json.dumps(as_data(command)))) == command


@every_command
def test_a_sample_of_each_command_is_possible_and_acts(kind, job):
    own = job.copy()
    perform(RollFilm(), own)
    if kind is SpotUpright:
        perform(TakeFace("side"), own)
    assert sample(kind).problems(own) == []
    before = own.clock_s
    perform(sample(kind), own)
    assert own.clock_s == before + sample(kind).takes_s(own)


@every_command
@pytest.mark.parametrize("nonsense", NEVER_ALLOWED, ids=lambda value: repr(value)[:20])
def test_nonsense_in_any_field_is_told_in_one_line(kind, nonsense, job):
    for field in dataclasses.fields(kind):
        problems = dataclasses.replace(sample(kind), **{field.name: nonsense}).problems(job)
        assert problems, field.name
        assert all(field.name.rstrip("s") in line and "\n" not in line and len(line) < 250 for line in problems)


@pytest.mark.parametrize(
    ("data", "line"),
    [
        ({"do": "Polish"}, "do must be one of"),
        ({"do": ["Scrape"]}, "do must be one of"),
        ({}, "do must be one of"),
        ({"do": "WipeFace", "with": "rag"}, "WipeFace takes nothing, got ['with']"),
        ({"do": "LetSoak", "minutes": "ten"}, "LetSoak.minutes must be of the kind of 30.0, got 'ten'"),
        ({"do": "LetSoak", "minutes": True}, "LetSoak.minutes must be"),
        ({"do": "LetSoak", "minutes": None}, "LetSoak.minutes must be"),
        ({"do": "Scrape", "strokes": {}}, "Scrape.strokes must be"),
    ],
)
def test_data_of_no_command_is_refused(data, line):
    with pytest.raises(BadParam) as refused:
        from_data(data)
    assert line in str(refused.value)


@pytest.mark.parametrize(
    "bad",
    [
        (0, 0, 10, 0, 500),
        (0, 0, 20001, 0, 500),
        (0, 0, 100, 0, -1),
        (0, 0, 100, 0, 9001),
        (0, 0, 100, 0),
        (0, 0, 1.0, 0, 5),
        (2_000_000, 0, 2_000_100, 0, 5),
        (2**62, 0, 2**62, 0, 5),
        (10**40, 0, 1, 1, 1),
        "12345",
        None,
    ],
)
def test_the_first_stroke_that_is_not_possible_is_named(bad, job):
    (line,) = Scrape("fine", (*STROKES, bad, bad)).problems(job)
    assert line.startswith("stroke 2 must be")


def test_strokes_at_the_limits_that_are_allowed_can_be_made(job):
    own = job.copy()
    for length in (11, 19_999):
        command = Scrape("fine", ((3, 7, 3 + length, 7, 0), (13, 7, 13, 7 + length, 9000)), care=0.5, ramp_mm=0.05)
        assert command.problems(own) == []
        perform(command, own)


def test_a_face_must_lie_over_the_plate_with_one_row_of_cells_at_least(job):
    for x, y in ((0.25 - 10.0, 0.25 - 8.0), (30.0 - 0.25, 25.0 - 0.25)):
        assert SpotFace(x, y).problems(job) == []
    for x, y, name in ((-10.0, 0.0, "x_mm"), (30.0, 0.0, "x_mm"), (0.0, -8.0, "y_mm"), (0.0, 25.0, "y_mm")):
        (line,) = SpotFace(x, y).problems(job)
        assert line.startswith(f"{name} must be in [")


@pytest.mark.parametrize("turn_deg", [90, -180, 360.0, 179.9])
def test_a_face_lies_straight_or_end_for_end_and_no_other_way(turn_deg, job):
    assert SpotFace(3.0, 4.0, turn_deg=0).problems(job) == SpotFace(3.0, 4.0, turn_deg=180).problems(job) == []
    (line,) = SpotFace(3.0, 4.0, turn_deg=turn_deg).problems(job)
    assert line == f"turn_deg must be 0 or 180 deg, got {turn_deg}"


@pytest.mark.parametrize("method", ["plate", "part"])
def test_spotting_at_180_degrees_is_a_turned_rub(method, job):
    own = job.copy()
    perform(RollFilm() if method == "plate" else BlueFace(), own)
    face, plate, material = own.face.copy(), own.plate.copy(), own.start.material
    perform(SpotFace(3.0, 4.0, 6.0, method=method, turn_deg=180), own)
    print_face = bluing.spot_face if method == "plate" else bluing.rub_blued_face
    shop = {"body": own.body, "compliance": material.compliance, "blue": material.blue}
    print_face(face, plate, bluing.Rub(3.0, 4.0, 6.0, turned=True), **shop)
    assert (own.face.blue_um == face.blue_um).all()
    assert (own.plate.film_um == plate.film_um).all()
    assert (own.plate.error_um == plate.error_um).all()


def test_a_plate_larger_than_the_memory_is_refused():
    with pytest.raises(BadParam, match="at most 20,000,000 cells"):
        JobStart(face=Start(pitch_mm=0.05), plate=PlateMake(length_mm=1000.0, width_mm=1000.0))
