"""A part of several faces in the shop: chips and readings stay where they belong, doubts come with every cut."""

import json
import zlib

import numpy as np
import pytest

from sim.errors import Refused
from sim.hands.bands import taper_plan
from sim.hands.lanes import Lanes, strokes_over
from sim.hands.skill import HANDS, lay
from sim.measure.gauge import Indicator, reading_plane, stand_of
from sim.measure.orient import part_orientation
from sim.model.part import FaceShape, Frame, PartShape, Tolerance
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.shop.commands import BreakEdges, HoneBlade, RollFilm, Scrape, SpotFace, StoneFace, WipeFace, strokes_as_data
from sim.shop.job import JobStart, begin_job, in_doubt
from sim.shop.logbook import fingerprint
from sim.shop.luck import luck
from sim.shop.partwork import PushEnds, RecutFace, SpotUpright, SweepFace, TakeFace
from sim.shop.session import Session

GROUND = {"kind": "surface-ground", "edge_break_mm": 0.6}
WEDGE_UM = 20.0
REMOVAL_UM, PUSH_N = 1.0, 60.0  # what a light pass of the fine blade is thought to take
ASKED = Tolerance("parallelism", "top", "foot", 5.0), Tolerance("perpendicularity", "side", "foot", 5.0)
BLOCK = PartShape("block", 1.0, (30.0, 20.0, 25.0), (
    FaceShape("foot", Start(60.0, 40.0, **GROUND), Frame((0.0, 40.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))),
    FaceShape("top", Start(60.0, 40.0, **GROUND, wedge_x_um=WEDGE_UM),
              Frame((0.0, 0.0, 50.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))),
    FaceShape("side", Start(40.0, 50.0, **GROUND), Frame((60.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))),
), ASKED)  # fmt: skip
START = JobStart(plate=PlateMake(100.0, 80.0), part=BLOCK, seed=5)
STROKES = tuple((800, y, 1600, y, 3000) for y in range(800, 1600, 100))  # 8 to 16 mm each way


def begun(*commands) -> Session:
    session = Session.begin(START)
    for command in commands:
        session.do(command)
    return session


def same(one, other, but=()) -> None:
    a, b = one.arrays(), other.arrays()
    assert set(a) == set(b)
    for name in a:
        assert name in but or np.array_equal(a[name], b[name]), name


def test_chips_of_an_unwiped_datum_stay_and_spoil_the_sweep_of_the_top():
    session = begun(*[Scrape("fine", STROKES)] * 20, TakeFace("top"))
    job = session.job
    assert len(job.part.faces["foot"].chips) > 0
    assert len(job.part.faces["top"].chips) == 0
    dirty = session.do(SweepFace())
    session.do(TakeFace("foot"))
    session.do(WipeFace())
    clean = session.do(SweepFace())
    assert np.abs(dirty - clean).max() > 5.0


def test_a_datum_in_hand_that_was_not_wiped_spoils_the_sweep_too():
    strokes = [Scrape("fine", STROKES)] * 20
    in_hand, put_aside = begun(*strokes), begun(*strokes, TakeFace("top"))
    assert (in_hand.do(SweepFace()) == put_aside.do(SweepFace())).all()
    assert (in_hand.job.part.faces["foot"].chips == put_aside.job.part.faces["foot"].chips).all()


def test_readings_are_written_and_vanish_only_where_the_iron_is_scraped():
    session = begun(TakeFace("top"))
    told = session.do(SweepFace(points=tuple((x, y) for y in (6.0, 12.0, 30.0) for x in (6.0, 12.0, 30.0, 54.0))))
    before = session.job.part.numbers("top")
    assert (before.z_um == told).all()
    assert len(before) == 12
    assert session.job.part.numbers("foot") is None
    for _ in range(12):
        session.do(Scrape("rough", STROKES))
    left = session.job.part.numbers("top")
    gone = set(zip(before.x_mm, before.y_mm, strict=True)) - set(zip(left.x_mm, left.y_mm, strict=True))
    assert gone
    assert all(6.0 <= x <= 18.0 and 5.0 <= y <= 18.0 for x, y in gone)
    session.do(RecutFace())
    assert len(session.job.part.numbers("top")) == 0


