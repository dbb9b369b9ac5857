"""Weights of the evidence, fitted to simulated cuts by the detector's benchmark.

Not meant to be changed by hand: ``python -m tests.bench.detector fit`` prints this file.
"""

from shopmon.listening.chatter.evidence import EvidenceModel

MODEL = EvidenceModel(
    base=-9.616,
    steps=(
        ("over_floor_db", 8, 12, 0.721),
        ("over_background_db", 28, 40, 0.645),
        ("grown_db", 5, 9, 0.106),
        ("over_skirt_db", 18, 30, 0.140),
        ("over_strongest_db", -18, -10, 0.526),
        ("family_teeth", 0.3, 0.8, 0.693),
        ("family_teeth", 0.8, 1.5, 1.050),
        ("family_rotation", 0, 0.5, 0.463),
        ("family_rotation", 0.5, 1.2, 0.535),
        ("kin_over_comb_db", 4, 14, 0.041),
        ("kin_over_comb_db", 14, 24, 0.666),
        ("kin_nats", 8, 14, 0.243),
        ("kin_lead", -4, 0, 0.637),
        ("kin_lead", 0, 2, 0.380),
        ("kin_lead", 4, 8, 0.582),
        ("kin_lead", 14, 22, 1.723),
        ("background_known", 0, 1, 3.592),
        ("flutes_known", 0, 1, 0.453),
        ("speed_heard", 0, 1, 0.101),
        ("told", 0, 1, -0.831),
    ),
    products=(
        ("family_teeth", 0, 1.5, "over_background_db", 7, 25, 0.443),
        ("family_rotation", 0, 2, "over_comb_db", -16, 6, 0.499),
        ("flutes_known", 0, 1, "family_teeth", 0, 1.5, 0.287),
        ("risen", 0, 1, "family_teeth", 0, 1.5, 0.179),
        ("touching", 0, 1, "over_comb_db", -16, 6, 1.426),
        ("kin_lead", 0, 10, "speed_heard", 0, 1, 0.757),
        ("kin_lead", 0, 10, "over_comb_db", -16, 6, 0.196),
        ("kin_lead", 6, 16, "background_unknown", 0, 1, 1.437),
        ("kin_lead", 0, 10, "background_known", 0, 1, 1.403),
    ),
)
