"""The same recording gives the same verdict on another processor, and when the last bits of the input differ.

The tolerances are those that DEVELOPERS.md states. Kernels of the linear algebra and vector units are
switched in processes of their own, so that sums are really added up in another order; that is checked, too.
"""

import json
import os
import platform
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy._core._multiarray_umath import __cpu_dispatch__ as dispatched
from numpy._core._multiarray_umath import __cpu_features__ as features

from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from tests.service.on_this_processor import analyse

ROOT = Path(__file__).resolve().parents[2]
TONE_HZ, RPM_SHARE, TIME_S, LEVEL_DB, CERTAIN, EVIDENCE = 0.5, 1e-4, 0.05, 0.1, 0.01, 0.05
X86 = platform.machine() in ("x86_64", "AMD64")
AVX2 = ("AVX2", "FMA3", "X86_V3")
# the oldest that numpy runs on, and what most shops have had for ten years
OLDER = {
    "no vector unit beyond the baseline": {
        "OPENBLAS_CORETYPE": "Prescott" if X86 else "ARMV8",
        "NPY_DISABLE_CPU_FEATURES": ",".join(dispatched),
    },
}
if features.get("AVX2"):  # newer kernels than the processor has cannot be asked for
    OLDER["AVX2 and nothing newer"] = {
        "OPENBLAS_CORETYPE": "Haswell",
        "NPY_DISABLE_CPU_FEATURES": ",".join(name for name in dispatched if name not in AVX2),
    }


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    """Rendered passes: one that rings, one that stays quiet, one of which nothing is told."""
    folder = tmp_path_factory.mktemp("passes")
    paths = []
    for name in ("pass-that-rings", "quiet-pass", "lever-edge"):
        plan = scenario(name)
        sound, _ = render(plan, 3)
        paths.append(folder / f"{name}.wav")
        soundfile.write(paths[-1], np.ravel(sound), 48_000, subtype="PCM_16")
        told = {} if name == "lever-edge" else {"nominal_rpm": plan.spindle.nominal_rpm, "flutes": 3}
        paths[-1].with_suffix(".setup.json").write_text(json.dumps(told))
    return paths


@pytest.fixture(scope="module")
def here(recordings):
    """What is found in this process's own arithmetic, as JSON leaves it."""
    return elsewhere(recordings, {})


def elsewhere(paths, environment):
    """Analyse in a process of its own."""
    command = [sys.executable, "-m", "tests.service.on_this_processor", *map(str, paths)]
    done = subprocess.run(
        command, cwd=ROOT, env={**os.environ, **environment}, capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout)


def agree(one: dict, other: dict) -> None:
    """Hold two analyses of one recording to the tolerances that are stated."""
    first, second = one["inspection"], other["inspection"]
    for name in ("state", "unsure"):
        assert first[name] == second[name]
    assert first["spindle"]["rpm"] == pytest.approx(second["spindle"]["rpm"], rel=RPM_SHARE)
    assert [notice["code"] for notice in first["notices"]] == [notice["code"] for notice in second["notices"]]
    assert len(first["cuts"]) == len(second["cuts"]) and len(first["chatter"]) == len(second["chatter"])
    for mine, theirs in zip(first["cuts"], second["cuts"], strict=True):
        assert np.shape(mine["engaged"]) == np.shape(theirs["engaged"])
        np.testing.assert_allclose(mine["engaged"], theirs["engaged"], rtol=0, atol=TIME_S)
    for mine, theirs in zip(first["chatter"], second["chatter"], strict=True):
        assert (mine["severity"], mine["kind"]) == (theirs["severity"], theirs["kind"])
        tolerances = {"frequency_hz": TONE_HZ, "level_db": LEVEL_DB, "confidence": CERTAIN}
        for name, tolerance in {**tolerances, "start_s": TIME_S, "end_s": TIME_S, "alarm_s": TIME_S}.items():
            assert mine[name] == pytest.approx(theirs[name], abs=tolerance), name
    assert [card["action"] for card in first["advice"]] == [card["action"] for card in second["advice"]]
    assert len(one["heard"]) == len(other["heard"]) > 20
    for mine, theirs in zip(one["heard"], other["heard"], strict=True):
        assert mine[0] == theirs[0]
        assert (mine[2] is None) == (theirs[2] is None)
        if mine[2] is not None:
            assert mine[3:] == pytest.approx(theirs[3:], abs=EVIDENCE)


@pytest.mark.parametrize("which", OLDER)
def test_another_processor_says_the_same(here, recordings, which):
    there = elsewhere(recordings, OLDER[which])
    for name, found in here["recordings"].items():
        agree(found, there["recordings"][name])
    same = [name for name, bits in here["bits"].items() if there["bits"][name] == bits]
    print(f"{which}: alike to the last bit in {same or 'nothing'}")
    if X86 and which.startswith("no"):
        assert len(same) < len(here["bits"]), "the arithmetic was the same: nothing was tried"


def test_the_verdicts_that_are_compared_are_some(here):
    found = [one["inspection"] for one in here["recordings"].values()]
    assert [one["state"] for one in found] == ["chatter", "cutting", "chatter"]
    assert all(one["cuts"] for one in found)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_last_bit_of_every_sample_changes_nothing(here, recordings, tmp_path, seed):
    rng = np.random.default_rng(seed)
    for path in recordings:
        samples, rate_hz = soundfile.read(path, dtype="float32")
        towards = np.where(rng.random(samples.shape) < 0.5, np.float32(-2), np.float32(2))
        moved = tmp_path / path.name
        soundfile.write(moved, np.nextafter(samples, towards), rate_hz, subtype="FLOAT")
        moved.with_suffix(".setup.json").write_bytes(path.with_suffix(".setup.json").read_bytes())
        found = json.loads(json.dumps(analyse(moved)))
        before = here["recordings"][str(path)]
        assert found["spectra"] != before["spectra"], "the arithmetic was the same: nothing was tried"
        agree(before, found)
