"""From what was heard of a cut to advice about it."""

from dataclasses import asdict, dataclass, field
from statistics import median

from shopmon.cutting.advising.one_line import ChatterTone, SpeedLimits, advise
from shopmon.cutting.nouns import MillingKind
from shopmon.listening.setup import Setup


@dataclass(frozen=True, kw_only=True)
class CutFacts:
    """What nobody can hear: how the cut is taken, and the limits of machine and tool; None where unknown."""

    milling: MillingKind | None = None
    diameter_mm: float | None = None
    ae_mm: float | None = None
    ap_mm: float | None = None
    limits: SpeedLimits = field(default_factory=SpeedLimits)

    def __post_init__(self):
        self.tone(1000.0, None, Setup())

    def tone(self, frequency_hz: float, rpm: float | None, setup: Setup) -> ChatterTone:
        """The chatter line with everything known of its cut.

        Raises
        ------
        SettingError
            A value cannot be.
        """
        return ChatterTone(
            frequency_hz=frequency_hz,
            rpm=rpm,
            flutes=setup.flutes,
            nominal_rpm=setup.nominal_rpm,
            milling=self.milling,
            diameter_mm=self.diameter_mm,
            ae_mm=self.ae_mm,
            ap_mm=self.ap_mm,
        )


def counsel(chatter: list[dict], track: list[list[float]], setup: Setup, facts: CutFacts) -> list[dict]:
    """Advise about the loudest chatter event.

    Parameters
    ----------
    chatter, track
        As in ``shopmon.inspection/1``.
    setup, facts
        What is known of the cut.

    Returns
    -------
    list of dict
        As in ``shopmon.inspection/1``; empty where nothing chattered.
    """
    if not chatter:
        return []
    worst = max(chatter, key=lambda event: event["level_db"])
    speeds = [rpm for time, rpm, _ in track if worst["start_s"] <= time <= worst["end_s"]]
    speeds = speeds or [rpm for _, rpm, _ in track]
    tone = facts.tone(worst["frequency_hz"], median(speeds) if speeds else None, setup)
    return [asdict(entry) for entry in advise(tone, facts.limits)]
