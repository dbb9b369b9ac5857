"""Cuts taken away as data: tables, everything known of one cut, and its sound with names in it."""

import json
from collections.abc import Iterator
from pathlib import Path

from flask import Response, request
from shopmon.dashboards.api.blueprint import blueprint, monitor
from shopmon.dashboards.api.cuts import FILTERS, asked_filters, found
from shopmon.dashboards.api.sound import safe_name
from shopmon.dashboards.errors import Refusal
from shopmon.dashboards.plain import to_json

from shopmon.errors import RecordingError
from shopmon.records.sound.labelled_sound import labelled_flac, labelled_wav
from shopmon.service.cuts.cue_labels import as_label_track, cue_labels
from shopmon.service.cuts.data import (
    CUTS_SCHEMA,
    cut_line,
    every_cut,
    figures_as_csv,
    lines_as_csv,
    one_cut,
    safely,
)

TABLE_FILTERS = tuple(name for name in FILTERS if name not in ("limit", "before"))
PIECE_BYTES = 65_536


@blueprint.get("/cuts/export.csv")
def cuts_as_csv() -> Response:
    """Every cut that passes the filters of ``GET /api/cuts``, one line each."""
    return _saved(lines_as_csv(_lines()), "text/csv; charset=utf-8", "cuts.csv")


@blueprint.get("/cuts/export.json")
def cuts_as_json() -> Response:
    """The same as ``shopmon.cuts/1``."""

    def pieces() -> Iterator[str]:
        yield f'{{"schema": "{CUTS_SCHEMA}", "cuts": ['
        for number, line in enumerate(lines):
            yield (",\n" if number else "\n") + json.dumps(line, ensure_ascii=False, allow_nan=False)
        yield "\n]}\n"

    lines = _lines()
    return _saved(pieces(), "application/json", "cuts.json")


def _lines() -> Iterator[dict]:
    unknown = sorted(set(request.args) - set(TABLE_FILTERS))
    if unknown:
        raise Refusal(
            400, f"'{unknown[0][:40]}' is no filter.", f"Known filters: {', '.join(TABLE_FILTERS)}."
        )
    filters = asked_filters(request.args)
    log = monitor().archive
    log.cuts(limit=0, **filters)  # what cannot be asked is refused before the first line has gone out
    return (cut_line(cut) for cut in every_cut(log, filters))


@blueprint.get("/cuts/<cut_id>/data.csv")
def figures_csv(cut_id: str) -> Response:
    """The figures of a cut, one line per frame."""
    found(monitor().cut(cut_id))
    figures = safely(monitor().archive, cut_id)
    if figures is None:
        raise Refusal(
            404,
            "There are no figures along this cut, or their file is damaged.",
            "Its engagements and events are in the JSON.",
        )
    return _saved(figures_as_csv(figures), "text/csv; charset=utf-8", f"cut-{safe_name(cut_id)}.csv")


@blueprint.get("/cuts/<cut_id>/data.json")
def everything_json(cut_id: str) -> Response:
    """Everything known of a cut, as ``shopmon.cut/1``."""
    told = found(one_cut(monitor().archive, cut_id))
    return _saved(iter([to_json(told)]), "application/json", f"cut-{safe_name(cut_id)}.json")


@blueprint.get("/cuts/<cut_id>/labels.txt")
def labels(cut_id: str) -> Response:
    """Where something is in the sound: start, end and name, with tabs between."""
    text = as_label_track(cue_labels(found(monitor().cut(cut_id))))
    return _saved(iter([text]), "text/plain; charset=utf-8", f"cut-{safe_name(cut_id)}-labels.txt")


@blueprint.get("/cuts/<cut_id>/labelled.wav")
def labelled_as_wav(cut_id: str) -> Response:
    """The sound as WAV, with cue points at engagements, chatter and marks."""
    cut, path = _sound_of(cut_id)
    try:
        size, pieces = labelled_wav(path, cue_labels(cut))
    except RecordingError as exc:
        raise Refusal(404, exc.text, exc.hint) from exc
    response = _saved(pieces, "audio/wav", f"cut-{safe_name(cut_id)}.wav")
    response.content_length = size
    return response


@blueprint.get("/cuts/<cut_id>/labelled.flac")
def labelled_as_flac(cut_id: str) -> Response:
    """The sound as FLAC, with the same places as chapters."""
    cut, path = _sound_of(cut_id)
    if path.suffix.lower() != ".flac":
        raise Refusal(404, "This recording is not kept as FLAC.", "Take it as WAV.")
    try:
        head, frames_at = labelled_flac(path, cue_labels(cut), f"Cut {cut_id}")
    except RecordingError as exc:
        raise Refusal(404, exc.text, exc.hint) from exc

    def pieces() -> Iterator[bytes]:
        yield head
        with path.open("rb") as file:
            file.seek(frames_at)
            while piece := file.read(PIECE_BYTES):
                yield piece

    response = _saved(pieces(), "audio/flac", f"cut-{safe_name(cut_id)}.flac")
    response.content_length = len(head) + path.stat().st_size - frames_at
    return response


def _sound_of(cut_id: str) -> tuple[dict, Path]:
    cut = found(monitor().cut(cut_id))
    path = monitor().audio_path(cut_id)
    if path is None or not Path(path).is_file():
        raise Refusal(404, "The sound of this cut is not there.", "It may have been removed to make room.")
    return cut, Path(path)


def _saved(pieces: Iterator, kind: str, name: str) -> Response:
    response = Response(pieces, content_type=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
