"""``shopmon mills``: the register of tools from the command line."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from shopmon.cli.data_options import data_options
from shopmon.cli.json_output import write_json
from shopmon.cli.roughness import roughness_command
from shopmon.errors import SettingError, StoreError

KINDS = click.Choice(["end mill", "drill", "tap", "chamfer tool", "other"])
REASONS = click.Choice(["flank wear", "finish no longer good", "chipped", "broken", "lost", "still good"])
JSON = click.option("--json", "json_file", metavar="-|FILE", help="Write JSON (shopmon.mills/1).")
JSON_OF_TWO = click.option("--json", "json_file", metavar="-|FILE", help="Write JSON (shopmon.compare/1).")


@click.group("mills", invoke_without_command=True)
@data_options
@click.pass_context
def command(context, data_dir, settings_file):
    """End mills and other tools: their time in the cut, wear and retirement.

    Without a further word the tools are listed. Looking and exporting work while the monitor runs; what
    changes something does not: do that on the page End mills then, or stop the monitor first.

    Example: shopmon mills list
    """
    context.obj = (data_dir, settings_file)
    if context.invoked_subcommand is None:
        context.invoke(list_tools, json_file=None, everything=False)


command.add_command(roughness_command)


@command.command("list")
@JSON
@click.option("--all", "everything", is_flag=True, help="Retired ones too.")
@click.pass_obj
def list_tools(place, json_file, everything):
    """List the tools with their time in the cut.

    Example: shopmon mills list --all
    """
    from shopmon.cli.mills_text import tool_table
    from shopmon.records.tools.data import register_as_data

    with reading(place) as register:
        if json_file is not None:
            write_json(register_as_data(register), json_file)
        if json_file != "-":
            tools = [tool for tool in register.tools() if everything or tool.retirement is None]
            click.echo(tool_table(tools, register.uncredited()))


@command.command("show")
@click.argument("label")
@JSON
@click.pass_obj
def show(place, label, json_file):
    """Show one tool: what it is and has cut, how much longer it is likely to last, its wear and its sound.

    Example: shopmon mills show "plum #3"
    """
    from shopmon.cli.mills_text import tool_text
    from shopmon.service.mills.sheet import outlook_of, tool_sheet

    with reading(place) as register:
        record = register.record(known(register, label))
        sheet = tool_sheet(register, record, outlook_of(register, record.tool.id))
        if json_file is not None:
            write_json({"schema": "shopmon.mills/1", "tools": [sheet]}, json_file)
        if json_file != "-":
            click.echo(tool_text(record, sheet))


@command.command("add")
@click.argument("label")
@click.option("--kind", type=KINDS, default="end mill", show_default=True, help="What it is.")
@click.option("--type", "type_label", metavar="LABEL", help="Type of end mill, as entered before.")
@click.option("--flutes", type=int, metavar="N", help="Flutes, where it has no type.")
@click.option("--note", default="", help="A note.")
@click.pass_obj
def add(place, label, kind, type_label, flutes, note):
    """Enter a tool.

    Example: shopmon mills add "plum #3" --type "6 mm three-flute"
    """
    from shopmon.records.tools.fields import same_label

    with writing(place) as register:
        type_id = None
        if type_label is not None:
            types = {same_label(kind.label): kind.id for kind in register.kinds()}
            type_id = types.get(same_label(type_label))
            if type_id is None:
                raise SettingError(
                    f"There is no type '{type_label}'.", "Enter it on the page End mills, or import a table."
                )
        values = {"label": label, "kind": kind, "type_id": type_id, "flutes": flutes, "note": note}
        register.add_tool(values)
    click.echo(f"{label} is entered.")


@command.command("retire")
@click.argument("label")
@click.option("--reason", type=REASONS, required=True, help="Why.")
@click.option("--note", default="", help="A note.")
@click.pass_obj
def retire(place, label, reason, note):
    """Retire a tool, with a reason; nothing is deleted.

    Example: shopmon mills retire "plum #3" --reason chipped
    """
    with writing(place) as register:
        register.retire(known(register, label), reason, note)
    click.echo(f"{label} is retired: {reason}.")


@command.command("wear")
@click.argument("label")
@click.option("--vb", type=float, required=True, metavar="MM", help="Flank wear VB in mm.")
@click.option("--operation", help="Operation it was read after.")
@click.option("--note", default="", help="A note.")
@click.pass_obj
def wear(place, label, vb, operation, note):
    """Enter flank wear as it was read through a microscope.

    Example: shopmon mills wear "plum #3" --vb 0.08
    """
    with writing(place) as register:
        register.read_wear(known(register, label), {"VB_mm": vb, "operation": operation, "note": note})
    click.echo(f"VB {vb:g} mm is kept for {label}.")


@command.command("export")
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@click.pass_obj
def export(place, file):
    """Write all tools to FILE: CSV or JSON by its ending, CSV to standard output for '-'.

    Example: shopmon mills export tools.csv
    """
    from shopmon.cli.mills_text import counted
    from shopmon.records.tools.data import register_as_data
    from shopmon.records.tools.files import export_csv

    kind = _kind_of(file) if str(file) != "-" else ".csv"
    with reading(place) as register:
        data = register_as_data(register)
        text = export_csv(register) if kind == ".csv" else ""
    if str(file) == "-":
        click.echo(text, nl=False)
        return
    if kind == ".json":
        write_json(data, str(file))
    else:
        try:
            file.write_text(text, encoding="utf-8", newline="")
        except OSError as exc:
            raise StoreError(f"{file} cannot be written ({exc.strerror}).", "Give another file.") from None
    click.echo(f"{counted(len(data['tools']), 'tool')} written to {file}.")


@command.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@click.pass_obj
def import_(place, file):
    """Enter the tools of FILE (CSV or JSON), all or none.

    Example: shopmon mills import tools.csv
    """
    from shopmon.cli.mills_text import counted
    from shopmon.records.tools.files import MOST_BYTES, import_csv, import_json

    takes = {".json": import_json, ".csv": import_csv}[_kind_of(file)]
    try:
        with file.open("rb") as opened:
            content = opened.read(MOST_BYTES + 1)
    except OSError as exc:
        raise StoreError(f"{file} cannot be read ({exc.strerror}).", "Check the name.") from None
    if len(content) > MOST_BYTES:
        raise SettingError(f"{file} is larger than {MOST_BYTES // 2**20} MB.", "A table of tools is not.")
    with writing(place) as register:
        taken = takes(register, content)
    click.echo(f"{counted(taken['tools'], 'tool')} and {counted(taken['types'], 'type')} are entered.")


@command.command("regrind")
@click.argument("label")
@click.option("--dc", type=float, metavar="MM", help="Diameter as measured.")
@click.option("--lcf", type=float, metavar="MM", help="Flute length now.")
@click.option("--coating", help="Coating now, where it is another.")
@click.option("--reason", type=REASONS, default="flank wear", show_default=True, help="Why it went.")
@click.option("--note", default="", help="A note.")
@click.pass_obj
def regrind(place, label, dc, lcf, coating, reason, note):
    """Begin a new edge of a tool that came back from grinding.

    Example: shopmon mills regrind "plum #3" --dc 5.9
    """
    values = {"DC": dc, "LCF": lcf, "coating": coating, "note": note}
    with writing(place) as register:
        register.regrind(known(register, label), values, reason)
    click.echo(f"{label} has a new edge.")


@command.command("take-back")
@click.argument("label")
@click.option("--note", default="", help="A note.")
@click.pass_obj
def take_back(place, label, note):
    """Say that a tool was not to be retired after all.

    Example: shopmon mills take-back "plum #3"
    """
    with writing(place) as register:
        register.take_back(known(register, label), note)
    click.echo(f"{label} is in use again.")


@command.command("compare")
@click.argument("first")
@click.argument("second")
@click.option("--part-min", nargs=2, type=float, metavar="A B", help="Minutes in the cut per part with each.")
@click.option("--change-min", type=float, default=0.0, metavar="MIN", help="To change and measure a tool.")
@click.option(
    "--shop-per-hour", type=float, default=0.0, metavar="MONEY", help="What an hour of the shop costs."
)
@JSON_OF_TWO
@click.pass_obj
def compare_two(place, first, second, part_min, change_min, shop_per_hour, json_file):
    """Compare two types, or two end mills, by their labels: finish, life, chatter and cost.

    Example: shopmon mills compare "6 mm ZrN" "6 mm bare"
    """
    from shopmon.cli.mills_text import comparison_text
    from shopmon.cutting.compare.cost import Spending
    from shopmon.service.mills.comparing import compare, comparison_as_data, named

    spending = Spending(change_min=change_min, shop_per_hour=shop_per_hour, part_min=part_min)
    with reading(place) as register:
        found = compare(register, *named(register, first, second), spending)
    if json_file is not None:
        write_json(comparison_as_data(found), json_file)
    if json_file != "-":
        click.echo(comparison_text(found))


def _kind_of(file: Path) -> str:
    """Return what a file is by its ending; raises SettingError for all but two."""
    kind = file.suffix.lower()
    if kind not in (".csv", ".json"):
        raise SettingError(f"{file.name} ends neither in .csv nor in .json.", "Choose one of the two.")
    return kind


def known(register, label: str) -> str:
    """Return the id of the tool with this label or id."""
    tool = register.find(label)
    if tool is None:
        raise SettingError(f"There is no tool '{label}'.", "'shopmon mills list --all' shows them.")
    return tool.id


@contextmanager
def reading(place) -> Iterator:
    """Give the register to look at, whether a monitor runs on it or not."""
    from shopmon.records.looking import looking_at

    with looking_at(_place(place)[0]) as log:
        yield log.register


@contextmanager
def writing(place) -> Iterator:
    """Give the register to change, while no monitor runs on it."""
    from shopmon.records.archive import Archive
    from shopmon.service.clock import trusted_clock

    folder, storage = _place(place)
    try:
        archive = Archive.open(
            folder,
            budget_bytes=storage.budget_bytes,
            buffer_s=storage.buffer_minutes * 60,
            keep_audio=storage.keep_audio,
        )
    except StoreError as exc:
        if "Another monitor" in exc.text:
            raise StoreError(exc.text, "Do it on its page End mills, or stop it first.") from None
        raise
    try:
        if origin := trusted_clock():
            archive.set_clock(time.time(), origin)  # else what is entered here would have no date
        yield archive.register
    finally:
        archive.close()


def _place(place):
    from shopmon.cli.data_options import place_of

    folder, settings = place_of(*place)
    return folder, settings.storage
