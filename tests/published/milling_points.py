"""Milling cuts whose stability is known from outside this project, as data for the checks beside it.

Benchmark: T. Insperger, G. Stépán, Int. J. Numer. Meth. Eng. 61 (2004) 117–141; the same set-up in Y. Ding,
L. Zhu, X. Zhang, H. Ding, Int. J. Mach. Tools Manuf. 50 (2010) 502–509. Its inputs (922 Hz, damping ratio
0.011, 0.03993 kg, Kt 6e8, Kn 2e8 N/m², two teeth) were read in a public script. The spectral radii were
computed for this purpose by three unrelated programs that agree (piecewise Chebyshev collocation converged to
1e-7, first-order semi-discretization, direct integration of the delay equation); none of them is this
project's code.
"""

from shopmon.cutting.nouns import Mode
from shopmon.cutting.stability.semidiscretization import StabilityCase

HOPF, FLIP = "quasi-periodic", "period-doubling"
STIFFNESS = 1340049.648  # N/m
BENCH_X = Mode(axis="x", frequency_hz=922.0, damping_ratio=0.011, stiffness_n_per_m=STIFFNESS)
BENCH_Y = Mode(axis="y", frequency_hz=922.0, damping_ratio=0.011, stiffness_n_per_m=STIFFNESS)

# ae/D, cut, rpm, ap in mm, spectral radius, kind (None: quiet), strongest line in Hz
ONE_MODE = [
    (1.00, "slot", 5000, 0.2, 0.81974, None, None),
    (1.00, "slot", 5000, 0.5, 1.07398, HOPF, 945.35),
    (1.00, "slot", 5000, 0.7, 1.22156, HOPF, 950.19),
    (1.00, "slot", 5000, 1.0, 1.40647, HOPF, 956.01),
    (0.05, "climb", 4000, 2.0, 0.55061, None, None),
    (0.05, "climb", 5000, 4.0, 1.44074, HOPF, 889.07),
    (0.05, "climb", 10000, 2.0, 0.52709, None, None),
    (0.05, "climb", 12000, 4.0, 1.21182, HOPF, 899.72),
    (0.05, "climb", 16000, 4.0, 0.36378, None, None),
    (0.05, "climb", 17000, 5.0, 1.39210, FLIP, 850.00),
    (0.05, "climb", 18000, 4.0, 1.22692, FLIP, 900.00),
    (0.05, "conventional", 6000, 4.0, 1.26085, HOPF, 948.40),
    (0.05, "conventional", 13000, 4.0, 0.49153, None, None),
    (0.05, "conventional", 16000, 5.0, 1.17315, HOPF, 949.79),
    (0.05, "conventional", 19000, 4.0, 1.21874, FLIP, 950.00),
    (0.05, "conventional", 22000, 4.0, 0.69775, None, None),
    (0.10, "climb", 10000, 3.0, 1.27480, FLIP, 833.33),
    (0.10, "climb", 12000, 3.0, 1.33082, HOPF, 894.21),
    (0.10, "climb", 15000, 3.0, 0.53694, None, None),
    (0.10, "climb", 17000, 3.0, 1.38889, FLIP, 850.00),
    (0.10, "conventional", 13000, 3.0, 0.46015, None, None),
    (0.10, "conventional", 16000, 4.0, 1.28433, HOPF, 960.73),
    (0.10, "conventional", 20000, 4.0, 1.30233, FLIP, 1000.00),
    (0.10, "conventional", 23000, 3.0, 0.60147, None, None),
    (0.50, "climb", 6000, 2.0, 1.46863, HOPF, 871.78),
    (0.50, "climb", 10000, 1.0, 0.38549, None, None),
    (0.50, "climb", 17000, 2.0, 1.24896, FLIP, 850.00),
    (0.50, "conventional", 8000, 2.0, 2.02868, HOPF, 1006.88),
    (0.50, "conventional", 13000, 1.0, 0.56761, None, None),
]

