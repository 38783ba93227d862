"""What the drawings show, asked of the drawings themselves."""

import re
import types

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from sim.errors import CannotWrite
from sim.model.face import face_from_heights
from sim.model.heights import Heights
from sim.model.marks import Marks
from sim.report import figures
from sim.target import Target


@pytest.fixture
def chart():
    figure = Figure()
    FigureCanvasAgg(figure)
    return figure.subplots()


def log(number, flatness_um):
    return types.SimpleNamespace(round=number, bearing_flatness_um=flatness_um)


def test_a_bare_cell_is_iron_and_a_dark_one_blue_and_y_goes_up():
    darkness = np.zeros((2, 3), np.uint8)
    darkness[0, 2] = 255  # y = 0: the bottom row of a picture
    colours = figures.print_colours(darkness)
    assert colours.dtype == np.uint8
    assert np.abs(colours[1, 2] / 255.0 - to_rgb(figures.MARK)).max() < 0.5 / 255 + 1e-9
    assert np.abs(colours[0] / 255.0 - to_rgb(figures.IRON)).max() < 0.5 / 255 + 1e-9


def test_darker_prints_are_never_paler():
    shades = figures.print_colours(np.arange(256, dtype=np.uint8)[None, :])[0].astype(int)
    assert (np.diff(shades.sum(axis=1)) <= 0).all()


def lightness(rgb):
    """CIE L* of sRGB colours (n, 3): IEC 61966-2-1 and CIE 15."""
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    y = linear @ [0.2126, 0.7152, 0.0722]
    return np.where(y > (6 / 29) ** 3, 116 * np.cbrt(y) - 16, y * (29 / 3) ** 3)


def test_equal_steps_of_height_are_about_equal_steps_of_lightness():
    steps = np.diff(lightness(figures.HEIGHT_COLOURS(np.arange(figures.HEIGHT_COLOURS.N))[:, :3]))
    assert (steps > 0.5 * steps.mean()).all()
    assert (steps < 2.0 * steps.mean()).all()


@pytest.mark.parametrize("dark", [False, True])
def test_words_stand_out_from_their_paper(dark):
    """WCAG 2.1, 1.4.3: contrast of text at least 4.5."""
    from sim.report.page import PAGE

    sheet = dict(re.findall(r"--(\w+):(#\w{6})", PAGE.split("color-scheme:dark)")[dark]))
    paper, card = (relative(sheet[name]) for name in ("paper", "card"))
    for name in ("ink", "muted", "rust", "yes", "no"):
        for ground in (paper, card):
            low, high = sorted((relative(sheet[name]), ground))
            assert (high + 0.05) / (low + 0.05) >= 4.5, name


def relative(colour):
    rgb = np.array(to_rgb(colour))
    return float(np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722])


def test_the_style_sheet_has_the_colours_of_the_drawings():
    from sim.report.page import PAGE

    for colour, variable in figures.VARIABLES.items():
        assert f"{variable[4:-1]}:{colour}" in PAGE


def test_a_curve_shows_its_values_its_limit_and_the_round_that_met_all(chart):
    rounds = [log(1, 20.0), log(2, 6.0), log(3, 2.0)]
    figures.draw_curve(chart, figures.CURVES[0], rounds, Target(), 3)
    curve, ring, limit = chart.lines
    assert curve.get_xydata().tolist() == [[1.0, 20.0], [2.0, 6.0], [3.0, 2.0]]
    assert ring.get_xydata().tolist() == [[3.0, 2.0]]
    assert set(limit.get_ydata()) == {2.5}
    assert {text.get_text() for text in chart.texts} == {"2", "at most 2.5"}
    assert chart.get_yscale() == "log"


@pytest.mark.filterwarnings("error")
def test_unevenness_is_drawn_only_while_there_is_a_spot_in_each_square_inch_on_average(chart):
    uneven = next(curve for curve in figures.CURVES if curve.lines[0][1] == "spots_cv")
    counts = ((0.0, np.nan), (0.9, 2.0), (1.0, 1.5), (8.0, 0.5), (0.0, np.nan))
    rounds = [types.SimpleNamespace(round=k, spots_mean=mean, spots_cv=cv) for k, (mean, cv) in enumerate(counts, 1)]
    figures.draw_curve(chart, uneven, rounds, Target(), None)
    drawn = chart.lines[0].get_ydata()
    assert np.isnan(drawn[[0, 1, 4]]).all()
    assert drawn[2:4].tolist() == [1.5, 0.5]
    assert not chart.texts  # nothing to name at the last round
    chart.figure.canvas.draw()


@pytest.mark.parametrize(("value", "told"), [("-0.000", "0"), ("+0.000", "0"), ("0.000", "0"), ("-2.500", "−2.500"),
                                             ("+0.001", "+0.001"), ("-0.010", "−0.010"), ("AA", "AA"), ("–", "–")])
def test_numbers_beside_the_map_have_the_minus_of_the_axes_and_nought_has_no_sign(value, told):
    assert figures.typeset(value) == told


