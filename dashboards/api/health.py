"""For supervision: does the engine live, and how fresh is what it says."""

from flask import current_app, jsonify
from shopmon.dashboards.api.blueprint import blueprint, monitor

from shopmon import __version__


@blueprint.get("/health")
def health():
    """Whether all is well; status 503 when it is not."""
    report = dict(monitor().health())
    age_s = monitor().feed.age_s("spectrum")
    report.setdefault("last_frame_age_s", None if age_s is None else round(age_s, 2))
    report.update(version=__version__, viewers=current_app.extensions["streams"].count)
    return jsonify(report), 200 if report.get("ok", True) else 503
