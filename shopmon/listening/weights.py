"""Weights of the evidence, fitted to simulated cuts by the detector's benchmark.

Not meant to be changed by hand: ``python -m tests.bench.detector fit`` prints this file.
"""

from shopmon.listening.evidence import EvidenceModel

MODEL = EvidenceModel(
    base=-11.878,
    steps=(
        ("over_floor_db", 8, 12, 0.360),
        ("over_floor_db", 12, 16, 1.010),
        ("over_floor_db", 30, 40, 0.288),
        ("over_background_db", 28, 40, 0.039),
        ("over_comb_db", 6, 14, 0.699),
        ("over_skirt_db", 4, 10, 0.617),
        ("over_strongest_db", -26, -18, 0.057),
        ("over_strongest_db", -18, -10, 0.094),
        ("over_strongest_db", -2, 6, 0.267),
        ("family_teeth", 0, 0.3, 0.474),
        ("family_teeth", 0.8, 1.5, 0.601),
        ("family_teeth", 1.5, 2.5, 0.986),
        ("family_rotation", 0, 0.5, 0.340),
        ("family_rotation", 1.2, 2.2, 0.163),
        ("strangers", 0, 1, -0.049),
        ("strangers", 1, 2, -0.242),
        ("strangers", 2, 4, -0.062),
        ("strangers", 4, 6, -0.360),
        ("kin_over_comb_db", -4, 4, 0.139),
        ("kin_over_comb_db", 14, 24, 0.215),
        ("age_hops", 2, 3, 0.027),
        ("age_hops", 3, 5, 0.097),
        ("age_hops", 8, 14, 0.437),
        ("apart", 1.7, 2.5, 2.921),
        ("followed_s", 0.5, 1, 0.285),
        ("followed_s", 1, 2, 0.021),
        ("background_known", 0, 1, 3.293),
        ("flutes_known", 0, 1, -0.154),
    ),
    products=(
        ("family_teeth", 0, 1.5, "grown_db", 7, 25, 0.184),
        ("family_rotation", 0, 2, "over_comb_db", -16, 6, 0.713),
        ("flutes_known", 0, 1, "family_teeth", 0, 1.5, 0.790),
        ("speed_heard", 0, 1, "over_comb_db", -16, 6, 0.349),
        ("speed_heard", 0, 1, "family_teeth", 0, 1.5, 0.348),
        ("risen", 0, 1, "family_teeth", 0, 1.5, 0.332),
        ("touching", 0, 1, "over_comb_db", -16, 6, 0.771),
    ),
)
