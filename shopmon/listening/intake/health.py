"""Whether the input can be listened to at all, and the notices that say so."""

from collections.abc import Sequence

from shopmon.listening.events import Notice
from shopmon.listening.intake.front import View
from shopmon.listening.intake.hops import Rates
from shopmon.listening.state import Memory
from shopmon.signals.block import Channel
from shopmon.signals.levels import power_db

SILENT_HOPS = 5
QUIET_DB = -78.0
QUIET_HOPS = 60
CLIPPED_SHARE = 1e-3
CLIPPED_HOPS = 3
MEMORY_HOPS = 20
UNKNOWN_HOPS = 80

NOTICES = {
    "no-input": (
        "The input delivers one and the same value: there is no sound to listen to.",
        "Check that the microphone is plugged in, switched on and not muted.",
    ),
    "level-too-low": (
        "The input is very quiet; a cut could go unheard.",
        "Raise the input gain or bring the microphone nearer.",
    ),
    "level-too-coarse": (
        "The whole sound lies within a few steps of the input's resolution; a faint cut is lost in them.",
        "Raise the input gain, bring the sensor nearer, or record with 24 bits.",
    ),
    "sensor-clipped": (
        "The input is overloaded: clipped sound makes lines of its own, so the verdict is doubtful.",
        "Lower the input gain or move the microphone away.",
    ),
    "channel-dead": (
        "Channel {channel} delivers one and the same value and is left out; the others are listened to.",
        "Check that sensor's plug, cable and power.",
    ),
    "source-dead": (
        "Nothing comes from the source {source}; it is left out, and the others are listened to.",
        "Check that sensor's plug, cable and power.",
    ),
    "channel-clipped": (
        "Channel {channel} is overloaded and is left out meanwhile; the others are listened to.",
        "Lower the gain of that channel or move its sensor away.",
    ),
    "samples-broken": (
        "Some samples are not numbers and were taken as silence.",
        "Check the program that wrote the recording.",
    ),
    "sensor-deaf-above": (
        "The sound reaches only up to about {reach_hz:.0f} Hz: chatter above that cannot be heard.",
        "Use a higher sample rate or another sensor: slender end mills ring at 800 to 4000 Hz.",
    ),
    "comb-line-changed": (
        "One line of the spindle, {order} times the rotation ({frequency_hz:.0f} Hz), has grown by "
        "{over_db:.0f} dB against the others.",
        "A chipped tooth, a built-up edge or hidden chatter can do that: look at the wall and at the tool.",
    ),
    "doubling-possible": (
        "The lines halfway between those of the teeth have grown, {frequency_hz:.0f} Hz most: it may be "
        "chatter that hides on the lines of runout.",
        "Change the speed by a few percent: runout stays, this kind of chatter goes. Look at the wall, too.",
    ),
    "cut-went-quiet": (
        "The cut has gone quiet although it should go on and the spindle still turns.",
        "Check the tool, and whether the feed has stopped.",
    ),
    "tach-two-per-turn": (
        "The tachometer gives two pulses a turn, so half of its speed is used.",
        "Take one of the two marks off; a magnet has two poles and may be seen twice.",
    ),
    "tach-missing": (
        "The tachometer misses a pulse now and then; it is put in where it belongs.",
        "Clean the mark, and see how far the sensor is from it.",
    ),
    "tach-doubled": (
        "The tachometer gives a second pulse right after the first now and then; it is left out.",
        "Make the edge of the mark clean, shield its cable, and keep it away from that of the drive.",
    ),
    "tach-unsteady": (
        "The pulses of the tachometer make no steady rotation, so the speed is taken from the sound.",
        "See the mark, the distance of the sensor from it, and the cable.",
    ),
    "speed-unknown": (
        "No spindle speed was given and none is clearly heard, so chatter cannot be told from the teeth.",
        "Give the spindle speed and the number of flutes.",
    ),
    "speed-not-heard": (
        "The spindle speed that was given is not heard in the sound.",
        "Check the number; the override may have been turned.",
    ),
    "speed-contradicted": (
        "Another spindle speed fits the sound much better than the one that was given.",
        "Check the number, above all after a tool change; without a speed it is searched for.",
    ),
    "speed-ambiguous": (
        "The spindle speed found from the sound may be wrong by a whole factor.",
        "Give the spindle speed and the number of flutes.",
    ),
}


