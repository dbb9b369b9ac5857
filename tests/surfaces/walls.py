"""Walls as teeth leave them: each pass cuts an arc, the deepest pass counts, light falls on it from the side.

Nothing of the product's own arithmetic of marks is used: only where each tooth is, and when.
"""

from dataclasses import dataclass, field

import numpy as np

TEETH_AROUND = (
    14  # on each side of a place; deeper passes from further away do not occur with these amplitudes
)


@dataclass(frozen=True, kw_only=True)
class Wall:
    """A milled wall and what made it; lengths in mm, heights in µm."""

    rpm: float = 12000.0
    flutes: int = 3
    feed_mm_min: float = 1800.0
    diameter_mm: float = 10.0
    helix_deg: float = 35.0
    offsets_um: tuple[float, ...] = ()
    chatter_hz: float = 0.0
    chatter_um: float = 0.0
    phase: float = 0.0

    @property
    def fz_mm(self) -> float:
        return self.feed_mm_min / self.rpm / self.flutes

    def depth_um(self, x_mm: np.ndarray, z_mm: np.ndarray) -> np.ndarray:
        """How deep the deepest tooth reached into the wall."""
        lag_s = z_mm * np.tan(np.radians(self.helix_deg)) / (np.pi * self.diameter_mm) * 60 / self.rpm
        passing_s = 60 / self.rpm / self.flutes
        speed = self.feed_mm_min / 60
        nearest = np.rint((x_mm / speed - lag_s) / passing_s)
        offsets = np.array(self.offsets_um or (0.0,) * self.flutes)
        deepest = np.full(np.broadcast(x_mm, z_mm).shape, -np.inf)
        for beside in range(-TEETH_AROUND, TEETH_AROUND + 1):
            tooth = nearest + beside
            when = tooth * passing_s + lag_s
            tip = offsets[tooth.astype(int) % self.flutes]
            tip = tip + self.chatter_um * np.cos(2 * np.pi * self.chatter_hz * when + self.phase)
            deepest = np.maximum(deepest, tip - 1000 * (x_mm - speed * when) ** 2 / self.diameter_mm)
        return deepest


@dataclass(frozen=True, kw_only=True)
class Camera:
    """How a wall is photographed; directions in degrees, counter-clockwise as seen."""

    um_per_px: float
    rows: int = 420
    columns: int = 560
    turned_deg: float = 0.0
    noise: float = 0.02
    uneven: float = 0.0
    glare: float = 0.0
    blur_px: float = 0.0
    contrast: float = 0.08
    grain: float = 0.0
    seed: int = 0
    bits: int = 8
    lamp_deg: float = field(default=0.0)


def photograph(wall: Wall, camera: Camera) -> np.ndarray:
    """Take a picture: shape ``(rows, columns)``, whole grey values."""
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng(camera.seed)
    row, column = np.mgrid[0 : camera.rows, 0 : camera.columns].astype(float)
    turn = np.radians(camera.turned_deg)
    pixel = camera.um_per_px / 1000
    x = (column * np.cos(turn) - row * np.sin(turn)) * pixel
    z = (-column * np.sin(turn) - row * np.cos(turn)) * pixel
    height = wall.depth_um(x, z)
    picture = lit(height, camera, rng)
    across, down = column / camera.columns - 0.5, row / camera.rows - 0.5
    lamp = rng.normal(size=3)
    picture *= 1 + camera.uneven * (lamp[0] * across + lamp[1] * down + lamp[2] * across * down * 2)
    for _ in range(int(np.ceil(3 * camera.glare))):
        place, size = rng.uniform(-0.45, 0.45, 2), rng.uniform(0.03, 0.12)
        picture += camera.glare * np.exp(-((across - place[0]) ** 2 + (down - place[1]) ** 2) / (2 * size**2))
    if camera.blur_px > 0:
        picture = gaussian_filter(picture, camera.blur_px)
    picture += camera.noise * rng.normal(size=picture.shape)
    most = 2**camera.bits - 1
    return np.clip(np.rint(picture * most), 0, most)


def lit(height: np.ndarray, camera: Camera, rng) -> np.ndarray:
    """Shade by the slope against the lamp; contrast is what the photographer made of it."""
    from scipy.ndimage import gaussian_filter

    along, across = np.gradient(height, axis=1), np.gradient(height, axis=0)
    lamp = np.radians(camera.turned_deg + camera.lamp_deg)
    slope = along * np.cos(lamp) - across * np.sin(lamp)
    spread = slope.std()
    shade = slope / spread if spread > 0 else slope
    shade = np.tanh(shade / 2) * 2  # a camera's range is not endless
    if camera.grain > 0:
        grain = gaussian_filter(rng.normal(size=height.shape), 1.5)
        shade = shade + camera.grain * grain / grain.std()
    return 0.45 + camera.contrast * shade
