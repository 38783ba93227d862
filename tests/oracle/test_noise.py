"""Gradient noise against the package `noise`, whose pnoise2 is the published reference in single precision."""

import numpy as np
import pytest

from sim.kernels.grain import gradient_noise
from sim.process.bluing import SLOPES

pytestmark = pytest.mark.oracle("noise")

# K. Perlin, Improved Noise reference implementation (2002): the permutation of 0..255
ORDER = np.array([
    151, 160, 137, 91, 90, 15, 131, 13, 201, 95, 96, 53, 194, 233, 7, 225, 140, 36, 103, 30, 69, 142, 8, 99,
    37, 240, 21, 10, 23, 190, 6, 148, 247, 120, 234, 75, 0, 26, 197, 62, 94, 252, 219, 203, 117, 35, 11, 32,
    57, 177, 33, 88, 237, 149, 56, 87, 174, 20, 125, 136, 171, 168, 68, 175, 74, 165, 71, 134, 139, 48, 27, 166,
    77, 146, 158, 231, 83, 111, 229, 122, 60, 211, 133, 230, 220, 105, 92, 41, 55, 46, 245, 40, 244, 102, 143, 54,
    65, 25, 63, 161, 1, 216, 80, 73, 209, 76, 132, 187, 208, 89, 18, 169, 200, 196, 135, 130, 116, 188, 159, 86,
    164, 100, 109, 198, 173, 186, 3, 64, 52, 217, 226, 250, 124, 123, 5, 202, 38, 147, 118, 126, 255, 82, 85, 212,
    207, 206, 59, 227, 47, 16, 58, 17, 182, 189, 28, 42, 223, 183, 170, 213, 119, 248, 152, 2, 44, 154, 163, 70,
    221, 153, 101, 155, 167, 43, 172, 9, 129, 22, 39, 253, 19, 98, 108, 110, 79, 113, 224, 232, 178, 185, 112, 104,
    218, 246, 97, 228, 251, 34, 242, 193, 238, 210, 144, 12, 191, 179, 162, 241, 81, 51, 145, 235, 249, 14, 239, 107,
    49, 192, 214, 31, 181, 199, 106, 157, 184, 84, 204, 176, 115, 121, 50, 45, 127, 4, 150, 254, 138, 236, 205, 93,
    222, 114, 67, 29, 24, 72, 243, 141, 128, 195, 78, 66, 215, 61, 156, 180,
], dtype=np.int64)  # fmt: skip




def reference_lattice():
    """The reference hashes order[order[order[i] + j] + k], its third axis at 0; ours order[order[i] + j].

    Laid out so that our two look-ups do those three: places 0 to 511 lead to 512 and up, where the other two are.
    """
    twice = np.concatenate([ORDER, ORDER])
    return np.concatenate([512 + twice, twice[twice]])


def test_the_reference_permutation_is_one():
    assert np.array_equal(np.sort(ORDER), np.arange(256))


def test_gradient_noise_agrees_with_the_oracle_to_single_precision():
    from noise import pnoise2

    # K. Perlin, Improving Noise, SIGGRAPH 2002; steps of 1/64, which single precision holds exactly
    places = np.arange(0, 256 * 64, 211) / 64.0
    ours = np.array([[gradient_noise(x, y, reference_lattice(), SLOPES) for x in places] for y in places])
    theirs = np.array([[pnoise2(x, y) for x in places] for y in places])
    assert np.abs(theirs).max() > 0.5
    assert np.abs(ours - theirs).max() < 1e-6


@pytest.mark.parametrize("place", [(-0.75, 3.25), (-17.125, -40.5), (255.5, 200.25), (255.875, 255.625), (300.5, 7.5)])
def test_it_agrees_below_zero_and_beyond_the_period(place):
    from noise import pnoise2

    assert gradient_noise(*place, reference_lattice(), SLOPES) == pytest.approx(pnoise2(*place), abs=1e-6)
