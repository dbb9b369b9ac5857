"""Weights of the evidence, fitted to simulated cuts by the detector's benchmark.

Not meant to be changed by hand: ``python -m tests.bench.detector fit`` prints this file.
"""

from shopmon.listening.evidence import EvidenceModel

MODEL = EvidenceModel(
    base=-9.587,
    steps=(
        ("over_floor_db", 8, 12, 0.861),
        ("over_floor_db", 12, 16, 0.973),
        ("grown_db", 5, 9, 0.384),
        ("over_strongest_db", -18, -10, 0.050),
        ("family_teeth", 0, 0.3, 0.742),
        ("family_teeth", 0.8, 1.5, 0.329),
        ("family_teeth", 1.5, 2.5, 0.851),
        ("family_rotation", 0, 0.5, 0.874),
        ("strangers", 2, 4, -0.023),
        ("strangers", 4, 6, -0.132),
        ("kin_over_comb_db", -20, -12, 0.032),
        ("kin_over_comb_db", -12, -4, 0.109),
        ("kin_over_comb_db", -4, 4, 0.126),
        ("kin_over_comb_db", 14, 24, 0.435),
        ("age_hops", 2, 3, 0.022),
        ("apart", 1.7, 2.5, 0.650),
        ("followed_s", 0.5, 1, 0.043),
        ("followed_s", 1, 2, 0.092),
        ("background_known", 0, 1, 3.146),
        ("flutes_known", 0, 1, 0.150),
        ("risen", 0, 1, 0.149),
    ),
    products=(
        ("family_teeth", 0, 1.5, "over_background_db", 7, 25, 1.005),
        ("flutes_known", 0, 1, "family_teeth", 0, 1.5, 0.798),
        ("speed_heard", 0, 1, "family_teeth", 0, 1.5, 0.404),
        ("touching", 0, 1, "over_comb_db", -16, 6, 1.506),
    ),
)
