"""``shopmon service-unit``: print the systemd unit."""

import getpass
import os
import pwd
import shlex
import sys
from pathlib import Path

import click

from shopmon.errors import SettingError


@click.command("service-unit")
@click.option("--user", metavar="NAME", help="Who the monitor runs as; you, when left out.")
@click.option(
    "--source", "sources", multiple=True, metavar="mic|demo|NAME|PATH", help="As for 'shopmon listen'."
)
@click.option("--device", metavar="NAME", help="Sound input, as for 'shopmon listen'.")
@click.option("--data", "data_dir", type=click.Path(path_type=Path), metavar="DIR", help="Data folder.")
@click.option(
    "--settings", "settings_file", type=click.Path(path_type=Path), metavar="FILE", help="Settings file."
)
@click.option("--lan", is_flag=True, help="Serve the pages to phones and tablets on the local network.")
@click.option("--port", type=click.IntRange(1, 65535), metavar="P", help="Port of the pages.")
def command(user, sources, device, data_dir, settings_file, lan, port):
    """Print what makes the monitor start with the computer; how to install it is written in it.

    It prints and changes nothing.

    Example: shopmon service-unit --device USB --lan
    """
    from shopmon.service.unit_file import UnitOptions, existing_groups, unit_text

    named_data, named_settings = os.environ.get("SHOPMON_DATA"), os.environ.get("SHOPMON_SETTINGS")
    who = _known(user or os.environ.get("SUDO_USER") or getpass.getuser())
    options = UnitOptions(
        user=who,
        interpreter=Path(sys.executable),
        sources=sources,
        device=device,
        # the service does not see this shell's environment
        data_dir=data_dir or (Path(named_data) if named_data else None),
        settings_file=settings_file or (Path(named_settings) if named_settings else None),
        lan=lan,
        port=port,
    )
    click.echo(unit_text(options, _itself(), existing_groups()), nl=False)
    if who == "root":
        click.echo("This runs the monitor as root; better name a plain user with --user NAME.", err=True)


def _known(user: str) -> str:
    try:
        pwd.getpwnam(user)
    except KeyError:
        raise SettingError(
            f"This computer has no user called '{user}'.", "Give the login name with --user."
        ) from None
    return user


def _itself() -> str:
    words = sys.argv[1:] if sys.argv[1:2] == ["service-unit"] else ["service-unit"]
    return shlex.join([sys.executable, "-m", "shopmon", *words])
