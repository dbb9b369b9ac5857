"""Reading a sound file as integer codes, whatever libsndfile knows and however the file ended."""

import math
import os
import stat
from pathlib import Path
from typing import BinaryIO

import numpy as np

from shopmon.capture.codes import DTYPES
from shopmon.capture.container import PatchedFile, is_cut_short, unfinished_rf64_header
from shopmon.errors import RecordingError
from shopmon.signals.block import CodeFormat

_FORMATS: dict[str, CodeFormat] = {
    "PCM_24": "int24", "PCM_32": "int32", "DWVW_24": "int24",
    "ALAC_20": "int24", "ALAC_24": "int24", "ALAC_32": "int32",
    "FLOAT": "float32", "DOUBLE": "float32", "VORBIS": "float32", "OPUS": "float32",
    "MPEG_LAYER_I": "float32", "MPEG_LAYER_II": "float32", "MPEG_LAYER_III": "float32",
}  # fmt: skip
_OPEN_ENDED = {"FLOAT", "DOUBLE"}
_EIGHT_BITS = {"PCM_S8", "PCM_U8", "DPCM_8"}
_UNKNOWN_FRAMES = 2**62  # libsndfile gives 2**63 - 1 for a stream of unknown length
_TRY_ANOTHER = "Give a WAV, FLAC or Ogg recording."


class AudioFile:
    """A sound file opened for reading.

    Parameters
    ----------
    path
        The file.

    Attributes
    ----------
    sample_rate_hz, channels
        As the file says.
    code_format, bits
        The codes that `read` returns, and the resolution behind them where it is coarser than 16 bits.
    open_ended
        The codes are floats that may well be greater than 1.
    declared_frames
        How many frames the file claims to hold, None when it does not say.
    cut_short
        True once it is known that the file lacks its end.

    Raises
    ------
    RecordingError
        There is no such file, it may not be read, it is not sound, or it holds no samples.
    """

    def __init__(self, path: str | Path):
        self.path = Path(path)
        self._file, size = _open(self.path)
        self._size = size
        try:
            self.cut_short = is_cut_short(self._file, size)
            self._sound = self._open_sound()
        except RecordingError:
            self._file.close()
            raise
        self.sample_rate_hz = float(self._sound.samplerate)
        self.channels = int(self._sound.channels)
        self.code_format = _FORMATS.get(self._sound.subtype, "int16")
        self.open_ended = self._sound.subtype in _OPEN_ENDED
        self.bits = 8 if self._sound.subtype in _EIGHT_BITS else 16
        frames = self._sound.frames
        self.declared_frames = frames if frames < _UNKNOWN_FRAMES else None
        self._position = 0
        self._gave_up = False
        self._refuse_empty()

    def read(self, frames: int) -> np.ndarray:
        """Return the next codes, shape ``(frames, channels)``; fewer at the end, none after it.

        Raises
        ------
        RecordingError
            A sample is not a number or infinite.
        """
        codes = np.zeros((frames, self.channels), DTYPES[self.code_format])
        count = self._read_into(codes)
        codes = codes[:count]
        if self.code_format == "int24":
            codes >>= 8  # libsndfile left-justifies
        elif self.code_format == "float32":
            self._refuse_non_finite(codes)
        self._position += count
        return codes

    def rewind(self) -> None:
        """Go back to the first frame."""
        self._sound.close()
        self._sound = self._open_sound()
        self._position = 0
        self._gave_up = False

    def seek(self, frame: int) -> None:
        """Go on with `frame` at the next `read`; beyond the end nothing is read.

        Raises
        ------
        RecordingError
            The file is damaged there.
        """
        import soundfile

        try:
            self._position = self._sound.seek(min(frame, self.declared_frames or frame))
        except soundfile.LibsndfileError as exc:
            raise RecordingError(f"{self.path} cannot be read from {frame} on.", _TRY_ANOTHER) from exc

    def close(self) -> None:
        """Close the file; calling it twice is harmless."""
        self._sound.close()
        self._file.close()

    def _open_sound(self):
        import soundfile  # loading it takes longer than the rest of this package

        self._file.seek(0)
        mended = unfinished_rf64_header(self._file, self._size)
        target = self._file.fileno() if mended is None else PatchedFile(self._file, mended)
        try:
            return soundfile.SoundFile(target, closefd=False)
        except soundfile.LibsndfileError as exc:
            reason = exc.error_string.rstrip(".")
            raise RecordingError(f"{self.path} cannot be read as sound: {reason}.", _TRY_ANOTHER) from exc

    def _refuse_empty(self) -> None:
        try:
            if self.declared_frames == 0 or not len(self.read(1)):
                raise RecordingError(f"{self.path} holds no samples.", "Record again.")
            self.rewind()
        except RecordingError:
            self.close()
            raise

    def _read_into(self, codes: np.ndarray) -> int:
        import soundfile

        if self._gave_up:
            return 0
        try:
            count = len(self._sound.read(out=codes))
            promised = self.declared_frames is not None and count < len(codes)
            self.cut_short |= promised and self._position + count < self.declared_frames
            return count
        except soundfile.LibsndfileError:
            self.cut_short = self._gave_up = True
            return self._rescued(len(codes))

    def _rescued(self, wanted: int) -> int:
        """Count the frames that arrived before the decoder gave up.

        Where reading itself failed, libsndfile still knows how far it came. Where only the step to the next
        frame failed, it does not, and everything that was wanted is there.
        """
        reached = self._sound.tell()
        return wanted if reached < 0 else max(0, min(wanted, reached - self._position))

    def _refuse_non_finite(self, codes: np.ndarray) -> None:
        with np.errstate(invalid="ignore"):
            total = codes.sum(dtype=np.float64)
        if np.isfinite(total) and np.isfinite(codes).all():
            return
        frame = self._position + int(np.flatnonzero(~np.isfinite(codes).all(axis=1))[0])
        raise RecordingError(
            f"{self.path} holds a sample that is not a finite number at {frame / self.sample_rate_hz:.6g} s.",
            "Export the recording again as 16- or 24-bit WAV or FLAC.",
        )


def _open(path: Path) -> tuple[BinaryIO, int]:
    try:
        status = os.stat(path)
        if stat.S_ISDIR(status.st_mode):
            raise RecordingError(f"{path} is a folder, not a recording.", _TRY_ANOTHER)
        if not stat.S_ISREG(status.st_mode):
            raise RecordingError(f"{path} is not a regular file.", _TRY_ANOTHER)
        if not status.st_size:
            raise RecordingError(f"{path} is empty and holds no samples.", _TRY_ANOTHER)
        return open(path, "rb"), status.st_size
    except FileNotFoundError as exc:
        raise RecordingError(f"There is no file {path}.", "See whether the name is spelled right.") from exc
    except PermissionError as exc:
        raise RecordingError(f"{path} may not be read by this user.", "Change its permissions.") from exc
    except OSError as exc:
        reason = exc.strerror or str(exc)
        raise RecordingError(f"{path} cannot be opened: {reason}.", _TRY_ANOTHER) from exc
    except ValueError as exc:
        if isinstance(exc, RecordingError):
            raise
        raise RecordingError(f"{str(path)!r} is not the name of a file.", _TRY_ANOTHER) from exc


def seconds(frames: int, sample_rate_hz: float) -> str:
    """Return a duration for a sentence, with no more digits than it deserves."""
    duration = frames / sample_rate_hz
    digits = 0 if duration >= 100 else 2
    return f"{duration:.{digits}f} s" if math.isfinite(duration) else "an unknown time"
