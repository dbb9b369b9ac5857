"""Marks measured in drawn pictures, and nothing found where there is nothing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.errors import SettingError
from shopmon.signals.texture.flatten import flatten
from shopmon.signals.texture.reading import certainty, read_texture
from tests.surfaces.drawing import flat


def waves(period, direction_deg, shape=(300, 400), phase=0.0):
    """A plain wave, its crests square to the direction, counter-clockwise from the right."""
    row, column = np.mgrid[0 : shape[0], 0 : shape[1]]
    turn = np.radians(direction_deg)
    return np.cos(2 * np.pi * (column * np.cos(turn) - row * np.sin(turn)) / period + phase)


@settings(max_examples=12, deadline=None)
@given(
    period=st.floats(4.5, 55),
    direction=st.floats(-89, 89),
    phase=st.floats(0, 6.28),
    seed=st.integers(0, 999),
)
def test_period_and_direction_of_a_wave_in_noise(period, direction, phase, seed):
    noise = np.random.default_rng(seed).normal(size=(300, 400))
    marks = read_texture(100 + 10 * waves(period, direction, phase=phase) + 10 * noise).marks[0]
    assert marks.period_px == pytest.approx(period, rel=0.006)
    assert abs((marks.direction_deg - direction + 90) % 180 - 90) < 0.6
    assert abs(marks.period_px - period) < 5 * marks.period_u_px
    assert marks.certainty > 0.99 and marks.strength > 0.9


@settings(max_examples=4, deadline=None)
@given(gain=st.floats(0.01, 200), offset=st.floats(-1000, 1000), invert=st.booleans())
def test_brightness_and_contrast_change_nothing(gain, offset, invert):
    rng = np.random.default_rng(2)
    picture = 10 * waves(13.7, 20) + rng.normal(size=(300, 400))
    other = offset + gain * (-picture if invert else picture)
    one, two = read_texture(picture).marks[0], read_texture(other).marks[0]
    assert two.period_px == pytest.approx(one.period_px, rel=1e-4)
    assert two.direction_deg == pytest.approx(one.direction_deg, abs=0.02)


def test_two_families_are_both_found():
    rng = np.random.default_rng(1)
    picture = 10 * waves(9.3, 5) + 6 * waves(31.0, 38) + 5 * rng.normal(size=(300, 400))
    found = {round(marks.period_px, 1): marks.direction_deg for marks in read_texture(picture).marks}
    assert found[9.3] == pytest.approx(5, abs=0.5) and found[31.0] == pytest.approx(38, abs=1)


def test_fine_marks_of_a_large_picture_and_coarse_ones():
    rng = np.random.default_rng(1)
    shape = (1300, 2400)
    picture = 120 + 20 * waves(5.3, 12, shape) + 20 * waves(210.0, 12, shape) + 20 * rng.normal(size=shape)
    periods = sorted(marks.period_px for marks in read_texture(picture.clip(0, 255).astype(np.uint8)).marks)
    assert periods[0] == pytest.approx(5.3, rel=0.003) and periods[-1] == pytest.approx(210.0, rel=0.01)


@pytest.mark.parametrize("seed", range(20))
def test_pictures_without_marks(seed):
    texture = read_texture(flat(seed))
    assert not texture.marks and texture.why


def test_a_plain_picture_and_one_that_is_overexposed():
    assert "overexposed" in read_texture(np.full((100, 120), 77)).why
    picture = 120 + 30 * waves(12, 0)
    picture[:, :395] = 255
    assert not read_texture(picture).marks


def test_glare_over_part_of_the_picture():
    picture = 120 + 30 * waves(12, 10)
    picture[80:200, 100:260] = 255
    texture = read_texture(picture)
    assert texture.marks[0].period_px == pytest.approx(12, rel=0.005) and 0.6 < texture.seen < 0.9


def test_blocks_of_a_compressed_picture_are_no_marks():
    import io

    from PIL import Image

    file = io.BytesIO()
    Image.fromarray(flat(1).astype(np.uint8)).save(file, "JPEG", quality=8)
    assert not read_texture(np.asarray(Image.open(file))).marks


@pytest.mark.parametrize(
    "picture", [np.zeros((10, 500)), np.zeros((80, 80, 3)), np.full((80, 80), np.nan), np.full((80, 80), "x")]
)
def test_what_is_no_picture_is_refused(picture):
    with pytest.raises(SettingError):
        read_texture(picture)


@given(st.floats(0, 1e9), st.floats(0, 1e9))
def test_certainty_rises_with_the_ratio(one, other):
    assert 0 <= certainty(min(one, other)) <= certainty(max(one, other)) <= 1


def test_flattening_leaves_nothing_of_smooth_light():
    down, across = np.meshgrid(np.linspace(-1, 1, 200), np.linspace(-1, 1, 300), indexing="ij")
    light = 100 + 60 * across - 30 * down * across + 20 * down**2
    assert flatten(light).contrast < 0.01
    assert flatten(light * (1 + 0.1 * waves(10, 0, light.shape))).contrast > 0.02
