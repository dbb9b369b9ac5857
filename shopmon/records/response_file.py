"""Measured frequency responses in the universal file format, data set 58 (through pyuff)."""

from pathlib import Path

import numpy as np

from shopmon.errors import RecordingError, StoreError
from shopmon.signals.tap.frequency_response import MeasuredResponse

SUFFIXES = (".uff", ".unv", ".ufb")
RESPONSE_FUNCTION = 4  # function type of data set 58: frequency response function
# specific data types of data set 58; 9 is a reaction force, which some programs write for the hammer's
DISPLACEMENT, VELOCITY, ACCELERATION, REACTION, FORCE = 8, 11, 12, 9, 13
NOT_FORCES = (DISPLACEMENT, VELOCITY, ACCELERATION, 15, 16)
UNITS = 164  # data set of units: lengths and forces of the file over metres and newtons
# what labels say that are not SI; a label that is not listed is taken for SI, as the format has it
LABELS = {
    "mm": 1e-3, "mm/s": 1e-3, "mm/s2": 1e-3, "um": 1e-6, "µm": 1e-6, "g": 9.80665, "gn": 9.80665,
    "in": 0.0254, "in/s": 0.0254, "in/s2": 0.0254, "kn": 1e3, "lbf": 4.4482216,
}  # fmt: skip
# fields that data set 58 wants filled and that a tap test does not have
NOT_SAID = {
    **{f"id{number}": "NONE" for number in range(2, 6)},
    **{f"{axis}_{what}_unit_exp": 0 for axis in ("abscissa", "ordinate", "orddenom", "z_axis")
       for what in ("len", "force", "temp")},
    "ver_num": 0, "load_case_id": 0, "rsp_ent_name": "NONE", "ref_ent_name": "NONE", "z_axis_value": 0.0,
    "z_axis_spec_data_type": 0, "z_axis_axis_units_lab": "NONE",
}  # fmt: skip
INTEGRATIONS = {DISPLACEMENT: 0, VELOCITY: 1, ACCELERATION: 2}


def read_response(path: str | Path, number: int | None = None) -> MeasuredResponse:
    """Read a frequency response as a receptance.

    Parameters
    ----------
    number
        Which of several, counted from 1.

    Raises
    ------
    RecordingError
        The file holds no response that can be used.
    """
    import pyuff

    path = Path(path)
    if not path.is_file():
        raise RecordingError(f"{path} is not there.", "Check the name.")
    try:
        sets = pyuff.UFF(str(path)).read_sets()
    except Exception as exc:  # pyuff raises plain Exception, and whatever its parsing meets
        raise RecordingError(
            f"{path.name} is no universal file that can be read.", "Export it again."
        ) from exc
    sets = sets if isinstance(sets, list) else [sets]
    found = [one for one in sets if one.get("type") == 58 and one.get("func_type") == RESPONSE_FUNCTION]
    if not found:
        raise RecordingError(f"{path.name} holds no frequency response (data set 58).", "Export one.")
    if number is None and len(found) > 1:
        raise RecordingError(f"{path.name} holds {len(found)} responses.", "Give --column with its number.")
    if number is not None and not 1 <= number <= len(found):
        raise RecordingError(f"{path.name} holds {len(found)} responses, not {number}.", "Count from 1.")
    for one in sets:
        if one.get("type") == UNITS and not all(
            np.isclose(one.get(name, 1.0), 1.0, rtol=0.01) for name in ("length", "force")
        ):
            raise RecordingError(f"{path.name} is not in SI units.", "Export it in metres and newtons.")
    return _as_receptance(found[(number or 1) - 1], path.name)


def _factor(label: object) -> float:
    """What a unit's label is in SI."""
    return LABELS.get(str(label).strip().lower().replace("^", "").replace("²", "2"), 1.0)


def _as_receptance(one: dict, name: str) -> MeasuredResponse:
    frequency, values = np.asarray(one["x"], float), np.asarray(one["data"], complex)
    kind = int(one.get("ordinate_spec_data_type", ACCELERATION))
    if kind not in INTEGRATIONS:
        raise RecordingError(
            f"{name}: the response is of a kind that is not known here ({kind}).",
            "Use displacement, velocity or acceleration over force.",
        )
    if int(one.get("orddenom_spec_data_type", FORCE)) in NOT_FORCES:
        raise RecordingError(
            f"{name} holds no response to a force: it is one motion over another.",
            "Export the response over the hammer's force.",
        )
    values = values * _factor(one.get("ordinate_axis_units_lab"))
    values = values / _factor(one.get("orddenom_axis_units_lab"))
    keep = frequency > 0
    frequency, values = frequency[keep], values[keep]
    steps = np.diff(frequency)
    if frequency.size < 16 or not np.all(np.isfinite(values)) or not np.allclose(steps, steps[0], rtol=1e-3):
        raise RecordingError(
            f"{name}: the response is too short, uneven, or holds no numbers.", "Export it again."
        )
    return MeasuredResponse(
        frequency_hz=frequency,
        receptance=values / (2j * np.pi * frequency) ** INTEGRATIONS[kind],
        coherence=None,
        force_db=np.zeros(frequency.size),
        added_damping_rate=0.0,
        hits=1,
    )


def write_response(
    path: str | Path, measured: MeasuredResponse, axis: str, lowest_hz: float, highest_hz: float
) -> None:
    """Write a receptance, m/N, as data set 58, between two frequencies.

    Below the band of the test an accelerometer says nothing of a displacement: its noise is divided by ω².

    Raises
    ------
    StoreError
        The file is there already, or cannot be written.
    """
    import pyuff

    path = Path(path)
    if path.exists():
        raise StoreError(f"{path} is there already.", "Give the name of a new file.")
    direction = {"x": 1, "y": 2}[axis]
    inside = (measured.frequency_hz >= lowest_hz) & (measured.frequency_hz <= highest_hz)
    frequency_hz = measured.frequency_hz[inside]
    record = pyuff.prepare_58(
        binary=0,
        func_type=RESPONSE_FUNCTION,
        rsp_node=1,
        rsp_dir=direction,
        ref_node=1,
        ref_dir=direction,
        data=measured.receptance[inside],
        x=frequency_hz,
        id1="receptance of the tool tip",
        ordinate_spec_data_type=DISPLACEMENT,
        ordinate_axis_units_lab="m",
        orddenom_spec_data_type=FORCE,
        orddenom_axis_units_lab="N",
        abscissa_spec_data_type=18,
        abscissa_axis_units_lab="Hz",
        **NOT_SAID,
        ord_data_type=6,  # complex, double precision
        num_pts=frequency_hz.size,
        abscissa_spacing=1,
        abscissa_min=float(frequency_hz[0]),
        abscissa_inc=float(frequency_hz[1] - frequency_hz[0]),
    )
    try:
        path.touch()  # pyuff says no more than that it could not
        pyuff.UFF(str(path)).write_sets(record, mode="overwrite")
    except OSError as exc:
        raise StoreError(f"{path} cannot be written ({exc.strerror}).", "Give another name.") from None
