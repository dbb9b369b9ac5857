"""Hand over a recorded sound, whole or in parts, so that a player can jump."""

import re
from pathlib import Path

from flask import Response, request, send_file
from shopmon.dashboards.api.blueprint import truth

SOUND_TYPES = {".flac": "audio/flac", ".wav": "audio/wav", ".ogg": "audio/ogg"}


def sound_response(path: Path, name: str) -> Response:
    """Return the sound of a file; ``?download=1`` saves it under `name`."""
    response = send_file(
        path,
        mimetype=SOUND_TYPES.get(path.suffix.lower(), "application/octet-stream"),
        as_attachment=truth("download", request.args.get("download", False)),
        download_name=f"{safe_name(name)}{path.suffix.lower()}",
        conditional=True,
        max_age=0,
    )
    response.headers["Cache-Control"] = "private, no-cache"
    return hand_over(response, path)


def hand_over(response: Response, path: Path) -> Response:
    """Let the server send a part of a file by itself, so that a slow listener holds no thread of it."""
    wrapper = request.environ.get("wsgi.file_wrapper")
    part = response.content_range
    if response.status_code == 206 and wrapper is not None and part.start is not None:
        response.close()
        file = path.open("rb")
        file.seek(part.start)
        response.response = wrapper(file, 65536)
        response.direct_passthrough = True
        response.content_length = part.stop - part.start
    return response


def safe_name(text: str) -> str:
    """Return `text` with nothing in it that could mean something in a file name or a header."""
    return re.sub(r"[^A-Za-z0-9_-]", "_", text)[:80]
