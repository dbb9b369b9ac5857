"""Signs of a bearing's defects in the rhythm of a sound, and whether they are enough to name one.

Each tone is judged by its first three multiples together, at one and the same rate within the slip that
bearings have, in whichever band shows it best. The same question put to rates that belong to nothing tells
what chance brings. Multiples of the rotation and of the mains never count: those come from shaft and motor.
Only whitened bands speak: a single line that beats near a bearing's rate, as gears and motors make them,
fills none of them, while clicks ring throughout one.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from shopmon.errors import RecordingError, SettingError
from shopmon.signals.spectra import hann_window
from shopmon.signals.spindle.bearing_tones import BearingTones
from shopmon.signals.spindle.envelope import EnvelopeSpectra, envelope_spectra

Verdict = Literal["sign", "cannot-tell", "no-sign"]

MULTIPLES = 3
CAP_DB = 30.0
SLIP = 0.02
UNHEARD_SPEED = 0.03  # how far a nameplate speed may be off when the shaft itself is not heard
SHAFT_MULTIPLES = 8
SHAFT_HEARD_DB = 9.0  # noise alone reaches 4.5, a turning shaft 10 to 20; other steady tones up to 13
# chance brings up to 11 dB per multiple in simulated healthy bearings
NAMED_DB, DOUBTFUL_DB = 12.5, 10.5
PLAINLY_DB, SIDEBANDS_DB = 15.0, 9.0  # a ball as loud as that beats with the cage; chance brings up to 8
MAINS_HZ, MAINS_MULTIPLES, MAINS_REACH_HZ, MAINS_REACH_BINS = (50.0, 60.0), 12, 0.3, 3.5
MAINS_HEARD_DB = 9.0  # mean of the first three multiples of twice the mains; chance brings up to 7
PLAIN_MULTIPLE_DB, PLAIN_MULTIPLES = 10.0, 2
UNHEARD_SHARE = 0.15  # of races that show nothing a defect is too faint
MOST_SURE = 0.98  # simulated bearings are not all bearings
HIDDEN_SHARE = 0.012  # usual slip: a tone this little above a multiple of the rotation may lie on it
SHORTEST_S = 0.5
MOST_ROTATION = 0.06  # of the sample rate: above, not even the shaft's first multiples are heard
FEWEST_TURNS = 20


@dataclass(frozen=True)
class ToneSign:
    """What was found at one of a bearing's tones.

    Attributes
    ----------
    part
        Outer race, inner race, ball or cage.
    expected_hz, found_hz
        Where it should be at the rotation that was heard, and where it fits best.
    evidence_db
        Mean of how far its first three multiples stand over the median around them, each capped at 30 dB.
    multiples_db
        Those three; None where something else of the spindle lies.
    band_hz
        The band whose rhythm shows it best.
    verdict
        A sign of a defect, cannot tell, or no sign.
    confidence
        Probability of a defect there, from simulated bearings with as many healthy ones as others; None where
        it cannot be told.
    reason
        Why, in words.
    """

    part: str
    expected_hz: float
    found_hz: float
    evidence_db: float
    multiples_db: tuple[float | None, ...]
    band_hz: tuple[float, float]
    verdict: Verdict
    confidence: float | None
    reason: str


@dataclass(frozen=True)
class BearingSigns:
    """All tones of a bearing, and the rotation that was found.

    Attributes
    ----------
    rotation_hz
        As heard, or as stated where the shaft itself is not heard.
    rotation_heard
        Which of the two.
    chance_db
        The evidence that the rates which belong to nothing reach at most (99th percentile).
    tones
        The signs, in the order outer, inner, ball, cage, of those that are known.
    """

    rotation_hz: float
    rotation_heard: bool
    chance_db: float
    tones: tuple[ToneSign, ...]


def bearing_signs(
    samples: np.ndarray, sample_rate_hz: float, stated_rpm: float, tones: BearingTones
) -> BearingSigns:
    """Judge a recording of a bearing that turns at a steady speed.

    Parameters
    ----------
    samples
        Shape ``(n,)``, any unit, from a sensor near the bearing; spindle running idle.
    sample_rate_hz
        Samples per second.
    stated_rpm
        Speed of the inner ring as programmed; the true one is looked for within 3 %.
    tones
        The bearing's.

    Raises
    ------
    RecordingError
        The recording is too short for the speed, constant, or holds no numbers.
    SettingError
        The speed cannot be.
    """
    samples = np.asarray(samples, dtype=float)
    _check(samples, sample_rate_hz, stated_rpm)
    parts = {name: value for name in ("outer", "inner", "ball", "cage") if (value := getattr(tones, name))}
    highest_hz = (MULTIPLES + 0.3) * max(parts.values()) * stated_rpm / 60
    spectra = envelope_spectra(samples, sample_rate_hz, min(highest_hz, 0.2 * sample_rate_hz))
    rotation_hz, heard = shaft_rotation(samples, sample_rate_hz, stated_rpm / 60, spectra)
    reach = SLIP if heard else UNHEARD_SPEED + SLIP
    looked = _Looked(spectra.whitened_only(), rotation_hz)
    found = {name: looked.best(value, reach) for name, value in parts.items()}
    strongest = max(
        (name for name in found if name in ("outer", "inner")), key=lambda n: found[n].db, default=None
    )
    if strongest is not None and found[strongest].db >= NAMED_DB:
        # its sidebands lie wherever turns of the shaft away from its multiples: they are no signs of others
        without = looked.without(found[strongest].hz)
        found = {n: found[n] if n == strongest else without.best(parts[n], reach) for n in parts}
    chance_db = looked.chance_db(parts.values())
    signs = tuple(
        _judged(
            name, parts[name] * rotation_hz, found[name], rotation_hz, chance_db,
            hidden=_hidden(parts[name], rotation_hz, looked),
            # which of two it is can be told only where the other could not slip to this rate
            shared=_may_be_the_balls(found[name], tones, rotation_hz, reach, looked),
        )
        for name in parts
    )  # fmt: skip
    return BearingSigns(rotation_hz, heard, chance_db, signs)


def _check(samples: np.ndarray, sample_rate_hz: float, stated_rpm: float) -> None:
    if not np.isfinite(stated_rpm) or stated_rpm <= 0:
        raise SettingError(
            f"The speed must be above 0 rpm, not {stated_rpm!r}.", "Give it as it was programmed."
        )
    if stated_rpm / 60 > MOST_ROTATION * sample_rate_hz:
        raise SettingError(
            f"{stated_rpm:.0f} rpm is too fast for a recording of {sample_rate_hz:.0f} samples per second.",
            "Check the speed, or take a faster sensor.",
        )
    if samples.ndim != 1 or not np.all(np.isfinite(samples)):
        raise RecordingError("The recording holds values that are no numbers.", "Record it again.")
    needed = max(SHORTEST_S, FEWEST_TURNS * 60 / stated_rpm)
    if samples.size < needed * sample_rate_hz:
        raise RecordingError(
            f"The recording is too short to hear a bearing: {samples.size / sample_rate_hz:.2f} s.",
            f"At {stated_rpm:g} rpm record at least {needed:.1f} s; ten seconds are better.",
        )
    if np.ptp(samples) == 0:
        raise RecordingError(
            "The recording is constant: nothing was measured.", "Check the sensor and its cable."
        )


def shaft_rotation(
    samples: np.ndarray, sample_rate_hz: float, stated_hz: float, spectra: EnvelopeSpectra
) -> tuple[float, bool]:
    """Find the shaft's own rotation within 3 % of the stated one, in the sound and in its rhythms.

    Returns
    -------
    tuple
        The rotation in Hz (the stated one where none stands out), and whether it was heard.
    """
    candidates = np.linspace(1 - UNHEARD_SPEED, 1 + UNHEARD_SPEED, 241) * stated_hz
    size = min(samples.size, int(3 * sample_rate_hz))
    bin_hz = sample_rate_hz / size
    power = np.abs(np.fft.rfft((samples[:size] - samples[:size].mean()) * hann_window(size))) ** 2
    power = power[: int(SHAFT_MULTIPLES * 1.1 * stated_hz / bin_hz) + 10]
    plain = EnvelopeSpectra(((0.0, 0.0),), (False,), bin_hz, _excess(power, bin_hz, stated_hz), 1)
    fit = np.zeros(candidates.size)
    for order in range(1, SHAFT_MULTIPLES + 1):
        for one in (plain, spectra):
            lines = np.clip(_read(one, order * candidates, 0), 0, 20)
            fit += lines.max(axis=0) / SHAFT_MULTIPLES
    best = int(np.argmax(fit))
    heard = fit[best] - np.median(fit) >= SHAFT_HEARD_DB
    return (float(candidates[best]), True) if heard else (stated_hz, False)


def _excess(power: np.ndarray, bin_hz: float, rotation_hz: float) -> np.ndarray:
    from scipy.ndimage import median_filter

    floor = median_filter(power, size=int(max(20.0, 0.8 * rotation_hz) / bin_hz) | 1, mode="nearest")
    return 10 * np.log10(np.maximum(power, 1e-30) / np.maximum(floor, 1e-30))[None, :]


def _read(spectra: EnvelopeSpectra, frequencies_hz: np.ndarray, reach_bins: int) -> np.ndarray:
    """Return the largest excess within `reach_bins` of each frequency, shape ``(rows, frequencies)``."""
    last = spectra.excess_db.shape[1] - 1
    middle = np.rint(np.asarray(frequencies_hz) / spectra.bin_hz).astype(int)
    around = [
        spectra.excess_db[:, np.clip(middle + shift, 0, last)] for shift in range(-reach_bins, reach_bins + 1)
    ]
    return np.where(middle <= last, np.max(around, axis=0), 0.0)


@dataclass(frozen=True)
class _Found:
    db: float
    hz: float
    multiples_db: tuple[float | None, ...]
    band_hz: tuple[float, float]


class _Looked:
    """Evidence at any rate, with what belongs to the shaft (and to a defect already named) left out."""

    def __init__(self, spectra: EnvelopeSpectra, rotation_hz: float, known_hz: float | None = None):
        self._spectra, self._rotation_hz, self._known_hz = spectra, rotation_hz, known_hz
        self._near_hz = max(1.5 * spectra.bin_hz, 0.004 * rotation_hz)
        self._mains_hz = [mains_hz for mains_hz in MAINS_HZ if self._hums(mains_hz)]

    def without(self, known_hz: float) -> "_Looked":
        """Return the same view with the multiples of `known_hz` and their sidebands left out."""
        return _Looked(self._spectra, self._rotation_hz, known_hz)

    def multiples(self, rates_hz: np.ndarray) -> np.ndarray:
        """Return the capped excess, shape ``(multiples, bands, rates)``."""
        parts = []
        for multiple in range(1, MULTIPLES + 1):
            at_hz = multiple * rates_hz
            level = np.clip(_read(self._spectra, at_hz, 1), 0, CAP_DB)
            parts.append(np.where(self._explained(at_hz), np.nan, level))
        return np.array(parts)

    def evidence(self, parts: np.ndarray) -> np.ndarray:
        """Return the mean over what nothing else explains, two at least, shape ``(bands, rates)``."""
        counted = np.maximum(np.isfinite(parts).sum(axis=0), 2)
        return np.nansum(parts, axis=0) / counted

    def _explained(self, at_hz: np.ndarray) -> np.ndarray:
        def near_turns(distance_hz, most=None):
            """Tell which distances are multiples of the rotation, of at most so many turns."""
            turns = np.rint(distance_hz / self._rotation_hz)
            off_hz = np.abs(distance_hz - turns * self._rotation_hz)
            if most is None:
                return off_hz < self._near_hz
            # two rates that were read, each to a part of a bin, add their errors
            return (off_hz < 2 * self._near_hz) & (np.abs(turns) <= most)

        explained = near_turns(at_hz) | self.of_the_mains(at_hz)
        if self._known_hz is not None:
            for multiple in range(1, 2 * MULTIPLES + 1):
                explained |= near_turns(at_hz - multiple * self._known_hz, most=4)
        return explained

    def _hums(self, mains_hz: float) -> bool:
        """Tell whether the sound beats with the mains: at twice its frequency, and that one's multiples."""
        levels = np.clip(_read(self._spectra, 2 * mains_hz * np.arange(1, MULTIPLES + 1), 0), 0, CAP_DB)
        return bool(levels.mean(axis=1).max() >= MAINS_HEARD_DB)

    def of_the_mains(self, at_hz) -> np.ndarray:
        """Tell which frequencies are multiples of a mains that is heard, as far as they can be told apart."""
        reach_hz = max(MAINS_REACH_HZ, MAINS_REACH_BINS * self._spectra.bin_hz)
        found = np.zeros(np.shape(at_hz), bool)
        for mains_hz in self._mains_hz:
            multiple = np.rint(np.asarray(at_hz) / mains_hz)
            found |= (np.abs(at_hz - multiple * mains_hz) < reach_hz) & (multiple <= MAINS_MULTIPLES)
        return found

    def sidebands_db(self, rate_hz: float, apart_hz: float) -> float:
        """Return how far lines `apart_hz` beside a rate and its double stand out, in the best band."""
        beside = np.array([times * rate_hz + side * apart_hz for times in (1, 2) for side in (-1, 1)])
        return float(np.clip(_read(self._spectra, beside, 1), 0, CAP_DB).mean(axis=1).max())

    def best(self, multiplier: float, reach: float) -> _Found:
        """Return the best fit within `reach` (a share) of a multiple of the rotation."""
        step = self._spectra.bin_hz / MULTIPLES / self._rotation_hz
        rates_hz = (
            np.arange(multiplier * (1 - reach), multiplier * (1 + reach) + step, step) * self._rotation_hz
        )
        parts = self.multiples(rates_hz)
        mean = self.evidence(parts)
        row, place = np.unravel_index(int(np.argmax(mean)), mean.shape)
        return _Found(
            float(mean[row, place]),
            float(rates_hz[place]),
            tuple(None if np.isnan(value) else float(value) for value in parts[:, row, place]),
            self._spectra.bands_hz[row],
        )

    def chance_db(self, multipliers) -> float:
        """Return what rates that belong to nothing reach in 99 of 100 stretches as wide as the slip."""
        step = self._spectra.bin_hz / MULTIPLES / self._rotation_hz
        orders = np.arange(0.7, 1.1 * max(*multipliers, 2.0), step)
        belongs = np.abs(orders - np.rint(orders)) < 0.02
        for multiplier in multipliers:
            for times in range(1, MULTIPLES + 1):
                for share in range(1, MULTIPLES + 1):
                    for turns in range(-2, 3):
                        near = np.abs(orders * share - times * multiplier - turns)
                        belongs |= near < 0.03 * orders * share
        free = orders[~belongs]
        if free.size == 0:
            return 0.0
        evidence = self.evidence(self.multiples(free * self._rotation_hz)).max(axis=0)
        stretch = max(1, int(2 * SLIP * 3 / step))
        heads = evidence[: evidence.size // stretch * stretch].reshape(-1, stretch)
        return float(np.percentile(heads.max(axis=1), 99)) if heads.size else float(evidence.max())


NAMES = {"outer": "outer race", "inner": "inner race", "ball": "ball", "cage": "cage"}


def _hidden(order: float, rotation_hz: float, looked: _Looked) -> str | None:
    """Say what else has its tones where this one's would be; None where nothing has."""
    if abs(order - round(order)) < HIDDEN_SHARE * order:
        return "Its tone lies on a multiple of the rotation, where the shaft's own tones are."
    if looked.of_the_mains(order * rotation_hz):
        return "Its tone lies on a multiple of the mains, where the motor's own tones are."
    return None


def _may_be_the_balls(found: _Found, tones: BearingTones, rotation_hz: float, reach: float, looked) -> bool:
    """Tell whether what was found lies as near to the tone of a ball, which would beat with the cage."""
    if not tones.ball or abs(found.hz / rotation_hz / tones.ball - 1) >= reach:
        return False
    cage = tones.cage or 0.4
    return found.db < PLAINLY_DB or looked.sidebands_db(found.hz, cage * rotation_hz) > SIDEBANDS_DB


def _judged(
    part: str, expected_hz: float, found: _Found, rotation_hz: float, chance_db: float, *,
    hidden: str | None, shared: bool,
) -> ToneSign:  # fmt: skip
    levels = [level for level in found.multiples_db if level is not None]
    plain = sum(level >= PLAIN_MULTIPLE_DB for level in levels) >= PLAIN_MULTIPLES
    if part in ("ball", "cage"):
        # a ball turns its spot toward the races and away from them: the envelope seldom shows it, and what it
        # shows there may be another's
        verdict, reason = (
            "cannot-tell",
            f"A defect of a {NAMES[part]} seldom shows in this test, present or not.",
        )
    elif found.db >= DOUBTFUL_DB and plain and shared:
        verdict, reason = (
            "cannot-tell",
            "A ball's own tone lies as near to what stands out: which of them it is cannot be told.",
        )
    elif found.db >= max(NAMED_DB, chance_db + 3) and plain:
        verdict, reason = (
            "sign",
            "Several multiples of its tone stand out, where nothing else of this spindle lies.",
        )
    elif found.db >= DOUBTFUL_DB and plain:
        verdict, reason = (
            "cannot-tell",
            "Something is at its tone, hardly more than what lies elsewhere by chance.",
        )
    elif hidden:
        verdict, reason = ("cannot-tell", hidden)
    else:
        verdict, reason = "no-sign", "Its tone does not stand out."
    return ToneSign(
        part=NAMES[part],
        expected_hz=expected_hz,
        found_hz=found.hz,
        evidence_db=found.db,
        multiples_db=found.multiples_db,
        band_hz=found.band_hz,
        verdict=verdict,
        confidence=None if verdict == "cannot-tell" else _confidence(found.db),
        reason=reason,
    )


def _confidence(evidence_db: float) -> float:
    """Return the probability of a defect: a curve through the table of `tests/bench/bench_bearings.py`."""
    clear = 1 / (1 + np.exp(-(evidence_db - 10.5) / 1.3))
    return float(min(UNHEARD_SHARE + (1 - UNHEARD_SHARE) * clear, MOST_SURE))
