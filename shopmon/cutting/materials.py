"""Work materials with published force coefficients; the literature spans a factor of two for one alloy."""

from shopmon.cutting.nouns import Material
from shopmon.errors import SettingError

REVIEW = (
    "Milling force model for aviation aluminum alloy: academic insight and perspective analysis, "
    "Chinese J. Mech. Eng. 2021, DOI 10.1186/s10033-021-00536-9, table 5"
)
RANGE = "typical magnitude, from memory, no source"

MATERIALS: dict[str, Material] = {
    "7075": Material(
        label="aluminium 7075",
        alloy="EN AW-7075-T6",
        group="N",
        source=REVIEW,
        ktc_n_per_mm2=767.01,
        krc_n_per_mm2=168.8,
        kte_n_per_mm=27.7,
        kre_n_per_mm=26.6,
    ),
    "6082": Material(
        label="aluminium 6082",
        alloy="EN AW-6082-T6",
        group="N",
        source=REVIEW,
        ktc_n_per_mm2=631.0,
        krc_n_per_mm2=99.0,
        kte_n_per_mm=13.0,
        kre_n_per_mm=10.0,
    ),
    "316": Material(
        label="stainless 316",
        alloy="1.4401",
        group="M",
        source=RANGE,
        ktc_n_per_mm2=2400.0,
        krc_n_per_mm2=1000.0,
        kte_n_per_mm=30.0,
        kre_n_per_mm=40.0,
    ),
    "1045": Material(
        label="steel C45",
        alloy="1.0503",
        group="P",
        source=RANGE,
        ktc_n_per_mm2=2100.0,
        krc_n_per_mm2=850.0,
        kte_n_per_mm=30.0,
        kre_n_per_mm=35.0,
    ),
    "brass": Material(
        label="free-cutting brass",
        alloy="CW614N",
        group="N",
        source=RANGE,
        ktc_n_per_mm2=780.0,
        krc_n_per_mm2=190.0,
        kte_n_per_mm=15.0,
        kre_n_per_mm=15.0,
    ),
}


def material(name: str) -> Material:
    """Look a material up by its short name.

    Raises
    ------
    SettingError
        Where no such material is known.
    """
    if name not in MATERIALS:
        raise SettingError(f"No material is called {name!r}.", f"Known are: {', '.join(MATERIALS)}.")
    return MATERIALS[name]
