"""The web server: waitress in this process, a place for every viewer, an end when asked for."""

import logging
import socket
import threading
import warnings

import waitress
from shopmon.dashboards.addresses import lan_address
from shopmon.dashboards.wire import Channel
from waitress import wasyncore

from shopmon.errors import DeviceError

SPARE_THREADS = 8
CONNECTION_LIMIT = 120
IDLE_S = 60
STALLED_MS = 15_000
SEND_BUFFER_BYTES = 64 * 1024
LARGEST_BODY_BYTES = 9 * 2**20  # a photograph; the application takes far less of all else
BACKLOG_BYTES = 128 * 1024
CLOSING_S = 3.0


class Server:
    """Serves one application until closed.

    Parameters
    ----------
    app
        Made by `shopmon.dashboards.app.create_app`.
    host
        Address to bind: ``"127.0.0.1"`` for this computer only, ``"0.0.0.0"`` for the network.
    port
        Port; 0 takes any free one.

    Raises
    ------
    DeviceError
        The port is taken or may not be used.
    """

    def __init__(self, app, host: str = "127.0.0.1", port: int = 8137):
        # a viewer who leaves is nothing to log: the card would be written to all day
        logging.getLogger("waitress").setLevel(logging.WARNING)
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        self._streams = app.extensions["streams"]
        self._sockets: dict = {}
        self._lock = threading.Lock()
        self._running = threading.Event()
        self._closing = threading.Event()
        self._ended = threading.Event()
        self._listening = listening_socket(host, port)
        self._host = host
        self.port = self._listening.getsockname()[1]
        self._server = make_server(app, self._listening, self._sockets, self._streams.limit + SPARE_THREADS)

    @property
    def url(self) -> str:
        """The address for a browser on this computer."""
        return f"http://127.0.0.1:{self.port}/"

    @property
    def lan_url(self) -> str:
        """The address for other devices on the network; the local one where there is no network."""
        address = lan_address() if self._host in ("0.0.0.0", "") else self._host
        return f"http://{address or '127.0.0.1'}:{self.port}/"

    @property
    def waiting_bytes(self) -> int:
        """Most bytes that wait for any one viewer to take them."""
        return max((c.total_outbufs_len for c in list(self._server.active_channels.values())), default=0)

    def run(self) -> None:
        """Serve until `close` is called from another thread."""
        self._running.set()
        while not self._closing.is_set() and self._sockets:
            wasyncore.loop(timeout=1, map=self._sockets, use_poll=True, count=1)
        self._take_down()

    def close(self) -> None:
        """End the streams, then everything else; calling it twice is harmless, from any thread."""
        self._streams.close()
        with self._lock:
            self._closing.set()
            if self._running.is_set() and not self._ended.is_set():
                self._server.pull_trigger()  # wakes the loop
        if self._running.is_set():
            self._ended.wait(CLOSING_S + 1.0)
        else:
            self._take_down()

    def _take_down(self) -> None:
        for channel in list(self._server.active_channels.values()):
            channel.handle_close()  # wakes a thread that waits for a viewer who takes nothing
        self._server.task_dispatcher.shutdown(timeout=CLOSING_S)
        with self._lock:  # nobody may be writing into the trigger's pipe while it is closed
            wasyncore.close_all(self._sockets, ignore_all=True)
            self._ended.set()


def make_server(app, listening: socket.socket, sockets: dict, threads: int):
    """Make the waitress server: every message goes out at once, what waits for a viewer is bounded."""
    with warnings.catch_warnings():
        # send_bytes is to go in some later waitress; without it events wait for 18 kB to gather
        warnings.simplefilter("ignore", DeprecationWarning)
        server = waitress.create_server(
            app,
            map=sockets,
            sockets=[listening],
            threads=threads,
            send_bytes=1,
            connection_limit=CONNECTION_LIMIT,
            channel_timeout=IDLE_S,
            cleanup_interval=10,
            outbuf_high_watermark=BACKLOG_BYTES,
            max_request_header_size=16 * 1024,
            max_request_body_size=LARGEST_BODY_BYTES,
            asyncore_use_poll=True,
            asyncore_loop_timeout=1,
            log_socket_errors=False,
            # the application looks at them itself: whoever passes requests on is not this computer
            clear_untrusted_proxy_headers=False,
            ident="shopmon",
        )
    server.channel_class = Channel
    return server


def listening_socket(host: str, port: int) -> socket.socket:
    """Bind, and say in a sentence why that does not work."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    for level, option, value in connection_options():
        listening.setsockopt(level, option, value)
    try:
        listening.bind((host, port))
        return listening
    except PermissionError as error:
        listening.close()
        raise DeviceError(
            f"Port {port} may not be used by this user.", "Use one above 1023: --port 8137."
        ) from error
    except OSError as error:
        listening.close()
        raise DeviceError(
            f"Port {port} at {host} cannot be opened: {error.strerror or error}.",
            "Another monitor may be running; stop it, or use another port: --port 8322.",
        ) from error


def connection_options() -> list[tuple[int, int, int]]:
    """Return what makes a viewer who takes nothing end by itself instead of holding a thread and memory.

    Set on the listening socket; what is accepted from it inherits them (Linux).
    """
    options = [
        (socket.IPPROTO_TCP, socket.TCP_NODELAY, 1),
        (socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES),
        (socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1),
    ]
    # Linux: data that is not taken for this long, also by a full receiver, ends the connection
    if hasattr(socket, "TCP_USER_TIMEOUT"):
        options.append((socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, STALLED_MS))
    return options
