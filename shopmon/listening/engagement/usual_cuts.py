"""How long the cuts of an operation usually last, and whether one has gone quiet before its time."""

from shopmon.listening.events import CutSpan
from shopmon.listening.setup import Setup
from shopmon.listening.state import Memory

LEAST_CUTS, MOST_CUTS, MOST_JOBS = 3, 5, 40
AGREEING_SHARE, AGREEING_S = 0.08, 0.15
EARLY_SHARE, EARLY_S = 0.6, 1.0
QUIET_S = 1.0


class UsualCuts(Memory):
    """Remembers the engagements of the last cuts of each operation.

    Parameters
    ----------
    sample_rate_hz
        Of the stream.

    Attributes
    ----------
    jobs
        Lengths in s of the engagements of each of the last cuts, by job.
    """

    kept = ("jobs",)

    def __init__(self, sample_rate_hz: float):
        self._rate_hz = sample_rate_hz
        self.jobs: dict[str, list[list[float]]] = {}

    def learn(self, job: str, cut: CutSpan) -> None:
        """Take in a cut that came to its end by itself; without a job nothing is known to be alike."""
        if not job:
            return
        cuts = [*self.jobs.pop(job, []), self._lengths(cut)][-MOST_CUTS:]
        self.jobs[job] = cuts
        if len(self.jobs) > MOST_JOBS:
            del self.jobs[next(iter(self.jobs))]

    def went_quiet(self, setup: Setup, cut: CutSpan | None, now: int) -> bool:
        """Whether the open cut, untouched now, has gone quiet long before it should.

        Parameters
        ----------
        setup
            Names the job, or says how long the cut should be.
        cut
            The open cut.
        now
            Sample.
        """
        if cut is None or now - cut.end_sample < QUIET_S * self._rate_hz:
            return False
        if setup.expected_cut_s is not None:
            return _early(cut.cut_samples / self._rate_hz, setup.expected_cut_s)
        return self._breaks_off(self.jobs.get(setup.job, []), self._lengths(cut))

    def _lengths(self, cut: CutSpan) -> list[float]:
        return [(end - start) / self._rate_hz for start, end in cut.engaged]

    def _breaks_off(self, earlier: list[list[float]], lengths: list[float]) -> bool:
        """The earlier cuts agree with each other, this one agrees with them, but for its last engagement."""
        if len(earlier) < LEAST_CUTS or len({len(cut) for cut in earlier}) > 1:
            return False
        usual = [sorted(column)[len(column) // 2] for column in zip(*earlier, strict=True)]
        alike = all(_alike(cut, usual) for cut in earlier)
        return (
            alike
            and len(lengths) <= len(usual)
            and _alike(lengths[:-1], usual)
            and _early(lengths[-1], usual[len(lengths) - 1])
        )


def _alike(lengths: list[float], usual: list[float]) -> bool:
    """Every engagement lasts as long as usual; the usual ones may be more."""
    pairs = zip(lengths, usual, strict=False)
    return all(abs(length - goal) <= max(AGREEING_S, AGREEING_SHARE * goal) for length, goal in pairs)


def _early(length_s: float, usual_s: float) -> bool:
    return length_s < EARLY_SHARE * usual_s and usual_s - length_s > EARLY_S
