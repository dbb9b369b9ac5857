"""The whole service killed at random moments of a cut: nothing but the last two seconds may be missing."""

import concurrent.futures
import random
import sqlite3
import threading
import time
from dataclasses import dataclass

import numpy as np
import pytest
import soundfile as sf

from shopmon.cutting.simulation.pass_sound import render
from shopmon.cutting.simulation.scenarios import scenario
from shopmon.records.archive import Archive
from tests.service.listen_process import ListenProcess

RATE_HZ = 48_000
FOLDERS = 5
KILLS_PER_FOLDER = 6
LOST_AT_MOST_S = 2.0


@dataclass(frozen=True)
class Killed:
    """What was known outside when the process was killed: the end of the newest sound that had been shown."""

    cut_id: str
    shown_s: float


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    """Some idle spindle, then a long quiet cut: a real file, played in real time."""
    samples, truth = render(scenario("quiet-pass"), 5)
    start = int((truth["engaged"][0][0] - 2.0) * RATE_HZ)
    pcm = np.round(samples[start:] * 32767).astype("<i2")
    path = tmp_path_factory.mktemp("played") / "cut.wav"
    sf.write(path, pcm, RATE_HZ, subtype="PCM_16")
    spindle = truth["spindle"]
    return path, pcm, ["--rpm", str(spindle["nominal_rpm"]), "--flutes", str(spindle["flutes"])]


def _run_and_kill(data_dir, recording, chance: random.Random) -> Killed:
    path, _, setup = recording
    newest = {}
    with ListenProcess(data_dir, "--source", str(path), *setup) as listening:
        listening.wait_until_served(60)
        in_cut = threading.Event()

        def follow():
            try:
                for kind, data in listening.stream(60):
                    newest[kind] = data
                    if kind == "state" and data["cut_id"]:
                        in_cut.set()
            except OSError:
                return  # killed: the stream breaks off

        viewer = threading.Thread(target=follow, daemon=True)
        viewer.start()
        assert in_cut.wait(30), newest.get("state")
        time.sleep(chance.uniform(0.1, 3.0))
        killed = Killed(newest["state"]["cut_id"], newest["spectrum"]["t_s"])
        listening.kill()
        viewer.join(5)
    return killed


def _kill_again_and_again(data_dir, recording, seed) -> list[Killed]:
    chance = random.Random(seed)
    return [_run_and_kill(data_dir, recording, chance) for _ in range(KILLS_PER_FOLDER)]


@pytest.mark.timeout(600)
def test_thirty_pulled_plugs_lose_two_seconds_each_at_most(tmp_path, recording):
    folders = [tmp_path / f"shop-{number}" / "data" for number in range(FOLDERS)]
    for folder in folders:
        folder.parent.mkdir()
    with concurrent.futures.ThreadPoolExecutor(FOLDERS) as pool:
        runs = list(pool.map(_kill_again_and_again, folders, [recording] * FOLDERS, range(FOLDERS)))
    for folder, killed in zip(folders, runs, strict=True):
        _check(folder, killed, recording[1])


def _check(data_dir, killed: list[Killed], pcm) -> None:
    archive = Archive.open(data_dir, budget_bytes=10**10)
    try:
        archive.flush()
        cuts = {cut["id"]: cut for cut in archive.cuts()}
        assert set(cuts) == {run.cut_id for run in killed}
        for run in killed:
            _check_cut(archive, cuts[run.cut_id], run, pcm)
    finally:
        archive.close()
    with sqlite3.connect(data_dir / "shopmon.db") as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def _check_cut(archive, cut: dict, run: Killed, pcm) -> None:
    assert cut["ended"] and cut["recovered"]
    assert cut["end_sample"] / RATE_HZ >= run.shown_s - LOST_AT_MOST_S
    sound, rate = sf.read(archive.audio_path(cut["id"]), dtype="int16")
    assert rate == RATE_HZ
    first = cut["recording_first_sample"]
    assert np.array_equal(sound, pcm[first : first + len(sound)])
    assert (first + len(sound)) / RATE_HZ >= run.shown_s - LOST_AT_MOST_S
    assert archive.features(cut["id"])["t_s"].size > 0
