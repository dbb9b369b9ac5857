"""Totals are sums over the cuts, whatever is corrected, judged, retired or reground, in whatever order."""

import shutil
import sqlite3
from collections import defaultdict
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from shopmon.records.cuts.credit import A_CUT, CHATTER, NO_CHATTER, NOT_A_CUT
from shopmon.records.database import open_database
from tests.records.shop import Shop

TOOLS = 3
SHARES = st.sampled_from([0.0, 0.25, 1.0])
WHOSE = st.none() | st.integers(0, TOOLS - 1)
MATERIALS = st.sampled_from(["7075", "316", None])
CUT = st.tuples(st.just("cut"), WHOSE, st.integers(1, 50), SHARES, st.integers(1, 4), MATERIALS)
ACTION = st.one_of(
    CUT,
    CUT,
    st.tuples(st.just("credit"), st.integers(0, 99), WHOSE),
    st.tuples(st.just("material"), st.integers(0, 99), MATERIALS),
    st.tuples(st.just("feed"), st.integers(0, 99), st.sampled_from([600.0, 1200.0, None])),
    st.tuples(
        st.just("judge"), st.integers(0, 99), st.sampled_from([NOT_A_CUT, A_CUT, NO_CHATTER, CHATTER, "fine"])
    ),
    st.tuples(st.just("regrind"), st.integers(0, TOOLS - 1)),
    st.tuples(st.just("rename"), st.integers(0, TOOLS - 1)),
    st.tuples(st.just("retire"), st.integers(0, TOOLS - 1)),
)


class Model:
    """The same shop as plain lists: what the totals must come to."""

    def __init__(self, shop: Shop):
        self.shop, self.register = shop, shop.register
        self.tools = [shop.mill(f"plum #{number}") for number in range(TOOLS)]
        self.cuts: list[dict] = []
        self.edge = [0] * TOOLS
        self.edge_began = [[0] for _ in range(TOOLS)]  # number of cuts that were there

    def do(self, action: tuple) -> None:
        name, *given = action
        getattr(self, name)(*given)

    def cut(self, whose, tenths, share, entries, material):
        seconds = tenths / 10 * entries
        tool_id = None if whose is None else self.tools[whose]
        chatter_s = round(share * seconds, 3)
        said = {"material": material, "feed_mm_min": 600.0}
        cut_id = self.shop.cut(tool_id, seconds, chatter_s=chatter_s, entries=entries, wait=False, **said)
        self.cuts.append({"id": cut_id, "whose": whose, "s": seconds, "rang_s": chatter_s, "entries": entries,
                          "material": material, "feed": 600.0, "counts": True, "quiet": False})  # fmt: skip

    def one(self, number) -> dict | None:
        return self.cuts[number % len(self.cuts)] if self.cuts else None

    def credit(self, number, whose):
        if cut := self.one(number):
            self.shop.archive.flush(filing=False)
            self.register.credit([cut["id"]], None if whose is None else self.tools[whose])
            cut["whose"] = whose

    def material(self, number, material):
        if cut := self.one(number):
            self.shop.archive.add_correction("cuts", cut["id"], "material", material)
            cut["material"] = material

    def feed(self, number, feed):
        if cut := self.one(number):
            self.shop.archive.add_correction("cuts", cut["id"], "feed_mm_min", feed)
            cut["feed"] = feed

    def judge(self, number, verdict):
        if cut := self.one(number):
            self.shop.archive.add_judgement(cut["id"], verdict)
            cut["counts"] = {NOT_A_CUT: False, A_CUT: True}.get(verdict, cut["counts"])
            cut["quiet"] = {NO_CHATTER: True, CHATTER: False}.get(verdict, cut["quiet"])

    def regrind(self, whose):
        self.register.regrind(self.tools[whose], {"DC": 5.9}, "flank wear")
        self.edge_began[whose].append(len(self.cuts))

    def rename(self, whose):
        label = self.register.tool(self.tools[whose]).label
        self.register.correct("tools", self.tools[whose], "label", label + "'")

    def retire(self, whose):
        if self.register.tool(self.tools[whose]).retirement is None:
            self.register.retire(self.tools[whose], "chipped")

    def counted(self, whose):
        return [cut for cut in self.cuts if cut["counts"] and cut["whose"] == whose]


