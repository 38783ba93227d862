"""The job file: what is sealed, what is refused, and that no bytes at all raise anything but one clear line."""

import dataclasses
import json
import zipfile
import zlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import sim
from sim.errors import BadFile, BadParam, CannotWrite, ShopError
from sim.model.film import Blue
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.shop import logbook, store
from sim.shop.commands import BreakEdges, HoneBlade, LetSoak, RollFilm, WipePlate
from sim.shop.job import JobStart, Material
from sim.shop.logbook import Logbook
from sim.shop.session import Session, replay
from sim.shop.starts import start_from_data
from sim.shop.store import read_limited, write_new

TINY = JobStart(face=Start(length_mm=5.0, width_mm=5.0), plate=PlateMake(length_mm=20.0, width_mm=20.0), seed=7)


def sealed(*entries):
    """A job file as a forger would write it: every checksum right, by the plain definition."""
    above, lines = b"", []
    for entry in entries:
        body = json.dumps(entry).encode()
        above += body
        lines.append(body[:-1] + b',"crc":"%08x"}\n' % zlib.crc32(above))
    return b"".join(lines)


def header(**changes):
    head = json.loads(Logbook.begin(TINY).lines[0])
    del head["crc"]
    return {**head, **changes}


@pytest.fixture(scope="module")
def tiny_bytes():
    session = Session.begin(TINY)
    for command in (RollFilm(), HoneBlade(), LetSoak(3.0), WipePlate()):
        session.do(command)
    session.undo(2)
    session.do(BreakEdges())
    session._fingerprint_now()
    return session._book.data()


def test_every_line_carries_the_checksum_of_all_above_and_itself(tiny_bytes):
    entries = [json.loads(line) for line in tiny_bytes.splitlines()]
    assert [list(entry)[-1] for entry in entries] == ["crc"] * len(entries)
    for entry in entries:
        del entry["crc"]
    compact = [json.dumps(entry, separators=(",", ":")).encode() for entry in entries]
    told = [int(line[-10:-2], 16) for line in tiny_bytes.splitlines()]
    assert told == [zlib.crc32(b"".join(compact[: n + 1])) for n in range(len(compact))]


def test_the_header_tells_format_physics_versions_and_the_whole_start(tiny_bytes):
    head = json.loads(tiny_bytes.splitlines()[0])
    assert (head["format"], head["physics"]) == (1, sim.PHYSICS)
    assert set(head["versions"]) == {"flatwright", "numpy", "numba", "python"}
    assert head["start"]["seed"] == 7
    assert head["start"] == json.loads(json.dumps(dataclasses.asdict(TINY)))


def test_a_start_survives_json_with_its_cutouts():
    start = JobStart(
        face=Start(kind="planed", cutouts=((20.0, 10.0, 8.0, 8.0), (40.0, 20.0, 12.0, 6.0))),
        material=Material(blue=Blue(opacity_um=0.3)),
        seed=2**62,
    )
    assert start_from_data(json.loads(json.dumps(dataclasses.asdict(start)))) == start


@pytest.mark.parametrize(
    ("keys", "value", "line"),
    [
        (("face", "lenght_mm"), 60.0, "start.face takes length_mm"),
        (("face", "length_mm"), "60", "start.face.length_mm must be of the kind of 160.0, got '60'"),
        (("face", "length_mm"), True, "start.face.length_mm must be"),
        (("face", "length_mm"), 1e9, "Start.length_mm must be in [5, 600] mm, got 1000000000.0"),
        (("face", "length_mm"), 10**400, "start.face"),
        (("face", "kind"), "polished", "Start.kind must be one of"),
        (("face", "cutouts"), [[1, 2, 3]], "start.face.cutouts must hold x, y, length, width in mm, got [1, 2, 3]"),
        (("face", "cutouts"), [[1, 2, 3, "4"]], "start.face.cutouts must hold"),
        (("face", "cutouts"), "none", "start.face.cutouts must be a list"),
        (("material", "blue", "opacity_um"), [0.3], "start.material.blue.opacity_um must be"),
        (("material", "iron"), None, "start.material.iron must be an object, got None"),
        (("seed",), -1, "seed must be a whole number from 0 to 2^63 - 1, got -1"),
        (("seed",), 1.0, "start.seed must be"),
    ],
)
def test_a_start_that_is_not_allowed_names_its_key(keys, value, line, tmp_path):
    data = json.loads(json.dumps(dataclasses.asdict(TINY)))
    inner = data
    for key in keys[:-1]:
        inner = inner[key]
    inner[keys[-1]] = value
    with pytest.raises(BadParam) as refused:
        start_from_data(data)
    assert line in str(refused.value)
    path = tmp_path / "forged.job"
    path.write_bytes(sealed(header(start=data)))
    with pytest.raises(BadFile) as refused:
        Session.load(path)
    assert str(refused.value).startswith(f"{path}:1: start")


