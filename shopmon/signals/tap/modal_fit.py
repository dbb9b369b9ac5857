"""Modes of a measured receptance: natural frequency, damping ratio and stiffness, with how sure they are.

Where each mode rings comes from the decay (`decay_poles`); its size from the receptance around it, all modes
of a band at once, with what lies below and above the band as one mass-like and one stiffness-like term (D. J.
Ewins, *Modal Testing*, 2nd ed., 2000, ch. 4). A last step lets frequencies and damping move too, and its
Jacobian tells the uncertainty.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from shopmon.errors import RecordingError, SettingError
from shopmon.signals.tap.decay_poles import DecayPole, decay_poles
from shopmon.signals.tap.frequency_response import MeasuredResponse

MOST_MODES, MOST_EVALUATIONS = 12, 15
NARROW_BINS = 4.0
FADE_SHARE = 0.3  # of the lowest frequency
FORCE_RANGE_DB = -25.0
MOST_PHASE_DEG, MOST_ERROR, LEAST_SHARE, LEAST_SHARE_AGAINST = 90.0, 0.25, 0.1, 0.5


@dataclass(frozen=True)
class FittedMode:
    """One mode, as seen by a sensor and a hammer at the same place.

    Attributes
    ----------
    frequency_hz, damping_ratio, stiffness_n_per_m
        Of the mode; damping without what the exponential window added.
    frequency_error_hz, damping_error, stiffness_error
        Standard errors.
    phase_deg
        By how much the mode's phase is off that of a plain one: large values mean that hammer and sensor were
        not at one place, or that modes lie too close together.
    bins_in_width
        How many lines of the spectrum lie within the mode's half-power width.
    share
        Its own peak over what is measured at its frequency.
    """

    frequency_hz: float
    damping_ratio: float
    stiffness_n_per_m: float
    frequency_error_hz: float
    damping_error: float
    stiffness_error: float
    phase_deg: float
    bins_in_width: float
    share: float


@dataclass(frozen=True)
class ModalFit:
    """Modes of one receptance.

    Attributes
    ----------
    modes
        By rising frequency.
    receptance
        What the modes and the terms of the rest add up to, at the lines of the measurement; shape ``(n,)``.
    explained
        Share of the measured receptance (weighted) that the fit explains.
    """

    modes: tuple[FittedMode, ...]
    receptance: np.ndarray
    explained: float


def fit_modes(measured: MeasuredResponse, lowest_hz: float, highest_hz: float) -> ModalFit:
    """Fit the modes between two frequencies.

    Raises
    ------
    RecordingError
        No mode stands out of the noise.
    SettingError
        The band holds too few lines.
    """
    frequency = measured.frequency_hz
    inside = (frequency >= lowest_hz) & (frequency <= highest_hz)
    if inside.sum() < 16:
        raise SettingError("The band holds too few lines of the spectrum.", "Widen it, or record longer.")
    poles = _poles(measured, lowest_hz, highest_hz)
    if not poles:
        raise RecordingError(
            "No mode stands out of the noise.", "Hit a little harder, and average more hits."
        )
    weight = _weights(measured)[inside]
    # first with the poles where the decay has them, which is quick and takes most of the noise's own away
    for evaluations in (1, MOST_EVALUATIONS):
        fit = _fitted(measured, inside, weight, poles, evaluations)
        while len(poles) > 1 and (weakest := _not_a_mode(fit)) is not None:
            poles = poles[:weakest] + poles[weakest + 1 :]
            fit = _fitted(measured, inside, weight, poles, evaluations)
    return fit


def _not_a_mode(fit: ModalFit) -> int | None:
    """Return the place of the least credible mode, None where all may stay.

    At one place a mode answers with the force, not against it. One that does not, and makes up little of what
    is measured at its own frequency, is made of noise or of its neighbours' misfit; so is one whose size is
    mostly error.
    """
    doubt = []
    for mode in fit.modes:
        least = LEAST_SHARE_AGAINST if abs(mode.phase_deg) > MOST_PHASE_DEG else LEAST_SHARE
        doubt.append(max(least / mode.share, mode.stiffness_error / mode.stiffness_n_per_m / MOST_ERROR))
    worst = int(np.argmax(doubt))
    return worst if doubt[worst] > 1 else None


def _poles(measured: MeasuredResponse, lowest_hz: float, highest_hz: float) -> list[DecayPole]:
    """Return the poles of the acceleration's answer to a unit hit, which begins at once and dies away."""
    omega = 2 * pi * measured.frequency_hz
    heard = measured.force_db >= 2 * FORCE_RANGE_DB  # elsewhere the hammer said nothing
    step_hz = measured.frequency_hz[1] - measured.frequency_hz[0]
    places = np.rint(measured.frequency_hz / step_hz).astype(int)  # a response may begin well above 0
    accelerance = np.zeros(places[-1] + 1, complex)
    accelerance[places] = np.where(heard, -(omega**2) * measured.receptance, 0) * _fade_in(places)
    size = 2 * (accelerance.size - 1)
    answer = np.fft.irfft(accelerance, size)
    rate = size * step_hz
    # what the transform wraps around to the end lies before the hit
    poles = decay_poles(answer[: int(0.9 * size)], rate, lowest_hz, highest_hz)
    return sorted(sorted(poles, key=lambda p: -p.over_noise_db)[:MOST_MODES], key=lambda p: p.frequency_hz)


def _fade_in(places: np.ndarray) -> np.ndarray:
    """Return a soft beginning for a response that does not begin at 0: a hard edge would ring like a mode."""
    if places[0] <= 1:
        return np.ones(places.size)
    return 0.5 - 0.5 * np.cos(pi * np.clip((places / places[0] - 1) / FADE_SHARE, 0, 1))


