"""The command line: each command lives in a module of its own and is imported only when it is called."""

import importlib
import sys

import click

from shopmon import __version__
from shopmon.errors import SettingError, ShopmonError

COMMANDS = {
    "listen": "shopmon.cli.listen",
    "inspect": "shopmon.cli.inspect",
    "simulate": "shopmon.cli.simulate",
    "speeds": "shopmon.cli.speeds",
    "program": "shopmon.cli.program",
    "spindle": "shopmon.cli.spindle",
    "tap": "shopmon.cli.tap",
    "surface": "shopmon.cli.surface",
    "mills": "shopmon.cli.mills",
    "report": "shopmon.cli.report",
    "export": "shopmon.cli.export",
    "import": "shopmon.cli.import_",
    "backup": "shopmon.cli.backup",
    "devices": "shopmon.cli.devices",
    "sensors": "shopmon.cli.sensors",
    "selfcheck": "shopmon.cli.selfcheck",
    "service-unit": "shopmon.cli.service_unit",
}


class LazyGroup(click.Group):
    """A group that knows its commands by name and loads only the one that is asked for."""

    def list_commands(self, ctx):
        """Names in the order a person meets them."""
        return list(COMMANDS)

    def get_command(self, ctx, cmd_name):
        """Import the module of one command; it holds a click command named ``command``."""
        if cmd_name not in COMMANDS:
            return None
        return importlib.import_module(COMMANDS[cmd_name]).command


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="shopmon")
def group():
    """Listen to a milling machine: chatter, cut time, and what to do about it.

    The monitor advises. It never drives the machine and is no safety device.

    Example: shopmon listen --source demo
    """


def main(args: list[str] | None = None) -> int:
    """Run the command line; errors made on purpose end in one line and exit status 1, bad usage in 2."""
    try:
        # click hands back the status of an Exit raised inside instead of letting it through
        return group.main(args=args, prog_name="shopmon", standalone_mode=False) or 0
    except click.ClickException as exc:
        exc.show()
        return exc.exit_code
    except click.Abort:
        return 130
    except SettingError as exc:
        print(f"shopmon: {exc}", file=sys.stderr)
        return 2
    except ShopmonError as exc:
        print(f"shopmon: {exc}", file=sys.stderr)
        return 1
    except BrokenPipeError:
        sys.stderr.close()
        return 1


if __name__ == "__main__":
    sys.exit(main())
