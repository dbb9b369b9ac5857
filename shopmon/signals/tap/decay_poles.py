"""Natural frequencies and damping from a decay: what rings on after a hit is a sum of dying tones.

Band by band the decay is shifted to zero and slowed down, and the tones are read from the way the signal's
own delayed copies lie in a common subspace (R. Roy, T. Kailath, *IEEE Trans. ASSP* 37, 1989, 984-995:
ESPRIT). That is done with a rising number of tones: those of the object stay where they are, those of the
noise wander. Nothing is read from the width of a peak, which a short record widens.
"""

from dataclasses import dataclass
from math import ceil, floor, log, pi

import numpy as np
from scipy import fft

RELATIVE_WIDTH, ANCHOR_HZ = 0.25, 1000.0
OVERSAMPLING = 4
MOST_TONES = 10
FEWEST_SAMPLES, MOST_SAMPLES = 32, 400
MOST_DAMPING = 0.3
SAME_HZ_SHARE, SAME_DAMPING_SHARE = 0.004, 0.3
LASTING_HZ_SHARE = 0.005
ORDERS_AGREEING = 3
LEAST_OVER_NOISE_DB = 12.0
KEPT_DB = 45.0  # a tone this far under the band's strongest may be the filter's or the hammer's doing


@dataclass(frozen=True)
class DecayPole:
    """One dying tone.

    Attributes
    ----------
    frequency_hz
        Undamped natural frequency.
    damping_ratio
        Share of critical damping.
    spread_hz, spread_damping
        Standard deviation over the numbers of tones that agree.
    over_noise_db
        Energy of the tone over that of what is left unexplained, dB.
    """

    frequency_hz: float
    damping_ratio: float
    spread_hz: float
    spread_damping: float
    over_noise_db: float


def decay_poles(
    decay: np.ndarray, sample_rate_hz: float, lowest_hz: float, highest_hz: float
) -> list[DecayPole]:
    """Return the dying tones of a free decay, by rising frequency.

    Parameters
    ----------
    decay
        Shape ``(n,)``, beginning when the hit is over.
    sample_rate_hz
        Samples per second.
    lowest_hz, highest_hz
        Where to look.
    """
    found: list[tuple[float, DecayPole]] = []
    # the same bands wherever the search begins: a tone must not depend on what lies far below it
    ratio = 1 + RELATIVE_WIDTH / 2
    centre = ANCHOR_HZ * ratio ** floor(log(lowest_hz / ANCHOR_HZ, ratio))
    while centre * (1 - RELATIVE_WIDTH / 2) < highest_hz:
        width = RELATIVE_WIDTH * centre
        for pole in _poles_of_band(decay, sample_rate_hz, centre, width):
            off = abs(pole.frequency_hz - centre) / width
            if off <= 0.5 and lowest_hz <= pole.frequency_hz <= highest_hz:
                found.append((off, pole))
        centre *= ratio
    return _merged(found)


def lasting(poles: list[DecayPole], later: list[DecayPole]) -> list[DecayPole]:
    """Return the tones that a decay and the rest of the same decay, begun a little later, both show.

    What an object rings at stays; what a voice or a machine does, moves.
    """
    return [
        one
        for one in poles
        if any(
            abs(one.frequency_hz - other.frequency_hz) < LASTING_HZ_SHARE * one.frequency_hz
            and abs(one.damping_ratio - other.damping_ratio) < SAME_DAMPING_SHARE * one.damping_ratio + 2e-4
            for other in later
        )
    ]


def _poles_of_band(decay, sample_rate_hz: float, centre_hz: float, width_hz: float) -> list[DecayPole]:
    slow, rate_hz = zoomed(decay, sample_rate_hz, centre_hz, width_hz)
    slow = slow[:MOST_SAMPLES]
    if slow.size < FEWEST_SAMPLES or not np.any(slow):
        return []
    rows = slow.size // 2
    hankel = np.lib.stride_tricks.sliding_window_view(slow, rows).T
    subspace = np.linalg.svd(hankel, full_matrices=False)[0]
    chains: list[list[complex]] = []
    for tones in range(1, min(MOST_TONES, rows - 1) + 1):
        for pole in _rotations(subspace[:, :tones], rate_hz):
            _add(chains, pole + 2j * pi * centre_hz)
    chains = [chain for chain in chains if len(chain) >= ORDERS_AGREEING]
    return _weighed(chains, slow, rate_hz, centre_hz)


