"""Weights of the evidence, fitted to simulated cuts by the detector's benchmark.

Not meant to be changed by hand: ``python -m tests.bench.detector fit`` prints this file.
"""

from shopmon.listening.evidence import EvidenceModel

MODEL = EvidenceModel(
    base=-12.077,
    steps=(
        ("over_floor_db", 8, 12, 0.469),
        ("over_floor_db", 12, 16, 0.882),
        ("over_comb_db", 6, 14, 0.595),
        ("over_skirt_db", 4, 10, 0.674),
        ("over_strongest_db", -26, -18, 0.295),
        ("over_strongest_db", -18, -10, 0.070),
        ("over_strongest_db", -10, -2, 0.029),
        ("over_strongest_db", -2, 6, 0.583),
        ("family_teeth", 0, 0.3, 0.448),
        ("family_teeth", 0.8, 1.5, 0.619),
        ("family_teeth", 1.5, 2.5, 1.003),
        ("family_rotation", 0, 0.5, 0.251),
        ("strangers", 0, 1, -0.109),
        ("strangers", 1, 2, -0.218),
        ("strangers", 2, 4, -0.102),
        ("strangers", 4, 6, -0.242),
        ("kin_over_comb_db", 14, 24, 0.128),
        ("age_hops", 3, 5, 0.124),
        ("age_hops", 8, 14, 0.414),
        ("apart", 1.7, 2.5, 2.593),
        ("contrast_db", 1, 3, 0.314),
        ("contrast_db", 3, 4.5, 0.321),
        ("followed_s", 0.5, 1, 0.289),
        ("background_known", 0, 1, 3.024),
        ("flutes_known", 0, 1, -0.171),
    ),
    products=(
        ("family_teeth", 0, 1.5, "grown_db", 7, 25, 0.174),
        ("family_rotation", 0, 2, "over_comb_db", -16, 6, 1.243),
        ("flutes_known", 0, 1, "family_teeth", 0, 1.5, 0.667),
        ("speed_heard", 0, 1, "over_comb_db", -16, 6, 0.106),
        ("speed_heard", 0, 1, "family_teeth", 0, 1.5, 0.353),
        ("risen", 0, 1, "family_teeth", 0, 1.5, 0.197),
        ("touching", 0, 1, "over_comb_db", -16, 6, 1.019),
    ),
)
