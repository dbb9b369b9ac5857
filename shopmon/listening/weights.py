"""Weights of the evidence, fitted to simulated cuts by the detector's benchmark.

Not meant to be changed by hand: ``python -m tests.bench.detector fit`` prints this file.
"""

from shopmon.listening.evidence import EvidenceModel

MODEL = EvidenceModel(
    base=-9.402,
    steps=(
        ("over_floor_db", 8, 12, 0.133),
        ("over_floor_db", 12, 16, 0.201),
        ("over_floor_db", 30, 40, 0.118),
        ("over_background_db", 28, 40, 0.832),
        ("grown_db", 28, 40, 0.481),
        ("over_comb_db", -14, -8, 0.139),
        ("over_strongest_db", -18, -10, 0.631),
        ("over_strongest_db", 6, 16, 0.182),
        ("family_teeth", 0, 0.3, 0.097),
        ("family_teeth", 0.3, 0.8, 0.235),
        ("family_teeth", 0.8, 1.5, 1.078),
        ("family_teeth", 1.5, 2.5, 0.558),
        ("family_rotation", 0, 0.5, 0.770),
        ("strangers", 1, 2, -0.154),
        ("strangers", 2, 4, -0.343),
        ("strangers", 4, 6, -0.054),
        ("kin_over_comb_db", -20, -12, 0.223),
        ("kin_over_comb_db", -4, 4, 0.170),
        ("kin_over_comb_db", 14, 24, 0.324),
        ("kin_nats", 0, 2, 0.248),
        ("kin_nats", 8, 14, 0.567),
        ("apart", 1.7, 2.5, 0.078),
        ("background_known", 0, 1, 4.458),
        ("flutes_known", 0, 1, 0.023),
        ("risen", 0, 1, 0.878),
        ("told", 0, 1, -0.951),
    ),
    products=(
        ("family_teeth", 0, 1.5, "grown_db", 7, 25, 0.805),
        ("flutes_known", 0, 1, "family_teeth", 0, 1.5, 0.897),
        ("touching", 0, 1, "over_comb_db", -16, 6, 0.428),
        ("kin_nats", 0, 8, "told", 0, 1, 1.143),
        ("kin_nats", 0, 8, "speed_heard", 0, 1, 0.178),
    ),
)