def test_a_sweep_changes_no_iron_no_blue_and_not_the_luck_of_what_comes_later():
    later = RollFilm(), SpotFace(10.0, 10.0), Scrape("fine", STROKES), StoneFace(), SpotFace(10.0, 10.0)
    with_, without = begun(TakeFace("top"), SweepFace(), *later), begun(TakeFace("top"), *later)
    a, b = with_.job.arrays(), without.job.arrays()
    for name in b:
        assert np.array_equal(a[name], b[name]), name
    assert {name for name in a if name not in b} == {f"top/written/{k}" for k in ("x_mm", "y_mm", "reading_um",
                                                                                 "iron_um")}


@pytest.mark.parametrize("face", ["top", "foot"])
@pytest.mark.parametrize("cut", [Scrape("fine", STROKES), StoneFace(), BreakEdges(), RecutFace()],
                         ids=lambda c: type(c).__name__)
def test_every_cut_of_the_face_or_its_datum_puts_the_reading_in_doubt(cut, face):
    session = begun(TakeFace("top"))
    assert in_doubt(session.job) == [True, True]
    session.do(SweepFace(grid=(3, 2)))
    assert in_doubt(session.job) == [False, True]
    for command in (TakeFace(face), WipeFace(), RollFilm(), SpotFace(10.0, 10.0)):
        session.do(command)
    assert in_doubt(session.job) == [False, True]
    session.do(cut)
    assert in_doubt(session.job) == [True, True]
    session.undo()
    assert in_doubt(session.job) == [False, True]


def test_single_points_are_no_reading_of_a_tolerance():
    session = begun(SweepFace(points=((10.0, 10.0), (30.0, 10.0), (50.0, 10.0), (50.0, 30.0))))
    assert in_doubt(session.job) == [True, True]
    assert len(session.job.part.numbers("top")) == 4


def test_a_sweep_of_the_top_reads_the_wedge():
    session = begun()
    session.do(SweepFace())
    found = session.job.part.numbers("top")
    truth = part_orientation(session.job.part, ASKED[0])
    each = Indicator()
    slope = reading_plane(found.x_mm, found.y_mm, found.z_um).slope_x * 100.0
    assert slope == pytest.approx(truth.wedge_x_um_per_100mm, rel=0.05, abs=2.0 + 100.0 * each.hysteresis_um / 48.0)
    assert abs(slope) > 25.0


def test_two_sweeps_turned_free_the_reading_of_the_stand():
    session = begun()
    slopes = []
    for turn in (0.0, 180.0):
        session.do(SweepFace(turn_deg=turn))
        found = session.job.part.numbers("top")
        slopes.append(reading_plane(found.x_mm, found.y_mm, found.z_um).slope_x * 100.0)
        assert session.job.part.written["top"].turned == (turn == 180.0)
    truth = part_orientation(session.job.part, ASKED[0]).wedge_x_um_per_100mm
    lever = 1.0 / np.cos(np.radians(15.0))
    assert sum(slopes) / 2.0 == pytest.approx(lever * truth, abs=4.0)


def test_a_recut_on_the_datum_makes_the_top_parallel_to_it_and_conserves_blue():
    session = begun(TakeFace("top"), RollFilm(), SpotFace(10.0, 10.0))
    job = session.job
    blue = job.face.blue_um.sum() * job.face.cell_mm2 + job.plate.cloth_um_mm2
    assert job.face.blue_um.sum() > 0.0
    before = part_orientation(job.part, ASKED[0]).wedge_x_um_per_100mm
    session.do(RecutFace(datum="foot", tram_along_um_per_100mm=0.0))
    job = session.job
    after = part_orientation(job.part, ASKED[0]).wedge_x_um_per_100mm
    assert abs(before) > 25.0
    assert abs(after) < 5.0
    assert job.face.blue_um.sum() * job.face.cell_mm2 + job.plate.cloth_um_mm2 == pytest.approx(blue, rel=1e-12)


def test_two_faces_cut_after_each_other_do_not_share_the_machines_luck():
    session = begun(RecutFace(), TakeFace("top"), RecutFace())
    faces = session.job.part.faces
    inside = np.s_[20:-20, 20:-20]
    a, b = (faces[name].height_um[inside] for name in ("foot", "top"))
    y, x = np.indices(a.shape)
    basis = np.column_stack([np.ones(a.size), x.ravel(), y.ravel()])
    a, b = (v.ravel() - basis @ np.linalg.lstsq(basis, v.ravel(), rcond=None)[0] for v in (a, b))
    assert np.abs(a - b).max() > 0.1


