"""The register as files: in and out again the same, and a clear reason where something is wrong."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from shopmon.records.tools.data import register_as_data
from shopmon.records.tools.files import export_csv, import_csv, import_json, read_csv, read_json
from tests.records.shop import Shop

TABLE = """label,kind,type,DC,NOF,RE,FHA,pitch,pitch_deg,coating,price,measured_DC,flutes,retired,note
plum #1,end mill,6 mm ZrN,6.0,3,0.2,38,variable,118 120 122,ZrN,"31,50",5.98,,,
plum #2,end mill,6 mm ZrN,,,,,,,,,,,,second drawer
plum #2,end mill,6 mm ZrN,,,,,,,,,,,broken,the tube is in use again
M5,tap,,,,,,,,,,,3,,
"""


@pytest.fixture
def register(archive):
    return archive.register


def facts(register):
    """What a file can carry of the tools."""
    return [
        (tool.label, tool.kind, tool.type, tool.teeth, tool.diameter_mm, tool.note,
         tool.retirement and tool.retirement.reason)
        for tool in register.tools()
    ]  # fmt: skip


def test_a_table_is_taken_over(register):
    assert import_csv(register, TABLE.encode()) == {"tools": 4, "types": 1}
    first, second, broken, tap = register.tools()
    assert first.type.pitch_deg == (118, 120, 122) and first.type.price == "31,50"
    assert (first.diameter_mm, second.diameter_mm, tap.teeth) == (5.98, 6.0, 3)
    assert broken.retirement.reason == "broken" and second.retirement is None


def test_out_and_in_again_is_the_same(archive, register, open_archive, tmp_path):
    import_csv(register, TABLE.encode())
    Shop(archive).cut(register.tools()[0].id, 90.0)
    table, data = export_csv(register), json.dumps(register_as_data(register))
    assert "cut_time_min" in table.splitlines()[0]
    for name, takes, content in (("csv", import_csv, table), ("json", import_json, data)):
        other = open_archive(tmp_path / name).register
        takes(other, content.encode())
        assert facts(other) == facts(register), name


def test_separators_marks_and_ends_of_lines_of_other_programs(register, open_archive, tmp_path):
    for number, table in enumerate(
        (
            TABLE.replace(",", ";").replace('"31;50"', '"31,50"'),
            "\ufeff" + TABLE,
            TABLE.replace("\n", "\r\n") + "\r\n\r\n",
            TABLE.replace("label,kind", "Label,KIND"),
        )
    ):
        other = open_archive(tmp_path / str(number)).register
        assert import_csv(other, table.encode())["tools"] == 4, number


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (b"", "empty"),
        (b"\n", "'label' is missing"),
        (b"label,kind\n", "no tool"),
        (b"\xff\xd8\xff\xe0", "not UTF-8"),
        (b"PK\x03\x04\0\0", "not text"),
        ("label,kind\nplüm,tap".encode("latin-1"), "not UTF-8"),
        (b"label,kind,diametre\nx,tap,6", "'diametre' is no column"),
        (b"label,type\nx,y", "'kind' is missing"),
        (b"label,kind,label\nx,tap,y", "twice"),
        (b"label,kind\nx,tap,7", "Line 2 has 3 cells"),
        (b"label,kind,type,DC\nx,end mill,t,6,0", "Line 2 has 5 cells"),
        (b"label;kind;type;DC\nx;end mill;t;6,0", "Line 2: DC '6,0' has a decimal comma"),
        (b'label,kind,type,DC\nx,end mill,t,"6,0"', "decimal comma"),
        (b"label,kind,type,DC\nx,end mill,t,6 mm", "Line 2: DC '6 mm' is no number"),
        (b"label,kind,type,DC\nx,end mill,t,nan", "Line 2: Diameter DC cannot be nan"),
        (b"label,kind,type,DC\nx,end mill,t,-6", "Line 2: Diameter DC cannot be -6"),
        (b"label,kind,type,NOF\nx,end mill,t,2.5", "Line 2: Flutes NOF cannot be 2.5"),
        (b"label,kind,flutes\nx,tap,many", "Line 2: flutes 'many'"),
        (b"label,kind\nx,spoon", "Line 2: Kind cannot be 'spoon'"),
        (b"label,kind\n,tap", "Line 2: The label is missing"),
        (b"label,kind,retired\nx,tap,tired", "Line 2: Reason cannot be 'tired'"),
        (b"label,kind,DC\nx,end mill,6", "names no type"),
        (b"label,kind\nx,tap\ny,tap\n X ,tap", "Line 4: the label 'X' is there already, at line 2"),
        (b"label,kind,type,DC\nx,end mill,t,6\ny,end mill,T,8", "Line 3: the type 'T' has DC 6.0 further up"),
        (b"label,kind,type,NOF,pitch_deg\nx,end mill,t,3,100 100", "Line 2: pitch_deg holds 2 angles"),
        (b'label,kind\n"x,tap', "cannot be read as CSV"),
        (b"label,kind\nplum #1,tap", "The label 'plum #1' is there already"),
        (b"label,kind,type,DC\nx,end mill,6 mm ZrN,8", "is there already, with DC 6.0 and not 8.0"),
    ],
)
def test_a_table_that_is_wrong_anywhere_changes_nothing(register, table, said):
    import_csv(register, TABLE.encode())
    before = facts(register), register.kinds()
    with pytest.raises(SettingError) as caught:
        import_csv(register, table)
    assert said in str(caught.value) and caught.value.hint
    assert (facts(register), register.kinds()) == before


def test_a_fault_in_the_last_line_takes_nothing_of_those_before(register):
    lines = ["label,kind,type,DC", *(f"t{number},end mill,some type,6" for number in range(500)), "t7,tap,,"]
    with pytest.raises(SettingError, match="Line 502: the label 't7' is there already, at line 9"):
        import_csv(register, "\n".join(lines).encode())
    assert register.tools() == [] and register.kinds() == []


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"[]",
        b"null",
        b"{}",
        b'{"schema": "shopmon.mills/2", "tools": []}',
        b'{"schema": "shopmon.mills/1"}',
        b'{"schema": "shopmon.mills/1", "tools": 7}',
        b'{"schema": "shopmon.mills/1", "tools": ["x"]}',
        b'{"schema": "shopmon.mills/1", "tools": [{"label": 7, "kind": "tap"}]}',
        b'{"schema": "shopmon.mills/1", "tools": [{"label": "x", "kind": "tap", "edge": 7}]}',
        b'{"schema": "shopmon.mills/1", "tools": [{"label": "x", "kind": "end mill", "type": {"DC": 6}}]}',
        b'{"schema": "shopmon.mills/1", "types": [{"DC": 6}]}',
        b'{"schema": "shopmon.mills/1", "types": [{"label": "x", "DC": "6,0"}]}',
        b"[" * 100_000,
    ],
)
def test_json_that_is_none_of_ours(register, data):
    with pytest.raises(SettingError) as caught:
        import_json(register, data)
    assert caught.value.hint and register.tools() == []


@settings(max_examples=150, deadline=None)
@given(
    content=st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))
)
def test_whatever_is_read_is_refused_in_words(content):
    for reads in (read_csv, read_json):
        try:
            reads(content)
        except SettingError as exc:
            assert exc.text and exc.hint


NAMES = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cs", "Cc", "Zl", "Zp")), min_size=1, max_size=20
)


@settings(max_examples=5, deadline=None)
@given(
    labels=st.lists(
        NAMES.filter(lambda text: text.isprintable() and text.strip()),
        min_size=1,
        max_size=6,
        unique_by=lambda text: " ".join(text.split()).casefold(),
    )
)
def test_any_label_survives_a_table(labels, tmp_path_factory):
    found = []
    for _ in range(2):
        archive = Archive.open(tmp_path_factory.mktemp("register"), budget_bytes=0, reserve_bytes=0)
        try:
            if found:
                import_csv(archive.register, found[0].encode())
            else:
                for label in labels:
                    archive.register.add_tool({"label": label, "kind": "tap", "flutes": 2})
            found.append(export_csv(archive.register))
        finally:
            archive.close()
    assert found[0] == found[1]
