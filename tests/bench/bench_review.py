"""Figures of the page of a cut, from the browser's own clock: first picture, zoom and pan, sound and cursor.

The sounds are invented: a comb with ringing, two and sixty minutes long, and a sweep whose frequency tells
which second is heard.
"""

import statistics
import tempfile
import time
import uuid
from pathlib import Path

import numpy as np
import soundfile

from tests.browser.conftest import ARGUMENTS, CHROMIUM, Served
from tests.dashboards.fake_monitor import RATE_HZ, FakeMonitor

SWEEP_HZ, SWEEP_RATE = 500.0, 100.0
SWEEP, SHORT, LONG = (str(uuid.UUID(int=number)) for number in (11, 12, 13))
STEPS = 12
WHOLE = "document.getElementById('review').dataset.whole === 'true'"
TAKEN = "performance.getEntriesByName('review-step').map((entry) => entry.duration)"

SHARP = """(key) => new Promise((done) => {
  const begun = performance.now();
  const root = document.getElementById("review");
  root.dataset.whole = "false";
  const sight = document.getElementById("sight");
  sight.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true }));
  const look = () => {
    if (root.dataset.whole === "true") done(performance.now() - begun);
    else requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
})"""

APART = """async (tell) => {
  const sound = document.getElementById("sound");
  if (!window.ear) {
    window.ear = new AudioContext({ sampleRate: 48000 });
    window.analyser = new AnalyserNode(window.ear, { fftSize: 8192, smoothingTimeConstant: 0 });
    window.ear.createMediaElementSource(sound).connect(window.analyser).connect(window.ear.destination);
  }
  await window.ear.resume();
  const levels = new Float32Array(window.analyser.frequencyBinCount);
  const apart = [];
  const begun = performance.now();
  while (performance.now() - begun < 2500) {
    await new Promise(requestAnimationFrame);
    if (performance.now() - begun < 900) continue;
    window.analyser.getFloatFrequencyData(levels);
    let most = 1;
    for (let bin = 1; bin < levels.length - 1; bin += 1) if (levels[bin] > levels[most]) most = bin;
    if (levels[most] < -80) continue;
    const [a, b, c] = [levels[most - 1], levels[most], levels[most + 1]];
    const hertz = ((most + (0.5 * (a - c)) / (a - 2 * b + c)) * 48000) / 8192;
    // the analyser's window lies before now; its middle was heard half a window ago
    const second = (hertz - tell.first) / tell.rate + (4096 / 48000) * sound.playbackRate;
    apart.push(second - Number(document.getElementById("review").dataset.at));
  }
  return apart;
}"""


class BenchMonitor(FakeMonitor):
    """The stand-in with a sweep and two long cuts."""

    def __init__(self, folder: Path):
        super().__init__(folder, story=False, cuts=1)
        for cut_id, minutes in ((SWEEP, 0.6), (SHORT, 2.0), (LONG, 60.0)):
            cut = dict(self._stored_cut(2), id=cut_id, end_s=minutes * 60 - 3, duration_s=minutes * 60 - 13)
            cut.update(audio=f"/api/cuts/{cut_id}/audio", features=f"/api/cuts/{cut_id}/features")
            self._cuts.append(cut)
            write(folder / f"{cut_id}.flac", minutes * 60, sweep=cut_id == SWEEP)

    def features(self, cut_id):
        """Frames twenty times a second, as the listener writes them."""
        figures = super().features(cut_id)
        if figures is None:
            return None
        t_s = np.arange(0.05, float(figures["t_s"][-1]), 0.05)
        nearest = np.clip((t_s * 10).astype(int), 0, len(figures["t_s"]) - 1)
        return {"t_s": t_s, **{name: np.asarray(v)[nearest] for name, v in figures.items() if name != "t_s"}}


def write(path: Path, seconds: float, *, sweep: bool) -> None:
    """Write an invented sound of a length, minute by minute."""
    rng = np.random.default_rng(1)
    with soundfile.SoundFile(path, "w", RATE_HZ, 1, "PCM_16") as file:
        for first in np.arange(0, seconds, 60.0):
            t_s = first + np.arange(int(min(60.0, seconds - first) * RATE_HZ)) / RATE_HZ
            if sweep:
                sound = 0.3 * np.sin(2 * np.pi * (SWEEP_HZ + SWEEP_RATE * t_s / 2) * t_s)
            else:
                sound = 0.003 * rng.standard_normal(t_s.size)
                sound += sum(0.02 / k * np.sin(2 * np.pi * 196.6 * k * t_s) for k in range(1, 7))
                sound += 0.1 * np.sin(2 * np.pi * 1432.6 * t_s) * (t_s % 60 > 50)
            file.write(sound.astype(np.float32))


