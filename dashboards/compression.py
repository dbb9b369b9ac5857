"""Text goes out compressed where the browser takes it; a shop's wireless network is slow."""

import gzip
from functools import lru_cache

from flask import Flask, Response, request

TEXT = ("text/", "application/json", "image/svg+xml", "application/manifest+json")
WORTHWHILE_BYTES = 1024


def install(app: Flask) -> None:
    """Compress the text responses of `app`; files that never change are compressed once and hard."""
    app.after_request(pack)


def pack(response: Response) -> Response:
    """Compress a finished text response; streams, files and errors are left alone."""
    if response.is_streamed or response.direct_passthrough or response.status_code != 200:
        return response
    if "Content-Encoding" in response.headers or not (response.mimetype or "").startswith(TEXT):
        return response
    response.vary.add("Accept-Encoding")
    body = response.get_data()
    if len(body) >= WORTHWHILE_BYTES and request.accept_encodings["gzip"] > 0:
        lasting = "immutable" in response.headers.get("Cache-Control", "")
        response.set_data(pack_once(body) if lasting else gzip.compress(body, 4, mtime=0))
        response.headers["Content-Encoding"] = "gzip"
    return response


@lru_cache(maxsize=64)
def pack_once(body: bytes) -> bytes:
    """Compress what will be asked for again."""
    return gzip.compress(body, 9, mtime=0)
