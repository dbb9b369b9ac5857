"""What waitress answers by itself, before a request reaches the application: in our one shape of an error."""

from shopmon.dashboards.plain import to_json
from waitress.channel import HTTPChannel
from waitress.task import ErrorTask

WORDS = {
    400: (
        "The request cannot be understood.",
        "Use a browser, or look at the list of routes in DEVELOPERS.md.",
    ),
    413: ("The request is larger than the monitor accepts.", "Send less at once."),
    431: ("The headers of the request are too long.", "Clear this site's cookies and try again."),
    500: (
        "Something went wrong inside the monitor; it keeps listening.",
        "Try again; the log says what happened.",
    ),
    501: (
        "The request is sent in a way the monitor does not know.",
        "Send it plainly, with a Content-Length.",
    ),
}


class PlainErrorTask(ErrorTask):
    """Answers what is no decent request."""

    def execute(self) -> None:
        """Send sentence and hint as JSON and end the connection."""
        error = self.request.error
        text, hint = WORDS.get(error.code, WORDS[400])
        body = to_json({"error": text, "hint": hint}).encode()
        self.status = f"{error.code} {error.reason}"
        self.response_headers += [("Content-Type", "application/json"), ("X-Content-Type-Options", "nosniff")]
        self.set_close_on_finish()
        self.content_length = len(body)
        self.write(body)


class Channel(HTTPChannel):
    """A connection whose errors have our shape."""

    error_task_class = PlainErrorTask