def zoomed(samples, sample_rate_hz: float, centre_hz: float, width_hz: float) -> tuple[np.ndarray, float]:
    """Return a band shifted to zero and decimated, and its rate; only where the filter lies within `samples`.

    A sum of dying tones stays one: a filter whose whole length lies in the decay only changes their sizes.
    """
    step = max(1, int(sample_rate_hz / (OVERSAMPLING * width_hz)))
    length = ceil(2 * sample_rate_hz / width_hz) | 1
    if samples.size <= length:
        return np.empty(0, complex), sample_rate_hz / step
    window = 0.5 - 0.5 * np.cos(2 * pi * (np.arange(length) + 0.5) / length)
    shifted = samples * np.exp(-2j * pi * centre_hz / sample_rate_hz * np.arange(samples.size))
    size = fft.next_fast_len(samples.size + length)
    smooth = fft.ifft(fft.fft(shifted, size) * fft.fft(window / window.sum(), size))[
        length - 1 : samples.size
    ]
    return smooth[::step], sample_rate_hz / step


def _rotations(subspace: np.ndarray, rate_hz: float) -> np.ndarray:
    turn = np.linalg.lstsq(subspace[:-1], subspace[1:], rcond=None)[0]
    z = np.linalg.eigvals(turn)
    return np.log(z[(np.abs(z) < 1) & (np.abs(z) > 1e-6)]) * rate_hz


def _add(chains: list[list[complex]], pole: complex) -> None:
    if -pole.real > MOST_DAMPING * abs(pole):
        return
    chain = min(chains, key=lambda chain: abs(chain[-1] - pole), default=None)
    if chain is not None and _same(chain[-1], pole):
        chain.append(pole)
    else:
        chains.append([pole])


def _same(one: complex, other: complex) -> bool:
    near = abs(abs(one) - abs(other)) < SAME_HZ_SHARE * abs(one) - 0.3 * one.real
    return near and abs(one.real - other.real) < SAME_DAMPING_SHARE * abs(one.real) + 2e-5 * abs(one)


def _weighed(chains, slow: np.ndarray, rate_hz: float, centre_hz: float) -> list[DecayPole]:
    """Return the tones of the chains that stand out of what all of them together leave unexplained."""
    if not chains:
        return []
    middle = np.array([np.median(np.real(c[-5:])) + 1j * np.median(np.imag(c[-5:])) for c in chains])
    basis = np.exp(np.outer(np.arange(slow.size) / rate_hz, middle - 2j * pi * centre_hz))
    sizes = np.linalg.lstsq(basis, slow, rcond=1e-8)[0]
    noise = np.mean(np.abs(slow - basis @ sizes) ** 2)
    energy = np.sum(np.abs(basis * sizes) ** 2, axis=0)
    # the noise that falls into a tone's own few samples
    lasting = np.minimum(rate_hz / (2 * -middle.real), slow.size)
    over_db = 10 * np.log10(energy / np.maximum(noise * np.maximum(lasting, 4), 1e-300))
    strongest_db = 10 * np.log10(energy.max())
    return [
        _pole(chain, float(over))
        for chain, over, own in zip(chains, over_db, energy, strict=True)
        if over >= LEAST_OVER_NOISE_DB and 10 * np.log10(own) > strongest_db - KEPT_DB
    ]


def _pole(chain: list[complex], over_noise_db: float) -> DecayPole:
    values = np.array(chain[-5:])
    hz, damping = np.abs(values) / (2 * pi), -values.real / np.abs(values)
    return DecayPole(
        float(np.median(hz)), float(np.median(damping)), float(hz.std()), float(damping.std()), over_noise_db
    )


def _merged(found: list[tuple[float, DecayPole]]) -> list[DecayPole]:
    """Keep one of those that several bands found, the one nearest the middle of its band."""
    kept: list[tuple[float, DecayPole]] = []
    for off, pole in sorted(found, key=lambda pair: pair[1].frequency_hz):
        reach = (SAME_HZ_SHARE + 0.5 * pole.damping_ratio) * pole.frequency_hz
        if kept and pole.frequency_hz - kept[-1][1].frequency_hz < reach:
            if off < kept[-1][0]:
                kept[-1] = (off, pole)
        else:
            kept.append((off, pole))
    return [pole for _, pole in kept]
