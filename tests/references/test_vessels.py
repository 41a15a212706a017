"""Volumes of vessels from solid geometry and an independent open library (fluids), and their inverses."""

import math

import numpy as np
import pytest
from fluids import TANK
from hypothesis import given
from hypothesis import strategies as st

from plantsim.jit import kernel
from plantsim.physics import vessels as vs


@pytest.mark.parametrize(
    ("h", "flat", "ellipsoidal", "surface"),
    [
        (0.75, 13.81916, 14.92363, 25.98076),
        (1.5, 35.34292, 38.87721, 30.0),
        (2.25, 56.86668, 62.83079, 25.98076),
    ],
)
def test_horizontal_cylinder(h, flat, ellipsoidal, surface):
    """Segment formula: 3 m diameter, 10 m long, flat ends and ellipsoidal ends 0.75 m deep."""
    assert vs.horizontal_volume(h, 3.0, 10.0, 0.0) == pytest.approx(flat, abs=1e-5)
    assert vs.horizontal_volume(h, 3.0, 10.0, 0.75) == pytest.approx(ellipsoidal, abs=1e-5)
    assert vs.horizontal_surface(h, 3.0, 10.0, 0.0) == pytest.approx(surface, abs=1e-5)
    tank = TANK(D=3.0, L=10.0, horizontal=True)
    heads = TANK(
        D=3.0, L=10.0, horizontal=True, sideA="ellipsoidal", sideB="ellipsoidal", sideA_a=0.75, sideB_a=0.75
    )
    assert vs.horizontal_volume(h, 3.0, 10.0, 0.0) == pytest.approx(tank.V_from_h(h), rel=1e-9)
    assert vs.horizontal_volume(h, 3.0, 10.0, 0.75) == pytest.approx(heads.V_from_h(h), rel=1e-9)


def test_horizontal_cylinder_full_and_second_size():
    assert vs.horizontal_volume(3.0, 3.0, 10.0, 0.0) == pytest.approx(70.68583, abs=1e-5)
    assert vs.horizontal_volume(9.0, 3.0, 10.0, 0.75) == pytest.approx(77.75442, abs=1e-5)
    assert vs.horizontal_volume(0.5, 2.0, 6.0, 0.0) == pytest.approx(3.685109, abs=1e-6)
    assert vs.horizontal_volume(-1.0, 2.0, 6.0, 0.0) == 0.0


@pytest.mark.parametrize(
    ("h", "volume"), [(0.5, 0.1309), (1.0, 1.0472), (2.0, 8.3776), (3.0, 20.9440), (7.0, 71.2094)]
)
def test_cone_bottom(h, volume):
    """Closed form: 4 m diameter, cone 2 m deep, wall 5 m; the library agrees."""
    assert vs.cone_bottom_volume(h, 4.0, 2.0, 0.0) == pytest.approx(volume, abs=5e-5)
    tank = TANK(D=4.0, L=5.0, horizontal=False, sideA="conical", sideA_a=2.0)
    assert vs.cone_bottom_volume(h, 4.0, 2.0, 0.0) == pytest.approx(tank.V_from_h(h), rel=1e-9)
    assert vs.cone_bottom_level(volume, 4.0, 2.0, 0.0) == pytest.approx(h, abs=1e-4)


def test_steep_cone():
    """A 60 degree wall on 4 m diameter: 3.46410 m deep, 14.51039 m3."""
    depth = 2.0 * math.tan(math.radians(60.0))
    assert depth == pytest.approx(3.46410, abs=1e-5)
    assert vs.cone_bottom_volume(depth, 4.0, depth, 0.0) == pytest.approx(14.51039, abs=1e-5)


@pytest.mark.parametrize(("h", "volume"), [(1.0, 5.23599), (2.0, 16.75516), (3.0, 28.27433)])
def test_sphere(h, volume):
    """Spherical cap, pi h2 (3R - h)/3, radius 2 m."""
    assert vs.sphere_volume(h, 4.0) == pytest.approx(volume, abs=1e-5)
    assert vs.sphere_level(volume, 4.0) == pytest.approx(h, abs=1e-5)


def test_frustum():
    """Radii 2 and 0.25 m, 3 m high: 14.33352 m3, either way up."""
    assert vs.frustum_volume(3.0, 0.25, 2.0, 3.0) == pytest.approx(14.33352, abs=1e-5)
    assert vs.frustum_volume(3.0, 2.0, 0.25, 3.0) == pytest.approx(14.33352, abs=1e-5)


def test_upright_shapes():
    assert vs.prism_volume(2.0, 12.5) == 25.0
    assert vs.prism_level(25.0, 12.5) == 2.0
    assert vs.vertical_cylinder_volume(2.0, 3.0) == pytest.approx(math.pi * 4.5)
    assert vs.vertical_cylinder_level(math.pi * 4.5, 3.0) == pytest.approx(2.0)
    assert vs.prism_volume(-1.0, 12.5) == vs.vertical_cylinder_volume(-1.0, 3.0) == 0.0


LEVELS = np.array([0.0, 0.5, 2.0, 3.0, 0.0])
VOLUMES = np.array([0.0, 1.0, 10.0, 18.0, 0.0])

