"""A recording played into a monitor as fast as its archive takes it."""

import threading

from shopmon.capture.recording import RecordingSource
from shopmon.signals.block import Block


class PacedByTheArchive:
    """A recording played as fast as the archive takes it, so that no sound is dropped on the way."""

    def __init__(self, path, archive, changes):
        self._source = RecordingSource(path, real_time=False, source_id="bench")
        self.source_id, self.name = self._source.source_id, self._source.name
        self._archive, self._changes = archive, changes

    @property
    def format(self):
        return self._source.format

    def blocks(self, stop: threading.Event):
        for number, item in enumerate(self._source.blocks(stop)):
            if number % 20 == 0:
                self._archive.flush(filing=False)
            while self._changes and isinstance(item, Block) and item.first_sample >= self._changes[0][0]:
                self._changes.pop(0)[1]()
            yield item

    def close(self):
        self._source.close()
