"""From simulated sound through the whole monitor to what the tool's page says of its sound."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf

from shopmon.capture.recording import RecordingSource
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.plan import Engagement
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.listening.setup import Setup
from shopmon.records.archive import Archive
from shopmon.service.mills import condition
from shopmon.service.monitor import Monitor
from shopmon.service.settings import Settings

RATE_HZ, EACH_S = 16_000, 6.5
FIRST, AFTER, CHIPPED = 6, 3, 5


def passes(count: int, tooth_scatter_um: float) -> np.ndarray:
    """Render so many like passes of one end mill, whose teeth differ by their runout and this scatter."""
    bites = tuple(
        Engagement(start_s=3 + EACH_S * n, end_s=6 + EACH_S * n, ap_start_mm=1.0) for n in range(count)
    )
    plan = replace(
        scenario("quiet-pass"),
        duration_s=bites[-1].end_s + 3.6,
        sample_rate_hz=float(RATE_HZ),
        engagements=bites,
        tooth_scatter_um=tooth_scatter_um,
    )
    return render(plan, 1)[0]


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    """The same passes before and after a tooth has lost some micrometres; the same seed is the same tool."""
    path = tmp_path_factory.mktemp("sound") / "passes.wav"
    sound = np.concatenate([passes(FIRST + AFTER, 1.0), passes(CHIPPED, 14.0)])
    sf.write(path, np.round(sound * 32767).astype("<i2"), RATE_HZ, subtype="PCM_16")
    return path


def test_a_tooth_that_chips_is_heard_as_a_change(played, tmp_path, monkeypatch):
    monkeypatch.setattr(condition, "FIRST_MIN", FIRST * 3.1 / 60)  # nobody wants to play ten minutes
    archive = Archive.open(tmp_path / "data", budget_bytes=0, reserve_bytes=0)
    kind = archive.register.add("mill_types", {"label": "10 mm three-flute", "DC": 10.0, "NOF": 3})
    plum = archive.register.add_tool({"label": "plum #1", "kind": "end mill", "type_id": kind})
    source = RecordingSource(played, real_time=False, source_id="bench")
    monitor = Monitor(source, archive, Settings(), Setup(nominal_rpm=12000, flutes=3))
    monitor.set_context({"end_mill_id": plum, "material": "7075", "ap_mm": 1.0, "ae_mm": 3.0}, "touched")
    monitor.set_context({"nominal_rpm": 12000}, "touched")
    monitor.start()
    try:
        assert monitor.engine_finished.wait(120)
        archive.flush(filing=False)
        cuts = archive.register.heard_cuts(plum)
        assert len(cuts) == FIRST + AFTER + CHIPPED
        assert all(cut.sound and cut.sound.duration_s > 1.0 and cut.sound.flutes == 3 for cut in cuts)
        assert [cut.sound.rpm for cut in cuts] == pytest.approx([11845.0] * len(cuts), rel=0.003)
        found = condition.condition_of(archive.register, archive.register.tool(plum))
        assert found.verdict == condition.CHANGED and found.drift.first_cuts == FIRST
        assert found.drift.since >= FIRST + AFTER, "as it was until the tooth chipped"
        assert found.drift.what == "evenness of the teeth"
    finally:
        monitor.close()
