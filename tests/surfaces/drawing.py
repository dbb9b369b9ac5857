"""Draws walls, cameras and what is on no wall, for the tests and `tests/bench/bench_surface.py`."""

from dataclasses import dataclass

import numpy as np

from tests.surfaces.walls import Camera, Wall, photograph

KINDS = ("tooth", "turn", "chatter")
APART = 0.03  # the spacings of two kinds nearer than this are the same to anyone who measures
LEAST_PX, MOST_PX = 6.0, 90.0


@dataclass(frozen=True, kw_only=True)
class Case:
    """A wall, how it was photographed, and what is true of it.

    Attributes
    ----------
    kind
        One of `KINDS`.
    waves_mm
        Spacings of the strong waves of the slope along the feed, from the undisturbed wall itself.
    """

    wall: Wall
    camera: Camera
    kind: str
    waves_mm: tuple[float, ...]

    @property
    def spacing_mm(self) -> float:
        """Spacing of the strongest wave."""
        return self.waves_mm[0]

    def picture(self) -> np.ndarray:
        return photograph(self.wall, self.camera)


def draw(seed: int) -> Case:
    """Draw a case: five to fifty marks in the picture, in light, noise, blur and glare of all degrees."""
    rng = np.random.default_rng([20261129, seed])
    kind = KINDS[seed % len(KINDS)]
    while True:
        wall = _wall(rng, kind)
        waves = waves_mm(wall)
        spacing = waves[0]
        if kind != "chatter" or not _like_the_teeth(wall, spacing):
            break
    shape = (int(rng.integers(300, 520)), int(rng.integers(400, 720)))
    per_mark = float(np.clip(shape[1] / rng.uniform(5, 50), LEAST_PX, MOST_PX))
    camera = Camera(
        um_per_px=1000 * spacing / per_mark,
        rows=shape[0],
        columns=shape[1],
        turned_deg=rng.uniform(-35, 35),
        noise=rng.uniform(0.005, 0.08),
        uneven=rng.uniform(0, 0.6),
        glare=rng.uniform(0, 1) * (rng.random() < 0.5),
        blur_px=rng.uniform(0, 0.25 * per_mark) * (rng.random() < 0.7),
        contrast=rng.uniform(0.03, 0.12),
        grain=rng.uniform(0, 1.5),
        seed=seed,
        lamp_deg=rng.uniform(-50, 50),
    )
    return Case(wall=wall, camera=camera, kind=kind, waves_mm=tuple(waves))


def _wall(rng, kind: str) -> Wall:
    flutes = int(rng.integers(2, 6))
    diameter, fz, rpm = (
        rng.choice([6.0, 8.0, 10.0, 12.0, 16.0]),
        rng.uniform(0.02, 0.15),
        rng.uniform(3e3, 24e3),
    )
    arc_um = 1000 * fz**2 / diameter
    given = {
        "rpm": rpm,
        "flutes": flutes,
        "feed_mm_min": fz * flutes * rpm,
        "diameter_mm": diameter,
        "helix_deg": rng.choice([0.0, 30.0, 35.0, 45.0]),
        "phase": rng.uniform(0, 2 * np.pi),
    }
    if kind == "turn":
        given["offsets_um"] = tuple(arc_um * np.r_[rng.uniform(1, 30), rng.uniform(-1, 0, flutes - 1)])
    if kind == "chatter":
        given |= {"chatter_hz": rng.uniform(300, 4000), "chatter_um": arc_um * 10 ** rng.uniform(-0.3, 1.5)}
    return Wall(**given)


def waves_mm(wall: Wall) -> list[float]:
    """Spacings of the strong waves of the wall's slope along the feed, strongest first, from 240 teeth of it.

    A wall that rings has several: what counts is a tenth of the power of the strongest.
    """
    points = 240 * 24
    x = np.linspace(0, 240 * wall.fz_mm, points, endpoint=False)
    slope = np.gradient(wall.depth_um(x, np.zeros(1)))
    slope = np.tanh(slope / slope.std() / 2)
    power = np.abs(np.fft.rfft((slope - slope.mean()) * np.hanning(points), 8 * points)) ** 2
    power[: 8 * 4] = 0
    peaks = np.flatnonzero((power[1:-1] >= power[:-2]) & (power[1:-1] > power[2:])) + 1
    peaks = peaks[power[peaks] >= 0.1 * power.max()]
    return [8 * 240 * wall.fz_mm / float(peak) for peak in peaks[np.argsort(-power[peaks])]]


def _like_the_teeth(wall: Wall, spacing: float) -> bool:
    marks = wall.fz_mm * wall.flutes / spacing
    return (
        spacing > 40 * wall.fz_mm
        or marks > 1.4 * wall.flutes
        or (abs(marks - round(marks)) < APART * marks and round(marks) >= 1)
    )


def flat(seed: int) -> np.ndarray:
    """Draw a picture without marks: noise, grain, light, spots, or scratches at random distances."""
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng([77, seed])
    shape = (int(rng.integers(200, 520)), int(rng.integers(300, 720)))
    white = rng.normal(size=shape)
    kind = seed % 5
    if kind == 1:
        white = gaussian_filter(white, rng.uniform(0.7, 5))
    if kind == 2:  # ground or brushed: lines of one direction
        white = gaussian_filter(white, (rng.uniform(20, 80), rng.uniform(0.5, 2)))
        white = white / white.std() + 0.5 * rng.normal(size=shape)
    if kind == 3:  # grain of all sizes
        rows, columns = np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1])[None, :]
        white = np.fft.irfft2(np.fft.rfft2(white) / np.maximum(np.hypot(rows, columns), 0.004), shape)
    picture = 0.5 + 0.08 * white / white.std()
    down, across = (np.linspace(-0.5, 0.5, size) for size in shape)
    picture *= 1 + rng.uniform(0, 0.8) * across[None, :] + rng.uniform(0, 0.8) * down[:, None]
    if kind == 4:
        for _ in range(4):
            y, x, size = *rng.uniform(-0.4, 0.4, 2), rng.uniform(0.02, 0.1)
            picture += np.exp(-((across[None, :] - x) ** 2 + (down[:, None] - y) ** 2) / (2 * size**2))
    return np.clip(np.rint(255 * picture), 0, 255)
