"""Part files: what is right is read as it stands, and every fault is told with its line."""

import dataclasses
import json
import re

import pytest

from sim.errors import BadFile, BadFiles, BadParam
from sim.intake.drawing import read_part
from sim.intake.keyed import key_lines
from sim.model.part import Frame
from sim.model.start import Start
from sim.paths import assets
from sim.shop.starts import part_from_data
from sim.target import Target

STAND = assets() / "parts" / "stand.toml"
TEXT = STAND.read_text(encoding="utf-8")


def line_of(text, needle):
    return text[: text.index(needle)].count("\n") + 1


def faults(tmp_path, text):
    path = tmp_path / "part.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadFiles) as refused:
        read_part(path)
    return [fault.removeprefix(f"{path}:") for fault in refused.value.faults]


def test_the_foot_of_the_stand_is_the_face_of_the_demo():
    part = read_part(STAND)
    foot = part.face("foot")
    assert foot.start == Start()
    assert foot.target == Target()
    assert foot.thickness_mm == 25.0
    assert [face.name for face in part.faces] == ["foot", "top", "side"]
    assert [face.frame.out for face in part.faces] == [(0, 0, -1), (0, 0, 1), (1, 0, 0)]
    assert part.centre_mm == (80.0, 55.0, 48.0)
    assert foot.frame.face_mm(part.centre_mm) == (80.0, 55.0)


def test_each_kind_of_cutout_becomes_its_row():
    part = read_part(STAND)
    assert part.face("top").start.cutouts == ((78.0, 45.0, 44.0, 30.0, 4.0), (28.0, 45.0, 8.0, 50.0))
    assert part.face("side").start.cutouts == ((20, 30, 9, 9), (90, 30, 9, 9), (55, 30, 1.5, 60, 0))


