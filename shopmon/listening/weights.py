"""Weights of the evidence, fitted to simulated cuts by the detector's benchmark.

Not meant to be changed by hand: ``python -m tests.bench.detector fit`` prints this file.
"""

from shopmon.listening.evidence import EvidenceModel

MODEL = EvidenceModel(
    base=-12.983,
    steps=(
        ("over_floor_db", 8, 12, 0.926),
        ("over_floor_db", 12, 16, 0.624),
        ("over_floor_db", 22, 30, 0.036),
        ("over_comb_db", 6, 14, 0.444),
        ("over_skirt_db", 4, 10, 0.786),
        ("over_strongest_db", -26, -18, 0.633),
        ("family_teeth", 0, 0.3, 1.056),
        ("family_teeth", 0.8, 1.5, 0.643),
        ("family_teeth", 1.5, 2.5, 1.522),
        ("family_rotation", 0, 0.5, 0.324),
        ("strangers", 0, 1, -0.487),
        ("strangers", 1, 2, -0.195),
        ("strangers", 2, 4, -0.197),
        ("strangers", 4, 6, -0.392),
        ("kin_over_comb_db", -4, 4, 0.101),
        ("kin_over_comb_db", 14, 24, 1.076),
        ("age_hops", 2, 3, 0.189),
        ("age_hops", 3, 5, 0.456),
        ("age_hops", 8, 14, 0.461),
        ("apart", 1.7, 2.5, 3.497),
        ("contrast_db", 1, 3, 0.466),
        ("contrast_db", 3, 4.5, 0.039),
        ("followed_s", 0, 0.5, 0.042),
        ("followed_s", 0.5, 1, 0.382),
        ("followed_s", 1, 2, 0.278),
        ("background_known", 0, 1, 1.604),
        ("flutes_known", 0, 1, -0.196),
    ),
    products=(
        ("family_teeth", 0, 1.5, "grown_db", 7, 25, 0.560),
        ("family_rotation", 0, 2, "over_comb_db", -16, 6, 0.429),
        ("speed_heard", 0, 1, "family_teeth", 0, 1.5, 1.301),
        ("touching", 0, 1, "over_comb_db", -16, 6, 0.486),
        ("contrast_db", 2, 7, "over_comb_db", -16, 6, 0.416),
    ),
)
