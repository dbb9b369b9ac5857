"""Weights of the evidence, fitted to simulated cuts by the detector's benchmark.

Not meant to be changed by hand: ``python -m tests.bench.detector fit`` prints this file.
"""

from shopmon.listening.evidence import EvidenceModel

MODEL = EvidenceModel(
    base=-12.050,
    steps=(
        ("over_floor_db", 8, 12, 0.431),
        ("over_floor_db", 12, 16, 0.870),
        ("over_comb_db", 6, 14, 0.594),
        ("over_skirt_db", 4, 10, 0.678),
        ("over_strongest_db", -26, -18, 0.323),
        ("over_strongest_db", -18, -10, 0.086),
        ("over_strongest_db", -2, 6, 0.589),
        ("family_teeth", 0, 0.3, 0.410),
        ("family_teeth", 0.8, 1.5, 0.615),
        ("family_teeth", 1.5, 2.5, 1.005),
        ("family_rotation", 0, 0.5, 0.262),
        ("strangers", 0, 1, -0.100),
        ("strangers", 1, 2, -0.230),
        ("strangers", 2, 4, -0.090),
        ("strangers", 4, 6, -0.241),
        ("kin_over_comb_db", 14, 24, 0.132),
        ("age_hops", 3, 5, 0.136),
        ("age_hops", 8, 14, 0.407),
        ("apart", 1.7, 2.5, 2.585),
        ("contrast_db", 1, 3, 0.371),
        ("contrast_db", 3, 4.5, 0.285),
        ("followed_s", 0.5, 1, 0.285),
        ("background_known", 0, 1, 3.009),
        ("flutes_known", 0, 1, -0.167),
    ),
    products=(
        ("family_teeth", 0, 1.5, "grown_db", 7, 25, 0.176),
        ("family_rotation", 0, 2, "over_comb_db", -16, 6, 1.236),
        ("flutes_known", 0, 1, "family_teeth", 0, 1.5, 0.662),
        ("speed_heard", 0, 1, "over_comb_db", -16, 6, 0.083),
        ("speed_heard", 0, 1, "family_teeth", 0, 1.5, 0.359),
        ("risen", 0, 1, "family_teeth", 0, 1.5, 0.216),
        ("touching", 0, 1, "over_comb_db", -16, 6, 1.024),
    ),
)
