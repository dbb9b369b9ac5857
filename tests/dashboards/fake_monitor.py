"""A stand-in for the monitor: same methods and messages, a short story instead of a machine, no device.

Runs by itself for work on the pages: ``python -m tests.dashboards.fake_monitor --port 8000``.
All data in it are invented.
"""

import argparse
import base64
import math
import tempfile
import threading
import time
import uuid
from pathlib import Path

import numpy as np
import soundfile

from shopmon.errors import SettingError
from shopmon.listening.background import background_entries
from shopmon.listening.setup import ListenerSettings
from shopmon.service.context import checked_context
from shopmon.service.cuts.hearing_again import HearingAgain
from shopmon.service.cuts.judging import Judging, word_of
from shopmon.service.cuts.side_by_side import side_by_side
from shopmon.service.live_feed import LiveFeed
from shopmon.service.mills.choice import with_tool
from shopmon.service.review.review import CutReview
from shopmon.service.speeds.outlooks import Outlooks
from shopmon.service.wishes import Wishes
from tests.dashboards.fake_checks import FakeChecks, fake_spindle, fake_taps
from tests.dashboards.fake_programs import FakePrograms
from tests.dashboards.fake_records import FakeDevices, FakeValues, NoTools
from tests.dashboards.fake_sensors import FakeAllSensors, fake_sensors
from tests.dashboards.fake_speeds import EVENT, FakeSpeeds
from tests.dashboards.fake_walls import fake_walls

RATE_HZ = 48_000
STEP_HZ = 24_000 / 1024
STORY = (("spinning", 3.0), ("air-cut", 2.0), ("cutting", 5.0), ("chatter", 5.0), ("spinning", 3.0))
CHATTER_HZ = 1432.6