def opened(browser, served, cut_id, **options):
    """Open the page of a cut; return it when its first picture is there, and after how many ms it was."""
    page = browser.new_context(viewport={"width": 1200, "height": 800}, **options).new_page()
    page.set_default_timeout(60_000)
    page.goto(f"{served.url}cuts/{cut_id}")
    for _ in range(2000):
        marks = page.evaluate(
            "performance.getEntriesByName('review-first-picture').map((mark) => mark.startTime)"
        )
        if marks:
            return page, marks[0]
        page.wait_for_timeout(10)
    raise RuntimeError("no picture came")


def row(name: str, values: list[float], unit: str = "ms") -> None:
    """Print median and greatest."""
    print(f"  {name:58s} {statistics.median(values):9.1f} {max(values):9.1f} {unit}", flush=True)


def steps(page, name: str, rest_ms: float = 0.0) -> None:
    """Zoom in, pan and zoom out by keys, at once or after a rest as a person has it; print how long it took.

    That is until something is drawn, and until all of it is sharp.
    """
    page.locator("#sight").focus()
    sharp = []
    for key in ["ArrowUp"] * STEPS + ["PageDown"] * STEPS + ["ArrowDown"] * STEPS:
        sharp.append(page.evaluate(SHARP, key))
        page.wait_for_timeout(rest_ms)
    row(f"{name}: a step until it is drawn", page.evaluate(TAKEN))
    row(f"{name}: a step until all of it is sharp", sharp)


def the_pictures(browser, served, monitor) -> None:
    """First pictures cold and warm, then steps."""
    opened(browser, served, SWEEP)[0].context.close()  # their own start does not count
    for name, cut_id in (("2 minutes", SHORT), ("60 minutes", LONG)):
        page, first = opened(browser, served, cut_id)
        row(f"{name}: first picture, never looked at before", [first])
        if cut_id == LONG:
            begun = time.perf_counter()
            monitor.review.pictures.open(monitor.audio_path(cut_id)).wait(600)
            row(f"{name}: until the whole is worked out", [time.perf_counter() - begun], "s")
        page.context.close()
        again = []
        for _ in range(3):
            page, first = opened(browser, served, cut_id)
            again.append(first)
            page.context.close()
        row(f"{name}: first picture, looked at before", again)
        for rest_ms, how in ((0.0, "at once"), (500.0, "after half a second")):
            page, _ = opened(browser, served, cut_id)
            steps(page, f"{name}, {how}", rest_ms)
            page.context.close()


def the_sound(browser, served) -> None:
    """How far the cursor is from what is heard, at each speed and for each kind of listening."""
    page, _ = opened(browser, served, SWEEP)
    for seek in (0.2, 0.45, 0.7):
        box = page.locator("#sight").bounding_box()
        page.mouse.click(box["x"] + box["width"] * seek, box["y"] + 100)
        for speed in ("1", "0.5", "0.25"):
            page.locator(f"[name=slow][value='{speed}']").check()
            if page.locator("#play").get_attribute("aria-pressed") == "false":
                page.locator("#play").click()
            apart = page.evaluate(APART, {"first": SWEEP_HZ, "rate": SWEEP_RATE})
            page.locator("#play").click()
            if not apart:
                print(f"  speed {speed}: nothing was heard")
                continue
            row(f"sound before cursor, speed {speed}, from {seek:.0%} on", [1e3 * each for each in apart])
    page.context.close()


def main() -> None:
    """Print the table."""
    from playwright.sync_api import sync_playwright

    print(f"  {'':58s} {'median':>9s} {'most':>9s}")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        monitor = BenchMonitor(Path(folder))
        served = Served(monitor)
        browser = driver.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        the_pictures(browser, served, monitor)
        the_sound(browser, served)
        browser.close()
        served.stop()
        monitor.close()


if __name__ == "__main__":
    main()
