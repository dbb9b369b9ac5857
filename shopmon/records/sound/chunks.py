"""Small append-only files beside the audio: features and listener states of the rolling buffer."""

import os
from pathlib import Path


class ChunkLog:
    """Appends to files that each cover about `chunk_frames` of a stream; used by the writer thread alone.

    A file is named by the sample of its first entry. Entries are whole or, after a crash, the last one is
    torn; readers leave that one out.
    """

    def __init__(self, folder: Path, suffix: str, chunk_frames: int):
        self.folder, self.suffix, self.chunk_frames = folder, suffix, chunk_frames
        self._firsts: list[int] = []
        self._file: int | None = None
        self._dirty = False

    def append(self, raw: bytes, sample: int) -> tuple[Path, int]:
        """Write one entry that belongs to `sample`; return the file and the entry's place in it.

        Raises
        ------
        OSError
            The disk is full or gone; a part of the entry that was written is taken back.
        """
        if self._file is None or sample - self._firsts[-1] >= self.chunk_frames:
            self._begin(sample)
        place = os.lseek(self._file, 0, os.SEEK_END)
        try:
            written = os.write(self._file, raw)
            if written < len(raw):
                os.write(self._file, raw[written:])
        except OSError:
            os.ftruncate(self._file, place)
            raise
        self._dirty = True
        return self._path(self._firsts[-1]), place

    def sync(self) -> None:
        """Force what was written onto the disk."""
        if self._file is not None and self._dirty:
            os.fdatasync(self._file)
            self._dirty = False

    def evict(self, before: int) -> None:
        """Delete files whose every entry lies before `before`."""
        while len(self._firsts) > 1 and self._firsts[1] <= before:
            self._path(self._firsts.pop(0)).unlink(missing_ok=True)

    def close(self) -> None:
        """Finish; a later append begins a new file."""
        if self._file is not None:
            self.sync()
            os.close(self._file)
            self._file = None

    def _begin(self, sample: int) -> None:
        self.close()
        path = self._path(sample)
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o644)
        if sample not in self._firsts:
            self._firsts.append(sample)

    def _path(self, first: int) -> Path:
        return self.folder / f"{first:015d}{self.suffix}"


def chunks_between(folder: Path, suffix: str, first: int, end: int) -> list[Path]:
    """List the files that may hold entries of samples `first` to `end`, in order."""
    found = sorted((int(path.name.split(".")[0]), path) for path in folder.glob(f"*{suffix}"))
    wanted = []
    for index, (start, path) in enumerate(found):
        following = found[index + 1][0] if index + 1 < len(found) else None
        if start <= end and (following is None or following > first):
            wanted.append(path)
    return wanted
