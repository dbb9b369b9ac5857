"""Two kinds of end mill, or two of them, side by side: finish, life, chatter and cost out of the register."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from shopmon.cutting.compare.conditions import Use, confounded
from shopmon.cutting.compare.cost import Spending, compare_cost, cost_per_minute
from shopmon.cutting.compare.cost_words import MINUTE, PART, cost_verdict, money
from shopmon.cutting.compare.lives import compare_lives
from shopmon.cutting.compare.result import Comparison
from shopmon.cutting.compare.values import Value, compare_order, compare_ratio
from shopmon.cutting.compare.words import verdict
from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.life.weibull import WeibullLives, weibull_lives
from shopmon.errors import SettingError
from shopmon.records.tools.fields import same_label
from shopmon.records.tools.reading import RegisterReading
from shopmon.records.tools.rows import Kind, Tool
from shopmon.service.mills.life import EdgeRecord, ToolLives, tool_lives

KIND, TOOL = "kind", "tool"
NO_SPENDING = Spending()
COMPARE_SCHEMA = "shopmon.compare/1"
NUMBER = re.compile(r"\d+(?:[.,]\d{1,2})?")


@dataclass(frozen=True, kw_only=True)
class Side:
    """One of the two.

    Attributes
    ----------
    tool_ids
        Every tool of the kind, or the one tool.
    price
        Its number as it stands with the type, and what stands beside it (the currency).
    """

    key: str
    label: str
    what: str
    tool_ids: frozenset[str]
    records: tuple[EdgeRecord, ...]
    price: tuple[float, str] | None


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One question with what was found."""

    name: str
    found: Comparison | CannotTell
    sentences: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class SideBySide:
    """Two sides with every answer, and what else differed between them."""

    a: Side
    b: Side
    answers: tuple[Answer, ...]
    differed: tuple[str, ...]


def side_of(lives: ToolLives, types: dict[str, Kind], tools: dict[str, Tool], key: str) -> Side:
    """Return the side that a key names: ``kind:ID`` or ``tool:ID``.

    Raises
    ------
    SettingError
        There is none.
    """
    what, _, row_id = key.partition(":")
    if what == KIND and row_id in types:
        own = frozenset(tool.id for tool in tools.values() if tool.type_id == row_id)
        label, type_id = types[row_id].label, row_id
    elif what == TOOL and row_id in tools:
        own, label, type_id = frozenset([row_id]), tools[row_id].label, tools[row_id].type_id
    else:
        raise SettingError("There is no such kind or end mill.", "Choose both from the lists.")
    kind = types.get(type_id)
    return Side(
        key=key,
        label=label,
        what=what,
        tool_ids=own,
        records=tuple(record for record in lives.records if record.edge.tool_id in own),
        price=price_of(kind.type.price if kind else None),
    )


def price_of(text: str | None) -> tuple[float, str] | None:
    """Return the only number in a price and what stands beside it.

    Examples
    --------
    >>> price_of("38,50 €"), price_of("2 for 30")
    ((38.5, '€'), None)
    """
    found = NUMBER.findall(text or "")
    if len(found) != 1 or float(found[0].replace(",", ".")) == 0:
        return None
    return float(found[0].replace(",", ".")), text.replace(found[0], "").strip()


def compare(
    register: RegisterReading, first: str, second: str, spending: Spending = NO_SPENDING
) -> SideBySide:
    """Compare two sides; see `side_of` for what they are called.

    Raises
    ------
    SettingError
        One is not there, both are the same, or one is a kind and the other a tool.
    """
    lives = tool_lives(register)
    types = {kind.id: kind for kind in register.kinds()}
    tools = {tool.id: tool for tool in register.tools(totals=False) if tool.is_end_mill}
    a, b = (side_of(lives, types, tools, key) for key in (first, second))
    if first == second:
        raise SettingError("Both are the same.", "Choose two different ones.")
    if a.what != b.what:
        raise SettingError("A kind cannot be compared with one tool.", "Choose two kinds or two tools.")
    readings = [row for row in register.rows("finish_readings") if row["tool_id"] in a.tool_ids | b.tool_ids]
    names = (a.label, b.label)
    lasted = compare_lives([each.life for each in a.records], [each.life for each in b.records])
    answers = [
        *_finish(a, b, readings, names),
        Answer(name="Life", found=lasted, sentences=tuple(verdict(lasted, names, "lasts longer", "edges"))),
        _chatter(a, b, names),
        *_costs(a, b, lasted, names, spending),
    ]
    differed = confounded(_uses(a, readings), _uses(b, readings), names)
    return SideBySide(a=a, b=b, answers=tuple(answers), differed=tuple(differed))


def named(register: RegisterReading, *labels: str) -> list[str]:
    """Return the keys of types or end mills by their labels, both the same kind of thing where that can be.

    Raises
    ------
    SettingError
        There is no type and no end mill of a label.
    """
    kinds = {same_label(kind.label): f"{KIND}:{kind.id}" for kind in register.kinds()}
    tools = {}
    for tool in register.tools(totals=False):
        if tool.is_end_mill and not (tool.retirement and same_label(tool.label) in tools):
            tools[same_label(tool.label)] = f"{TOOL}:{tool.id}"
    for label in labels:
        if same_label(label) not in kinds and same_label(label) not in tools:
            raise SettingError(
                f"There is no type and no end mill '{label}'.", "'shopmon mills list --all' shows them."
            )
    among = next((names for names in (kinds, tools) if all(same_label(x) in names for x in labels)), None)
    if among is None:
        raise SettingError("A kind cannot be compared with one tool.", "Name two types or two end mills.")
    return [among[same_label(label)] for label in labels]


