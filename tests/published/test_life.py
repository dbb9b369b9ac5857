"""Survival and Weibull lives with censoring, against published figures and other libraries."""

import lifelines
import numpy as np
import pytest

from shopmon.cutting.life.lifetimes import Lifetime
from shopmon.cutting.life.survival import incidence, survival_curve
from shopmon.cutting.life.weibull import weibull_lives

# E. J. Freireich et al., Blood 21 (1963) 699: weeks of remission, + where censored (figures recalled; they
# give the published medians and log-rank statistic)
DRUG = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"
# vehicle shock absorbers, km to failure or censoring: W. Q. Meeker, L. A. Escobar, Statistical Methods for
# Reliability Data (after O'Connor)
ABSORBERS = (
    "6700 6950+ 7820+ 8790+ 9120 9660+ 9820+ 11310+ 11690+ 11850+ 11880+ 12140+ 12200 12870+ 13150 13330+ "
    "13470+ 14040+ 14300 17520 17540+ 17890+ 18450+ 18960+ 18980+ 19410+ 20100 20100+ 20150+ 20320+ 20900 "
    "22700 23490+ 26510 27410+ 27490 27890+ 28100+"
)
# ball bearings, 10⁶ revolutions: J. Lieblein, M. Zelen, J. Res. NBS 57 (1956) 273
BEARINGS = (
    "17.88 28.92 33.00 41.52 42.12 45.60 48.40 51.84 51.96 54.12 55.56 67.80 68.64 68.64 68.88 84.12 93.12 "
    "98.64 105.12 105.84 127.92 128.04 173.40"
)


def lives(text: str, cause: str = "worn") -> list[Lifetime]:
    """Read lives from a line of numbers, + where censored."""
    return [
        Lifetime(cut_time_min=float(word.rstrip("+")), cause=None if word.endswith("+") else cause)
        for word in text.split()
    ]


def test_kaplan_and_meiers_curve_of_the_remissions():
    # every textbook of survival analysis, e.g. Kleinbaum & Klein, tables of chapter 2; Greenwood's errors
    curve = survival_curve(lives(DRUG), confidence=0.95)
    steps = curve.ended > 0
    assert list(curve.time_min[steps]) == [6, 7, 10, 13, 16, 22, 23]
    assert list(curve.at_risk[steps]) == [21, 17, 15, 12, 11, 7, 6]
    assert list(curve.ended[steps]) == [3, 1, 1, 1, 1, 1, 1]
    assert curve.share[steps] == pytest.approx(
        [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482], abs=5e-5
    )
    assert curve.median_min == 23
    assert survival_curve(lives(PLACEBO)).median_min == 8


def test_the_bounds_of_the_curve_are_those_of_another_library():
    curve = survival_curve(lives(DRUG), confidence=0.95)
    minutes, ended = zip(*((life.cut_time_min, life.ended) for life in lives(DRUG)), strict=True)
    other = lifelines.KaplanMeierFitter().fit(minutes, ended, alpha=0.05)
    bounds = other.confidence_interval_.loc[curve.time_min].to_numpy()
    assert np.column_stack([curve.lower, curve.upper]) == pytest.approx(bounds, abs=1e-9)


def test_kaplan_and_meiers_curve_of_the_shock_absorbers():
    curve = survival_curve(lives(ABSORBERS))
    assert curve.share[curve.ended > 0] == pytest.approx(
        [0.9737, 0.9450, 0.9087, 0.8708, 0.8273, 0.7838, 0.7184, 0.6286, 0.5388, 0.4311, 0.2874], abs=5e-5
    )


@pytest.mark.parametrize(
    ("data", "shape", "scale", "log_likelihood"),
    [
        # Meeker & Escobar: 3.16 and 27 719; the rest recomputed with lifelines and reliability
        (ABSORBERS, 3.1605, 27718.7, -123.9954),
        # Lieblein & Zelen: 2.10 and 81.9
        (BEARINGS, 2.1018, 81.875, -113.692),
        # recomputed with lifelines
        (DRUG, 1.3537, 33.765, None),
        (PLACEBO, 1.3705, 9.482, None),
        ("38 45 45+ 52 60+ 61 70+", 4.4711, 63.840, -18.5197),
    ],
)
def test_weibull_by_maximum_likelihood(data, shape, scale, log_likelihood):
    fit = weibull_lives(lives(data)).fit()
    assert fit.shape == pytest.approx(shape, rel=4e-5)
    assert fit.scale_min == pytest.approx(scale, rel=4e-5)
    if log_likelihood is not None:
        assert fit.log_likelihood == pytest.approx(log_likelihood, abs=5e-4)


def test_the_life_called_b10():
    assert weibull_lives(lives(ABSORBERS)).fit().life_min(0.1) == pytest.approx(13600, rel=2e-3)
    assert weibull_lives(lives(BEARINGS)).fit().life_min(0.1) == pytest.approx(28.065, abs=1e-3)


def test_bounds_are_those_of_the_exact_distribution_of_the_pivots():
    # D. R. Thoman, L. J. Bain, C. E. Antle, Technometrics 11 (1969) 445: for complete samples β̂/β and
    # β̂ ln(η̂/η) have one distribution whatever β and η are. Here it is drawn anew, 2500 samples of 23.
    from scipy.optimize import brentq

    fit = weibull_lives(lives(BEARINGS)).fit(0.9)
    rng = np.random.default_rng(23)
    shapes, scales = [], []
    for _ in range(2500):
        logs = np.log(rng.weibull(1.0, 23))

        def slope(shape, logs=logs):
            power = np.exp(shape * logs)
            return 1 / shape + logs.mean() - power @ logs / power.sum()

        drawn = brentq(slope, 0.2, 8)
        shapes.append(drawn)
        scales.append(np.log(np.mean(np.exp(drawn * logs))))  # drawn shape times log of drawn scale
    low, high = fit.shape / np.quantile(shapes, [0.95, 0.05])
    assert fit.shape_bounds == pytest.approx((low, high), rel=0.035)
    low, high = fit.scale_min * np.exp(-np.quantile(scales, [0.95, 0.05]) / fit.shape)
    assert fit.scale_bounds_min == pytest.approx((low, high), rel=0.035)


def test_competing_causes_are_those_of_another_library():
    causes = {"worn": 1, "broken": 2, None: 0}
    each = [*lives("12 25 31 44+ 52 70"), *lives("8 20 33+ 47", cause="broken")]
    other = lifelines.AalenJohansenFitter(calculate_variance=False)
    found = incidence(each)
    for cause in ("worn", "broken"):
        other.fit(
            [life.cut_time_min for life in each],
            [causes[life.cause] for life in each],
            event_of_interest=causes[cause],
        )
        times, share = found[cause]
        expected = other.cumulative_density_.iloc[:, 0].loc[times].to_numpy()
        assert share == pytest.approx(expected, abs=1e-12)
