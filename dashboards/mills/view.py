"""The pages *End mills*: cards, one page per tool, the kinds, and labels to print."""

from functools import partial
from typing import NoReturn

from flask import Blueprint, current_app, redirect, render_template, request
from shopmon.dashboards.cuts.facts import with_words
from shopmon.dashboards.errors import Refusal
from shopmon.dashboards.look.measures import MM_PER_INCH
from shopmon.dashboards.mills import said
from shopmon.dashboards.mills.history import history
from shopmon.dashboards.mills.labels import sheet
from shopmon.dashboards.mills.sound import charts
from shopmon.dashboards.pairing.view import base_url

from shopmon.cutting.nouns import MATERIAL_GROUPS
from shopmon.records.tools.fields import KINDS, REASONS, STANDARDS
from shopmon.records.tools.files import COLUMNS
from shopmon.records.tools.rows import Tool
from shopmon.service.mills.condition import condition_of
from shopmon.service.mills.life import wear_of

CUTS_SHOWN = 10
CUTS_ON_A_PAGE = 50
LARGEST_SEQUENCE = 2**62

blueprint = Blueprint("mills", __name__)


@blueprint.record_once
def lend(state) -> None:
    """Give the templates what they say about a tool."""
    names = ("counted",
        "duration", "size", "wear", "indicator", "distance", "volume", "chatter", "kind_words",
             "life_words", "life_basis", "scale", "place_words", "assembly_words")  # fmt: skip
    state.app.jinja_env.globals.update({f"mill_{name}": getattr(said, name) for name in names})
    state.app.jinja_env.filters.update(
        same_words=lambda word: (word, word),
        holder_option=lambda row: (row["id"], row["label"]),
        type_option=lambda kind: (kind.id, kind.label),
        cut_option=said.cut_option,
    )


def monitor():
    """Return the monitor that is served."""
    return current_app.extensions["monitor"]


@blueprint.get("/mills")
def index() -> str:
    """Cards of all tools: mounted, on the shelf, retired."""
    register, in_spindle = monitor().register, monitor().context().get("end_mill_id")
    tools, uncredited = register.shelf()
    groups: dict[str, list[Tool]] = {"mounted": [], "shelf": [], "retired": []}
    for tool in tools:
        groups[place(tool, in_spindle)].append(tool)
    groups["mounted"].sort(key=lambda tool: (tool.id != in_spindle, tool.label.casefold()))
    groups["shelf"].sort(key=lambda tool: tool.label.casefold())
    groups["retired"].sort(key=lambda tool: -tool.retirement.sequence)
    nobody = [each for each in uncredited if each[1].cut_time_s >= 1]
    return render_template(
        "mills/index.html",
        groups=groups,
        in_spindle=in_spindle,
        uncredited=nobody,
        outlooks=monitor().outlooks.now(),
        in_use=sorted(groups["mounted"] + groups["shelf"], key=lambda tool: tool.label.casefold()),
        units=units(),
    )


def place(tool: Tool, in_spindle: str | None) -> str:
    """Tell in which group a tool is shown."""
    if tool.retirement is not None and tool.id != in_spindle:
        return "retired"
    return "mounted" if tool.id == in_spindle or tool.assembly is not None else "shelf"


def units() -> str:
    """Return the shop's units."""
    return monitor().state()["units"]


@blueprint.get("/m/<prefix>")
def short(prefix: str):
    """The address on a printed label: leads to the tool's page."""
    tool_id = monitor().register.starting_with(prefix) if len(prefix) >= 8 else None
    if tool_id is None:
        raise Refusal(
            404, "No tool has this label.", "Look for it under End mills; the label may be an old one."
        )
    return redirect(f"/mills/{tool_id}")


@blueprint.get("/mills/new")
def new() -> str:
    """A form for a tool that is new in the shop."""
    return render_template("mills/new.html", kinds=KINDS, types=monitor().register.kinds(), units=units())


@blueprint.get("/mills/kinds")
def kinds() -> str:
    """The types of end mills, the person's limits of wear, holders, materials, parts and operations."""
    register = monitor().register
    return render_template(
        "mills/kinds.html",
        types=register.kinds(),
        limits=register.rows("wear_limits"),
        lists={name: register.rows(name) for name in ("holders", "materials", "parts", "operations")},
        groups=MATERIAL_GROUPS,
        laboratory=said.LABORATORY,
        units=units(),
    )