SHAPES = {
    "horizontal flat": (lambda h: vs.horizontal_volume(h, 3.0, 10.0, 0.0),
                        lambda v: vs.horizontal_level(v, 3.0, 10.0, 0.0),
                        lambda h: vs.horizontal_surface(h, 3.0, 10.0, 0.0)),
    "horizontal ellipsoidal": (lambda h: vs.horizontal_volume(h, 3.0, 10.0, 0.75),
                               lambda v: vs.horizontal_level(v, 3.0, 10.0, 0.75),
                               lambda h: vs.horizontal_surface(h, 3.0, 10.0, 0.75)),
    "sphere": (lambda h: vs.sphere_volume(h, 3.0), lambda v: vs.sphere_level(v, 3.0),
               lambda h: vs.sphere_surface(h, 3.0)),
    "cone bottom": (lambda h: vs.cone_bottom_volume(h, 4.0, 2.0, 0.0),
                    lambda v: vs.cone_bottom_level(v, 4.0, 2.0, 0.0),
                    lambda h: vs.cone_bottom_surface(h, 4.0, 2.0, 0.0)),
    "cone bottom with outlet": (lambda h: vs.cone_bottom_volume(h, 4.0, 2.0, 0.2),
                                lambda v: vs.cone_bottom_level(v, 4.0, 2.0, 0.2),
                                lambda h: vs.cone_bottom_surface(h, 4.0, 2.0, 0.2)),
    "frustum narrowing": (lambda h: vs.frustum_volume(h, 2.0, 0.5, 3.0),
                          lambda v: vs.frustum_level(v, 2.0, 0.5, 3.0),
                          lambda h: vs.frustum_surface(h, 2.0, 0.5, 3.0)),
    "table": (lambda h: vs.table_volume(h, LEVELS, VOLUMES, 4),
              lambda v: vs.table_level(v, LEVELS, VOLUMES, 4),
              lambda h: vs.table_surface(h, LEVELS, VOLUMES, 4)),
}  # fmt: skip


@pytest.mark.parametrize("shape", list(SHAPES))
@given(h=st.floats(0.0, 3.0))
def test_level_and_volume_are_inverse(shape, h):
    """By definition; the level is compared where the free surface is not vanishing, the volume everywhere."""
    volume_of, level_of, surface_of = SHAPES[shape]
    volume = volume_of(h)
    level = level_of(volume)
    full = volume_of(3.0)
    assert volume_of(level) == pytest.approx(volume, rel=1e-11, abs=1e-14 * full)
    if surface_of(h) > 1e-3:
        assert level == pytest.approx(h, rel=1e-9, abs=1e-10)


@pytest.mark.parametrize("shape", list(SHAPES))
@pytest.mark.parametrize("h", [0.3, 1.1, 1.9, 2.7])
def test_surface_is_the_slope_of_the_volume(shape, h):
    volume_of, _, surface_of = SHAPES[shape]
    slope = (volume_of(h + 1e-5) - volume_of(h - 1e-5)) / 2e-5
    assert surface_of(h) == pytest.approx(slope, rel=1e-6)


@pytest.mark.parametrize("shape", list(SHAPES))
def test_empty(shape):
    volume_of, level_of, _ = SHAPES[shape]
    assert volume_of(-0.5) == 0.0
    assert level_of(0.0) == 0.0
    assert level_of(-1.0) == 0.0


def test_beyond_the_top():
    """Closed shapes stop at full; open ones go on with the section at their top."""
    assert vs.horizontal_level(100.0, 3.0, 10.0, 0.0) == 3.0
    assert vs.sphere_level(100.0, 3.0) == 3.0
    assert vs.sphere_volume(5.0, 3.0) == pytest.approx(math.pi * 27.0 / 6.0)
    assert vs.table_volume(4.0, LEVELS, VOLUMES, 4) == pytest.approx(26.0)
    assert vs.table_level(26.0, LEVELS, VOLUMES, 4) == pytest.approx(4.0)
    assert vs.frustum_level(vs.frustum_volume(4.0, 2.0, 0.5, 3.0), 2.0, 0.5, 3.0) == pytest.approx(4.0)


def test_compiled_equals_plain():
    @kernel
    def run(x, levels, volumes, out):
        out[0] = vs.horizontal_level(x, 3.0, 10.0, 0.75)
        out[1] = vs.sphere_level(x, 3.0)
        out[2] = vs.cone_bottom_level(x, 4.0, 2.0, 0.2)
        out[3] = vs.table_level(x, levels, volumes, 4)
        out[4] = vs.horizontal_volume(x, 3.0, 10.0, 0.0)
        out[5] = vs.table_volume(x, levels, volumes, 4)
        out[6] = vs.table_surface(x, levels, volumes, 4)

    for x in (-1.0, 0.0, 0.2, 2.5, 10.0, 60.0, 500.0):
        out, plain = np.zeros(7), np.zeros(7)
        run(x, LEVELS, VOLUMES, out)
        run.py_func(x, LEVELS, VOLUMES, plain)
        np.testing.assert_allclose(out, plain, rtol=1e-12, atol=1e-15)