def test_a_recut_on_a_face_that_is_not_opposite_is_refused():
    with pytest.raises(Refused, match="datum must be opposite to top"):
        begun(TakeFace("top"), RecutFace(datum="side"))


def test_a_side_is_read_square_within_two_steps_and_the_play():
    session = begun()
    told = session.do(SweepFace("side", grid=(4, 5)))
    found = session.job.part.numbers("side")
    plane = reading_plane(found.x_mm, found.y_mm, found.z_um)
    each = Indicator()
    assert abs(plane.slope_x) * 28.0 < each.resolution_um + each.hysteresis_um, "the yaw is taken out"
    assert session.job.readings[1].value_um == np.ptp(told)
    truth = part_orientation(session.job.part, ASKED[1])
    lean_um = plane.slope_y * 38.0
    assert lean_um == pytest.approx(truth.lean_um_per_100mm * 0.38, abs=2.0 * each.resolution_um + each.hysteresis_um)


def test_all_of_it_comes_back_from_checkpoint_replay_and_undo(tmp_path):
    path = tmp_path / "block.job"
    with Session.begin(START, path) as session:
        for command in (TakeFace("top"), SweepFace(), Scrape("fine", STROKES), RecutFace(datum="foot"),
                        TakeFace("side"), SweepFace("side"), RollFilm(), SpotUpright(), SweepFace(turn_deg=180.0)):
            session.do(command)
        session.save()
        kept = session.job.copy()
        from_file = Session.load(path)
        assert not from_file.notes
        (tmp_path / "block.job.npz").unlink()
        again = Session.load(path)
        session.do(RecutFace())
        session.undo()
        for other in (from_file.job, again.job, session.job):
            same(kept, other)
            for name in ("in_hand", "cuts", "readings", "sweeps", "clock_s", "removed_mm3", "round", "last_poses"):
                assert getattr(kept, name) == getattr(other, name), name


def test_a_job_file_of_before_there_were_parts_still_loads(tmp_path):
    start = JobStart(face=Start(length_mm=20.0, width_mm=15.0), plate=PlateMake(60.0, 50.0), seed=7)
    path = tmp_path / "old.job"
    with Session.begin(start, path) as session:
        for command in (RollFilm(), SpotFace(10.0, 10.0), HoneBlade()):
            session.do(command)
        kept = session.job.copy()
    entries = [json.loads(line) for line in path.read_bytes().splitlines()]
    assert entries[0]["start"].pop("part", "missing") is None
    above, lines = b"", []
    for entry in entries:
        entry.pop("crc")
        body = json.dumps(entry).encode()
        above += body
        lines.append(body[:-1] + b',"crc":"%08x"}\n' % zlib.crc32(above))
    old = tmp_path / "older.job"
    old.write_bytes(b"".join(lines))
    with Session.load(old) as again:
        assert again.commands == (RollFilm(), SpotFace(10.0, 10.0), HoneBlade())
        same(kept, again.job)


LEAN_UM, TALL_MM, BASE_MM = 10.0, 100.0, 60.0


