"""The recordings of the other sources of a cut, each on its own, and where they belong to the first."""

import uuid
from collections.abc import Callable
from typing import Protocol

from shopmon.records.archive import Archive, StreamInfo
from shopmon.signals.block import Block


class Aligned(Protocol):
    """A source that brings others along."""

    def sample_on(self, source_id: str, primary_sample: int) -> int | None:
        """Return which sample of another source belongs to a sample of the first."""


class OtherStreams:
    """Keeps what the other sources deliver; called from the engine's thread.

    Parameters
    ----------
    archive
        Where to.
    source
        The source of all.
    also
        Who else takes their blocks.
    """

    def __init__(self, archive: Archive, source: Aligned, also: Callable[[Block], None] = lambda _: None):
        self._archive, self._source, self._also = archive, source, also
        self._streams: dict[str, str] = {}
        self._cuts: dict[str, list[tuple[str, str, str]]] = {}

    def block(self, block: Block) -> None:
        """Hand the samples of another source to the recorder; a new stream of it ends the one before."""
        known = self._streams.get(block.source_id)
        if known != block.stream_id:
            if known:
                self._archive.end_stream(known)
            self._streams[block.source_id] = block.stream_id
            self._archive.start_stream(
                StreamInfo(
                    source_id=block.source_id,
                    stream_id=block.stream_id,
                    name=block.source_id,
                    sample_rate_hz=block.sample_rate_hz,
                    channels=len(block.channels),
                    code_format=block.code_format,
                    of=block.channels,
                )
            )
        self._archive.append(block)
        self._also(block)

    def cut_started(self, cut_id: str, start_sample: int) -> None:
        """Begin the recordings of the others for a cut of the first."""
        begun = []
        for source_id, stream_id in self._streams.items():
            first = self._source.sample_on(source_id, start_sample)
            if first is not None and first >= 0:
                beside_id = str(uuid.uuid4())
                self._archive.start_beside(beside_id, cut_id, stream_id, first, start_sample)
                begun.append((beside_id, source_id, stream_id))
        if begun:
            self._cuts[cut_id] = begun

    def cut_ended(self, cut_id: str, end_sample: int) -> None:
        """End them."""
        for beside_id, source_id, stream_id in self._cuts.pop(cut_id, ()):
            # of a source that began anew meanwhile the recording ended with its stream
            same = self._streams[source_id] == stream_id
            end = self._source.sample_on(source_id, end_sample) if same else None
            self._archive.end_beside(beside_id, end or 0)