class FakeMonitor:
    """The monitor's methods over invented data.

    Parameters
    ----------
    folder
        Where the invented recordings are written.
    story
        Whether a thread plays the story at 10 Hz, over and over; else `show` sets the state.
    speed
        How much faster than life the story is told.
    register
        A real one, where a test wants tools.
    """

    def __init__(self, folder: Path, *, story: bool = True, speed: float = 1.0, cuts: int = 5, register=None):
        self.feed = LiveFeed()
        self.register = register or NoTools()
        self.outlooks = Outlooks(self.register)
        self.archive = FakeDevices()
        self.wishes = Wishes(FakeValues(), lambda: None)
        self.programs = FakePrograms()
        self.settings = None
        self.clock_set = True
        self.units = "metric"
        self.failed = False
        self.unsure = False
        self.slow_filing = False
        self.severity = "clear"
        self.notices: list[dict] = []
        self.audio = {"keeping": True, "stopped": None, "hint": "", "hours_left": 61.0, "buffer_s": 600}
        self._folder = Path(folder)
        self.review = CutReview(self, self._folder / "pictures", 10**9)
        self.said: list[dict] = []
        self.judging = Judging(self)
        self.hearing_again = HearingAgain(self, ListenerSettings())
        self._lock = threading.RLock()
        self.speeds = FakeSpeeds(self.context, self.state)
        self.checks = FakeChecks()
        self.taps = fake_taps(self)
        self.spindle = fake_spindle(self)
        self.sensors = fake_sensors()
        self.all_sensors = FakeAllSensors(self)
        self.walls = fake_walls(self._folder / "photos")
        self._context = {
            "nominal_rpm": 12000.0,
            "flutes": 3,
            "material": "7075",
            "part": "hub shell",
            "end_mill": "plum #3",
            "ap_mm": 1.5,
            "ae_mm": 4.0,
            "milling": "climb",
            "diameter_mm": 10.0,
            "stickout_mm": 30.0,
            "helix_deg": 35.0,
        }
        self._state, self._since, self._seq, self._cut_id = "spinning", 0.0, 0, None
        self._log: list[dict] = []
        self._kept: list[dict] = []
        self._marks: list[dict] = []
        self._cuts = [self._stored_cut(number) for number in range(1, cuts + 1)]
        self._stop = threading.Event()
        self._speed = speed
        self._now_s = 0.0
        self._thread = threading.Thread(target=self._tell_story, name="fake-engine", daemon=True)
        self._publish()
        if story:
            self._thread.start()

    def close(self):
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        self.review.close()
        self.hearing_again.close()
        self.feed.close()

    # what the pages ask

    def state(self) -> dict:
        with self._lock:
            turning = self._state not in ("no-input", "stopped")
            ringing = self._state == "chatter"
            return {
                "state": self._state,
                "unsure": self.unsure,
                "rpm": 11_796.4 if turning else None,
                "rpm_confidence": 0.97 if turning else 0.0,
                "nominal_rpm": self._context.get("nominal_rpm"),
                "program": self.programs.state(),
                "flutes": self._context.get("flutes"),
                "end_mill": {
                    "id": self._context.get("end_mill_id"),
                    "label": self._context.get("end_mill"),
                },
                "cut_id": self._cut_id,
                "cut_time_s": self._since if self._cut_id else None,
                "chatter": {
                    "event_id": EVENT,
                    "frequency_hz": CHATTER_HZ,
                    "level_db": -23.1,
                    "severity": self.severity,
                    "since_s": self._since,
                }
                if ringing
                else None,
                "stray": self._stray(),
                "input": self._input(),
                "notices": list(self.notices),
                "audio": dict(self.audio),
                "units": self.units,
                "clock_set": self.clock_set,
                "seq": self._seq,
            }

    def explain(self) -> dict:
        stray = {
            "frequency_hz": CHATTER_HZ, "order": 7.287, "level_db": -23.1, "over_floor_db": 31.0,
            "over_background_db": 28.0, "what": "stray", "counts": True, "why": "new since the contact",
        }  # fmt: skip
        evidence = {"parts": [], "log_odds": 0.4, "total": 2.9, "alarm_at": 2.5}
        return {
            "at_s": self._now_s, "state": self._state, "unsure": self.unsure, "rpm": 11_796.4,
            "background_known": True, "lines": [stray], "suspect_hz": CHATTER_HZ, "evidence": evidence,
        }  # fmt: skip

    def background(self) -> list[dict]:
        learned = [
            {"frequency_hz": 49.9, "level_db": -61.2, "origin": "idle", "since_sample": 9600},
            {"frequency_hz": 243.7, "level_db": -55.0, "origin": "air-cut", "since_sample": 0},
        ]
        return background_entries(learned, self.wishes.now, RATE_HZ)

    def context(self) -> dict:
        return dict(self._context)

    def set_context(self, values, origin) -> dict:
        with self._lock:
            said, _ = with_tool(checked_context(values), self._context, self.register, origin)
            self._context = {k: v for k, v in {**self._context, **said}.items() if v is not None}
        self._publish()
        return self.context()

    def recent_setups(self, n: int = 6) -> list:
        return [
            {"nominal_rpm": 12000.0, "flutes": 3},
            {"nominal_rpm": 8000.0, "flutes": 2},
            {"nominal_rpm": 4500.0, "flutes": 4},
            {"nominal_rpm": 18000.0, "flutes": 1},
        ][:n]

    def disk(self) -> dict:
        return {"used_gb": 1.2, "budget_gb": 20.0, "free_gb": 310.4, "hours_held": 80.0}

    def cuts(self, limit=100, before_sequence=None, **filters) -> list[dict]:
        since, until = filters.pop("since", None), filters.pop("until", None)

        def dated(cut):
            if since is None and until is None:
                return True
            return cut["started_at"] is not None and (since or 0) <= cut["started_at"] <= (until or 1e11)

        def wanted(cut):
            return (before_sequence is None or cut["sequence"] < before_sequence) and dated(cut) and all(
                self._called(cut) == value
                if name == "called"
                else (cut[name] if name in cut else cut["context"].get(name)) == value
                for name, value in filters.items()
            )

        with self._lock:
            return [dict(cut, events=[]) for cut in reversed(self._cuts) if wanted(cut)][:limit]

    def _called(self, cut) -> str:
        said = word_of(row for row in self.said if row["cut_id"] == cut["id"])
        heard = "chatter" if cut["chatter"] else "quiet"
        return {"not a cut": "no cut", "chatter": "chatter", "no chatter": "quiet"}.get(said, heard)

    def cut(self, cut_id) -> dict | None:
        with self._lock:
            cut = next((dict(cut) for cut in self._cuts if cut["id"] == cut_id), None)
            said = [row for row in self.said if row["cut_id"] == cut_id]
            return {**cut, "judgements": said} if cut else None

    def said_of_cuts(self, cut_ids) -> dict:
        return {cut_id: [row for row in self.said if row["cut_id"] == cut_id] for cut_id in cut_ids}

    def flush(self, *, filing=True) -> None:
        """Everything is there at once."""

    def add_judgement(self, cut_id, verdict, note="", data=None) -> str:
        row_id = f"said-{len(self.said)}"
        self.said.append({"id": row_id, "cut_id": cut_id, "verdict": verdict, "note": note, "data": data})
        return row_id

    def side_by_side(self, first_id, second_id):
        rows = [self.cut(cut_id) for cut_id in (first_id, second_id)]
        return side_by_side(*rows) if all(rows) else None

    def audio_path(self, cut_id) -> Path | None:
        path = self._folder / f"{cut_id}.flac"
        return path if self.cut(cut_id) and path.exists() else None

    def features(self, cut_id) -> dict | None:
        cut = self.cut(cut_id)
        if cut is None or not cut["features"]:
            return None
        t_s = np.arange(0.1, cut["duration_s"] + 13, 0.1)
        cutting = (t_s > 10) & (t_s < 10 + cut["duration_s"])
        ringing = cutting & (t_s > 14) & bool(cut["chatter"])
        return {
            "t_s": t_s,
            "rpm": np.where(t_s > 1, 11_796.4 + 8 * np.sin(t_s), np.nan),
            "level_db": -48 + 14.0 * cutting + 8.0 * ringing + np.sin(7 * t_s),
            "comb_db": -50 + 14.0 * cutting + np.sin(5 * t_s),
            "stray_db": np.where(ringing, -24.0, -70.0) + np.sin(3 * t_s),
            "state": np.where(ringing, "chatter", np.where(cutting, "cutting", "spinning")),
            "engaged": cutting,
        }

    def discard_sound(self, cut_id) -> bool:
        return not self.cut(cut_id)["keep"]

    def set_keep(self, cut_id, keep) -> None:
        with self._lock:
            for cut in self._cuts:
                if cut["id"] == cut_id:
                    cut["keep"] = keep

    def mark_moment(self, note: str = "") -> dict:
        entry = self._write("mark", f"Moment marked{': ' + note if note else '.'}")
        known = {name: entry[name] for name in ("id", "t", "cut_id")}
        self._marks.append({**known, "t_s": None, "note": note})
        return entry

    def marks(self, limit: int = 100) -> list[dict]:
        return self._marks[::-1][:limit]

    def keep_last(self, seconds: float = 120.0) -> dict:
        if self._state == "no-input":
            raise SettingError(
                "There is no sound coming in, so there is nothing to keep.", "Look at the input below."
            )
        entry = self._write("kept", f"The last {seconds:.0f} seconds of sound are kept.")
        self._kept.append(
            {
                "id": entry["id"],
                "started_at": entry["t"] - seconds if entry["t"] else None,
                "duration_s": float(seconds),
                "note": "",
                "audio": None if self.slow_filing else f"/api/kept/{entry['id']}/audio",
                "audio_pending": self.slow_filing,
                "audio_removed": False,
                "marks": [{**mark, "t_s": 7.5} for mark in self._marks[-1:]],
            }
        )
        return entry

    def kept(self) -> list[dict]:
        return [dict(span) for span in self._kept[::-1]]

    def kept_audio_path(self, keep_id) -> Path | None:
        known = any(span["id"] == keep_id and span["audio"] for span in self._kept)
        return self._folder / f"{uuid.UUID(int=2)}.flac" if known else None

    def open_mark(self, mark_id):
        mark = next((mark for mark in self._marks if mark["id"] == mark_id), None)
        if mark is None or mark["cut_id"]:
            return mark and {"cut_id": mark["cut_id"]}
        return {"kept_id": self.keep_last(90.0)["id"]}

    def kept_features(self, keep_id) -> dict | None:
        return self.features(str(uuid.UUID(int=2))) if self.kept_audio_path(keep_id) else None

    def log(self, limit: int = 50) -> list[dict]:
        return self._log[::-1][:limit]

    def health(self) -> dict:
        return {
            "ok": not self.failed,
            "state": self._state,
            "sample": int(self._now_s * RATE_HZ),
            "recording": True,
        }

    def set_clock(self, wall_s: float, origin: str) -> None:
        self.archive.set_clock(wall_s, origin)
        self.clock_set = True
        self._publish()

    # what tests do to it

    def show(self, state: str, **changes) -> None:
        """Go to a state at once and publish it; `changes` set attributes such as ``notices`` or ``units``."""
        with self._lock:
            for name, value in changes.items():
                setattr(self, name, value)
            self._enter(state)
        self._publish()
        self.spectrum()

    def spectrum(self) -> None:
        """Publish one spectrum of the present state."""
        self.feed.publish("spectrum", self.spectrum_message())

    # the story

    def _tell_story(self):
        while not self._stop.is_set():
            for state, seconds in STORY:
                self._enter(state)
                self._publish()
                for _ in range(round(seconds * 10)):
                    if self._stop.wait(0.1 / self._speed):
                        return
                    self._tick()

    def _tick(self):
        with self._lock:
            self._now_s += 0.1
            self._since += 0.1
            self._seq += 1
        self.spectrum()
        if self._seq % 5 == 0:
            self._publish()

    def _enter(self, state):
        with self._lock:
            before, self._state = self._state, state
            if state in ("cutting", "chatter") and self._cut_id is None:
                self._cut_id, self._since = str(uuid.uuid4()), 0.0
                self._write("cut-started", "A cut has begun.")
            if state == "chatter" and before != "chatter":
                self._write("chatter-started", "Chatter at 1\u202f433\u00a0Hz, clear.")
            if before == "chatter" and state != "chatter":
                over = "The chatter is over after 5.0 s; loudest at 1\u202f433\u00a0Hz, clear."
                self._write("chatter-ended", over)
            if state not in ("cutting", "chatter") and self._cut_id:
                self._write("cut-ended", "A cut has ended: 10.0 s in the cut, 5.0 s of it in chatter.")
                self._cut_id = None

    def _publish(self):
        with self._lock:
            self._seq += 1
            self.feed.publish("state", self.state())

    def _write(self, kind, text, hint="") -> dict:
        with self._lock:
            entry = {
                "id": str(uuid.uuid4()),
                "t": time.time() if self.clock_set else None,
                "clock_set": self.clock_set,
                "kind": kind,
                "text": text,
                "hint": hint,
                "cut_id": self._cut_id,
            }
            self._log.append(entry)
        self.feed.publish("log", entry)
        return entry

    def _stray(self) -> list[dict]:
        if self._state != "chatter":
            return []
        return [
            {
                "frequency_hz": CHATTER_HZ,
                "level_db": -23.1,
                "why": "came with the cut and is no multiple of the rotation",
            },
            {"frequency_hz": CHATTER_HZ + 589.8, "level_db": -31.0, "why": "one tooth passing above"},
        ]

    def _input(self) -> dict:
        heard = self._state != "no-input"
        level_db = {"cutting": -31.0, "chatter": -22.0}.get(self._state, -45.0)
        return {
            "source": "mic",
            "device": "bench microphone (invented)",
            "sample_rate_hz": float(RATE_HZ),
            "channels": 1,
            "level_db": level_db if heard else None,
            "peak_db": level_db + 11 if heard else None,
            "clipped_fraction": 0.0,
            "overflows": 0,
            "gaps": 0,
            "lost_s": 0.0,
            "present": heard,
            "text": "Listening to bench microphone (invented)." if heard else "The input is away.",
        }

    def spectrum_message(self) -> dict:
        hertz = np.arange(1024) * STEP_HZ
        db = -92 - 8 * hertz / 24_000 + np.random.default_rng(self._seq).normal(0, 2, 1024)
        if self._state not in ("no-input", "stopped"):
            loud = 22.0 if self._state in ("cutting", "chatter") else 0.0
            for k in range(1, 40):
                db[round(k * 196.6 / STEP_HZ)] = -62 + loud - k / 2 + (9 if k % 3 == 0 else 0)
        for tone in self._stray():
            db[round(tone["frequency_hz"] / STEP_HZ)] = tone["level_db"]
        state = self.state()
        return {
            "seq": self._seq,
            "t_s": round(self._now_s, 2),
            "step_hz": STEP_HZ,
            "bins": base64.b64encode(np.clip((db + 120) / 0.5, 0, 255).astype(np.uint8).tobytes()).decode(),
            "floor_db": -120,
            "per_step_db": 0.5,
            "rpm": state["rpm"],
            "flutes": state["flutes"],
            "nominal_rpm": state["nominal_rpm"],
            "level_db": state["input"]["level_db"],
            "peak_db": state["input"]["peak_db"],
            "state": self._state,
            "stray": [{"frequency_hz": t["frequency_hz"], "level_db": t["level_db"]} for t in self._stray()],
        }

    # stored cuts

    def _stored_cut(self, number: int) -> dict:
        cut_id, seconds, rings = str(uuid.UUID(int=number)), 6.0 + number, number % 2 == 0
        gone, open_clock = number == 1, number == 3
        if not gone:
            self._write_sound(cut_id, seconds, rings)
        started_at = None if open_clock else time.time() - 3600 * (10 - number)
        ringing = [
            {
                "start_s": 14.0,
                "end_s": 10 + seconds,
                "alarm_s": 14.2,
                "frequency_hz": CHATTER_HZ,
                "level_db": -23.1,
                "severity": "clear",
                "kind": "quasi-periodic",
                "confidence": 0.98,
            }
        ]
        return {
            "id": cut_id,
            "sequence": number,
            "started_at": started_at,
            "ended": True,
            "recovered": number == 4,
            "keep": number == 2,
            "start_s": 10.0,
            "end_s": 10 + seconds,
            "duration_s": seconds,
            "cut_time_s": seconds - 0.5,
            "engaged": [[10.0, 12.0], [12.5, 10 + seconds]],
            "chatter": ringing if rings else [],
            "chatter_time_s": seconds - 4 if rings else 0.0,
            "rpm": 11_796.4,
            "context": dict(self._context),
            "state": "chatter" if rings else "cutting",
            "unsure": number == 5,
            "advice": [],
            "notices": [],
            "audio": None if gone else f"/api/cuts/{cut_id}/audio",
            "features": f"/api/cuts/{cut_id}/features",
            "audio_pending": False,
            "audio_removed": gone,
            "marks": [{"id": "m", "t": started_at, "t_s": 13.25, "note": "at the wall"}] if rings else [],
            "events": [
                {
                    "id": f"{cut_id}-{kind}",
                    "t": started_at,
                    "clock_set": not open_clock,
                    "kind": kind,
                    "text": text,
                    "hint": "",
                    "cut_id": cut_id,
                }
                for kind, text in (("cut-started", "A cut has begun."), ("cut-ended", "A cut has ended."))
            ],
        }

    def _write_sound(self, cut_id: str, seconds: float, rings: bool) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)
        path = self._folder / f"{cut_id}.flac"
        if path.exists():
            return
        t_s = np.arange(int((seconds + 13) * RATE_HZ)) / RATE_HZ
        sound = 0.003 * np.random.default_rng(1).normal(size=len(t_s))
        cutting = (t_s > 10) & (t_s < 10 + seconds)
        sound += sum(0.02 / k * np.sin(2 * math.pi * 196.6 * k * t_s) for k in range(1, 7)) * (
            0.3 + 0.7 * cutting
        )
        if rings:
            sound += 0.1 * np.sin(2 * math.pi * CHATTER_HZ * t_s) * (cutting & (t_s > 14))
        soundfile.write(path, sound.astype(np.float32), RATE_HZ, subtype="PCM_16")


def main() -> None:
    """Serve the pages over the invented monitor."""
    from shopmon.dashboards.access import Access
    from shopmon.dashboards.app import create_app
    from shopmon.dashboards.server import Server

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, default=8000)
    parser.add_argument("--lan", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        monitor = FakeMonitor(Path(folder))
        access = Access(monitor.archive, lan=options.lan)
        server = Server(
            create_app(monitor, access=access), "0.0.0.0" if options.lan else "127.0.0.1", options.port
        )
        print(server.url)
        try:
            server.run()
        finally:
            server.close()
            monitor.close()


if __name__ == "__main__":
    main()
