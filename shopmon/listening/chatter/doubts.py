"""What speaks against a suspicion, and takes longer to know than one spectrum lasts."""

from dataclasses import replace
from typing import Any

import numpy as np

from shopmon.listening.chatter.steadiness import SLOWEST_HZ, Steadiness
from shopmon.listening.chatter.suspect import LIKELY, Suspicion
from shopmon.listening.chatter.usual_sound import UsualSound
from shopmon.listening.scene import Scene

MOST_ODDS = 5.0


class Doubts:
    """How much suspected lines sway, and what the cuts of this job sound like anyway."""

    def __init__(self) -> None:
        self.steadiness = Steadiness()
        self.usual_sound = UsualSound()

    def clear(self) -> None:
        """Another job begins: know nothing."""
        self.steadiness.clear()
        self.usual_sound.clear()

    def snapshot(self) -> dict[str, Any]:
        """Return the memory as plain data."""
        return {"steadiness": self.steadiness.snapshot(), "usual_sound": self.usual_sound.snapshot()}

    def restore(self, data: dict[str, Any]) -> None:
        """Take up a memory that `snapshot` gave."""
        self.steadiness.restore(data["steadiness"])
        self.usual_sound.restore(data["usual_sound"])

    def weigh(
        self, suspicion: Suspicion | None, scene: Scene, samples: np.ndarray, rate_hz: float, hop_s: float
    ) -> Suspicion | None:
        """Return the suspicion as far as it stands up to doubt; only what is likely is doubted.

        Parameters
        ----------
        suspicion
            Of this hop.
        scene
            The spectrum.
        samples
            The newest sound, as long as `steadiness.span_s` says, shape ``(frames,)``.
        rate_hz
            Its rate.
        hop_s
            Time between two spectra.
        """
        if suspicion is None or suspicion.log_odds < LIKELY:
            return suspicion
        track, rotation_hz = suspicion.track, scene.comb.rotation_hz
        newness = self.usual_sound.newness(track.newest_hz, track.level_db, scene, hop_s)
        doubts = {"usual_sound": MOST_ODDS * min(newness, 0.0)}
        if rotation_hz >= SLOWEST_HZ:
            swaying = self.steadiness.look(samples, rate_hz, track.newest_hz, rotation_hz)
            # what rises far above all that the chips have shaken so far is not shaken by them
            doubts["steadiness"] = swaying * (1.0 - max(newness, 0.0))
        return replace(suspicion, log_odds=suspicion.log_odds + sum(doubts.values()), doubts=doubts)
