"""The pages *Cuts*: a list, newest first, and one page per cut."""

from typing import Any

from flask import Blueprint, current_app, render_template, request
from shopmon.dashboards.api.cuts import page_of_cuts
from shopmon.dashboards.cuts import facts, pair
from shopmon.dashboards.cuts.finding import asked
from shopmon.dashboards.cuts.sections import sections
from shopmon.dashboards.errors import Refusal

ON_A_PAGE = 25
MARKS_SHOWN = 100
LARGEST_SEQUENCE = 2**62

blueprint = Blueprint("cuts", __name__, url_prefix="/cuts")


@blueprint.record_once
def lend(state) -> None:
    """Give the templates what they say about a cut."""
    names = ("mark_words", "clock_and_tenths", "loudest_hz", "verdict")
    state.app.jinja_env.globals.update({name: getattr(facts, name) for name in names})


def asked_before() -> int | None:
    """Return where the list is to go on; None at its top, and where the address makes no sense."""
    before = request.args.get("before", type=int)
    return before if before is not None and 0 <= before <= LARGEST_SEQUENCE else None


@blueprint.get("")
def index() -> str:
    """List of the cuts."""
    monitor = current_app.extensions["monitor"]
    before = asked_before()
    try:
        wanted, problem = asked(request.args), ""
    except (Refusal, ValueError, OverflowError) as exc:
        wanted, problem = asked({}), exc.text if isinstance(exc, Refusal) else "That is no date."
    shown, older = page_of_cuts(ON_A_PAGE, before, wanted.filters)
    return render_template(
        "cuts/list.html", cuts=facts.with_words(monitor, shown), before=before, older=older,
        asked=wanted.fields, problem=problem,
        disk=monitor.disk(),
    )  # fmt: skip


@blueprint.get("/kept")
def by_hand() -> str:
    """What the two large buttons kept: sounds and marked moments."""
    monitor = current_app.extensions["monitor"]
    return render_template("cuts/kept.html", kept=monitor.kept(), marks=monitor.marks(MARKS_SHOWN))


@blueprint.get("/kept/<keep_id>")
def one_kept(keep_id: str) -> str:
    """Page of one stretch that was kept by hand: picture, lanes and sound as of a cut."""
    monitor = current_app.extensions["monitor"]
    kept = next((span for span in monitor.kept() if span["id"] == keep_id), None)
    if kept is None:
        raise Refusal(404, "There is no kept sound with this id.", "Look under Cuts, Kept by hand.")
    return render_template("cuts/kept_one.html", kept=kept)


def by_label(tool) -> tuple:
    """Sort tools that are in use before retired ones, each by label."""
    return tool.retirement is not None, tool.label.casefold()


def known(cut_id: str) -> dict[str, Any]:
    """Return a cut, or refuse because there is none."""
    cut = current_app.extensions["monitor"].cut(cut_id)
    if cut is None:
        raise Refusal(404, "There is no cut with this id.", "Look at the list under Cuts.")
    return cut


@blueprint.get("/pair")
def two() -> str:
    """Two cuts beside each other: ``first``, and ``second`` once it is chosen."""
    monitor = current_app.extensions["monitor"]
    first = known(request.args.get("first", ""))
    second = known(request.args["second"]) if request.args.get("second") else None
    found = monitor.side_by_side(first["id"], second["id"]) if second else None
    by = pair.laid_by(found, request.args.get("by", ""))
    return render_template(
        "cuts/pair.html", first=first, second=second, choices=pair.choices(monitor, first), by=by,
        found=pair.steps(found) if found else None,
        sentences=pair.in_words(found, by) if found else [],
        step_rows=pair.step_rows(found) if by == pair.PROGRAM else [],
        figures=pair.pictures(monitor, first, second, found, by) if found else [],
    )  # fmt: skip


@blueprint.get("/<cut_id>")
def one(cut_id: str) -> str:
    """Page of one cut."""
    monitor = current_app.extensions["monitor"]
    cut = known(cut_id)
    return render_template(
        "cuts/cut.html",
        cut=cut,
        facts=facts.facts(cut),
        context=facts.context_rows(cut["context"], monitor.state()["units"]),
        stretches=facts.stretches(cut),
        tools=sorted(monitor.register.tools(totals=False), key=by_label),
        sections=sections(monitor, cut),
    )
