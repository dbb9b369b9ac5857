"""Two runs of one program, heard and laid over one another by its steps: one slower, one with a pause."""

import uuid

import numpy as np
import pytest
from shopmon.dashboards.cuts import pair

from shopmon.cutting.materials import material
from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.plan import Engagement, PassPlan, Spindle, Surroundings
from shopmon.cutting.simulation.scenarios import assembly, bending
from shopmon.listening.events import CutEnded
from shopmon.records.archive import Archive
from shopmon.service.cuts.side_by_side import side_by_side
from shopmon.service.programs.desk import ProgramDesk
from shopmon.service.programs.runs import by_program, section_of
from tests.listening.hearing import listen
from tests.records.synthetic import stream

RATE_HZ = 48_000.0
FEEDS_S, RAPID_S, BEGIN_S, APPROACH_S = (3.0, 1.8, 4.2), 0.8, 2.5, 0.3
SECTION = "1 of 2: T3 walls"


def text(first_way=30):
    """Write the program: three passes with rapids between them, then a drill."""
    lines = ["G21 G91 F600", "T3 M6 (walls)", "S9000 M3"]
    for feed_s in FEEDS_S:
        lines += ["G0 Z66.6667", f"G1 X{10 * feed_s:g} F600"]
    return "\n".join([*lines, "M5", "T5 M6 (drill)", "S4000 M3", f"G1 Z-{first_way}", "M30"]).encode()


def passes(override=1.0, pause=None):
    """Return when each pass is in metal; `pause` is (pass, share, seconds) out of the metal."""
    spans, now = [], BEGIN_S
    for number, feed_s in enumerate(FEEDS_S):
        now += RAPID_S
        start, now = now + APPROACH_S / override, now + feed_s / override
        if pause and pause[0] == number:
            stop = start + pause[1] * (now - start)
            spans += [(start, stop), (stop + pause[2], now + pause[2])]
            now += pause[2]
        else:
            spans.append((start, now))
    return spans


def heard(spans, seed):
    """Render the passes and listen: return the engagements of every cut, in samples."""
    sound, told = render(
        PassPlan(
            name="run",
            duration_s=spans[-1][1] + 3.5,
            assembly=assembly(10, 3, stickout_mm=30, runout_um=8),
            material=material("7075"),
            modes=bending(2000.0, 0.035, 2e7),
            milling="slot",
            ae_mm=10,
            feed_per_tooth_mm=0.04,
            engagements=tuple(
                Engagement(start_s=start, end_s=end, ap_start_mm=0.8, entry_s=0.05) for start, end in spans
            ),
            spindle=Spindle(nominal_rpm=9000, slip=0.012, droop=0.003, start_s=0.3, belt_ratio=0.62),
            surroundings=Surroundings(snr_db=18),
        ),
        seed,
    )
    cuts = [event.cut.engaged for event in listen(sound, RATE_HZ) if isinstance(event, CutEnded)]
    return cuts, told["engaged"]


@pytest.fixture(scope="module")
def runs():
    """The program run as it is, at 80 % override, and with a pause of 2 s in the third pass."""
    told = {"plain": {}, "slower": {"override": 0.8}, "paused": {"pause": (2, 0.45, 2.0)}}
    return {name: heard(passes(**how), seed) for seed, (name, how) in enumerate(told.items())}


@pytest.fixture
def archive(tmp_path):
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=0, reserve_bytes=0)
    desk = ProgramDesk(archive, lambda values, origin: None)
    try:
        desk.choose(desk.upload("lever.nc", text())["id"])
        yield archive, desk
    finally:
        desk.close()
        archive.close()


def logged(archive, cuts, section=SECTION):
    """Log the cuts of a run in a stream of its own; return the id of the first."""
    form = stream(RATE_HZ, stream_id=str(uuid.uuid4()))
    archive.start_stream(form)
    archive.add_context(str(uuid.uuid4()), {"program_section": section}, {"program_section": "program"})
    ids = []
    for engaged in cuts:
        ids.append(str(uuid.uuid4()))
        archive.start_cut(ids[-1], form.stream_id, engaged[0][0], {"program_section": section})
        archive.end_cut(ids[-1], engaged[-1][1], [tuple(span) for span in engaged], [], {}, "0", "hash")
    archive.end_stream(form.stream_id)
    archive.flush()
    return ids[0]


def place_of(override=1.0, pause=None):
    """Return when a share of the time at feed of each pass is reached."""
    spans = passes(override)

    def at(number, share):
        start, end = spans[number]
        later = pause[2] if pause and (number, share) > (pause[0], pause[1]) else 0.0
        return start + share * (end - start) + later

    return at


@pytest.mark.parametrize(
    ("name", "how"), [("slower", {"override": 0.8}), ("paused", {"pause": (2, 0.45, 2.0)})]
)
def test_a_run_that_was_slower_or_paused_lies_over_the_plain_one(archive, runs, name, how):
    log, _ = archive
    first, second = (log.cut(logged(log, runs[each][0])) for each in ("plain", name))
    found = by_program(log, first, second)
    assert (found.why_not, found.steps, len(found.warp.steps)) == ("", 3, 3)
    assert found.program == "lever.nc" and found.section == SECTION
    plain, other = place_of(), place_of(**how)
    offsets = [cut["recording_first_sample"] / RATE_HZ for cut in (first, second)]
    off_s = [
        float(found.warp.to_first(other(number, share) - offsets[1])) + offsets[0] - plain(number, share)
        for number in range(3)
        for share in (0.1, 0.3, 0.4, 0.6, 0.9)
    ]
    # a first or last contact is dated within some hundredths of a second
    assert np.max(np.abs(off_s)) < 0.15
    stood = [step.second_paused_s for step in found.warp.steps]
    assert stood == pytest.approx([0, 0, 2.0 if "pause" in how else 0], abs=0.15)


def test_the_page_says_how_they_went(archive, runs):
    log, _ = archive
    first, second, third = (log.cut(logged(log, runs[name][0])) for name in ("plain", "slower", "paused"))
    found = side_by_side(first, second, by_program(log, first, second))
    assert pair.laid_by(found, "") == "program" and pair.laid_by(found, "cutting") == "cutting"
    words = " ".join(pair.in_words(found, "program"))
    assert "3 of its 3 steps were heard in both" in words and "slower" in words and "stood" not in words
    assert [row["ratio"] for row in pair.step_rows(found)] == pytest.approx([1.25] * 3, abs=0.06)
    found = side_by_side(first, third, by_program(log, first, third))
    assert "The second stood 2." in " ".join(pair.in_words(found, "program"))
    assert [round(length) for _, length in pair.pauses(found.by_program.warp)] == [2]


def test_what_cannot_be_laid_by_steps_says_why(archive, runs):
    log, desk = archive
    cuts = runs["plain"][0]
    here, drilled, alone = (
        log.cut(logged(log, cuts, section)) for section in (SECTION, "2 of 2: T5 drill", None)
    )
    assert "section 1 of the program, the other section 2" in by_program(log, here, drilled).why_not
    assert by_program(log, here, alone) is None and section_of(log, alone) is None
    again = desk.upload("the same.nc", text())["id"]
    desk.choose(again)
    assert by_program(log, here, log.cut(logged(log, cuts))).warp is not None, "it is the same program"
    desk.choose(desk.upload("other.nc", text(20))["id"])
    assert by_program(log, here, log.cut(logged(log, cuts))) is None
    desk.choose(None)
    assert section_of(log, log.cut(logged(log, cuts))) is None
    log.programs.path(section_of(log, here).program_id).write_bytes(b"\0\1\2")
    assert "damaged" in by_program(log, here, here).why_not
