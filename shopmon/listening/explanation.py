"""Any moment explained: which lines are seen, what each is taken for and why, and what adds up."""

from dataclasses import dataclass
from itertools import compress

import numpy as np

from shopmon.listening.chatter.crowd import in_crowd
from shopmon.listening.chatter.other_comb import on_other_comb
from shopmon.listening.chatter.strays import Track
from shopmon.listening.scene import Scene

SEEN_DB = 8.0
LOWEST_HZ = 25.0
MOST_LINES = 24
ON_LINE, ON_LINE_SHARE = 0.6, 7e-4
BESIDE_DB = 8.0
BACKGROUND_DB = 7.0
OTHER = "a multiple of another frequency, as the lines of another machine are"
CROWDED = "one of many crests side by side: a voice, a motor that changes its speed, or hiss"
ADRIFT = "the spindle is on its way to another speed, so its own lines are on no multiple now"
WORDS = {
    "base": "before any line is looked at",
    "over_floor_db": "height over the noise",
    "over_background_db": "height over the background",
    "grown_db": "growth over the background",
    "over_comb_db": "height over the comb nearby",
    "over_skirt_db": "clear of the nearest rotation line",
    "over_strongest_db": "height over the strongest comb line",
    "family_teeth": "relatives at tooth-passing distance",
    "family_rotation": "relatives at rotation distance",
    "strangers": "other new lines that are no relatives",
    "kin_over_comb_db": "relatives together over the comb",
    "age_hops": "how long it has lasted",
    "apart": "distance from the rotation line",
    "kin_nats": "relatives in steps of the rotation, which chance does not make",
    "kin_lead": "relatives that no comb of its own would make",
    "told": "the speed was told",
    "background_unknown": "the background is not known",
    "followed_s": "how long the speed has been followed",
    "risen": "the sound has risen",
    "touching": "a tooth is in metal",
    "background_known": "the background is known",
    "flutes_known": "the flutes are known",
    "speed_heard": "the speed is heard",
    "steadiness": "it sways, as what the chips shake does",
    "usual_sound": "this job's cuts sounded like that all along, without chatter",
}


@dataclass(frozen=True, kw_only=True)
class ExplainedLine:
    """One line of the spectrum and what it is taken for.

    Attributes
    ----------
    frequency_hz, level_db
        Read between the bins; dB re full scale.
    over_floor_db, over_background_db
        Height over the noise floor there, and over the background (None where it is not known).
    order
        Multiples of the rotation.
    what
        ``tooth passing``, ``rotation``, ``beside a rotation line``, ``rejected``, ``background``,
        ``other comb``, ``one of many``, ``stray`` or ``faint``.
    counts
        It speaks for chatter.
    why
        One short sentence for the person.
    """

    frequency_hz: float
    level_db: float
    over_floor_db: float
    over_background_db: float | None
    order: float
    what: str
    counts: bool
    why: str


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """One moment.

    Attributes
    ----------
    sample
        One past the last sample that was used.
    state, unsure, rpm
        As in the frame of that moment.
    background_known
        Whether the sound before the cut is known.
    lines
        What is seen, by frequency; empty while no speed is known or the window fills.
    suspect_hz
        The line that is most suspicious, None where none is.
    parts
        ``(in words, what it adds)``: the log-odds of the suspect, part by part, greatest first.
    log_odds
        Their sum, None without a suspect.
    evidence, alarm_at
        What has added up over time, and where the alarm is raised.
    """

    sample: int
    state: str
    unsure: bool
    rpm: float | None
    background_known: bool
    lines: tuple[ExplainedLine, ...]
    suspect_hz: float | None
    parts: tuple[tuple[str, float], ...]
    log_odds: float | None
    evidence: float
    alarm_at: float


def in_words(terms: dict[str, float]) -> tuple[tuple[str, float], ...]:
    """Return what adds anything, in words, greatest first."""
    said = [(WORDS.get(name, name.replace("_", " ")), round(value, 3)) for name, value in terms.items()]
    return tuple(sorted((each for each in said if each[1]), key=lambda each: -abs(each[1])))


def explain_lines(
    scene: Scene, tracks: list[Track], onset: int | None, adrift: bool = False
) -> tuple[ExplainedLine, ...]:
    """Say of every line that is seen what it is taken for.

    Parameters
    ----------
    scene
        The spectrum.
    tracks
        The stray lines that are followed.
    onset
        Since when a tooth is, or may be, in metal; None when none is.
    adrift
        The spindle's comb is not where it was.
    """
    discarded = _discarded(tracks, scene, adrift)
    peaks = _peaks(scene)
    places, levels = scene.window.read_lines(scene.view.spectrum_db, peaks)
    frequency_hz = places * scene.window.bin_hz
    floors = scene.view.above_floor_db[peaks]
    known = levels - scene.background.around_db[peaks] if scene.compared else None
    skirts = levels - scene.comb.skirts_db(frequency_hz, ON_LINE_SHARE)
    lines = []
    for i in range(peaks.size):
        over = None if known is None else float(known[i])
        hz, skirt = float(frequency_hz[i]), float(skirts[i])
        what, counts, why = _taken_for(hz, skirt, over, scene, tracks, onset, discarded)
        lines.append(
            ExplainedLine(
                frequency_hz=round(hz, 2),
                level_db=round(float(levels[i]), 2),
                over_floor_db=round(float(floors[i]), 1),
                over_background_db=None if over is None else round(over, 1),
                order=round(hz / scene.comb.rotation_hz, 3),
                what=what,
                counts=counts,
                why=why,
            )
        )
    return tuple(lines)