def _weights(measured: MeasuredResponse) -> np.ndarray:
    """Weigh lines by how sure they are, and none by its mere height."""
    level = np.abs(measured.receptance)
    weight = 1 / np.maximum(level, 0.03 * level.max())
    if measured.coherence is not None:
        coherence = np.clip(measured.coherence, 0, 0.9999)
        weight = weight * np.sqrt(np.minimum(coherence / (1 - coherence), 100) / 100)
    return np.where(measured.force_db >= 2 * FORCE_RANGE_DB, weight, 0.0)


def _terms(s: np.ndarray, poles: np.ndarray) -> np.ndarray:
    """Return the shapes that a receptance is made of: two per mode, and the rest below and above."""
    plain = [1 / (s - pole) + 1 / (s - pole.conjugate()) for pole in poles]
    turned = [1j / (s - pole) - 1j / (s - pole.conjugate()) for pole in poles]
    return np.array([*plain, *turned, 1 / s**2, np.ones_like(s)]).T


def _sizes(s, response, weight, poles):
    shapes = _terms(s, poles)
    scale = np.abs(weight[:, None] * shapes).max(axis=0)
    scale[scale == 0] = 1
    rows = weight[:, None] * shapes / scale
    values = np.linalg.lstsq(
        np.vstack([rows.real, rows.imag]),
        np.concatenate([(weight * response).real, (weight * response).imag]),
        rcond=1e-10,
    )[0]
    return values / scale, shapes


def _fitted(measured, inside, weight, found: list[DecayPole], evaluations: int) -> ModalFit:
    from scipy.optimize import least_squares

    s = 2j * pi * measured.frequency_hz[inside]
    response = measured.receptance[inside]
    start = np.array([[p.frequency_hz, p.damping_ratio] for p in found])
    step = measured.frequency_hz[1] - measured.frequency_hz[0]
    reach = np.array([[max(p.damping_ratio, 1e-4) * p.frequency_hz, p.damping_ratio] for p in found])
    # a peak of few lines says less of its width than the decay does
    narrow = [2 * p.damping_ratio * p.frequency_hz < NARROW_BINS * step for p in found]
    reach[narrow, 1] *= 1e-3

    def poles(moved):
        """Return the poles of modes moved from where they began, rad/s."""
        hz, damping = (start + reach * moved.reshape(-1, 2)).T
        return 2 * pi * hz * (-damping + 1j * np.sqrt(1 - damping**2))

    def off(moved):
        """Return what the modes leave of the response, real and imaginary part."""
        sizes, shapes = _sizes(s, response, weight, poles(moved))
        left = weight * (shapes @ sizes - response)
        return np.concatenate([left.real, left.imag])

    # half a width to each side: the decay has said where each mode is
    done = least_squares(off, np.zeros(start.size), bounds=(-0.5, 0.5), method="trf", max_nfev=evaluations)
    final = poles(done.x)
    sizes, _ = _sizes(s, response, weight, final)
    errors = _errors(done, reach)
    errors[narrow, 1] = [p.spread_damping for p, few in zip(found, narrow, strict=True) if few]
    modes = [
        _mode(pole, sizes[number], sizes[len(found) + number], errors[number], measured, done, weight)
        for number, pole in enumerate(final)
    ]
    whole = _terms(2j * pi * measured.frequency_hz, final) @ sizes
    total = np.sum(np.abs(weight * response) ** 2)
    return ModalFit(tuple(modes), whole, float(1 - 2 * done.cost / max(total, 1e-300)))


def _errors(done, reach: np.ndarray) -> np.ndarray:
    """Return standard errors of frequency and damping from the Jacobian, shape ``(modes, 2)``."""
    freedom = max(done.fun.size - 2 * done.x.size, 1)
    spread = 2 * done.cost / freedom
    covariance = np.linalg.pinv(done.jac.T @ done.jac) * spread
    return np.sqrt(np.maximum(np.diag(covariance), 0)).reshape(-1, 2) * reach


def _mode(pole, plain, turned, error, measured, done, weight) -> FittedMode:
    residue = plain + 1j * turned
    omega, damping = abs(pole), -pole.real / abs(pole)
    # a plain mode at its own driving point: residue 1 / (2 j m ω_d), that is -j times a positive number
    mass = 1 / (2 * pole.imag * abs(residue))
    stiffness = omega**2 * mass
    phase = float(np.degrees(np.angle(residue * 1j)))
    noise = np.sqrt(2 * done.cost / max(done.fun.size, 1))
    level = 1 / (2 * stiffness * damping)  # its own peak
    step = measured.frequency_hz[1] - measured.frequency_hz[0]
    lines = max(2 * damping * omega / (2 * pi) / step, 1.0)
    relative = noise / max(np.median(weight) * level, 1e-300) / np.sqrt(lines)
    own = damping - measured.added_damping_rate / omega
    return FittedMode(
        frequency_hz=omega / (2 * pi),
        damping_ratio=float(own),
        stiffness_n_per_m=float(stiffness),
        frequency_error_hz=float(error[0]),
        damping_error=float(error[1]),
        stiffness_error=float(stiffness * np.hypot(relative, error[1] / damping)),
        phase_deg=phase,
        bins_in_width=float(2 * damping * omega / (2 * pi) / step),
        share=float(level / max(_near(measured, omega / (2 * pi)), 1e-300)),
    )


def _near(measured: MeasuredResponse, hz: float) -> float:
    """Return the measured magnitude at the line nearest to a frequency, m/N."""
    return float(np.abs(measured.receptance[int(np.argmin(np.abs(measured.frequency_hz - hz)))]))
