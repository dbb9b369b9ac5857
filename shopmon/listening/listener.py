"""The engine: one listener per stream turns blocks into frames, cuts, chatter and notices.

It is a function of configuration, starting state, samples and context changes tied to a sample index.
Everything is computed on a fixed grid of hops (about 50 ms), so the sizes of the blocks change nothing.
"""

from collections.abc import Sequence
from dataclasses import replace

from shopmon.errors import SettingError
from shopmon.listening.background import background_entries
from shopmon.listening.chain import Chain
from shopmon.listening.chatter.weights import MODEL
from shopmon.listening.events import Event
from shopmon.listening.explanation import Explanation, explain_lines, in_words
from shopmon.listening.intake.hops import HopCutter, Rates
from shopmon.listening.setup import ListenerSettings, Setup, setup_as_data, setup_from
from shopmon.listening.state import LEARNED, SCHEMA, is_current
from shopmon.signals.block import Block, Channel

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 1000.0, 1_000_000.0


class Listener:
    """Listens to one stream.

    Parameters
    ----------
    settings
        Configuration.
    sample_rate_hz
        Of the stream.
    channels
        The channels that are heard, a tachometer's not among them, or only their number; several are heard as
        one, each weighed by how far the spindle stands out in it.
    start
        Where to go on: a `snapshot` of a listener of the same stream, or the learned part of one of another.

    Raises
    ------
    SettingError
        The sample rate is too low to hear a cut, or the starting state is of another kind or rate.
    """

    def __init__(
        self,
        settings: ListenerSettings,
        sample_rate_hz: float,
        channels: int | Sequence[Channel],
        start: dict | None = None,
    ):
        if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
            raise SettingError(
                f"A sample rate of {sample_rate_hz:g} Hz cannot be listened to.",
                f"It must be from {LOWEST_RATE_HZ:g} to {HIGHEST_RATE_HZ:g} Hz.",
            )
        self.rates = Rates.of(sample_rate_hz)
        channels = (Channel(),) * channels if isinstance(channels, int) else channels
        self._of = [[channel.kind, channel.source_id] for channel in channels]
        self.cutter = HopCutter(self.rates.hop_frames, len(channels))
        self.chain = Chain(settings, self.rates, channels)
        self.gaps = 0
        self._changes: list[tuple[int, Setup]] = []
        if start:
            self._restore(start)

    @property
    def setup(self) -> Setup:
        """What is being cut, as known by the newest sample."""
        return self.chain.setup

    def change_setup(self, setup: Setup, at_sample: int) -> int:
        """Use another setup from a sample on; return the sample from which it is really used.

        A change takes effect with the first hop that begins at or after `at_sample`; what was heard already
        stays as it was heard.
        """
        if self.cutter.start_sample is not None:
            at_sample = max(
                at_sample, self.cutter.start_sample + (self.cutter.filled > 0) * self.cutter.frames
            )
        self._changes.append((int(at_sample), setup))
        self._changes.sort(key=lambda change: change[0])
        return int(at_sample)

    def feed(self, block: Block) -> list[Event]:
        """Take in a block and return what happened, in order.

        Raises
        ------
        ValueError
            The block is of another rate or channel count, or goes back in time.
        """
        self._check(block)
        events: list[Event] = []
        expected = self.cutter.next_sample
        if expected is None:
            self.cutter.restart(block.first_sample)
            self.chain.book.restart(block.first_sample)
        elif block.first_sample != expected:
            self.gaps += 1
            self.cutter.restart(block.first_sample)
            events += self.chain.interrupt(expected, block.first_sample)
        self.chain.tach.take(block)
        for start, hop in self.cutter.hops(block.samples()):
            events += self._change_due(start)
            events += self.chain.hear(start, hop)
        return events

    def finish(self) -> list[Event]:
        """Close what is open: the stream has ended."""
        return self.chain.close(self.cutter.next_sample or 0)

    def background(self) -> list[dict]:
        """Return what is known of the background: a list of tones, each with its origin."""
        learned = self.chain.background.entries(self.chain.front.window)
        return background_entries(learned, self.setup.preferences, self.rates.sample_rate_hz)

    def explain(self) -> Explanation | None:
        """Explain the newest moment: what is seen, what it is taken for, and what speaks for chatter.

        Nothing is changed by it. None before the first frame (after taking up a state, too).
        """
        chain, frame = self.chain, self.chain.newest
        if frame is None:
            return None
        scene, suspicion = chain.scene, chain.suspicion
        seen = () if scene is None else (scene, chain.strays.tracks, chain.onset, chain.speed.adrift)
        lines = explain_lines(*seen) if seen else ()
        parts = ()
        if suspicion:
            parts = in_words({**MODEL.terms(suspicion.clues), **suspicion.doubts})
        return Explanation(
            sample=frame.sample,
            state=str(frame.state),
            unsure=frame.unsure,
            rpm=None if frame.rpm is None else round(frame.rpm, 1),
            background_known=chain.background.has_spectrum,
            lines=lines,
            suspect_hz=round(suspicion.track.frequency_hz, 2) if suspicion else None,
            parts=parts,
            log_odds=round(suspicion.log_odds, 3) if suspicion else None,
            evidence=round(chain.judge.evidence, 3),
            alarm_at=round(chain.judge.alarm, 3),
        )

    def alternatives_rpm(self) -> list[float]:
        """Return other speeds, in a simple ratio to the one followed, that fit almost as well."""
        return self.chain.speed.alternatives_rpm()

    def quality(self) -> dict:
        """Return ``clipped_fraction`` of all samples so far and the number of ``gaps``."""
        front = self.chain.front
        return {"clipped_fraction": front.clipped / max(1, front.frames), "gaps": self.gaps}

    def snapshot(self) -> dict:
        """Return the whole memory as plain data that JSON can hold."""
        return {
            "schema": SCHEMA,
            "sample_rate_hz": self.rates.sample_rate_hz,
            "channels": self.chain.channels,
            "of": self._of,
            "sample": self.cutter.next_sample,
            "gaps": self.gaps,
            "setup": setup_as_data(self.setup),
            "changes": [[at, setup_as_data(setup)] for at, setup in self._changes],
            "cutter": self.cutter.snapshot(),
            **self.chain.snapshot(),
        }

    def _restore(self, start: dict) -> None:
        if not is_current(start):
            raise SettingError(f"The starting state is of kind {start.get('schema')!r}, not {SCHEMA!r}.")
        partial = bool(start.get("learned_only"))
        same_rate = start["sample_rate_hz"] == self.rates.sample_rate_hz
        if not partial and not (same_rate and start["channels"] == self.chain.channels):
            raise SettingError("The starting state belongs to a stream of another rate or channel count.")
        others = partial and start.get("of", self._of) != self._of
        if not same_rate or start.get("channels") != self.chain.channels or others:
            return
        self.chain.setup = setup_from(start["setup"])
        self.chain.accept(self.setup)
        if partial:
            self.chain.restore(start, LEARNED)
            self.chain.move_to_another_stream()
            return
        self.chain.restore(start)
        self.cutter.restore(start["cutter"])
        self.gaps = start["gaps"]
        self._changes = [(at, setup_from(setup)) for at, setup in start["changes"]]

    def _check(self, block: Block) -> None:
        heard = len(block.sound_columns)
        if block.sample_rate_hz != self.rates.sample_rate_hz or heard != self.chain.channels:
            raise ValueError("a block of another sample rate or channel count belongs to another listener")
        expected = self.cutter.next_sample
        if expected is not None and block.first_sample < expected:
            raise ValueError(f"block at sample {block.first_sample} after {expected}: time cannot go back")

    def _change_due(self, start: int) -> list[Event]:
        events: list[Event] = []
        while self._changes and self._changes[0][0] <= start:
            _, setup = self._changes.pop(0)
            if setup == self.setup:
                continue
            self.chain.accept(setup)
            kept = {name: getattr(setup, name) for name in ("preferences", "expected_cut_s", "tool")}
            if setup == replace(self.setup, **kept):
                self.chain.setup = setup
            else:
                events += self.chain.turn_to(start, setup)
        return events
