"""The plan on paper as a reader, a browser and a printer meet it."""

import re
import types

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sim.errors import CannotWrite
from sim.hands.bands import band_plan, corner_pads, level_pads
from sim.model.heights import Heights
from sim.report.map import (
    BandSheet,
    bands_figure,
    bands_page,
    draw_bands,
    how_words,
    key_words,
    round_words,
    station_gap_mm,
    write_bands_page,
)
from tests.report.test_page import Reader

SHAPE, PITCH = (45, 60), 2.0


def sheet_of(slopes=(20.0 / 120.0, 0.0), *, pads=False, **more):
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(6.0, 114.0, 6), np.linspace(6.0, 84.0, 4)))
    readings, iron = Heights(x, y, 3.0 + slopes[0] * x + slopes[1] * y), np.ones(SHAPE, dtype=bool)
    plan, squares = band_plan(readings, SHAPE, PITCH, 2.1), corner_pads(SHAPE, 8)
    plan = level_pads(plan, iron, squares) if pads else plan
    title = more.pop("title", "top & <foot>")
    return BandSheet(plan, readings, iron, PITCH, title, pads=squares if pads else None, **more)


def drawn(sheet):
    figure = Figure(figsize=(7.0, 5.0))
    FigureCanvasAgg(figure)
    chart = figure.subplots()
    draw_bands(chart, sheet)
    return chart


def words_on(chart):
    return [text.get_text() for text in chart.texts]


@pytest.fixture(scope="module")
def page():
    return bands_page(sheet_of(figures=[("plane spans", "20.0 µm")], warnings=["Too much < by hand."]))


def test_the_page_is_well_formed_and_runs_and_fetches_nothing(page):
    read = Reader(page)
    assert not read.faults
    assert not read.open
    ids = [attrs["id"] for _, attrs in read.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    assert not {"script", "link", "iframe", "object"} & {tag for tag, _ in read.tags}
    assert not [a for _, attrs in read.tags for a in attrs if a in ("src", "href") and not attrs[a].startswith("#")]
    assert set(re.findall(r"url\(#([^)]*)\)", page)) <= set(ids), "a hatch or a clip that is not there"


def test_the_page_says_what_it_was_given(page):
    text = "".join(Reader(page).text)
    for words in ("top & <foot>", "plane spans", "20.0 µm", "Too much < by hand.", "Edges cut",
                  "Let the borders wander", "--removal", "divided by two", "Rounds 1 and 2 hold"):  # fmt: skip
        assert words in text


def test_every_round_has_its_bands_and_boxes_and_every_second_a_sweep(page):
    body = page[page.index("<h2>Round by round") : page.index("<h2>How")]
    rows = re.findall(r"<tr>.*?</tr>|<tr class='sweep'>.*?</tr>", body)
    rows = [row for row in rows if "<td" in row]
    assert ["sweep" in row for row in rows] == [False, False, True] * 4 + [False, True]
    told = [re.findall(r"<td>(.*?)</td>", row)[0] for row in rows if "sweep" not in row]
    assert told[:4] == ["band 9", "bands 9 and 8", "bands 9, 8 and 7", "bands 9 to 6"]
    assert told[-1] == "bands 9 to 1"
    assert all(row.count("class='tick'") == (1 if "sweep" in row else 2) for row in rows)


def test_every_station_has_its_reading_its_passes_and_an_empty_box(page):
    body = page[page.index("<h2>Stations") : page.index("<h2>Cautions")]
    rows = [re.findall(r"<td class='n'>(.*?)</td>", row) for row in re.findall(r"<tr>.*?</tr>", body) if "<td" in row]
    assert len(rows) == 24 == body.count("<td class='new'></td>")
    sheet = sheet_of()
    # read 3 + 6 / 6; to take from the middle of its cell, x = 7, to the middle of the corner's, x = 1: 6 / 6
    assert rows[0] == ["6", "6", "4.0", "1.0", "<b>0</b>"]
    assert rows[5][:3] == ["114", "6", "22.0"]
    assert [int(row[4][3:-4]) for row in rows] == sheet.passes.tolist()


def test_the_picture_has_each_band_once_each_station_and_the_corner():
    sheet = sheet_of((20.0 / 120.0, 0.02))
    words = words_on(drawn(sheet))
    boxed = [w for w in words if w.endswith("×")]
    assert sorted(boxed) == sorted(f"{n}×" for n in range(sheet.plan.passes().max() + 1))
    assert "the plane to reach" in words
    assert "25 mm; 1 : 1 on paper at 100 %" in words
    numbers = [w for w in words if re.fullmatch(r"\N{MINUS SIGN}?\d+", w)]
    assert numbers == [f"{depth:.0f}" for depth in sheet.depth_um]


def rim_sheet(slopes, **more):
    """Stations on the rim of a face of 121 x 90.3 mm, which is no whole number of cells."""
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(0.0, 121.0, 7), np.linspace(0.0, 90.3, 5)))
    readings, iron = Heights(x, y, slopes[0] * x + slopes[1] * y), np.ones(SHAPE, dtype=bool)
    return BandSheet(band_plan(readings, SHAPE, PITCH, 2.1), readings, iron, PITCH, "rim", **more)