def _peaks(scene: Scene) -> np.ndarray:
    """Bins of the strongest local maxima, ascending."""
    first = max(1, int(LOWEST_HZ / scene.window.bin_hz))
    spectrum = scene.view.spectrum_db[first - 1 :]
    peak = (spectrum[1:-1] > spectrum[:-2]) & (spectrum[1:-1] >= spectrum[2:])
    peak &= scene.view.above_floor_db[first:-1] > SEEN_DB
    bins = np.flatnonzero(peak) + first
    strongest = np.argsort(-scene.view.above_floor_db[bins], kind="stable")[:MOST_LINES]
    return np.sort(bins[strongest])


def _discarded(tracks: list[Track], scene: Scene, adrift: bool) -> dict[int, tuple[str, str]]:
    """Return what the tracks that speak for nothing are taken for and why, by ``id``."""
    if not tracks:
        return {}
    if adrift:
        return {id(track): ("stray", ADRIFT) for track in tracks}
    crowded = {id(track): ("one of many", CROWDED) for track in compress(tracks, in_crowd(tracks, scene))}
    strange = {id(track): ("other comb", OTHER) for track in compress(tracks, on_other_comb(tracks, scene))}
    return crowded | strange


def _taken_for(
    hz, over_skirt_db, over_background_db, scene: Scene, tracks, onset, discarded
) -> tuple[str, bool, str]:
    rotation, order = scene.comb.rotation_hz, max(1, round(hz / scene.comb.rotation_hz))
    away_hz = abs(hz - order * rotation)
    if away_hz <= ON_LINE / scene.window.duration_s + ON_LINE_SHARE * hz:
        return _of_the_comb(order, scene.flutes)
    if over_skirt_db < BESIDE_DB:
        return "beside a rotation line", False, f"too close to {times(order)}the rotation to be told from it"
    if scene.preferences.is_rejected(np.array(hz), rotation):
        return "rejected", False, "you said that it is no chatter"
    heeded = bool(scene.preferences.is_heeded(np.array(hz)))
    if over_background_db is not None and over_background_db < BACKGROUND_DB and not heeded:
        return "background", False, "it sounded before a tooth met metal"
    near = [t for t in tracks if abs(t.frequency_hz - hz) <= max(1.2 / scene.window.duration_s, 0.002 * hz)]
    track = max(near, key=lambda t: t.margin_db, default=None)
    if track is None or track.margin_db <= 0:
        return "faint", False, "not clear enough yet against noise, background or comb"
    if onset is None:
        return "stray", False, "no tooth is in metal, so it is no chatter"
    if track.since_sample < onset:
        return "stray", False, "it was there before the tooth met metal"
    if id(track) in discarded:
        what, why = discarded[id(track)]
        return what, False, why
    return "stray", True, "on no multiple of the rotation, new since the tooth met metal"


def times(multiple: int) -> str:
    """Say a multiple before what it is of; nothing for once.

    Examples
    --------
    >>> times(3), times(1)
    ('3 times ', '')
    """
    return "" if multiple == 1 else f"{multiple} times "


def _of_the_comb(order: int, flutes: int | None) -> tuple[str, bool, str]:
    if flutes and order % flutes == 0:
        return "tooth passing", False, f"{times(order // flutes)}tooth passing: every cut makes it"
    return "rotation", False, f"{times(order)}the rotation: runout makes it"


def explanation_as_data(told: Explanation, first_sample: int, rate_hz: float, offset_db: float = 0.0) -> dict:
    """Return an explanation as JSON knows it, in seconds from `first_sample`.

    Parameters
    ----------
    told
        The explanation.
    first_sample, rate_hz
        What counts as 0 s; samples per second.
    offset_db
        Added to every level, for a calibrated one.
    """
    return {
        "at_s": round((told.sample - first_sample) / rate_hz, 3),
        "state": told.state,
        "unsure": told.unsure,
        "rpm": told.rpm,
        "background_known": told.background_known,
        "lines": [{**vars(line), "level_db": round(line.level_db + offset_db, 2)} for line in told.lines],
        "suspect_hz": told.suspect_hz,
        "evidence": {
            "parts": [{"what": what, "adds": adds} for what, adds in told.parts],
            "log_odds": told.log_odds,
            "total": told.evidence,
            "alarm_at": told.alarm_at,
        },
    }
