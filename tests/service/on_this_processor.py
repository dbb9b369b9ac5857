"""Analyse recordings on whatever arithmetic this process was given: run by itself, prints JSON.

``python -m tests.service.on_this_processor RECORDING…``
"""

import hashlib
import json
import sys
from pathlib import Path

import numpy as np
import scipy.linalg
import soundfile

from shopmon.listening.events import Frame
from shopmon.listening.listener import Listener
from shopmon.listening.setup import ListenerSettings, Setup
from shopmon.service.inspection import inspect_recording
from tests.listening.synthetic import blocks

EVERY_S = 0.25


def low_bits() -> dict[str, str]:
    """Return fingerprints of plain arithmetic, by which library does it."""
    numbers = np.random.default_rng(1).standard_normal((257, 257))
    singles = numbers.astype(np.float32)

    def bits(values) -> str:
        return hashlib.sha256(np.ascontiguousarray(values).tobytes()).hexdigest()[:16]

    return {
        "matrix product": bits(numbers @ numbers.T),
        "matrix product, single": bits(singles @ singles.T),
        "sum": bits(np.array([singles.sum(), numbers.sum()])),
        "exp, log, sin": bits(np.concatenate([np.exp(singles), np.log(abs(singles)), np.sin(singles)])),
        "exp and log, double": bits(np.concatenate([np.exp(numbers), np.log(abs(numbers))])),
        "eigenvalues": bits(scipy.linalg.eigvalsh(numbers + numbers.T)),
    }


def hearing(path: Path, setup: Setup) -> tuple[str, list[list]]:
    """Return a fingerprint of all spectra, and state, speed, suspect, log-odds and their sum, unrounded."""
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    listener = Listener(ListenerSettings(), float(rate_hz), samples.shape[1])
    listener.change_setup(setup, 0)
    spectra, told = hashlib.sha256(), []
    for block in blocks(samples, int(EVERY_S * rate_hz), rate_hz=float(rate_hz)):
        for event in listener.feed(block):
            if isinstance(event, Frame):
                spectra.update(np.ascontiguousarray(event.spectrum_db).tobytes())
        chain = listener.chain
        if chain.newest is None:
            continue
        suspect = chain.suspicion
        numbers = (suspect.track.frequency_hz, suspect.log_odds) if suspect else (None, None)
        told.append([str(chain.newest.state), chain.newest.rpm, *numbers, chain.judge.evidence])
    return spectra.hexdigest()[:16], told


def analyse(path: Path) -> dict:
    """Return what is found in one recording, its setup taken from the file beside it."""
    beside = path.with_suffix(".setup.json")
    setup = Setup(**json.loads(beside.read_text())) if beside.exists() else Setup()
    spectra, told = hearing(path, setup)
    inspection = inspect_recording(path, setup=setup, settings=ListenerSettings())
    return {"inspection": inspection, "spectra": spectra, "heard": told}


def main() -> None:
    """Print what was found."""
    found = {"bits": low_bits(), "recordings": {name: analyse(Path(name)) for name in sys.argv[1:]}}
    json.dump(found, sys.stdout)


if __name__ == "__main__":
    main()
