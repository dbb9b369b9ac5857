"""From publishing to receiving: the event stream with eight viewers, beside bare sockets in the same run.

The viewers are threads of another process; both processes read the same monotonic clock.
"""

import json
import multiprocessing
import socket
import statistics
import tempfile
import threading
import time
from pathlib import Path

from tests.dashboards.fake_monitor import FakeMonitor
from tests.dashboards.serving import Served

VIEWERS = 8
MESSAGES = 100
PAUSE_S = 0.1


def read_stream(port: int, results) -> None:
    """Read events until the end on one connection; report the delays in milliseconds."""
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(b"GET /api/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        delays = []
        for line in connection.makefile("rb"):
            if line.startswith(b'data: {"sent"'):
                delays.append(1000 * (time.monotonic() - json.loads(line[6:])["sent"]))
        results.put(delays)


def read_lines(port: int, results) -> None:
    """Read lines until the end on a bare connection; report the delays in milliseconds."""
    with socket.create_connection(("127.0.0.1", port)) as connection:
        delays = []
        for line in connection.makefile("rb"):
            delays.append(1000 * (time.monotonic() - json.loads(line)["sent"]))
        results.put(delays)


def echo_lines(port: int, results) -> None:
    """Send every line back."""
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for line in connection.makefile("rb"):
            connection.sendall(line)
        results.put([])


def crowd(reader, port: int, count: int, results) -> None:
    """Run `count` readers in this process."""
    threads = [threading.Thread(target=reader, args=(port, results)) for _ in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def start(reader, port: int, count: int):
    """Start the other process; return it and where its results come."""
    spawning = multiprocessing.get_context("spawn")
    results = spawning.Queue()
    process = spawning.Process(target=crowd, args=(reader, port, count, results))
    process.start()
    return process, results


def collected(process, results, count: int) -> list[float]:
    """Return all delays of all readers."""
    delays = [delay for _ in range(count) for delay in results.get(timeout=60)]
    process.join()
    return delays


def message(monitor: FakeMonitor) -> dict:
    """Return a spectrum message of usual size with the time of sending in front."""
    return {"sent": time.monotonic(), **monitor.spectrum_message()}


def served_delays(monitor: FakeMonitor) -> tuple[list[float], float]:
    """Return delays through the whole server, and the seconds it took to close with all viewers there."""
    served = Served(monitor)
    process, results = start(read_stream, served.port, VIEWERS)
    while monitor.feed.subscribers < VIEWERS:
        time.sleep(0.01)
    for _ in range(MESSAGES):
        monitor.feed.publish("spectrum", message(monitor))
        time.sleep(PAUSE_S)
    begin = time.monotonic()
    served.close()
    closing_s = time.monotonic() - begin
    return collected(process, results, VIEWERS), closing_s


def bare_delays(monitor: FakeMonitor) -> list[float]:
    """Return delays of the same messages over sockets with nothing between."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        process, results = start(read_lines, listening.getsockname()[1], VIEWERS)
        connections = [listening.accept()[0] for _ in range(VIEWERS)]
        for connection in connections:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for _ in range(MESSAGES):
            line = json.dumps(message(monitor)).encode() + b"\n"
            for connection in connections:
                connection.sendall(line)
            time.sleep(PAUSE_S)
        for connection in connections:
            connection.close()
    return collected(process, results, VIEWERS)


def round_trips(monitor: FakeMonitor) -> list[float]:
    """Return milliseconds there and back of one message over one socket."""
    trips = []
    with socket.create_server(("127.0.0.1", 0)) as listening:
        process, results = start(echo_lines, listening.getsockname()[1], 1)
        connection = listening.accept()[0]
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        answers = connection.makefile("rb")
        for _ in range(MESSAGES):
            line = json.dumps(message(monitor)).encode() + b"\n"
            begin = time.monotonic()
            connection.sendall(line)
            answers.readline()
            trips.append(1000 * (time.monotonic() - begin))
            time.sleep(PAUSE_S)
        answers.close()
        connection.close()
    collected(process, results, 1)
    return trips


def row(name: str, values: list[float]) -> str:
    """Return one line of the table."""
    ordered = sorted(values)
    late = ordered[int(0.99 * (len(ordered) - 1))]
    return f"  {name:44} {statistics.median(ordered):7.2f} {late:7.2f} {ordered[-1]:7.2f}  {len(ordered):5}"


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        monitor = FakeMonitor(Path(folder), story=False, cuts=0)
        size = len(json.dumps(message(monitor)))
        delays, closing_s = served_delays(monitor)
        print(f"{size} bytes every {1000 * PAUSE_S:.0f} ms; milliseconds      median     p99     max  count")
        print(row(f"event stream, {VIEWERS} viewers, publish to receive", delays))
        print(row(f"yardstick: bare sockets, {VIEWERS} readers", bare_delays(monitor)))
        print(row("yardstick: bare round trip, one socket", round_trips(monitor)))
        print(f"  spectra delivered: {len(delays)} of {VIEWERS * MESSAGES}")
        print(f"  closing the server with {VIEWERS} viewers: {1000 * closing_s:.0f} ms")
        monitor.close()


if __name__ == "__main__":
    main()
