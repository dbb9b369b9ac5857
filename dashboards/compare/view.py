"""The pages *Compare*: two kinds or tools side by side, the lives of a kind, and blind trials."""

from flask import Blueprint, current_app, render_template, request
from shopmon.dashboards.compare import curve
from shopmon.dashboards.errors import Refusal

from shopmon.cutting.compare.cost import Spending
from shopmon.cutting.life.taylor import TaylorFit
from shopmon.errors import SettingError
from shopmon.records.tools.fields import STANDARDS
from shopmon.service.mills.blind_trials import trial_of, trials
from shopmon.service.mills.comparing import KIND, TOOL, compare
from shopmon.service.mills.life import tool_lives

blueprint = Blueprint("compare", __name__)


FEET_PER_METRE = 3.2808


@blueprint.record_once
def lend(state) -> None:
    """Give the templates their own words."""
    state.app.jinja_env.filters.update(
        two=lambda value: f"{value:.2g}", compare_strata=strata_words, taylor_words=taylor_words
    )


def taylor_words(fit: TaylorFit, units: str) -> str:
    """Say how life goes with cutting speed, or that it cannot be told."""
    factor, unit = (FEET_PER_METRE, "ft/min") if units == "inch" else (1.0, "m/min")
    seen = f"from {factor * fit.slowest_m_min:.0f} to {factor * fit.fastest_m_min:.0f}\u00a0{unit}"
    low, high = fit.bounds
    if low is None or low <= 0:
        return f"whether speed shortens life cannot be told yet ({seen})"
    longer = fit.factor(0.8)
    ends = f"{longer[0]:.2g} to {longer[2]:.2g}" if high is not None else f"{longer[0]:.2g} or more"
    return (
        f"n = {fit.n:.2g}; at four fifths of the speed an edge lasts {longer[1]:.2g} times as long "
        f"({ends}, nine times in ten), {seen}"
    )


def strata_words(strata: tuple) -> str:
    """Name materials and operations."""
    named = [stratum if isinstance(stratum, tuple) else (stratum,) for stratum in strata]
    return "; ".join(", ".join(filter(None, each)) or "nobody said" for each in named)


def register():
    """Return the register of the monitor that is served."""
    return current_app.extensions["monitor"].register


def units() -> str:
    """Return the shop's units."""
    return current_app.extensions["monitor"].state()["units"]


def lists() -> dict[str, list[str]]:
    """Return the labels of materials and operations, to choose from."""
    return {name: [row["label"] for row in register().rows(name)] for name in ("materials", "operations")}


def choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """Return what can be compared: kinds and end mills, each with its key."""
    mills = [tool for tool in register().tools(totals=False) if tool.is_end_mill]
    mills.sort(key=lambda tool: tool.label.casefold())
    return [
        ("Kinds", [(f"{KIND}:{kind.id}", kind.label) for kind in register().kinds()]),
        ("End mills", [(f"{TOOL}:{tool.id}", tool.label) for tool in mills]),
    ]


def spending() -> Spending:
    """Return what the person says of changes, the shop's hour and a part's minutes."""
    told = {name: _number(name) for name in ("change_min", "shop_per_hour", "part_min_a", "part_min_b")}
    parts = told["part_min_a"], told["part_min_b"]
    return Spending(
        change_min=told["change_min"] or 0.0,
        shop_per_hour=told["shop_per_hour"] or 0.0,
        part_min=None if None in parts else parts,
    )


def _number(name: str) -> float | None:
    text = request.args.get(name, "").strip()
    try:
        return float(text.replace(",", ".")) if text else None
    except ValueError:
        hint = "Enter minutes or money as a plain number."
        raise SettingError(f"“{text[:40]}” is no number.", hint) from None


@blueprint.get("/compare")
def page() -> str:
    """Choose two, and see what the shop's own records say."""
    first, second = request.args.get("a", ""), request.args.get("b", "")
    return render_template(
        "compare/compare.html",
        choices=choices(),
        first=first,
        second=second,
        found=compare(register(), first, second, spending()) if first and second else None,
        asked=request.args,
        kinds=tool_lives(register()).kinds(),
        mills=[(key.partition(":")[2], label) for key, label in choices()[1][1]],
        standards=STANDARDS,
        units=units(),
        **lists(),
    )


@blueprint.get("/compare/life")
def life() -> str:
    """What is known of the lives of one kind in one material."""
    lives = tool_lives(register())
    type_id, material = request.args.get("kind", ""), request.args.get("material") or None
    if not lives.of(type_id, material):
        raise Refusal(404, "Nothing of this kind has cut yet.", "Choose one from the list under Compare.")
    known = lives.kind_life(type_id, material)
    return render_template(
        "compare/life.html", life=known, drawn=curve.drawn(known), rows=curve.rows(known), units=units()
    )


@blueprint.get("/compare/trials")
def all_trials() -> str:
    """Blind trials that were drawn, and a form for a new one."""
    mills = [tool for tool in register().tools(totals=False) if tool.is_end_mill and not tool.retirement]
    return render_template(
        "compare/trials.html",
        trials=trials(register()),
        mills=sorted(mills, key=lambda tool: tool.label.casefold()),
        lists=lists(),
        units=units(),
    )


@blueprint.get("/compare/trials/<trial_id>")
@blueprint.get("/compare/trials/<trial_id>/<any(grading):step>")
def trial(trial_id: str, step: str = "") -> str:
    """One trial: the plan for whoever mounts, or codes for whoever grades."""
    try:
        found = trial_of(register(), trial_id)
    except SettingError:
        raise Refusal(404, "There is no such trial.", "Look at the list under Blind trials.") from None
    return render_template("compare/trial.html", trial=found, grading=step == "grading", units=units())