@pytest.mark.parametrize(
    ("entry", "line"),
    [
        ({"do": "Polish"}, "do must be one of"),
        ({"do": "LetSoak", "minutes": "3"}, "LetSoak.minutes must be"),
        ({"do": "LetSoak", "minutes": 3.0, "with": 1}, "LetSoak takes minutes"),
        ({"do": "LetSoak", "minutes": -3.0}, "LetSoak: minutes must be in (0, 10000], got -3.0"),
        ({"do": "RollFilm", "weight_um": None}, "RollFilm: there is no blue on the plate"),
        ({"undo": 2}, "undo must be from 1 to the 1 commands that stand, got 2"),
        ({"undo": True}, "undo must be"),
        ({"undo": 1, "why": 2}, "this line must have undo, got"),
        ({"round": 1, "sha256": "00"}, "sha256 must be 64 hexadecimal digits"),
        ({"round": -1, "sha256": "0" * 64}, "round must be a whole number"),
        ({"physics": 0, "versions": {}}, "physics must be a whole number from 1, got 0"),
        ({"physics": 1, "versions": []}, "versions must name"),
        ({"note": "hello"}, "this line must have physics, versions, got 'note'"),
    ],
)
def test_a_line_with_a_right_checksum_and_a_wrong_content_is_named(entry, line, tmp_path):
    path = tmp_path / "forged.job"
    path.write_bytes(sealed(header(), {"do": "WipeFace"}, entry))
    for opened in (Session.load, replay):
        with pytest.raises(BadFile) as refused:
            opened(path)
        assert str(refused.value).startswith(f"{path}:3: {line}")


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"", "must be a job file of flatwright, got an empty file"),
        (b"\n", "must be a job file of flatwright, got another file"),
        (b"x_mm,y_mm,z_um\n1,2,3\n", "must be a job file of flatwright, got another file"),
        (bytes(range(256)) * 40, "must be a job file of flatwright, got another file"),
        (b"PK\x03\x04" + bytes(200), "must be a packed job, got a zip that cannot be read"),
        (sealed({"job": "other"}), "must be a job file of flatwright"),
        (sealed(header(format=2)), "format must be 1 for this version of flatwright, got 2"),
        (sealed(header(extra=1)), "this line must have job, format, physics, versions, start"),
        (b"[" * 100_000 + b',"crc":"00000000"}\n', "must be a job file"),
    ],
)
def test_what_is_no_job_file_is_told_in_one_line(data, line, tmp_path):
    path = tmp_path / "a.job"
    path.write_bytes(data)
    for opened in (Session.load, replay):
        with pytest.raises(BadFile) as refused:
            opened(path)
        assert line in str(refused.value)
        assert str(path) in str(refused.value)
        assert "\n" not in str(refused.value)


def test_missing_folders_devices_and_huge_files_are_told(tmp_path, monkeypatch):
    with pytest.raises(BadFile, match="no such file"):
        Session.load(tmp_path / "none.job")
    with pytest.raises(BadFile, match="must be a file, got a folder"):
        Session.load(tmp_path)
    with pytest.raises(BadFile, match="must be a plain file"):
        Session.load(Path("/dev/zero"))
    monkeypatch.setattr(logbook, "MOST_BYTES", 1_000_000)
    (tmp_path / "huge.job").write_bytes(bytes(1_500_000))
    with pytest.raises(BadFile, match="at most 1 MB are read, got 2 MB"):
        Session.load(tmp_path / "huge.job")


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize(
    "names",
    [
        ["../a.job"],
        ["/a.job"],
        ["b/a.job"],
        ["b\\a.job"],
        ["a.job", "b.job"],
        ["a.txt"],
        [],
        ["a.job", "b.job.npz"],
        ["a.job", "a.job"],
        ["a.job", "a.job.npz", "c"],
    ],
)
def test_a_packed_job_holds_a_job_and_nothing_else(names, tmp_path, tiny_bytes):
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w") as box:
        for name in names:
            box.writestr(name, tiny_bytes)
    with pytest.raises(BadFile, match=r"a\.zip"):
        Session.load(path)


def test_a_zip_that_swells_is_stopped_at_the_limit(tmp_path, monkeypatch):
    monkeypatch.setattr(store, "MOST_BYTES", 1_000_000)
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as box:
        box.writestr("a.job", bytes(50_000_000))
    with pytest.raises(BadFile, match="at most 1 MB"):
        Session.load(path)


def test_a_file_is_written_whole_or_not_at_all(tmp_path):
    path = tmp_path / "a"
    write_new(path, b"one")
    with pytest.raises(CannotWrite, match="is there already"):
        write_new(path, b"two")
    assert path.read_bytes() == b"one"
    write_new(path, b"two", force=True)
    assert read_limited(path, 10) == b"two"
    for bad in (tmp_path / "none" / "a", tmp_path, Path("a\0b")):
        with pytest.raises(CannotWrite):
            write_new(bad, b"three", force=True)
    assert [one.name for one in tmp_path.iterdir()] == ["a"]


def said(act, path):
    """What an act says of a file: an error, or its notes."""
    try:
        return act(path).notes
    except ShopError as error:
        return [str(error)]


def faults(path, data):
    """What is said of a file beyond one line that names it, by opening it and by running it again."""
    path.write_bytes(data)
    told = [said(act, path) for act in (Session.load, replay)]
    return [lines for lines in told if len(lines) > 1
            or not all(line.startswith(f"{path}:") and "\n" not in line for line in lines)]  # fmt: skip


FUZZ = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@FUZZ
@given(data=st.binary(max_size=400))
def test_random_bytes_open_or_are_refused_in_one_line(data, tmp_path):
    assert faults(tmp_path / "a.job", data) == []


@FUZZ
@given(at=st.integers(0, 4000), gone=st.integers(0, 50), put=st.binary(max_size=20))
def test_a_random_edit_opens_up_to_the_last_good_line_or_is_refused_in_one_line(at, gone, put, tmp_path, tiny_bytes):
    at = at % len(tiny_bytes)
    assert faults(tmp_path / "a.job", tiny_bytes[:at] + put + tiny_bytes[at + gone :]) == []


JSONS = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=12,
)


@FUZZ
@given(name=st.sampled_from(["Scrape", "SpotFace", "RollFilm", "StoneFace"]), data=st.data())
def test_a_forged_command_is_done_or_refused_in_one_line(name, data, tmp_path):
    kind = logbook.from_data({"do": name})
    field = data.draw(st.sampled_from([f.name for f in dataclasses.fields(kind)]))
    assert faults(tmp_path / "a.job", sealed(header(), {"do": name, field: data.draw(JSONS)})) == []
