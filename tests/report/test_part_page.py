"""The report of a part as a reader and a browser meet it."""

import dataclasses

import numpy as np
import pytest

from sim.measure.orient import Parallelism, Perpendicularity
from sim.model.face import face_from_heights
from sim.model.marks import Marks
from sim.model.part import FaceShape, Frame, PartShape, Tolerance
from sim.model.start import Start
from sim.report.page import DemoReport
from sim.report.part_page import PartReport, ToleranceDone, part_page, part_verdict, write_part_report
from sim.report.tables import face_rows, tolerance_rows
from sim.target import Target
from tests.report.test_page import Reader, round_log

NASTY = "top <b>& 'x'"


def face_report(name, against_um):
    rng = np.random.default_rng(len(name))
    start, end = (face_from_heights(rng.normal(0.0, 1.0, (80, 120))) for _ in range(2))
    rounds = [round_log(n, n >= 5) for n in range(1, 7)]
    for log in rounds:
        log.against_um = against_um / log.round
    totals = {"bearing_flatness_um": 2.0, "spots_mean": 30.0, "spots_lowest": 15.0, "bearing_pct": 15.0,
              "strokes": 3000, "shop_hours": 1.75}  # fmt: skip
    return DemoReport(name, 7, "skilled", Target(), rounds, 5, totals, start, end,
                      Marks(end.height_um > 1.0, end.scored, end.pitch_mm), (14.0, 10.0),
                      None if name == "foot" else ("Parallelism to foot", 5.0))  # fmt: skip


@pytest.fixture(scope="module")
def report():
    start = Start(length_mm=30.0, width_mm=20.0)
    shape = PartShape("block", 4.0, (15.0, 10.0, 9.0), (
        FaceShape("foot", start, Frame((0.0, 20.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))),
        FaceShape(NASTY, start, Frame((0.0, 0.0, 30.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))),
    ))  # fmt: skip
    done = (
        ToleranceDone(Tolerance("parallelism", NASTY, "foot", 5.0),
                      Parallelism(3.21, 3.5, 0.4, -0.2, 0.1, False, None), 4.0, False),
        ToleranceDone(Tolerance("perpendicularity", NASTY, "foot", 4.0),
                      Perpendicularity(6.54, 6.6, 0.00286, 5.0, "x", False, None), None, True),
    )  # fmt: skip
    faces = {"foot": face_report("foot", np.nan), NASTY: face_report(NASTY, 12.0)}
    return PartReport("Block <i>", 7, "skilled", shape, faces, done, 9.87)


@pytest.fixture(scope="module")
def page(report):
    return part_page(report)


def test_the_page_of_a_part_is_well_formed_and_names_are_only_text(page):
    read = Reader(page)
    assert not read.faults
    assert not read.open
    ids = [attrs["id"] for _, attrs in read.tags if "id" in attrs]
    assert len(ids) == len(set(ids)), "charts share an id: one would take the other's clip"
    assert "<b>&" not in page
    assert "Block <i>" not in page
    assert not {tag for tag, _ in read.tags} & {"script", "link", "iframe", "object", "i"}


def test_every_tolerance_and_every_face_is_told(page):
    text = " ".join(Reader(page).text)
    for words in ("parallelism of top", "3.21", "3.50", "perpendicularity of top", "6.54", "0.00286°", "10.3″",
                  "in doubt: read it again", "Not everything is met.", "9.9 h", "foot", "Parallelism to foot, µm"):
        assert words in text, words


def test_a_tolerance_is_in_doubt_before_it_is_met_or_not(report):
    met, doubtful = tolerance_rows(report.tolerances)
    assert (met.state, met.met, met.in_doubt, met.tenths) == ("✓ met", True, False, f"{3.21 / 2.54:.2f}")
    assert (doubtful.state, doubtful.met, doubtful.read) == ("in doubt: read it again", False, "–")
    missed = dataclasses.replace(report.tolerances[1], in_doubt=False)
    assert tolerance_rows([missed])[0].state == "✗ not met"


def test_a_part_is_met_when_all_of_it_is(report):
    assert not report.met
    whole = dataclasses.replace(report, tolerances=report.tolerances[:1])
    assert whole.met
    faces = {**report.faces, "foot": dataclasses.replace(report.faces["foot"], met_round=None)}
    assert not dataclasses.replace(whole, faces=faces).met


def test_the_verdict_on_a_part_that_is_met_names_what_is_in_doubt(report):
    first = report.tolerances[0]
    sure = dataclasses.replace(report, tolerances=[first])
    doubtful = dataclasses.replace(report, tolerances=[dataclasses.replace(first, in_doubt=True)])
    assert sure.met
    assert doubtful.met
    assert "doubt" not in part_verdict(sure)[1]
    assert f"In doubt, to be read again: parallelism of {NASTY}." in part_verdict(doubtful)[1]


def test_faces_are_told_in_the_order_of_the_work(report):
    foot, top = face_rows(report.faces)
    assert (foot.name, top.name) == ("foot", NASTY)
    assert foot.numbers == ("6", "3,000", "1.8", "2.00", "30.0", "15", "15.0")


def test_the_report_is_written_whole_and_over_nothing(report, tmp_path, monkeypatch):
    from sim.errors import CannotWrite

    monkeypatch.setattr("sim.report.figures.themed_svg", lambda draw, size_in, alt: "<svg></svg>")
    path = tmp_path / "report.html"
    write_part_report(path, report)
    before = path.read_bytes()
    with pytest.raises(CannotWrite, match="there already"):
        write_part_report(path, report)
    assert path.read_bytes() == before
