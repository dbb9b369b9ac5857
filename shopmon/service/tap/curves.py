"""What a page draws of a tap test: the response with its coherence, or the spectrum of the ringing."""

from itertools import pairwise

import numpy as np
from scipy import fft

from shopmon.service.tap.judging import TapSettings
from shopmon.signals.tap.frequency_response import MeasuredResponse
from shopmon.signals.tap.hits import Hit

POINTS = 500


def forced_curves(measured: MeasuredResponse, settings: TapSettings) -> dict:
    """Return the receptance in the band, m/N, and its coherence (None after one hit)."""
    inside = _inside(measured.frequency_hz, settings)
    hz, size = measured.frequency_hz[inside], np.abs(measured.receptance[inside])
    coherence = None if measured.coherence is None else measured.coherence[inside]
    edges = _edges(hz.size)
    return {
        "frequency_hz": _thinned(hz, edges, np.mean),
        "receptance_m_per_n": _thinned(size, edges, np.max, 4),
        "coherence": None if coherence is None else _thinned(coherence, edges, np.mean, 3),
    }


def heard_curves(response, sample_rate_hz: float, settings: TapSettings, hits: list[Hit]) -> dict:
    """Return the mean spectrum of the ringing in the band, dB below its highest line."""
    length = min(hit.end - hit.over for hit in hits)
    rows = np.array([response[hit.over : hit.over + length] for hit in hits])
    power = np.mean(np.abs(fft.rfft(rows)) ** 2, axis=0)[1:]
    hz = fft.rfftfreq(length, 1 / sample_rate_hz)[1:]
    inside = _inside(hz, settings)
    hz, level = hz[inside], 10 * np.log10(np.maximum(power[inside] / power[inside].max(), 1e-12))
    edges = _edges(hz.size)
    return {"frequency_hz": _thinned(hz, edges, np.mean), "level_db": _thinned(level, edges, np.max, 3)}


def _inside(hz: np.ndarray, settings: TapSettings) -> np.ndarray:
    return (hz >= settings.lowest_hz) & (hz <= settings.highest_hz)


def _edges(size: int) -> np.ndarray:
    return np.unique(np.linspace(0, size, min(size, POINTS) + 1).astype(int))


def _thinned(values: np.ndarray, edges: np.ndarray, how, digits: int = 5) -> list[float]:
    """Return few points, none of the peaks lost."""
    parts = (how(values[begin:end]) for begin, end in pairwise(edges))
    return [float(f"{part:.{digits}g}") for part in parts]
