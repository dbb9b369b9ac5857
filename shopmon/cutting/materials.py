"""Work materials with published force coefficients; the literature spans a factor of two for one alloy."""

from shopmon.cutting.nouns import MATERIAL_GROUPS, Material
from shopmon.errors import SettingError

REVIEW = (
    "Milling force model for aviation aluminum alloy: academic insight and perspective analysis, "
    "Chinese J. Mech. Eng. 2021, DOI 10.1186/s10033-021-00536-9, table 5"
)
RANGE = "typical magnitude, from memory, no source"
KIENZLE = "Kienzle values after König & Essel, from memory, unconfirmed"


def _material(label, alloy, group, cutting, edge, kt_range, source, kienzle=(None, None)) -> Material:
    """Build a material from pairs: cutting and edge (tangential, radial), range of Kt, kc1.1 and mc."""
    return Material(
        label=label,
        alloy=alloy,
        group=group,
        ktc_n_per_mm2=cutting[0],
        krc_n_per_mm2=cutting[1],
        kte_n_per_mm=edge[0],
        kre_n_per_mm=edge[1],
        kt_low_n_per_mm2=kt_range[0],
        kt_high_n_per_mm2=kt_range[1],
        kc11_n_per_mm2=kienzle[0],
        mc=kienzle[1],
        source=source,
    )


# 7075 in the same table, N/mm²: 767.01 (taken), 600.46, 951.365 (HSS) and 1319.41. 6061 there: 243.77; others
# find up to 850 (from memory). Where only one value is known the range is a factor of two across.
MATERIALS: dict[str, Material] = {
    "7075": _material(
        "aluminium 7075", "EN AW-7075-T6", "N", (767.01, 168.8), (27.7, 26.6), (600.46, 1319.41), REVIEW
    ),
    "6082": _material(
        "aluminium 6082", "EN AW-6082-T6", "N", (631.0, 99.0), (13.0, 10.0), (446.0, 892.0), REVIEW
    ),
    "6061": _material(
        "aluminium 6061", "EN AW-6061-T6", "N", (243.77, 113.5), (7.53, 7.83), (243.77, 850.0), REVIEW
    ),
    "316": _material(
        "stainless 316", "1.4401", "M", (2400.0, 1000.0), (30.0, 40.0), (2000.0, 3000.0),
        f"{RANGE}; {KIENZLE}", (2350.0, 0.21),
    ),
    "1045": _material(
        "steel C45", "1.0503", "P", (2100.0, 850.0), (30.0, 35.0), (1700.0, 2600.0),
        f"{RANGE}; {KIENZLE}", (2220.0, 0.14),
    ),
    "4140": _material(
        "steel 42CrMo4", "1.7225", "P", (2300.0, 950.0), (30.0, 35.0), (1900.0, 3000.0),
        f"{RANGE}; {KIENZLE}", (2500.0, 0.26),
    ),
    "gjl250": _material(
        "grey iron GJL-250", "EN-JL1040", "K", (1200.0, 400.0), (20.0, 25.0), (900.0, 1700.0),
        f"{RANGE}; {KIENZLE}", (1160.0, 0.26),
    ),
    "ti64": _material(
        "titanium Ti-6Al-4V", "3.7165", "S", (1800.0, 700.0), (24.0, 40.0), (1600.0, 2000.0),
        f"{RANGE}; {KIENZLE}", (1370.0, 0.21),
    ),
    "brass": _material(
        "free-cutting brass", "CW614N", "N", (780.0, 190.0), (15.0, 15.0), (700.0, 900.0),
        f"{RANGE}; {KIENZLE}", (780.0, 0.18),
    ),
}  # fmt: skip

# Kt and Kr/Kt to start from where only the ISO 513 group is known, with a spread of about two either way.
GROUPS: dict[str, Material] = {
    group: _material(name, None, group, (kt, kr * kt), (20.0, 20.0), (kt / 2, kt * 2), RANGE)
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
        raise SettingError(f"Nothing is known of group {name} without its alloy.", "Give --kt and --kr.")
    known = ", ".join([*MATERIALS, *GROUPS])
    raise SettingError(f"No material is called {name!r}.", f"Known are: {known}.")
