"""``shopmon listen``: the service itself."""

import logging
import os
import signal
import sys
import threading
from pathlib import Path

import click

from shopmon.cli import cut_options


@click.command("listen")
@click.option(
    "--source",
    "sources",
    multiple=True,
    metavar="mic|demo|NAME|PATH",
    help="What to listen to: microphone, built-in demo, a source of the settings, or a recording. "
    "Further ones are listened to with it and recorded for themselves; a tachometer tells the speed.",
)
@click.option(
    "--device",
    metavar="NAME",
    help="Sound input by number, name or a part of its name; see 'shopmon devices'.",
)
@click.option("--rpm", type=float, metavar="N", help="Spindle speed that is programmed, in rpm.")
@cut_options.flutes
@click.option(
    "--data",
    "data_dir",
    type=click.Path(path_type=Path, file_okay=True),
    metavar="DIR",
    help="Folder for the log and the recordings.",
)
@click.option(
    "--settings",
    "settings_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Settings file (TOML).",
)
@click.option(
    "--lan", is_flag=True, help="Serve the pages to phones and tablets on the local network, after pairing."
)
@click.option("--port", type=click.IntRange(0, 65535), metavar="P", help="Port of the pages.")
@click.option("-v", "--verbose", is_flag=True, help="Say more in the log.")
def command(sources, device, rpm, flutes, data_dir, settings_file, lan, port, verbose):
    """Listen, log, record and serve the pages until stopped with Ctrl-C.

    The monitor advises. It never drives the machine and is no safety device.

    Example: shopmon listen --device USB --rpm 12000 --flutes 3 --lan
    """
    logging.basicConfig(
        level=logging.DEBUG if verbose else logging.INFO,
        format="%(levelname)s %(name)s: %(message)s",
        stream=sys.stderr,
    )
    # the sound callback must get its turn between the threads that serve pages
    sys.setswitchinterval(0.001)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    logging.getLogger("alembic").setLevel(logging.WARNING)
    from shopmon.service.start import Options, Running

    running = Running.start(
        Options(
            source=sources[0] if sources else "mic",
            others=sources[1:],
            device=device,
            rpm=rpm,
            flutes=flutes,
            data_dir=data_dir,
            settings_file=settings_file,
        )
    )
    try:
        _serve(
            running,
            lan or running.settings.network.lan,
            running.settings.network.port if port is None else port,
        )
    finally:
        running.monitor.close()
    if running.monitor.stuck:
        # the sound library may hold this process for ever; a new one in its place keeps address and options
        os.execv(sys.executable, [sys.executable, "-m", "shopmon", *sys.argv[1:]])
    if running.monitor.failed:
        click.echo("shopmon: the listening engine failed; the log above says why. Start it again.", err=True)
        raise click.exceptions.Exit(1)


def _serve(running, lan: bool, port: int) -> None:
    from shopmon.dashboards.access import Access
    from shopmon.dashboards.app import create_app
    from shopmon.dashboards.server import Server

    monitor = running.monitor
    access = Access(monitor.archive, lan=lan)
    server = Server(create_app(monitor, access=access), "0.0.0.0" if lan else "127.0.0.1", port)
    _stop_on_signals(server)
    threading.Thread(target=_stop_on_trouble, args=(monitor, server), daemon=True).start()
    click.echo(f"Listening to {running.source.name}. Everything is kept in {running.data_dir}.")
    click.echo(f"Open {server.url} in a browser. Stop with Ctrl-C.")
    if lan:
        click.echo(access.terminal_invitation(server.lan_url))
    sys.stdout.flush()
    try:
        server.run()
    finally:
        server.close()


def _stop_on_signals(server) -> None:
    def stop(signum, frame):
        # closing waits for threads, which a signal handler must not do
        threading.Thread(target=server.close, daemon=True).start()

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)


def _stop_on_trouble(monitor, server) -> None:
    monitor.wait_for_trouble()
    server.close()
