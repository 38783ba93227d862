"""The picture of a face before and after the machine, asked of its lines."""

import numpy as np

from sim.model.face import face_from_heights
from sim.report.recut import recut_figure


def test_the_section_shows_both_faces_across_the_feed_and_the_profile_of_the_tram_level():
    y = np.linspace(-1.0, 1.0, 41)
    before = face_from_heights(np.tile(-4.0 * y[:, None] ** 2, (1, 61)))
    after = face_from_heights(np.tile(9.0 * y[:, None] ** 2 + 5.0 * y[:, None] - 60.0, (1, 61)))
    prints = [("before", np.zeros((41, 61), np.uint8)), ("after", np.full((41, 61), 255, np.uint8))]
    figure = recut_figure(before, after, prints, 9.0 * y * y + 7.0 * y, "title")
    section, *others = figure.axes
    crowned, hollow, circle = (line.get_ydata() for line in section.get_lines())
    assert np.argmax(crowned) == 20  # the middle stands high before
    assert np.argmin(hollow) == 20  # and low after; the tilt of the whole face is no part of it
    np.testing.assert_allclose(hollow, circle, atol=1e-3)  # residuals normal to the plane there
    assert [chart.get_title("left") for chart in others[:3]] == ["before", "after", "Heights after the cut"]
    blank, blue = (chart.get_images()[0].get_array()[5, 5] for chart in others[:2])
    assert blue[2] > blue[0] + 50
    assert np.ptp(blank.astype(int)) < 10
