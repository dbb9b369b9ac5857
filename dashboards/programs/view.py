"""The pages of NC programs, made whole by the server; one small script sends what is touched."""

from flask import Blueprint, current_app, render_template
from shopmon.dashboards.errors import Refusal

from shopmon.errors import SettingError

SHOWN = 100

blueprint = Blueprint("programs", __name__, url_prefix="/programs")


@blueprint.get("")
def page() -> str:
    """The page *Programs*."""
    desk = current_app.extensions["monitor"].programs
    return render_template(
        "programs/programs.html",
        programs=desk.all()[:SHOWN],
        now=desk.state(),
        doubts=desk.doubts(),
    )


@blueprint.get("/<program_id>")
def one(program_id: str) -> str:
    """The page of one program."""
    desk = current_app.extensions["monitor"].programs
    try:
        program = desk.program(program_id)
    except SettingError as exc:
        raise Refusal(404, exc.text, exc.hint) from exc
    return render_template("programs/program.html", program=program, tools=desk.tool_choices())