@blueprint.get("/mills/files")
def files() -> str:
    """The register out as a file, and in from one."""
    return render_template("mills/files.html", columns=COLUMNS)


@blueprint.get("/mills/labels")
def labels() -> str:
    """Labels with QR codes, a sheet at a time, for the plastic tubes."""
    register = monitor().register
    chosen = request.args.get("tool")
    tools = [tool for tool in register.tools(totals=False) if tool.retirement is None]
    tools.sort(key=lambda tool: tool.label.casefold())
    if chosen:
        tools = [tool for tool in tools if tool.id == chosen]
    first = max(1, min(request.args.get("sheet", 1, type=int), 10_000))
    return render_template(
        "mills/labels.html", chosen=chosen, units=units(), **sheet(tools, first, base_url())
    )


@blueprint.get("/mills/<tool_id>")
def one(tool_id: str) -> str:
    """Page of one tool."""
    register = monitor().register
    record = register.record(tool_id) or refused()
    tool = record.tool
    context = monitor().context()
    type_limit = register.wear_limit_mm(tool.type_id, context.get("operation")) if tool.is_end_mill else None
    shown = with_words(monitor(), monitor().cuts(limit=CUTS_SHOWN + 1, end_mill_id=tool_id))
    sound = condition_of(register, tool)
    return render_template(
        "mills/tool.html",
        tool=tool,
        in_spindle=context.get("end_mill_id") == tool_id,
        spindle_label=context.get("end_mill"),
        outlook=monitor().outlooks.now().get(tool_id),
        forecast=said.wear_words(
            wear_of(register, tool, record.readings) if tool.is_end_mill else None, units()
        ),
        rows=said.type_rows(tool, units()),
        materials=record.by_material,
        readings=record.readings[::-1],
        limit_mm=type_limit,
        sound=sound and sound.said(partial(said.wear, units=units())),
        charts=charts(sound),
        laboratory=said.LABORATORY,
        history=history(register, record, units()),
        photos=register.photos(tool_id),
        cuts=shown[:CUTS_SHOWN],
        more_cuts=len(shown) > CUTS_SHOWN,
        holders=register.rows("holders"),
        operations=[row["label"] for row in register.rows("operations")],
        materials_known=[row["label"] for row in register.rows("materials")],
        finishes=register.rows("finish_readings", tool_id=tool_id)[::-1],
        standards=STANDARDS,
        **last_pass(shown, units()),
        types=register.kinds(),
        kinds=KINDS,
        reasons=REASONS,
        units=units(),
    )


def last_pass(cuts: list[dict], units: str) -> dict[str, float | None]:
    """Return feed and speed of the newest cut, to begin a form with."""
    context = cuts[0]["context"] if cuts else {}
    feed, rpm = context.get("feed_mm_min"), context.get("nominal_rpm")
    shown = feed and round(feed / MM_PER_INCH, 2) if units == "inch" else feed
    return {"last_feed": shown, "last_rpm": rpm}


@blueprint.get("/mills/<tool_id>/cuts")
def cuts_of(tool_id: str) -> str:
    """The cuts of a tool, newest first."""
    tool = found(tool_id)
    before = request.args.get("before", type=int)
    before = before if before is not None and 0 <= before <= LARGEST_SEQUENCE else None
    cuts = monitor().cuts(limit=CUTS_ON_A_PAGE + 1, before_sequence=before, end_mill_id=tool_id)
    cuts = with_words(monitor(), cuts)
    older = cuts[CUTS_ON_A_PAGE - 1]["sequence"] if len(cuts) > CUTS_ON_A_PAGE else None
    return render_template(
        "mills/cuts.html", tool=tool, cuts=cuts[:CUTS_ON_A_PAGE], before=before, older=older
    )


def found(tool_id: str) -> Tool:
    """Return the tool of an address, or refuse because there is none."""
    return monitor().register.tool(tool_id) or refused()


def refused() -> NoReturn:
    """Refuse, because there is no such tool."""
    raise Refusal(404, "There is no tool with this id.", "Look at the list under End mills.")