def agree(totals, expected: list[dict]) -> None:
    rang = sum(0.0 if cut["quiet"] else cut["rang_s"] for cut in expected)
    known = [cut for cut in expected if cut["feed"] is not None]
    assert totals.cuts == len(expected)
    assert totals.entries == sum(cut["entries"] for cut in expected)
    assert totals.cut_time_s == pytest.approx(sum(cut["s"] for cut in expected), abs=1e-9)
    assert totals.chatter_s == pytest.approx(rang, abs=1e-9)
    assert totals.distance_mm == pytest.approx(sum(cut["s"] * cut["feed"] / 60 for cut in known), abs=1e-6)
    assert totals.distance_known_s == pytest.approx(sum(cut["s"] for cut in known), abs=1e-9)
    assert totals.volume_mm3 == 0.0 and totals.volume_known_s == 0.0


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A data folder as the first start leaves it, to be copied instead of migrated each time."""
    folder = tmp_path_factory.mktemp("empty")
    Archive.open(folder, budget_bytes=0, reserve_bytes=0).close()
    return folder


@settings(max_examples=30, deadline=None)
@given(actions=st.lists(ACTION, min_size=3, max_size=25))
def test_totals_are_the_sum_over_the_cuts_whatever_is_corrected(actions, empty, tmp_path_factory):
    folder = tmp_path_factory.mktemp("shop") / "data"
    shutil.copytree(empty, folder)
    archive = Archive.open(folder, budget_bytes=0, reserve_bytes=0)
    try:
        model = Model(Shop(archive))
        for action in actions:
            model.do(action)
        archive.flush(filing=False)
        compare(model)
    finally:
        archive.close()


def compare(model: Model) -> None:
    register = model.register
    everyone = {tool.id: tool for tool in register.tools()}
    for whose, tool_id in enumerate(model.tools):
        counted = model.counted(whose)
        agree(everyone[tool_id].totals, counted)
        assert register.tool(tool_id) == everyone[tool_id]
        began = [*model.edge_began[whose], 10**9]
        for (_, totals, _), (first, end) in zip(register.edges(tool_id), pairwise(began), strict=True):
            agree(totals, [cut for cut in counted if first <= model.cuts.index(cut) < end])
        materials = defaultdict(list)
        for cut in counted:
            materials[cut["material"]].append(cut)
        found = dict(register.by_material(tool_id))
        assert set(found) == set(materials)
        for material, cuts in materials.items():
            agree(found[material], cuts)
        listed = model.shop.archive.cuts(limit=1000, end_mill_id=tool_id)
        credited = {cut["id"] for cut in model.cuts if cut["whose"] == whose}
        assert {cut["id"] for cut in listed} == credited
        assert {cut["context"]["end_mill"] for cut in listed} <= {everyone[tool_id].label}
    agree_uncredited(model)


def agree_uncredited(model: Model) -> None:
    nobody = model.counted(None)
    found = sum(totals.cut_time_s for _, totals in model.register.uncredited())
    assert found == pytest.approx(sum(cut["s"] for cut in nobody), abs=1e-9)


def test_a_correction_brings_holder_and_stickout_along(archive):
    shop = Shop(archive)
    wrong, right = shop.mill("plum #1"), shop.mill("plum #2")
    holder = archive.register.add("holders", {"label": "collet A"})
    archive.register.assemble(wrong, {"holder_id": holder, "stickout_mm": 24})
    archive.register.assemble(right, {"stickout_mm": 31})
    cut_id = shop.cut(wrong, 4.0)
    archive.register.credit([cut_id], right, "forgot to touch it")
    cut = archive.cut(cut_id)
    assert cut["context"]["end_mill"] == "plum #2" and cut["context"]["stickout_mm"] == 31
    assert "holder" not in cut["context"] and cut["origins"]["end_mill_id"] == "corrected"
    assert {row["note"] for row in cut["corrections"]} == {"forgot to touch it"}
    archive.register.credit([cut_id], None)
    assert "end_mill" not in archive.cut(cut_id)["context"]


def test_cuts_of_a_name_that_nobody_knew_are_credited_later(archive):
    shop = Shop(archive)
    for _ in range(3):
        shop.cut_in({"end_mill": "T3"}, 2.0)
    shop.cut_in({"end_mill": "T4"}, 1.0)
    shop.cut_in({}, 1.5)
    assert [(name, each.cut_time_s) for name, each in archive.register.uncredited()] == [
        ("T3", 6.0), (None, 1.5), ("T4", 1.0),
    ]  # fmt: skip
    tool_id = shop.mill("plum #1")
    assert archive.register.credit_name("T3", tool_id) == 3
    assert archive.register.tool(tool_id).totals.cut_time_s == 6.0
    assert archive.register.credit_name("T3", tool_id) == 0
    assert len(archive.cuts(end_mill="plum #1")) == 3 and len(archive.cuts(end_mill="T4")) == 1


def test_crediting_what_is_not_there_changes_nothing(archive):
    shop = Shop(archive)
    tool_id = shop.mill("plum #1")
    cut_id = shop.cut(tool_id, 4.0)
    for cut_ids, whose in (([cut_id, "nothing"], None), ([cut_id], "nobody"), ([], tool_id)):
        with pytest.raises(SettingError):
            archive.register.credit(cut_ids, whose)
    assert archive.register.tool(tool_id).totals.cut_time_s == 4.0


def test_an_older_log_is_added_up_when_it_is_migrated(tmp_path):
    path = tmp_path / "shopmon.db"
    old = sqlite3.connect(path)
    old.executescript(FIRST_SCHEMA)
    old.close()
    engine = open_database(path, tmp_path / "backups")
    with engine.connect() as connection:
        found = connection.exec_driver_sql(
            "SELECT engaged_samples, chatter_samples, entries FROM cuts ORDER BY sequence"
        ).all()
    engine.dispose()
    assert found == [(150, 30, 2), (0, 0, 0)]
    assert list((tmp_path / "backups").glob("*.db"))


def first_schema() -> str:
    """Write the tables of the first migration, with two cuts, as SQL."""
    import sqlalchemy as sa
    from alembic.migration import MigrationContext
    from alembic.operations import Operations
    from alembic.script import ScriptDirectory

    from shopmon.records.database import MIGRATIONS

    engine = sa.create_engine("sqlite://")
    with engine.connect() as connection:
        step = ScriptDirectory(str(MIGRATIONS)).get_revision("0001").module
        with Operations.context(MigrationContext.configure(connection)):
            step.upgrade()
        for statement in (
            "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL)",
            "INSERT INTO alembic_version VALUES ('0001')",
            "INSERT INTO cuts (id, sequence, boot_id, monotonic_s, stream_id, start_monotonic_s,"
            " first_sample, end_sample, engaged, chatter, ended, recovered, keep) VALUES"
            " ('a', 1, 'b', 0, 's', 0, 0, 300, '[[0, 100], [200, 250]]',"
            ' \'[{"start_sample": 210, "end_sample": 240}]\', 1, 0, 0),'
            " ('c', 2, 'b', 0, 's', 0, 0, 0, '[]', '[]', 0, 0, 0)",
        ):
            connection.exec_driver_sql(statement)
        connection.commit()
        return "\n".join(connection.connection.driver_connection.iterdump())


FIRST_SCHEMA = first_schema()