def test_the_block_in_the_readme_is_read(tmp_path):
    block = re.search(r"```toml\n(.*?)```", (STAND.parent / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    path = tmp_path / "block.toml"
    path.write_text(block[1], encoding="utf-8")
    assert [face.name for face in read_part(path).faces] == ["base", "wall"]


TOP = 'origin_mm = [20.0, 10.0, 150.0]\nalong = [1.0, 0.0, 0.0]\nacross = [0.0, 1.0, 0.0]\nout = [0.0, 0.0, 1.0]'
SEAM = 'kind = "seam"\nalong = "y"\nat_mm = 55.0'
PARALLEL = 'kind = "parallelism"\nface = "top"\ndatum = "foot"'
ALONE = [
    ("mass_kg = 4.0", "mass = 4.0", "mass = 4.0", "mass: units missing: mass must be written mass_kg"),
    ("length_mm = 160.0", "length = 160", "length = 160",
     "face[1].length: units missing: length must be written length_mm"),
    ("length_mm = 160.0", "length_mm = 0", "length_mm = 0", "must be in [5, 600] mm, got 0"),
    ("length_mm = 160.0", 'length_mm = "160"', 'length_mm = "160"',
     "face[1].length_mm: must be a number without quotes in [5, 600] mm, got '160'"),
    ("length_mm = 160.0", "length_mm = true", "length_mm = true", "face[1].length_mm: must be in [5, 600]"),
    ("mass_kg = 4.0", "mass_kg = nan", "mass_kg", "mass_kg: must be in [0.01, 1000] kg, got nan"),
    ("mass_kg = 4.0", "mass_kg = 4.0\ncolour = 3", "colour", "colour: must be one of name, title"),
    ("mass_kg = 4.0", "mass_kg = 4.0\npitch_mm = 9", "pitch_mm", "pitch_mm: must be in [0.05, 2] mm, got 9"),
    ("mass_kg = 4.0", "", "# A stand", "mass_kg must be given, got nothing"),
    ("centre_mm = [80.0, 55.0, 48.0]", "centre_mm = [1, 2]", "centre_mm", "centre_mm: must be three numbers"),
    ("centre_mm = [80.0,", "centre_mm = [-3.0,", "centre_mm", "centre_mm: the part would tip on 'foot'"),
    ("55.0, 48.0]", "55.0, -1.0]", "centre_mm", "centre_mm: the centre of gravity must lie behind the face 'foot'"),
    ('name = "stand"', 'name = "../stand"', "name =", "name: must be 1 to 40 letters"),
    ('kind = "rough-milled"', 'kind = "polished"', 'kind = "polished"', "face[1].kind: must be one of true"),
    (TOP, TOP.replace("along = [1.0", "along = [1.1"), "along = [1.1",
     "face[2].frame.along: must be of length 1, got 1.1"),
    (TOP, TOP.replace("across = [0.0,", "across = [0.6,").replace("1.0, 0.0]", "0.8, 0.0]"), "across = [0.6",
     "face[2].frame.across: along and across must be at right angles, got a cosine of 0.6"),
    (TOP, TOP.replace("0.0, 1.0]", "0.0, -1.0]"), "out = [0.0, 0.0, -1.0]\n\n[face.target]",
     "face[2].frame.out: a left-handed frame: out must be along x across = [0, 0, 1], got [0.0, 0.0, -1.0]"),
    (TOP, TOP.replace("out = [0.0, 0.0, 1.0]", ""), "[face.frame]\n" + TOP[:20], "face[2].frame: out must be given"),
    ("x_mm = 78.0", "x_mm = 110.0", "[[face.cutout]]", "face[2].cutout[1]: a cutout must lie on its face of 120 x 90"),
    ("corner_radius_mm = 4.0", "corner_radius_mm = 16", "[[face.cutout]]", "a corner radius must be from 0 to half"),
    ("diameter_mm = 9.0", "diameter_mm = 0", "diameter_mm = 0", "face[3].cutout[1].diameter_mm: must be"),
    ("diameter_mm = 9.0", "diameter = 9", "diameter = 9", "units missing: diameter must be written diameter_mm"),
    ("turned = true", "turned = 1", "turned = 1", "face[2].cutout[2].turned: must be true or false, got 1"),
    (SEAM, SEAM.replace('"y"', '"z"'), 'along = "z"', "face[3].cutout[3].along: must be one of x, y, got 'z'"),
    (SEAM, SEAM.replace("seam", "crack"), 'kind = "crack"', "must be one of hole, slot, pocket, seam, got 'crack'"),
    (PARALLEL, PARALLEL.replace('"top"', '"lid"'), 'face = "lid"',
     "tolerance[1].face: must be one of foot, top, side, got 'lid'"),
    (PARALLEL, PARALLEL.replace('"top"', '"foot"'), 'datum = "foot"', "tolerance[1].datum: must be another face"),
    (PARALLEL, PARALLEL.replace('"top"', '"side"'), 'kind = "parallelism"', "faces that look away from each other"),
    (PARALLEL, PARALLEL.replace("parallelism", "perpendicularity"),
     'kind = "perpendicularity"', "faces that are square"),
    ("limit_um = 5.0", "limit_um = 0", "limit_um = 0", "tolerance[1].limit_um: must be in [0.1, 1000] µm, got 0"),
    ("150.0]", "0.0]", "[face.frame]\norigin_mm = [20", "there must be iron between faces back to back, got 0 mm"),
    ("[face.target]", "[face.aim]", "[face.aim]", "face[2].aim: must be one of name, note"),
    ("spots_mean = 16.0", "spots_mean = -1", "spots_mean = -1", "face[2].target.spots_mean: must be"),
    ("mass_kg = 4.0", "mass_lb = 9", "mass_lb", "mass_lb: another unit: mass_lb must be written mass_kg"),
    ("limit_um = 5.0", "limit_mm = 0.005", "limit_mm", "limit_mm: another unit: limit_mm must be written limit_um"),
    ("limit_um = 5.0", 'limit_um = "5"', 'limit_um = "5"',
     "limit_um: must be a number without quotes in [0.1, 1000] µm, got '5'"),
]


@pytest.mark.parametrize(("old", "new", "at", "told"), ALONE, ids=[f"{n}" for n in range(len(ALONE))])
def test_each_fault_alone_is_told_once_with_its_line(old, new, at, told, tmp_path):
    text = TEXT.replace(old, new, 1)
    assert text != TEXT
    found = faults(tmp_path, text)
    assert len(found) == 1
    assert told in found[0]
    assert found[0].startswith(f"{line_of(text, at)}: ")


OFF = ("x_mm = 28.0", "x_mm = 118.0", "face[2].cutout[2]: a cutout must lie on its face")
HIDERS = [
    (TOP, TOP.replace("0.0, 1.0]", "0.0, -1.0]"), "face[2].frame.out: a left-handed frame"),
    (TOP, TOP.replace("20.0, 10.0", "'20', 10.0"), "face[2].frame.origin_mm: must be three numbers"),
    (TOP, TOP.replace("origin_mm", "origin"), "face[2].frame.origin: units missing"),
    (TOP, TOP.replace("along =", "allong ="), "face[2].frame: along must be given"),
    (TOP, TOP.replace("[1.0, 0.0, 0.0]", "[1.1, 0.0, 0.0]"), "face[2].frame.along: must be of length 1"),
    ('name = "top"', 'name = "top"\ncolour = 3', "face[2].colour: must be one of name"),
    ('name = "top"', 'nmae = "top"', "face[2]: name must be given"),
    ("x_mm = 78.0", 'x_mm = "78"', "face[2].cutout[1].x_mm: must be a number without quotes"),
    ("x_mm = 28.0", "colour = 3\nx_mm = 28.0", "face[2].cutout[2].colour: must be one of kind"),
]


@pytest.mark.parametrize(("old", "new", "told"), HIDERS, ids=[f"{n}" for n in range(len(HIDERS))])
def test_no_fault_of_a_face_hides_another_or_brings_one_that_is_not_there(old, new, told, tmp_path):
    assert old in TEXT
    text = TEXT.replace(old, new, 1)
    assert text != TEXT
    alone = faults(tmp_path, text)
    assert len(alone) == 1 + ("allong" in text or "nmae" in text)  # what it is called, and what is not there
    found = faults(tmp_path, text.replace(OFF[0], OFF[1], 1))
    assert len(found) == len(alone) + 1
    assert any(told in fault for fault in found)
    assert any(OFF[2] in fault for fault in found)


def test_directions_that_are_known_are_judged_though_the_origin_is_not(tmp_path):
    text = TEXT.replace(TOP, TOP.replace("150.0]", "'high']")).replace(PARALLEL, PARALLEL.replace('"top"', '"side"'))
    origin, way = faults(tmp_path, text)
    assert "face[2].frame.origin_mm: must be three numbers" in origin
    assert "tolerance[1].kind: parallelism needs faces that look away" in way


@pytest.mark.parametrize("key", ["kind", "face", "datum"])
def test_a_tolerance_that_lacks_a_key_is_not_judged_by_another(key, tmp_path):
    square = 'kind = "perpendicularity"\nface = "side"\ndatum = "foot"'
    assert square in TEXT
    text = TEXT.replace(square, "\n".join(line for line in square.splitlines() if not line.startswith(key)))
    (fault,) = faults(tmp_path, text)
    assert f"tolerance[2]: {key} must be given" in fault


def test_faces_that_overlap_in_one_plane_are_refused_and_faces_that_touch_are_not(tmp_path):
    more = "\n[[face]]\nname = 'rest'\nlength_mm = 20\nwidth_mm = 20\n[face.frame]\norigin_mm = [{}, 10, 150.5]\n"
    more += "along = [0.6, 0.8, 0]\nacross = [-0.8, 0.6, 0]\nout = [0, 0, 1]\n"
    found = faults(tmp_path, TEXT + more.format(140))
    assert len(found) == 1
    assert "face[4].frame: faces must not overlap, got 'top' and 'rest' in one plane" in found[0]
    path = tmp_path / "part.toml"
    path.write_text(TEXT + more.format(156), encoding="utf-8")  # its lowest x is 156 - 0.8 * 20 = 140
    assert read_part(path).face("rest").frame == Frame((156, 10, 150.5), (0.6, 0.8, 0), (-0.8, 0.6, 0))


def test_two_faces_of_one_name_are_refused(tmp_path):
    text = TEXT.replace('"top"', '"foot"')
    found = faults(tmp_path, text)
    at = line_of(text, 'name = "foot"\nnote')
    assert found[0] == f"{at}: face[2].name: every face must have its own name, got 'foot' again"


def test_a_face_without_a_name_is_no_choice_for_a_tolerance(tmp_path):
    found = faults(tmp_path, TEXT.replace('name = "top"', 'name = ""').replace('face = "top"', 'face = "lid"'))
    assert any("face: must be one of foot, side, got 'lid'" in fault for fault in found)


def test_a_part_without_faces_is_refused(tmp_path):
    assert faults(tmp_path, "name='a'\nmass_kg=1\ncentre_mm=[0,0,0]\n") == ["1: face must be given, got nothing"]
    found = faults(tmp_path, "name='a'\nmass_kg=1\ncentre_mm=[0,0,0]\nface=3\n")
    assert found == ["4: face: must be a list of tables, got 3"]


def test_faults_are_told_all_at_once_in_the_order_of_the_file(tmp_path):
    text = TEXT
    changes = [("mass_kg = 4.0", "mass = 4.0"), ("length_mm = 160.0", "length_mm = 1"), ("x_mm = 78.0", "x_mm = 110.0"),
               ("diameter_mm = 9.0", "diameter_mm = -1"), ("limit_um = 4.0", "limit = 4")]
    for old, new in changes:
        text = text.replace(old, new, 1)
    found = faults(tmp_path, text)
    lines = [int(fault.split(":")[0]) for fault in found]
    assert lines == [line_of(text, at) for at in
                     ("mass = ", "length_mm = 1\n", "[[face.cutout]]", "diameter_mm = -1", "limit = 4")]


@pytest.mark.parametrize(("raw", "told"), [(b"name = 'a'\nmass_kg = = 3\n", ":2: must be TOML"),
                                           (b"name = 'a'\n\xff\n", ":2: must be UTF-8"),
                                           (b"[" * 5000, ":1: must be TOML")])
def test_what_is_no_toml_is_refused_with_its_line(raw, told, tmp_path):
    path = tmp_path / "part.toml"
    path.write_bytes(raw)
    with pytest.raises(BadFile, match=re.escape(f"{path}{told}")):
        read_part(path)


def test_a_key_in_a_long_text_is_not_taken_for_a_key():
    text = 'note = """\nmass_kg = 3\n"""\nmass_kg = 4\n[[a.b]]\nc = 1\n[[a.b]]\nc = 2\n'
    assert key_lines(text) == {("note",): 1, ("mass_kg",): 4, ("a", "b", 0): 5, ("a", "b", 0, "c"): 6,
                               ("a", "b", 1): 7, ("a", "b", 1, "c"): 8}


def test_a_part_survives_json():
    part = read_part(STAND)
    assert part_from_data(json.loads(json.dumps(dataclasses.asdict(part)))) == part


@pytest.mark.parametrize(("keys", "value", "told"), [
    (("mass_kg",), "4", "start.part.mass_kg must be of the kind of 4.0, got '4'"),
    (("mass_kg",), -1.0, "start.part.mass_kg: mass_kg must be in [0.01, 1000] kg, got -1.0"),
    (("centre_mm",), [1, 2], "start.part.centre_mm must be three numbers"),
    (("faces",), {}, "start.part.faces must be a list"),
    (("faces",), [], "start.part.faces: a part must have 1 to 50 faces, got 0"),
    (("faces", 0, "start", "length_mm"), 1.0, "start.part.faces[1].start: Start.length_mm must be in [5, 600]"),
    (("faces", 1, "frame", "along"), [0, 0, "1"], "start.part.faces[2].frame.along must be three numbers"),
    (("faces", 1, "frame", "along"), [2, 0, 0], "start.part.faces[2].frame.along: along must be of length 1"),
    (("faces", 1, "colour"), 1, "start.part.faces[2] takes name"),
    (("tolerances", 0, "kind"), "flat", "start.part.tolerances[1].kind: kind must be one of parallelism"),
    ((), None, "start.part must be an object"),
])  # fmt: skip
def test_part_data_that_is_not_allowed_names_its_key(keys, value, told):
    data = {"part": json.loads(json.dumps(dataclasses.asdict(read_part(STAND))))}
    inner, path = data, ("part", *keys)
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    with pytest.raises(BadParam, match=re.escape(told)):
        part_from_data(data["part"])
