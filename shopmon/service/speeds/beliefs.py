"""Beliefs about tool assemblies: taken from the database, brought up to the log, kept again.

What was learned follows from the log alone. A belief that was kept is only a short cut: it serves while it
comes of the same learner and the same prior, and what it learned from still stands at the beginning of the
log of that tool. A correction, a judgement or an answer taken back therefore undoes itself: an older belief
that is still true is taken up, or all is learned anew.
"""

import json
import logging
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from shopmon import __version__
from shopmon.cutting.advising.learned import frequency_band
from shopmon.cutting.advising.learning import LEARNER, Belief, belief_from, belief_state, first_belief, learn
from shopmon.cutting.advising.one_line import ChatterTone
from shopmon.cutting.advising.prior import Prior
from shopmon.errors import SettingError, StoreError
from shopmon.records.archive import Archive
from shopmon.service.speeds.tool_and_job import TELLS_APART, Trial, key_of, key_values, prior_from, trials_of
from shopmon.service.tap.prior import with_measured_modes

MOST_TRIALS = 60  # learned from when all is learned anew: older ones hardly count any more
MOST_CUTS = 200
FLUSH_S = 10.0
log = logging.getLogger(__name__)


@dataclass(frozen=True, eq=False, kw_only=True)
class Known:
    """What is believed now of one tool assembly on a machine in a material.

    Attributes
    ----------
    belief, prior
        After all its cuts, and before them.
    trials
        What the log holds of it, oldest first, those that nothing can be learned from among them.
    learned
        How many it has learned from.
    """

    belief: Belief
    prior: Prior
    trials: tuple[Trial, ...]
    learned: int


class Beliefs:
    """Brings beliefs up to the log; used by one thread.

    Parameters
    ----------
    archive
        Holds the cuts and the beliefs.
    """

    learner = f"{LEARNER}/{__version__}"

    def __init__(self, archive: Archive):
        self._archive = archive

    def now(self, context: Mapping[str, Any]) -> Known:
        """Return what is believed of the tool in a context, after every cut that is logged of it."""
        self._flush()
        prior, values = prior_from(with_measured_modes(self._archive, context)), key_values(context)
        cuts = self._archive.cuts_of_tool(values, MOST_CUTS)
        trials = tuple(trials_of(cuts))
        useful = [trial for trial in trials if trial.learned is not None]
        rows = self._archive.beliefs(key_of(context))
        belief, known, done = self._taken_up(rows, prior, useful, whole=len(cuts) < MOST_CUTS)
        for trial in useful[done:]:
            belief = learn(belief, trial.learned)
            known = [*known, trial.fingerprint]
        if rows[:1] and rows[0]["trials"] == known and rows[0]["learner"] == self.learner:
            return Known(belief=belief, prior=prior, trials=trials, learned=len(known))
        if known or rows:
            self._keep(values, belief, prior, known)
        return Known(belief=belief, prior=prior, trials=trials, learned=len(known))

    def tones(self, context: Mapping[str, Any], before: str | None) -> tuple[ChatterTone, ...]:
        """Return the chatter lines heard of the tool in a context, the newest first.

        Up to a cut, that one with it; all where it is not logged yet. None where nothing tells the tool from
        others.
        """
        values = key_values(context)
        if not any(values.get(name) for name in TELLS_APART):
            return ()
        self._flush()
        cuts = self._archive.cuts_of_tool(values, MOST_CUTS)
        last = next((number for number, cut in enumerate(cuts) if cut["id"] == before), len(cuts))
        trials = trials_of(cuts[: last + 1])
        return tuple(
            ChatterTone(
                frequency_hz=trial.chatter_hz, rpm=trial.rpm, flutes=context.get("flutes"),
                milling=trial.milling, ap_mm=trial.ap_mm, **_width(context, trial),
            )
            for trial in reversed(trials)
            if trial.verdict == "chatter" and trial.chatter_hz and trial.rpm
        )  # fmt: skip

    def _taken_up(
        self, rows: list[dict], prior: Prior, useful: list[Trial], whole: bool
    ) -> tuple[Belief, list, int]:
        """The newest belief that is still true, what it has learned from, and from which trial to go on."""
        marks = [trial.fingerprint for trial in useful]
        for row in rows:
            done = _place(row["trials"], marks, whole)
            if row["learner"] != self.learner or row["prior"] != _plain(prior) or done is None:
                continue
            try:
                return belief_from(row["state"]), row["trials"], done
            except SettingError as exc:
                log.warning("A kept belief cannot be used: %s", exc.text)
        return first_belief(prior), [], max(0, len(useful) - MOST_TRIALS)

    def _keep(self, values: dict[str, Any], belief: Belief, prior: Prior, known: list) -> None:
        low, middle, high = (round(hz, 1) for hz in frequency_band(belief))
        self._archive.add_belief(
            key_of(values),
            {
                "context": values,
                "learner": self.learner,
                "prior": _plain(prior),
                "trials": known[-MOST_CUTS:],
                "summary": {"trials": len(known), "frequency_hz": [low, middle, high]},
                "state": belief_state(belief),
            },
        )
        self._flush()

    def _flush(self) -> None:
        """Let what was just logged reach the disk, from where it is read."""
        try:
            self._archive.flush(filing=False, timeout_s=FLUSH_S)
        except StoreError as exc:  # a full disk takes nothing from what is known
            log.warning("The newest cuts cannot be read yet: %s", exc.text)


def _width(context: Mapping[str, Any], trial: Trial) -> dict[str, float | None]:
    """Diameter and width of a trial, as far as they can be."""
    diameter, ae_mm = context.get("diameter_mm"), trial.ae_mm
    fits = diameter is not None and ae_mm is not None and ae_mm <= diameter
    return {"diameter_mm": diameter, "ae_mm": ae_mm if fits else None}


def _place(known: list, marks: list, whole: bool) -> int | None:
    """How many of the trials in sight a belief has learned from; None where it no longer agrees with them.

    `known` may begin before what is in sight, unless that is the whole log of the tool, and may have left out
    the oldest trials, where all was learned anew from many.
    """
    if not known:
        return 0 if whole else None
    if known[-1] not in marks:
        return None
    done = marks.index(known[-1]) + 1
    shared = min(done, len(known))
    agrees = known[-shared:] == marks[done - shared : done]
    older_gone = len(known) > done and whole
    left_out = len(known) < done and len(known) < MOST_TRIALS
    return done if agrees and not older_gone and not left_out else None


def _plain(prior: Prior) -> dict:
    return json.loads(json.dumps(asdict(prior)))