def comparison_as_data(found: SideBySide) -> dict[str, Any]:
    """Return it as ``shopmon.compare/1``."""
    return {
        "schema": COMPARE_SCHEMA,
        "what": found.a.what,
        "a": found.a.label,
        "b": found.b.label,
        "answers": [_answer_as_data(answer) for answer in found.answers],
        "differed": list(found.differed),
    }


def _answer_as_data(answer: Answer) -> dict[str, Any]:
    data: dict[str, Any] = {"name": answer.name, "sentences": list(answer.sentences)}
    if isinstance(answer.found, CannotTell):
        return {**data, "reason": answer.found.reason}
    figures = ("measure", "effect", "bounds", "confidence", "p_value", "units", "needed_each", "settled")
    return data | {name: getattr(answer.found, name) for name in figures}


def _finish(a: Side, b: Side, readings: list[dict], names: tuple[str, str]) -> list[Answer]:
    """Compare every measure of finish that was entered: roughness by one standard, or grades."""
    unit = "tools" if a.what == KIND else "parts"
    asked: list[tuple[str, str, str, Callable]] = [
        ("Ra_um", "Ra", "leaves the higher Ra", compare_ratio),
        ("Rz_um", "Rz", "leaves the higher Rz", compare_ratio),
        ("Rq_um", "Rq", "leaves the higher Rq", compare_ratio),
        ("grade", "Grade by eye", "is graded better", compare_order),
    ]
    answers = []
    for field, name, what, compared in asked:
        values = [
            Value(
                side="A" if row["tool_id"] in a.tool_ids else "B",
                value=float(row[field]),
                unit=row["tool_id"] if a.what == KIND else row["piece"] or row["id"],
                stratum=(row["material"], row["operation"], None if field == "grade" else row["standard"]),
            )
            for row in readings
            if row[field] is not None
        ]
        if values:
            found = compared(values)
            answers.append(Answer(name=name, found=found, sentences=tuple(verdict(found, names, what, unit))))
    if not answers:
        nothing = CannotTell(reason="No finish was entered for either.")
        said = verdict(nothing, names, "leaves the better finish", unit)
        answers.append(Answer(name="Finish", found=nothing, sentences=tuple(said)))
    return answers


def _chatter(a: Side, b: Side, names: tuple[str, str]) -> Answer:
    values = [
        Value(
            side=side,
            value=record.life.chatter_share,
            unit=record.edge.tool_id if a.what == KIND else record.edge.edge.id,
            stratum=record.material,
        )
        for side, records in (("A", a.records), ("B", b.records))
        for record in records
    ]
    found = compare_order(values)
    said = verdict(found, names, "rings for more of its time", "tools" if a.what == KIND else "edges")
    return Answer(name="Chatter", found=found, sentences=tuple(said))


def _costs(
    a: Side, b: Side, lives: Comparison | CannotTell, names: tuple[str, str], spending: Spending
) -> list[Answer]:
    """Compare what a minute in the cut costs, and a part."""
    why = None
    if a.price is None or b.price is None:
        why = CannotTell(reason="A price that is one number must stand with both kinds.")
    elif a.price[1] != b.price[1]:
        why = CannotTell(reason="The prices are not in one currency.")
    elif isinstance(lives, CannotTell):
        why = lives
    if why is not None:
        said = ((MINUTE, "Cost"), (PART, "Cost of a part"))
        return [Answer(name=name, found=why, sentences=tuple(cost_verdict(why, names, per)))
                for per, name in said]  # fmt: skip
    edges = spending.edge(a.price[0]), spending.edge(b.price[0])
    minutes = [_minute(edge, side, lives.strata) for edge, side in zip(edges, (a, b), strict=True)]
    answers = [_cost("Cost", MINUTE, edges, minutes, lives, names, a.price[1], (1.0, 1.0))]
    if spending.part_min is None:
        nobody = CannotTell(reason="Say below how many minutes in the cut a part takes with each.")
        said = tuple(cost_verdict(nobody, names, PART))
        return [*answers, Answer(name="Cost of a part", found=nobody, sentences=said)]
    part = _cost("Cost of a part", PART, edges, minutes, lives, names, a.price[1], spending.part_min)
    return [*answers, part]


def _minute(edge_cost: float, side: Side, strata: tuple) -> tuple[float, float, float] | None:
    """What a minute costs with one side, over its lives in what both were used for."""
    known = weibull_lives([each.life for each in side.records if each.life.stratum in strata])
    return cost_per_minute(edge_cost, known.fit()) if isinstance(known, WeibullLives) else None


def _cost(name, per, edges, minutes, lives, names, unit, times) -> Answer:
    found = compare_cost(edges[0] * times[0], edges[1] * times[1], lives)
    amounts = None
    if None not in minutes:
        sides = zip(minutes, times, strict=True)
        amounts = tuple(money(tuple(each * factor for each in minute), unit) for minute, factor in sides)
    return Answer(name=name, found=found, sentences=tuple(cost_verdict(found, names, per, amounts)))


def _uses(side: Side, readings: list[dict]) -> list[Use]:
    uses = []
    for record in side.records:
        speed = record.life.speed_m_min
        uses.append(
            Use(
                words={"material": record.material} if record.material else {},
                numbers={"cutting speed (m/min)": speed} if speed else {},
                order=min(totals.first_sequence for totals in record.edge.by_material.values()),
            )
        )
    for row in readings:
        if row["tool_id"] in side.tool_ids and row["operation"]:
            uses.append(Use(words={"operation of the finish": row["operation"]}))
    return uses