def leaning(kind: str) -> Session:
    """A tall block whose side leans in by 10 um over 100 mm."""
    cut = {"kind": kind, "edge_break_mm": 0.6}
    foot = FaceShape("foot", Start(BASE_MM, 40.0, **cut), Frame((0.0, 40.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0)))
    top = FaceShape("top", Start(BASE_MM, 40.0, **cut), Frame((0.0, 0.0, TALL_MM), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)))
    side = FaceShape("side", Start(40.0, TALL_MM, **cut, wedge_y_um=-LEAN_UM),
                     Frame((BASE_MM, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))
    part = PartShape("block", 1.9, (30.0, 20.0, 50.0), (foot, top, side), ASKED)
    return Session.begin(JobStart(plate=PlateMake(120.0, 100.0), part=part, seed=3))


def full_rows(session: Session, region, number: int) -> None:
    """A pass of full rows over a region of the face in hand, crossing the one before; stoned, wiped and honed."""
    along = (0.6, 0.8) if number % 2 else (0.6, -0.8)
    meant = strokes_over(region.astype(np.int64), 0.25, Lanes(along, 1.9, 7.0, 1.0, PUSH_N))
    session.do(Scrape("fine", strokes_as_data(lay(meant, HANDS["skilled"], 3, number))))
    for command in (StoneFace(), WipeFace(), HoneBlade("fine")):
        session.do(command)


def test_a_side_is_set_upright_by_tapering_the_foot_and_then_the_top_must_be_read_again():
    session = leaning("surface-ground")
    for one in ASKED:
        session.do(SweepFace(one.face))
    assert in_doubt(session.job) == [False, False]
    before = part_orientation(session.job.part, ASKED[1])
    slope = before.lean_um_per_100mm / 100.0
    exact = taper_plan((160, 240), 0.25, (LEAN_UM / TALL_MM, 0.0), 2.1)
    assert exact.span_um == pytest.approx(6.0, rel=0.01)  # between the middles of the outermost cells
    # more comes off where the part must sink: at +x when the side, which looks to +x, leans in
    plan = taper_plan((160, 240), 0.25, (-slope, 0.0), REMOVAL_UM)
    lean = [before.lean_um_per_100mm]
    for number in range(plan.rounds):
        full_rows(session, plan.region(plan.rounds - number) & session.job.face.iron, number)
        lean.append(part_orientation(session.job.part, ASKED[1]).lean_um_per_100mm)
    assert abs(lean[-1]) < 0.4 * abs(lean[0])
    assert in_doubt(session.job) == [True, True]
    session.do(SweepFace("top"))
    assert in_doubt(session.job) == [False, True]


def tall_block(lean_um: float) -> PartShape:
    """A true block with a side 300 mm high that leans by so much over its height."""
    ground = {"kind": "true", "edge_break_mm": 0.6}
    foot = FaceShape("foot", Start(80.0, 40.0, **ground), Frame((0.0, 40.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0)))
    side = FaceShape("side", Start(40.0, 300.0, **ground, wedge_y_um=-lean_um),
                     Frame((80.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))
    return PartShape("tall", 7.0, (40.0, 20.0, 150.0), (foot, side), ASKED[1:])


@pytest.mark.parametrize("seed", (1, 2, 3, 4))
def test_a_tall_side_read_both_ways_is_read_without_the_lean_of_the_square(seed):
    session = Session.begin(JobStart(plate=PlateMake(130.0, 100.0, 0.0), part=tall_block(12.0), seed=seed))
    truth = part_orientation(session.job.part, ASKED[1]).contact_um
    readings = []
    for turn_deg in (0.0, 180.0, 0.0):
        session.do(SweepFace("side", grid=(3, 16), turn_deg=turn_deg))
        readings.append(session.job.readings[0])
    assert [one.both_ways for one in readings] == [False, True, True]
    # stations end 6 mm short of the rim, the readings go in steps of 1 um and scatter: 1 um
    assert readings[1].value_um == pytest.approx(truth, abs=1.0)
    lean_um = 300.0 * stand_of(luck(seed, "gauge")).lean_um_per_mm
    expected = abs(-12.0 + lean_um * 0.96)
    assert readings[0].value_um == pytest.approx(expected, abs=2.5), "one way round the square's lean is in it"


def test_two_readings_the_other_way_round_are_no_pair_when_iron_was_taken_between_or_the_stations_differ():
    session = begun(TakeFace("top"), SweepFace(), StoneFace(), SweepFace(turn_deg=180.0))
    assert not session.job.readings[0].both_ways
    session.do(SweepFace(grid=(5, 4)))
    assert not session.job.readings[0].both_ways
    session.do(SweepFace(grid=(5, 4), turn_deg=180.0))
    assert session.job.readings[0].both_ways


def test_the_luck_of_a_recut_does_not_hang_on_strokes_made_before():
    off_the_face = Scrape("fine", ((800, 9000, 1600, 9000, 300),))
    straight, later = begun(TakeFace("top"), RecutFace()), begun(TakeFace("top"), off_the_face, RecutFace())
    assert (straight.job.part.faces["top"].height_um == later.job.part.faces["top"].height_um).all()
    once = straight.job.part.faces["top"].height_um.copy()
    straight.do(RecutFace())
    again = straight.job.part.faces["top"].height_um
    assert np.ptp((again - once)[straight.job.face.iron]) > 0.1, "a second cut has its own luck"


def test_a_fingerprint_of_a_part_holds_what_was_read_and_which_face_is_in_hand():
    seen = [fingerprint(begun(*commands).job) for commands in (
        (), (TakeFace("top"),), (SweepFace(),), (SweepFace(turn_deg=180.0),), (SweepFace(), SweepFace()))]
    assert len(set(seen)) == len(seen)
    assert fingerprint(begun(SweepFace()).job) == seen[2]


def test_the_angle_plate_is_large_enough_for_the_largest_side_and_no_smaller_than_usual():
    assert JobStart(part=BLOCK).square.length_mm == 150.0
    tall = JobStart(part=tall_block(0.0))
    assert (tall.square.length_mm, tall.square.width_mm) == (150.0, 360.0)
    assert begin_job(tall).square.size_mm == (150.0, 360.0)
    assert JobStart().square is None


def test_a_taper_takes_six_um_at_the_edge_of_a_base_of_60_mm_and_in_proportion_before_it():
    """10 um in 100 mm of height: x / 10 um at x mm of the base, 6 um at its edge; in steps of a pass of 1.3 um."""
    session = leaning("true")
    before, iron = session.job.face.height_um.copy(), session.job.face.iron

    def taken_um():
        return (before - session.job.face.height_um)[4:-4]  # 1 mm of the rim is chamfer

    for number in range(2):  # the hand's own removal, tried on the same face
        full_rows(session, iron, number)
    removal_um = float(taken_um()[:, 4:-4].mean()) / 2.0
    for _ in range(8):
        session.undo()
    lean = part_orientation(session.job.part, ASKED[1]).lean_um_per_100mm
    assert lean == pytest.approx(-LEAN_UM, abs=0.1)
    plan = taper_plan(iron.shape, 0.25, (-lean / 100.0, 0.0), removal_um)
    for number in range(plan.rounds):
        full_rows(session, plan.region(plan.rounds - number) & iron, number)
    x_mm = np.arange(1.0, 59.0, 2.0) + 1.0
    taken = np.array([taken_um()[:, at - 4 : at + 4].mean() for at in (x_mm / 0.25).astype(int)])
    slope, height = np.polyfit(x_mm, taken, 1)
    # steps even out along the line; what is left is where the last band happens to end, and the hand's scatter
    assert slope * BASE_MM + height == pytest.approx(6.0, abs=0.5)
    assert height == pytest.approx(0.0, abs=0.5)
    # a step is half a pass off at most; strokes run over the border of a band or stop short of the rim: as much again
    assert taken == pytest.approx(x_mm * LEAN_UM / TALL_MM, abs=removal_um)


def test_a_recut_is_called_out_of_proportion_by_a_reading_and_by_nothing_else():
    session = begun(TakeFace("top"))
    cut = RecutFace(tram_along_um_per_100mm=0.0, tram_across_um_per_100mm=500.0)
    assert cut.warnings(session.job) == []
    session.do(SweepFace())
    assert cut.warnings(session.job) != []


def test_a_sweep_over_part_of_the_face_is_no_reading_of_it_and_one_that_reads_nothing_keeps_the_numbers():
    session = begun(TakeFace("top"))
    for grid, margin_mm in (((1, 3), 6.0), ((6, 1), 6.0), ((3, 3), 17.0)):
        session.do(SweepFace(grid=grid, margin_mm=margin_mm))
        assert in_doubt(session.job)[0], (grid, margin_mm)
    session.do(SweepFace())
    assert not in_doubt(session.job)[0]
    before = len(session.look().written)
    session.do(SweepFace(points=((0.0, 0.0),)))
    assert len(session.look().written) == before
    assert SweepFace(margin_mm=20.0).problems(session.job), "no station would be left"


@pytest.mark.parametrize("applicator", ["rag", "brayer"])
def test_the_table_of_the_machine_is_not_the_blued_plate(applicator):
    clean = begun(TakeFace("top"), RecutFace(datum="foot"))
    blued = begun(TakeFace("top"), RollFilm(3.0, applicator), RecutFace(datum="foot"))
    top, other = (s.job.part.faces["top"].height_um for s in (clean, blued))
    assert (top == other).all()


def bowed(bow_um: float) -> Session:
    start = Start(60.0, 20.0, kind="true", bow_x_um=bow_um)
    return Session.begin(JobStart(face=start, plate=PlateMake(100.0, 80.0, 0.0)))


@pytest.mark.parametrize("bow_um, reading", [(6.0, "crowned"), (0.0, "even"), (-6.0, "hollow")])
def test_pushed_at_its_ends_a_face_turns_where_it_bears_and_nothing_changes_but_the_clock(bow_um, reading):
    session = bowed(bow_um)
    before = session.job.copy()
    assert session.do(PushEnds()).readings == (reading, reading)
    same(before, session.job)
    assert session.job.clock_s == 45.0
