"""Warmth: the bow of a warm face, and how it goes."""

import numpy as np
import pytest

from sim.model.face import face_from_heights
from sim.process.heat import Soak, soak
from sim.seat.compliant import Body, Compliance, standing_um


def warm_face(kelvin, length_mm=200.0, width_mm=10.0):
    face = face_from_heights(np.zeros((round(width_mm / 0.5), round(length_mm / 0.5))), pitch_mm=0.5)
    face.warm_k = kelvin
    return face


@pytest.mark.parametrize("kelvin", [1.0, -2.0])
def test_a_warm_face_bows_as_computed(kelvin):
    row = standing_um(warm_face(kelvin), Body(thickness_mm=25.0), Compliance(expansion_um_per_m_k=11.0))[10]
    bow = 0.5 * (row[199] + row[200]) - 0.5 * (row[0] + row[-1])
    # computed: alpha dT L^2 / (8 t), alpha 10.5 to 11: 2.2 um for 1 K through 25 mm over 200 mm
    assert bow == pytest.approx(2.2 * kelvin, rel=0.006)  # the end cells lie 0.25 mm inside: 0.5 %


def test_half_of_the_warmth_goes_in_each_half_time():
    face = warm_face(3.0)
    soak(face, 600.0, Soak(half_time_min=10.0))
    assert face.warm_k == pytest.approx(1.5, rel=1e-14)
    soak(face, 1800.0, Soak(half_time_min=10.0))
    assert face.warm_k == pytest.approx(3.0 / 16.0, rel=1e-14)


def test_soaking_in_steps_is_soaking_at_once_and_no_time_changes_nothing():
    steps, once = warm_face(2.0), warm_face(2.0)
    for _ in range(7):
        soak(steps, 45.0)
    soak(once, 7 * 45.0)
    assert steps.warm_k == pytest.approx(once.warm_k, rel=1e-14)
    soak(once, 0.0)
    assert once.warm_k == pytest.approx(steps.warm_k, rel=1e-14)
    cold = warm_face(0.0)
    soak(cold, 1e6)
    assert cold.warm_k == 0.0
