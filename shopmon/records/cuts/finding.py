"""What cuts can be asked for by: filters of `Reader.cuts`, each with what was set right afterwards.

Whatever would have to look at every cut asks the other way round: the few rows that hold a word, a tool or a
day name their cuts, which are then looked up.
"""

from collections.abc import Callable
from typing import Any

import sqlalchemy as sa
from sqlalchemy.sql import operators

from shopmon.errors import SettingError
from shopmon.records.boot_clock import newest_offsets
from shopmon.records.cuts.credit import (
    A_CUT,
    CHATTER,
    NO_CHATTER,
    NOT_A_CUT,
    last_judgement,
    newest_corrections,
    perhaps_of,
    taken_back,
)
from shopmon.records.cuts.rows import labels
from shopmon.records.sound.recorder import AFTER_S, BEFORE_S
from shopmon.records.tables import (
    CONTEXT_VALUES,
    contexts,
    corrections,
    cut_photos,
    cuts,
    judgements,
    marks,
    streams,
)

WITHOUT_COLUMN = ("diameter_mm", "helix_deg", "rated_rpm", "max_vc_m_min", "measured_modes")
WORDED = ("end_mill", "holder", "material", "part", "operation", "program_section")
CUT_FILTERS = ("stream_id", "recording_id", "ended", "recovered", "keep")
MOST_WORDS = 8
LATEST_S = 1e12
CALLED = ("chatter", "quiet", "no cut")


def condition(name: str, value: Any) -> sa.ColumnElement:
    """Return one filter of cuts, corrections included; raises SettingError when there is no such filter."""
    if name in CUT_FILTERS:
        return cuts.c[name] == value
    if name == "end_mill":  # by the label that the tool has now, else by the name that was said
        label = labels()
        ids = sa.select(label.c.id).where(label.c.label == value)
        tool_id = _as_corrected("end_mill_id")
        return sa.case((tool_id.is_(None), _as_corrected(name) == value), else_=tool_id.in_(ids))
    if name == "end_mill_id":  # few cuts can be of it; of those alone it is asked what was said last
        return sa.and_(cuts.c.id.in_(perhaps_of(value)), _as_corrected(name) == value)
    if name in CONTEXT_VALUES:
        return _as_corrected(name) == value
    if name in WITHOUT_COLUMN:
        return sa.func.json_extract(sa.type_coerce(contexts.c.other, sa.Text), f"$.{name}") == value
    if name == "chatter":
        return _heard_chatter() if value else ~_heard_chatter()
    if name in FOUND_BY:
        return FOUND_BY[name](value)
    known = ", ".join((*CUT_FILTERS, "chatter", *FOUND_BY, *CONTEXT_VALUES))
    raise SettingError(f"Cuts cannot be filtered by {name!r}.", f"Use one of: {known}.")


def _with_words(text: str) -> sa.ColumnElement:
    """Find cuts of which every word was said somewhere.

    That is what was cut with what, as it was said last, in notes, in marks and with photographs.
    """
    words = text.split()[:MOST_WORDS] or [""]
    return sa.and_(*(_with_word(_holder(word)) for word in words))


def _holder(word: str) -> Callable[[sa.ColumnElement], sa.ColumnElement]:
    """Return what tells whether a column holds a word, large letters or small."""
    # SQLite knows only the plain letters as large and small
    spellings = {word} if word.isascii() else {word, word.lower(), word.upper(), word.title()}
    patterns = [
        "%" + "".join(f"\\{sign}" if sign in "\\%_" else sign for sign in spelling) + "%"
        for spelling in sorted(spellings)
    ]
    return lambda column: sa.or_(*(column.like(pattern, escape="\\") for pattern in patterns))


def _with_word(holds: Callable[[sa.ColumnElement], sa.ColumnElement]) -> sa.ColumnElement:
    label = labels()
    named = sa.select(label.c.id).where(holds(label.c.label))
    told = {name: holds(contexts.c[name]) for name in WORDED} | {
        "end_mill_id": contexts.c.end_mill_id.in_(named)
    }
    # most cuts are as they were told; of those that were set right each value is asked for itself
    within = sa.select(contexts.c.id).where(sa.or_(*told.values()))
    as_told = sa.and_(_in_order(cuts.c.context_id).in_(within), cuts.c.id.not_in(_set_right(*told)))
    said = newest_corrections("cuts", tuple(told))
    elsewhere = sa.union_all(
        *(_still_told(name, matches) for name, matches in told.items()),
        sa.select(said.c.row_id).where(
            sa.or_(*(holds(said.c[name]) for name in WORDED), said.c.end_mill_id.in_(named))
        ),
        sa.select(judgements.c.cut_id).where(holds(judgements.c.note), judgements.c.id.not_in(taken_back())),
        sa.select(cut_photos.c.cut_id).where(holds(cut_photos.c.note)),
        _marked(holds(marks.c.note)),
    )
    return sa.or_(as_told, _in_order(cuts.c.id).in_(elsewhere))