# Set-up A: recalled as the Weck cutter in Altintas & Budak, CIRP Annals 44/1 (1995) 357–362, unconfirmed; the
# radii do not depend on that. Set-up B: made up for the check. Radii of both by the same three programs.
SETUP_A = (
    Mode(axis="x", frequency_hz=603.0, damping_ratio=0.039, stiffness_n_per_m=5.59e6),
    Mode(axis="y", frequency_hz=666.0, damping_ratio=0.035, stiffness_n_per_m=5.715e6),
)
SETUP_B = (
    Mode(axis="x", frequency_hz=1450.0, damping_ratio=0.030, stiffness_n_per_m=8.0e6),
    Mode(axis="y", frequency_hz=1620.0, damping_ratio=0.025, stiffness_n_per_m=9.0e6),
)
BOTH = {
    "922": ((BENCH_X, BENCH_Y), 2, 600.0, 1 / 3),
    "A": (SETUP_A, 3, 600.0, 0.07),
    "B": (SETUP_B, 3, 800.0, 0.25),
}

# set-up, ae/D, cut, rpm, ap in mm, spectral radius, kind, strongest line in Hz
TWO_DIRECTIONS = [
    ("922", 1.0, "slot", 5000, 0.2, 2.13659, HOPF, 931.79),
    ("922", 1.0, "slot", 10000, 0.3, 1.74025, HOPF, 917.73),
    ("922", 0.5, "climb", 8000, 0.3, 1.31287, FLIP, 933.33),
    ("922", 0.1, "conventional", 12000, 1.0, 0.85330, None, None),
    ("A", 0.5, "conventional", 12000, 2.0, 0.87649, None, None),
    ("A", 0.5, "conventional", 8000, 2.0, 1.34820, HOPF, 630.93),
    ("B", 0.25, "climb", 4000, 6.0, 2.10731, HOPF, 1733.81),
    ("B", 0.25, "climb", 15000, 6.0, 0.71860, None, None),
    ("B", 1.0, "slot", 10000, 0.6, 0.65363, None, None),
    ("B", 1.0, "slot", 18000, 1.6, 1.50658, HOPF, 1508.08),
]

# First border going up in depth in the benchmark: ae/D, cut, rpm, true border in mm (±0.01), by Chebyshev
# collocation.
BORDERS = [
    (0.05, "climb", 5000, 2.207),
    (0.05, "climb", 10000, 4.091),
    (0.05, "climb", 18000, 1.295),
    (0.10, "climb", 8000, 1.220),
    (0.50, "climb", 12000, 0.613),
    (1.00, "slot", 12000, 2.149),
    (1.00, "slot", 20000, 1.418),
]

# First border of set-ups A and B, true mm: the full periodic equation, same program as above, ±0.5 %.
TRUE_BORDERS = [
    ("A", 0.5, "conventional", 4000, 1.48181),
    ("A", 0.5, "conventional", 8000, 1.09823),
    ("A", 0.5, "conventional", 12000, 4.29113),
    ("A", 0.5, "climb", 8000, 4.09140),
    ("A", 0.5, "climb", 12000, 11.79674),
    ("B", 1.0, "slot", 4000, 0.88782),
    ("B", 1.0, "slot", 10000, 1.28835),
    ("B", 1.0, "slot", 18000, 0.79783),
    ("B", 0.25, "climb", 4000, 2.95544),
    ("B", 0.25, "climb", 8000, 3.91818),
    ("B", 0.5, "climb", 4000, 2.14056),
    ("B", 0.5, "climb", 18000, 3.66224),
]


def bench_case(ae_over_d: float, milling: str) -> StabilityCase:
    """The one-mode benchmark at an immersion."""
    return StabilityCase(
        modes=(BENCH_X,),
        flutes=2,
        diameter_mm=10.0,
        kt_n_per_mm2=600.0,
        kr=1 / 3,
        milling=milling,
        ae_mm=10.0 * ae_over_d,
    )


def two_direction_case(setup: str, ae_over_d: float, milling: str) -> StabilityCase:
    """One of the set-ups with modes in both directions."""
    modes, flutes, kt, kr = BOTH[setup]
    return StabilityCase(
        modes=modes,
        flutes=flutes,
        diameter_mm=10.0,
        kt_n_per_mm2=kt,
        kr=kr,
        milling=milling,
        ae_mm=10.0 * ae_over_d,
    )
