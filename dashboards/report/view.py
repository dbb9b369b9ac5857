"""The reports as pages and as PDF, and the page that says how to take everything along."""

import threading
from collections.abc import Callable

from flask import Blueprint, Response, render_template, request
from shopmon.dashboards.api.blueprint import monitor, truth
from shopmon.dashboards.api.cuts import found
from shopmon.dashboards.api.sound import safe_name
from shopmon.dashboards.errors import Refusal
from shopmon.dashboards.report.page import PAPERS, POLICY, cut_page, part_page

from shopmon.errors import SettingError
from shopmon.records.carrying.held import held
from shopmon.service.reporting.pdf import as_pdf, browser
from shopmon.service.reporting.sheets import cut_sheet, part_sheet

blueprint = Blueprint("report", __name__)
printing = threading.Lock()  # a browser takes much memory: one at a time


@blueprint.get("/cuts/<cut_id>/report")
def of_cut(cut_id: str) -> Response:
    """Report on a cut; ``?sound=yes`` takes the sound into it, ``?paper=`` a4 or letter."""
    return _page(_cut_html(cut_id, with_sound=_asked_for_sound()), f"cut-{safe_name(cut_id)}.html")


@blueprint.get("/cuts/<cut_id>/report.pdf")
def of_cut_pdf(cut_id: str) -> Response:
    """The same as PDF, without sound."""
    return _pdf(lambda: _cut_html(cut_id, with_sound=False), f"cut-{safe_name(cut_id)}.pdf")


@blueprint.get("/report/part")
def of_part() -> Response:
    """Report on all cuts of ``?part=``."""
    return _page(_part_html(), "part.html")


@blueprint.get("/report/part.pdf")
def of_part_pdf() -> Response:
    """The same as PDF."""
    return _pdf(_part_html, "part.pdf")


@blueprint.get("/take-along")
def take_along() -> str:
    """What is on the disk, and how to copy it and carry it elsewhere."""
    log = monitor().archive
    return render_template(
        "report/take_along.html", held=held(log), parts=log.parts_cut(), pdf=browser() is not None
    )


def _cut_html(cut_id: str, *, with_sound: bool) -> str:
    found(monitor().cut(cut_id))
    sheet = cut_sheet(monitor().archive, cut_id, with_sound=with_sound)
    return cut_page(found(sheet), **_look())


def _part_html() -> str:
    part = request.args.get("part", "")
    try:
        return part_page(part_sheet(monitor().archive, part), **_look())
    except SettingError as exc:
        raise Refusal(404, exc.text, exc.hint) from exc


def _asked_for_sound() -> bool:
    return truth("sound", request.args.get("sound", False))


def _look() -> dict[str, str]:
    """Return machine, units and paper as the templates want them."""
    units = monitor().state()["units"]
    usual = "letter" if units == "inch" else "a4"
    paper = request.args.get("paper", usual)
    if paper not in PAPERS:
        raise Refusal(400, f"There is no paper '{paper[:40]}' here.", f"Use one of: {', '.join(PAPERS)}.")
    settings = monitor().settings
    return {"machine": settings.machine.name if settings else "", "units": units, "paper": paper}


def _page(html: str, name: str) -> Response:
    response = Response(html, content_type="text/html; charset=utf-8")
    response.headers["Content-Security-Policy"] = f"{POLICY}; frame-ancestors 'none'; base-uri 'none'"
    if truth("download", request.args.get("download", False)):
        response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _pdf(make: Callable[[], str], name: str) -> Response:
    html = make()
    if not printing.acquire(blocking=False):
        raise Refusal(503, "Another report is being printed just now.", "Try again in a few seconds.")
    try:
        content = as_pdf(html)
    except SettingError as exc:
        raise Refusal(503, exc.text, exc.hint) from exc
    finally:
        printing.release()
    response = Response(content, content_type="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return response


@blueprint.record_once
def lend(state) -> None:
    """Tell the section on the page of a cut whether a PDF can be made."""
    state.app.jinja_env.globals.update(pdf_can_be_made=lambda: browser() is not None)
