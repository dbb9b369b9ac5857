"""The shared nouns refuse what cannot be, and say which value it was."""

import numpy as np
import pytest

from shopmon.cutting.materials import MATERIALS, material
from shopmon.cutting.nouns import EndMillType, FrequencyResponse, Holder, Material, Mode, ToolAssembly
from shopmon.cutting.simulation.plan import Engagement, Neighbour, Spindle, Surroundings
from shopmon.errors import SettingError

MODE = {"axis": "x", "frequency_hz": 900.0, "damping_ratio": 0.02, "stiffness_n_per_m": 1e6}


@pytest.mark.parametrize(
    ("build", "said"),
    [
        (lambda: EndMillType(DC=-3.0), "-3.0"),
        (lambda: EndMillType(DC=float("nan")), "nan"),
        (lambda: EndMillType(NOF=0), "0"),
        (lambda: EndMillType(NOF=2.5), "2.5"),
        (lambda: EndMillType(FHA=95.0), "95.0"),
        (lambda: EndMillType(RE=-0.1), "-0.1"),
        (lambda: EndMillType(NOF=3, pitch_deg=(180.0, 180.0)), "2 angles"),
        (lambda: EndMillType(NOF=2, pitch_deg=(170.0, 180.0)), "170"),
        (lambda: Holder(RPMX=0.0), "0.0"),
        (lambda: ToolAssembly(mill=EndMillType(), stickout_mm=0), "0"),
        (lambda: ToolAssembly(mill=EndMillType(), runout_um=-1), "-1"),
        (lambda: Material(label="cheese", group="Q"), "Q"),
        (lambda: Material(label="void", ktc_n_per_mm2=0.0), "0.0"),
        (lambda: Material(label="void", kre_n_per_mm=-2.0), "-2.0"),
        (lambda: Mode(**{**MODE, "axis": "z"}), "z"),
        (lambda: Mode(**{**MODE, "damping_ratio": 1.2}), "1.2"),
        (lambda: Mode(**{**MODE, "stiffness_n_per_m": float("inf")}), "inf"),
        (lambda: Engagement(start_s=3, end_s=2, ap_start_mm=1), "2"),
        (lambda: Engagement(start_s=0, end_s=2, ap_start_mm=1, ramp_start_s=1, ramp_end_s=3), "3"),
        (lambda: Spindle(nominal_rpm=float("nan")), "nan"),
        (lambda: Neighbour(rpm=1000, start_s=5, end_s=4), "4"),
        (lambda: Surroundings(sensor="stethoscope"), "stethoscope"),
        (lambda: material("kryptonite"), "kryptonite"),
    ],
)
def test_what_cannot_be_is_refused_with_the_value(build, said):
    with pytest.raises(SettingError, match=said.replace("(", r"\(")):
        build()


def test_dimensions_nobody_measured_may_be_missing():
    assembly = ToolAssembly(mill=EndMillType(label="found in a drawer"))
    assert assembly.mill.DC is None
    assert assembly.holder is None


def test_every_material_names_a_source_for_its_coefficients():
    assert all(entry.source for entry in MATERIALS.values())


def test_receptance_peaks_at_one_over_two_zeta_k():
    mode = Mode(**MODE)
    response = FrequencyResponse.of_modes((mode,), "x", np.array([0.0, 900.0, 9e5]))
    assert response.receptance_m_per_n[0] == pytest.approx(1e-6)
    assert response.receptance_m_per_n[1] == pytest.approx(-1j / (2 * 0.02 * 1e6))
    assert abs(response.receptance_m_per_n[2]) < 2e-12
    assert not np.any(FrequencyResponse.of_modes((mode,), "y", np.array([900.0])).receptance_m_per_n)


@pytest.mark.parametrize(
    ("frequency", "receptance"),
    [([1.0, 1.0], [1j, 1j]), ([2.0, 1.0], [1j, 1j]), ([1.0], [1j, 2j]), ([1.0], [complex("nan")]), ([], [])],
)
def test_a_response_must_be_whole(frequency, receptance):
    with pytest.raises(SettingError):
        FrequencyResponse(frequency_hz=np.array(frequency), receptance_m_per_n=np.array(receptance))


def test_depth_follows_entry_ramp_and_exit():
    engagement = Engagement(
        start_s=1, end_s=5, ap_start_mm=1, ap_end_mm=3, ramp_start_s=2, ramp_end_s=4, entry_s=0.5
    )
    times = (0.9, 1.25, 1.6, 3.0, 4.2, 4.75, 5.1)
    assert [engagement.depth_mm(time) for time in times] == pytest.approx([0, 0.5, 1, 2, 3, 1.5, 0])