@pytest.mark.parametrize("base_up", [False, True])
@pytest.mark.parametrize("slopes", [(0.2, 0.1), (-0.2, 0.1), (0.2, -0.1), (-0.2, -0.1)])
def test_every_station_on_the_rim_has_its_number_and_the_words_keep_off_them_all(slopes, base_up):
    figure = bands_figure(rim_sheet(slopes, base_up=base_up))
    figure.canvas.draw()
    (chart,) = figure.axes
    numbers = [text for text in chart.texts
               if re.fullmatch(r"\N{MINUS SIGN}?\d+", text.get_text()) and text.get_path_effects()]  # fmt: skip
    assert len(numbers) == 35
    assert all(text._check_xy(figure.canvas.get_renderer()) for text in numbers)  # drawn, though beside the axes
    (words,) = (text for text in chart.texts if text.get_text() == "the plane to reach")
    box = words.get_window_extent()
    assert not [text.get_text() for text in numbers if text.get_window_extent().overlaps(box)]
    (black,) = [patch for patch in chart.patches if len(patch.get_xy()) == 4 and patch.get_fill()]
    assert all(text.get_zorder() > black.get_zorder() for text in numbers)


@pytest.mark.parametrize("slopes, corner", [((0.2, 0.1), (0, 0)), ((-0.2, 0.1), (120, 0)), ((0.2, -0.1), (0, 90)),
                                            ((-0.2, -0.1), (120, 90))])  # fmt: skip
def test_the_lowest_corner_is_black_where_it_is(slopes, corner):
    chart = drawn(sheet_of(slopes))
    (black,) = [patch for patch in chart.patches if len(patch.get_xy()) == 4 and patch.get_fill()]
    assert (black.get_xy() == np.array(corner)).all(axis=1).any()


def test_the_face_is_drawn_to_scale_and_at_its_own_place():
    chart = drawn(sheet_of(origin_mm=(-60.0, 10.0)))
    assert chart.get_xlim() == (-60.0, 60.0)
    assert chart.get_ylim() == (10.0, 100.0)
    figure = bands_figure(sheet_of(title="top"))
    wide, high = figure.get_size_inches() * 25.4
    box = figure.axes[0].get_position()
    assert (box.width * wide, box.height * high) == pytest.approx((120.0, 90.0), abs=0.01)  # 1 : 1
    svg = re.search(r"style='width:([\d.]+)mm' .*?viewBox=\"0 0 ([\d.]+) ", bands_page(sheet_of()))
    assert float(svg[1]) / 25.4 * 72.0 == pytest.approx(float(svg[2]), rel=1e-3)


def test_a_part_on_its_back_is_drawn_from_right_to_left():
    chart = drawn(sheet_of(base_up=True))
    assert chart.get_xlim() == (120.0, 0.0)
    assert "right to left" in chart.get_xlabel()


@pytest.mark.parametrize("size, ratio", [((60, 40), 2.0), ((160, 110), 1.0), ((300, 300), 1.0 / 3.0),
                                         ((120, 1000), 1.0 / 10.0)])  # fmt: skip
def test_the_ratio_is_a_plain_one_that_fits_the_paper(size, ratio):
    iron = np.ones((size[1] // 2, size[0] // 2), dtype=bool)
    sheet = sheet_of()
    assert BandSheet(sheet.plan, sheet.readings, iron, 2.0, "").ratio == ratio


def test_iron_that_is_missing_is_in_no_band():
    sheet = sheet_of()
    iron = np.ones(SHAPE, dtype=bool)
    iron[:, 48:] = False  # the highest bands
    cut = BandSheet(sheet.plan, sheet.readings, iron, PITCH, "cut")
    boxed = [w for w in words_on(drawn(cut)) if w.endswith("×")]
    assert "9×" not in boxed
    assert "0×" in boxed
    assert not any((one.region & ~iron).any() for one in cut.rounds())


def test_pads_come_first_and_have_letters():
    sheet = sheet_of((20.0 / 120.0, 5.0 / 90.0), pads=True)
    assert {"A", "B", "C", "D"} <= set(words_on(drawn(sheet)))
    told = [round_words(one, sheet.pads) for one in sheet.rounds()]
    assert told[0] == "pad D"
    assert "pads B and D" in told
    assert told[-1].startswith("bands ")
    assert "Pads first" in " ".join(how_words(sheet))
    assert "Dashed squares" in key_words(sheet)


def test_bands_that_leave_one_out_are_all_named():
    def told(*bands):
        return round_words(types.SimpleNamespace(on_pads=False, bands=bands))

    assert told(9) == "band 9"
    assert told(9, 8, 7, 6) == "bands 9 to 6"
    assert told(9, 7, 6, 5) == "bands 9, 7, 6 and 5"


def test_stations_too_close_for_numbers_are_dots_and_too_many_are_not_listed():
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(1.0, 119.0, 60), np.linspace(1.0, 89.0, 45)))
    readings = Heights(x, y, x / 6.0)
    assert station_gap_mm(readings) == 2.0
    plan = band_plan(readings, SHAPE, PITCH, 2.1)
    sheet = BandSheet(plan, readings, np.ones(SHAPE, dtype=bool), PITCH, "scan")
    assert not [w for w in words_on(drawn(sheet)) if w.isdigit()]
    assert "too close" in key_words(sheet)
    assert "2,700 readings are too many" in bands_page(sheet)


def test_the_page_is_written_over_nothing(tmp_path):
    path = tmp_path / "new" / "top-bands.html"
    write_bands_page(path, sheet_of())
    first = path.read_bytes()
    with pytest.raises(CannotWrite, match="is kept"):
        write_bands_page(path, sheet_of((0.0, 0.3)))
    assert path.read_bytes() == first
    write_bands_page(path, sheet_of((0.0, 0.3)), force=True)
    assert path.read_bytes() != first
