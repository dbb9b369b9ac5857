"""Server-sent events: one stream per viewer, each on a thread of its own."""

from collections.abc import Iterator

from flask import Response, current_app, g, request
from shopmon.dashboards.api.blueprint import blueprint, monitor
from shopmon.dashboards.errors import Refusal
from shopmon.dashboards.plain import to_json

from shopmon.service.live_feed import Subscription

KEEP_ALIVE_S = 2.0
RETRY_MS = 1500
HEADERS = {"Cache-Control": "no-cache, no-transform", "X-Accel-Buffering": "no"}


@blueprint.get("/stream")
def stream() -> Response:
    """States and log entries at once, the moving spectrum ten times a second."""
    if request.method == "HEAD":
        return Response(mimetype="text/event-stream", headers=HEADERS)
    streams = current_app.extensions["streams"]
    subscription = streams.open(monitor().feed, g.visitor.device_id, request.headers.get("Last-Event-ID"))
    if subscription is None:
        raise Refusal(
            503,
            f"All {streams.limit} live views are taken.",
            "Close the page on another screen; this one shows the state every few seconds meanwhile.",
            {"Retry-After": "5"},
        )
    response = Response(events(subscription), mimetype="text/event-stream", headers=HEADERS)
    # runs even when the viewer is gone before the first event
    response.call_on_close(lambda: streams.release(subscription))
    return response


def events(subscription: Subscription, keep_alive_s: float = KEEP_ALIVE_S) -> Iterator[str]:
    """Yield the events of a subscription as text until it ends.

    A viewer who has missed something that must not be missed is let go: its browser comes back by itself
    and names the last event it saw, so that the log is made whole.
    """
    yield f"retry: {RETRY_MS}\n\n"
    while not subscription.closed and not subscription.dropped:
        news = subscription.next(keep_alive_s)
        if news is not None:
            kind, data = news
            yield f"event: {kind}\nid: {subscription.last_id}\ndata: {to_json(data)}\n\n"
        elif not subscription.closed:
            yield ": quiet\n\n"
