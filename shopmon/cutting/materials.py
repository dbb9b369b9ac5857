"""Work materials with published force coefficients; the literature spans a factor of two for one alloy."""

from shopmon.cutting.nouns import MATERIAL_GROUPS, Material
from shopmon.errors import SettingError

REVIEW = (
    "Milling force model for aviation aluminum alloy: academic insight and perspective analysis, "
    "Chinese J. Mech. Eng. 2021, DOI 10.1186/s10033-021-00536-9, table 5"
)
RANGE = "typical magnitude, from memory, no source"
KIENZLE = "Kienzle values after König & Essel, from memory, unconfirmed"


COLUMNS = (
    "label", "alloy", "group", "ktc_n_per_mm2", "krc_n_per_mm2", "kte_n_per_mm", "kre_n_per_mm",
    "kt_low_n_per_mm2", "kt_high_n_per_mm2", "kc11_n_per_mm2", "mc",
)  # fmt: skip


def _material(source: str, *row) -> Material:
    """Build a material from a row of `COLUMNS`; a short row leaves the last ones unknown."""
    return Material(**dict(zip(COLUMNS, row, strict=False)), source=source)


# 7075 in the same table, N/mm²: 767.01 (taken), 600.46, 951.365 (HSS) and 1319.41. 6061 there: 243.77; others
# find up to 850 (from memory). Where only one value is known the range is a factor of two across.
READ = {
    "7075": ("aluminium 7075", "EN AW-7075-T6", "N", 767.01, 168.8, 27.7, 26.6, 600.46, 1319.41),
    "6082": ("aluminium 6082", "EN AW-6082-T6", "N", 631.0, 99.0, 13.0, 10.0, 446.0, 892.0),
    "6061": ("aluminium 6061", "EN AW-6061-T6", "N", 243.77, 113.5, 7.53, 7.83, 243.77, 850.0),
}
RECALLED = {
    "316": ("stainless 316", "1.4401", "M", 2400.0, 1000.0, 30.0, 40.0, 2000.0, 3000.0, 2350.0, 0.21),
    "1045": ("steel C45", "1.0503", "P", 2100.0, 850.0, 30.0, 35.0, 1700.0, 2600.0, 2220.0, 0.14),
    "4140": ("steel 42CrMo4", "1.7225", "P", 2300.0, 950.0, 30.0, 35.0, 1900.0, 3000.0, 2500.0, 0.26),
    "gjl250": ("grey iron GJL-250", "EN-JL1040", "K", 1200.0, 400.0, 20.0, 25.0, 900.0, 1700.0, 1160.0, 0.26),
    "ti64": ("titanium Ti-6Al-4V", "3.7165", "S", 1800.0, 700.0, 24.0, 40.0, 1600.0, 2000.0, 1370.0, 0.21),
    "brass": ("free-cutting brass", "CW614N", "N", 780.0, 190.0, 15.0, 15.0, 700.0, 900.0, 780.0, 0.18),
}
MATERIALS: dict[str, Material] = {
    name: _material(source, *row)
    for source, rows in ((REVIEW, READ), (f"{RANGE}; {KIENZLE}", RECALLED))
    for name, row in rows.items()
}

# Kt and Kr/Kt to start from where only the ISO 513 group is known, with a spread of about two either way.
GROUPS: dict[str, Material] = {
    group: _material(RANGE, name, None, group, kt, kr * kt, 20.0, 20.0, kt / 2, kt * 2)
    for group, name, kt, kr in (
        ("P", "steel", 2000.0, 0.4),
        ("M", "stainless steel", 2400.0, 0.45),
        ("K", "cast iron", 1200.0, 0.35),
        ("N", "aluminium and other non-ferrous metals", 800.0, 0.25),
        ("S", "titanium and heat-resistant alloys", 2000.0, 0.4),
    )
}


def material(name: str) -> Material:
    """Look a material up by its short name, or by its ISO 513 group.

    Raises
    ------
    SettingError
        Where no such material is known, or nothing is known of the group.
    """
    if name in MATERIALS:
        return MATERIALS[name]
    if name in GROUPS:
        return GROUPS[name]
    if name in MATERIAL_GROUPS:
        raise SettingError(
            f"Nothing is known of group {name} without its alloy.", "Give the force coefficients instead."
        )
    known = ", ".join([*MATERIALS, *GROUPS])
    raise SettingError(f"No material is called {name!r}.", f"Known are: {known}.")
