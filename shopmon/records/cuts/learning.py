"""What learning needs of the log: the cuts of a tool with all that was said of them, and the beliefs kept.

A belief is a consequence of the cuts and can be made anew; it is kept so that a restart need not, and so that
one can see how it came to be. The newest row of a key counts; older ones keep their summary.
"""

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from typing import Any

import sqlalchemy as sa

from shopmon.records.cuts.rows import cut_query, dated
from shopmon.records.ledger import Ledger
from shopmon.records.stamps import Stamps
from shopmon.records.tables import (
    CONTEXT_VALUES,
    beliefs,
    contexts,
    corrections,
    cuts,
    events,
    judgements,
)

WHOLE_BELIEFS = 20  # of one key; each is some 20 kB


class LearningRows:
    """The part of the archive that keeps what was learned, and tells what to learn from."""

    _stamps: Stamps
    _ledger: Ledger
    _put: Callable[..., None]
    _insert: Callable[..., str]
    _connect: Callable[[], AbstractContextManager[sa.Connection]]
    _as_cuts: Callable[..., list[dict]]
    _all: Callable[..., list[dict]]
    _first: Callable[..., dict | None]

    def add_belief(self, key: str, values: dict[str, Any]) -> str:
        """Keep a belief beside the earlier ones of its key; return the row's id.

        Parameters
        ----------
        key
            Of tool assembly, machine and material.
        values
            ``context``, ``learner``, ``prior``, ``trials``, ``summary`` and ``state``.
        """
        row = {**self._stamps.new(), "key": key, **values}
        whole = (
            sa.select(beliefs.c.id)
            .where(beliefs.c.key == key)
            .order_by(beliefs.c.sequence.desc())
            .limit(WHOLE_BELIEFS)
        )
        thinned = (
            sa.update(beliefs)
            .where(beliefs.c.key == key, beliefs.c.state.is_not(None), beliefs.c.id.not_in(whole))
            .values(state=None, trials=None)
        )
        self._put(lambda: (self._ledger.insert(beliefs, row), self._ledger.write(thinned)))
        return row["id"]

    def beliefs(self, key: str) -> list[dict]:
        """Return the beliefs of a key that are still whole, newest first."""
        query = sa.select(beliefs).where(beliefs.c.key == key, beliefs.c.state.is_not(None))
        return self._all(query.order_by(beliefs.c.sequence.desc()))

    def belief_history(self, key: str, limit: int = 100) -> list[dict]:
        """Return when each belief of a key was kept and its summary, newest first."""
        shown = [column for column in beliefs.c if column.name not in ("state", "trials")]
        query = sa.select(*shown).where(beliefs.c.key == key).order_by(beliefs.c.sequence.desc())
        return self._all(query.limit(limit))

    def cuts_of_tool(self, values: Mapping[str, Any], limit: int = 200) -> list[dict]:
        """Return the newest ended cuts made with a tool, oldest first, as a person has set them right.

        Parameters
        ----------
        values
            Values of the context that must agree, None for those that nobody said.
        limit
            At most so many.

        Returns
        -------
        list of dict
            As from `Reader.cuts`, and ``judgements``.
        """
        agrees = sa.and_(*(_is(name, value) for name, value in values.items()))
        corrected = sa.select(corrections.c.row_id).where(
            corrections.c.table_name == "cuts", corrections.c.field.in_(tuple(values))
        )
        query = (
            cut_query()
            .where(cuts.c.ended, sa.or_(agrees, cuts.c.id.in_(corrected)))
            .order_by(cuts.c.sequence.desc())
            .limit(limit)
        )
        with self._connect() as connection:
            found = self._as_cuts(connection, connection.execute(query).all())
            _add_judgements(connection, found)
        alike = [cut for cut in found if all(cut["context"].get(n) == v for n, v in values.items())]
        return alike[::-1]

    def said_of(self, cut_id: str) -> list[dict]:
        """Return what people said of a cut, in order."""
        return self._all(
            sa.select(judgements).where(judgements.c.cut_id == cut_id).order_by(judgements.c.sequence)
        )

    def said_of_cuts(self, cut_ids: list[str]) -> dict[str, list[dict]]:
        """Return what people said of each of some cuts, in order."""
        found = [{"id": cut_id} for cut_id in cut_ids]
        with self._connect() as connection:
            _add_judgements(connection, found)
        return {cut["id"]: cut["judgements"] for cut in found}

    def event(self, event_id: str) -> dict | None:
        """Return one event of the log; None when there is none of this id."""
        return self._first(sa.select(events).where(events.c.id == event_id))


def _is(name: str, value: Any) -> sa.ColumnElement:
    """Agree with one value of the context, whether it has a column or not."""
    if name in CONTEXT_VALUES:
        return contexts.c[name].is_(value) if value is None else contexts.c[name] == value
    # the name goes into the path as a parameter, never into the statement
    found = sa.func.json_extract(sa.type_coerce(contexts.c.other, sa.Text), f'$."{name}"')
    return found.is_(None) if value is None else found == value


def _add_judgements(connection: sa.Connection, found: list[dict]) -> None:
    """Put beside each cut what people said of it, in order."""
    by_id = {cut["id"]: cut for cut in found}
    for cut in found:
        cut["judgements"] = []
    query = sa.select(judgements).where(judgements.c.cut_id.in_(tuple(by_id)))
    for row in dated(connection, connection.execute(query.order_by(judgements.c.sequence))):
        by_id[row["cut_id"]]["judgements"].append(row)