def test_the_values_beside_the_map_end_within_the_picture():
    x, y = (grid.ravel() * 100.0 for grid in np.mgrid[:5, :5])
    residual_um = 0.5 * ((x + y) % 200.0 / 100.0 - 0.5)
    figure = figures.flatness_figure(Heights(x, y, residual_um), residual_um, [("closure", "-2.500")], "points")
    figure.canvas.draw()
    right = max(text.get_window_extent().x1 for text in figure.axes[1].texts)
    assert right < 0.99 * figure.bbox.x1
    assert figure.axes[1].texts[1].get_text() == "−2.500"


def test_the_words_beside_the_map_keep_off_their_values_and_within_the_picture():
    x, y = (grid.ravel() * 100.0 for grid in np.mgrid[:5, :5])
    rows = [("Parallelism, µm", ""), *[("wedge along x in 100 mm", "+112.056")] * 20]
    figure = figures.flatness_figure(Heights(x, y, x), np.sin(x), rows, "points")
    figure.canvas.draw()
    texts = figure.axes[1].texts
    boxes = [text.get_window_extent() for text in texts]
    for words, value in zip(boxes[2::2], boxes[3::2], strict=True):
        assert value.x0 - words.x1 > 8.0
    assert min(box.y0 for box in boxes) > 0.0
    assert min(a.y0 - b.y1 for a, b in zip(boxes[2::2], boxes[4::2], strict=False)) > 0.0


def test_a_limit_that_was_never_reached_is_in_view_and_every_scale_but_a_logarithmic_one_begins_at_nought(chart):
    rounds = [types.SimpleNamespace(round=1, bearing_pct=0.5), types.SimpleNamespace(round=2, bearing_pct=1.0)]
    figures.draw_curve(chart, figures.CURVES[2], rounds, Target(), None)
    assert chart.get_ylim()[0] == 0.0
    assert chart.get_ylim()[1] > Target().bearing_pct


@pytest.mark.filterwarnings("error")
def test_a_single_round_and_a_value_of_zero_are_drawn_too(chart):
    figures.draw_curve(chart, figures.CURVES[0], [log(1, 0.0)], Target(), None)
    assert len(chart.lines) == 2  # the curve and the limit, no ring
    chart.figure.canvas.draw()


def test_a_tilted_plane_has_no_height_and_what_is_not_counted_is_no_number():
    y, x = np.mgrid[:40, :60]
    scored = np.ones((40, 60), bool)
    scored[:, :3] = False
    height = figures.about_plane_um(face_from_heights(5.0 + 0.2 * x - 0.1 * y, scored=scored))
    assert np.isnan(height[:, :3]).all()
    assert np.abs(height[:, 3:]).max() < 1e-6  # um: rounding of the fit


def test_the_section_runs_in_one_datum(chart):
    start = face_from_heights(np.full((20, 30), 7.0))
    end = face_from_heights(np.full((20, 30), 3.0))
    figures.draw_section(chart, start, end)
    before, after = (line.get_ydata() for line in chart.lines)
    assert set(before) == {0.0}
    assert set(after) == {-4.0}


def test_the_counting_square_lies_around_its_middle_and_marks_too_small_are_paler(chart):
    marked = np.zeros((240, 320), bool)
    marked[10:20, 10:20] = True  # 6.25 mm2
    marked[100, 100] = True  # 0.0625 mm2
    iron = np.ones_like(marked)
    iron[:, -4:] = False
    figures.draw_marks(chart, Marks(marked, iron, 0.25), 1.0, (40.0, 30.0))
    image = np.asarray(chart.images[0].get_array())
    found = {name: tuple(image[at]) for name, at in
             {"mark": (15, 15), "small": (100, 100), "bare": (50, 50), "rim": (50, 318)}.items()}  # fmt: skip
    assert found == {"mark": to_rgb(figures.MARK), "small": to_rgb(figures.SMALL_MARK), "bare": to_rgb(figures.IRON),
                     "rim": to_rgb(figures.RIM)}  # fmt: skip
    assert chart.images[0].origin == "lower"
    box = chart.patches[0].get_bbox()
    assert box.extents == pytest.approx([40.0 - 12.7, 30.0 - 12.7, 40.0 + 12.7, 30.0 + 12.7])


def test_drawing_leaves_the_settings_of_matplotlib_as_they_were():
    import matplotlib

    before = dict(matplotlib.rcParams)
    figures.themed_svg(lambda chart: chart.plot([1, 2]), (2.0, 1.5), "a line")
    assert dict(matplotlib.rcParams) == before


def test_a_failure_while_writing_leaves_nothing_behind(tmp_path):
    def fail(draft):
        raise OSError(28, "No space left on device")

    (tmp_path / "kept").write_text("old")
    with pytest.raises(CannotWrite, match="No space left"):
        figures.write_whole(tmp_path / "kept", fail, force=True)
    assert [path.name for path in tmp_path.iterdir()] == ["kept"]
    assert (tmp_path / "kept").read_text() == "old"


def test_slots_and_holes_are_pale_in_a_print():
    iron = np.ones((40, 60), bool)
    iron[10:20, 30:40] = False
    for size in (1, 2, 5):
        darkness = np.full((40 // size, 60 // size), 255, np.uint8)
        colours = figures.print_colours(darkness, iron)[::-1]
        pale = (colours == np.rint(255.0 * np.array(figures.to_rgb(figures.LINE)))).all(axis=2)
        assert (pale == iron[size // 2 :: size, size // 2 :: size].__invert__()).all()