def notice(code: str, sample: int, **figures) -> Notice:
    """Build a notice from its code; `figures` fill the places in its text."""
    text, hint = NOTICES[code]
    return Notice(sample=sample, code=code, text=text.format(**figures), hint=hint.format(**figures))


class Health(Memory):
    """Counts what is wrong with the input and says each thing once until it is over."""

    kept = ("constant", "heard", "quiet", "clips", "said", "unheard")

    def __init__(self, rates: Rates, channels: Sequence[Channel]):
        self._hop_samples = rates.hop_frames * len(channels)
        self._sources: dict[str | None, list[int]] = {}
        for number, channel in enumerate(channels, 1):
            self._sources.setdefault(channel.source_id, []).append(number)
        self.constant = 0
        self.heard = False
        self.quiet = 0
        self.clips = [0.0] * MEMORY_HOPS
        self.unheard = 0
        self.said: list[str] = []

    @property
    def silent(self) -> bool:
        """Nothing but one constant value has come for a quarter of a second, or ever."""
        return self.constant >= SILENT_HOPS or not self.heard

    @property
    def clipped(self) -> bool:
        """The input was overloaded within the last second."""
        return any(self.clips) and sum(share > CLIPPED_SHARE for share in self.clips) >= CLIPPED_HOPS

    def take(self, view: View) -> list[Notice]:
        """Take in one hop and return what is new to say."""
        self.constant = 0 if view.live else self.constant + 1
        self.heard = self.heard or view.live > 0
        low = view.live and power_db(view.power) < QUIET_DB
        self.quiet = self.quiet + 1 if low else 0
        self.clips = [*self.clips[1:], view.clipped / self._hop_samples]
        return [
            *self.say("no-input", self.constant >= SILENT_HOPS, view.sample),
            *self.say("level-too-low", self.quiet >= QUIET_HOPS, view.sample),
            *self.say("sensor-clipped", self.clipped, view.sample),
            *self.say("samples-broken", view.broken > 0, view.sample),
            *self._of_channels(view),
        ]

    def _of_channels(self, view: View) -> list[Notice]:
        """Say which channel is left out; another source that is dead as a whole is said as such."""
        if not (view.dead or view.overloaded or self.said):
            return []
        said: list[Notice] = []
        for source, members in self._sources.items():
            gone = source is not None and all(channel in view.dead for channel in members)
            if source is not None:
                said += self.say("source-dead", gone, view.sample, source=source)
            for number, channel in enumerate(members, 1):
                name = number if source is None else f"{number} of {source}"
                dead = channel in view.dead and not gone
                said += self.say("channel-dead", dead, view.sample, channel=name)
                said += self.say("channel-clipped", channel in view.overloaded, view.sample, channel=name)
        return said

    def hear_speed(self, known: bool, heard: bool, rotating_sound: bool, sample: int) -> list[Notice]:
        """Say when the speed stays unknown although there is something to hear."""
        self.unheard = self.unheard + 1 if rotating_sound and not heard else 0
        lasting = self.unheard >= UNKNOWN_HOPS
        return [
            *self.say("speed-unknown", lasting and not known, sample),
            *self.say("speed-not-heard", lasting and known, sample),
        ]

    def say(self, code: str, present: bool, sample: int, **figures) -> list[Notice]:
        """Return the notice when `present` becomes true, once for each channel where figures name one."""
        if not (present or self.said):
            return []
        key = f"{code} {figures.get('channel', figures.get('source', ''))}".strip()
        if present and key not in self.said:
            self.said = [*self.said, key]
            return [notice(code, sample, **figures)]
        if not present and key in self.said:
            self.said = [other for other in self.said if other != key]
        return []