def _set_right(*names: str) -> sa.Select:
    """Select the cuts of which one of these values was set right."""
    return sa.select(corrections.c.row_id).where(
        corrections.c.table_name == "cuts", corrections.c.field.in_(names)
    )


def _still_told(name: str, matches: sa.ColumnElement) -> sa.Select:
    """Select the cuts that were set right, but not in this value, which their context tells."""
    within = sa.select(contexts.c.id).where(matches)
    return sa.select(cuts.c.id).where(
        cuts.c.id.in_(_set_right(*WORDED, "end_mill_id")),
        cuts.c.id.not_in(_set_right(name)),
        cuts.c.context_id.in_(within),
    )


def _marked(matches: sa.ColumnElement) -> sa.Select:
    """Select the cuts in which a mark lies, with the margins that their sound has."""
    first = cuts.c.first_sample - BEFORE_S * streams.c.sample_rate_hz
    end = cuts.c.end_sample + AFTER_S * streams.c.sample_rate_hz
    return (
        sa.select(cuts.c.id)
        .join(marks, marks.c.stream_id == cuts.c.stream_id)
        .join(streams, streams.c.id == cuts.c.stream_id)
        .where(matches, marks.c.sample.between(first, end))
    )


def _turning(matches: Callable[[sa.ColumnElement], sa.ColumnElement]) -> sa.ColumnElement:
    """Find cuts by the speed that was heard, else by the one that was told."""
    heard = sa.select(cuts.c.id).where(matches(cuts.c.heard_rpm))
    within = sa.select(contexts.c.id).where(matches(contexts.c.nominal_rpm))
    told = sa.select(cuts.c.id).where(cuts.c.heard_rpm.is_(None), cuts.c.context_id.in_(within))
    return _in_order(cuts.c.id).in_(heard.union_all(told))


def _started(since_s: float, until_s: float) -> sa.ColumnElement:
    """Find cuts by the wall time of their start; one whose clock is not known lies nowhere."""
    offsets = newest_offsets().subquery("offsets")
    within = cuts.c.start_monotonic_s.between(
        since_s - offsets.c.wall_offset_s, until_s - offsets.c.wall_offset_s
    )
    of_boot = offsets.c.boot_id == cuts.c.boot_id
    return _in_order(cuts.c.id).in_(sa.select(cuts.c.id).join(offsets, sa.and_(of_boot, within)))


def _in_order(column: sa.Column) -> sa.ColumnElement:
    """Return a column through whose index SQLite does not look cuts up.

    It would look all of them up and sort them by their place in the log; in the order of the log it is done
    when a page is full (what a leading plus does: its documentation of the query planner, 5).
    """
    return sa.UnaryExpression(column, operator=operators.custom_op("+"))


def _heard_chatter() -> sa.ColumnElement:
    return sa.cast(cuts.c.chatter, sa.Text).not_in(("[]", "null"))


def _called(word: str) -> sa.ColumnElement:
    """Find cuts by what they are called: ``chatter``, ``quiet`` or ``no cut``, a person's word first."""
    if word not in CALLED:
        raise SettingError(f"A cut is never called {word[:40]!r}.", f"Use one of: {', '.join(CALLED)}.")
    existence = last_judgement("existence", NOT_A_CUT, A_CUT)
    ringing = last_judgement("ringing", CHATTER, NO_CHATTER)
    none = sa.select(existence.c.cut_id).where(existence.c.verdict == NOT_A_CUT)
    if word == "no cut":
        return cuts.c.id.in_(none)
    rang = sa.select(ringing.c.cut_id).where(ringing.c.verdict == CHATTER)
    quiet = sa.select(ringing.c.cut_id).where(ringing.c.verdict == NO_CHATTER)
    chatter = sa.or_(cuts.c.id.in_(rang), sa.and_(_heard_chatter(), cuts.c.id.not_in(quiet)))
    return sa.and_(chatter if word == "chatter" else ~chatter, cuts.c.id.not_in(none))


FOUND_BY = {
    "called": _called,
    "words": _with_words,
    "rpm_from": lambda low: _turning(lambda rpm: rpm >= low),
    "rpm_to": lambda high: _turning(lambda rpm: rpm <= high),
    "since": lambda since_s: _started(since_s, LATEST_S),
    "until": lambda until_s: _started(-LATEST_S, until_s),
}


def _as_corrected(name: str) -> sa.ColumnElement:
    """Return a value of a cut's context with what was said last of it."""
    said = (
        sa.select(sa.func.json_extract(sa.type_coerce(corrections.c.value, sa.Text), "$"))
        .where(corrections.c.table_name == "cuts", corrections.c.row_id == cuts.c.id)
        .where(corrections.c.field == name)
        .order_by(corrections.c.sequence.desc())
        .limit(1)
    )
    return sa.case((said.exists(), said.correlate(cuts).scalar_subquery()), else_=contexts.c[name])
