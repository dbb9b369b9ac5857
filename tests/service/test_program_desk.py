"""A program loaded, followed and credited: a real archive and register, frames as the listener gives them."""

import uuid

import pytest

from shopmon.cutting.program.reading import read_program
from shopmon.errors import ProgramError, SettingError
from shopmon.listening.events import CutSpan, State
from shopmon.listening.following.credit import Credit
from shopmon.records.archive import Archive, StreamInfo
from shopmon.service.programs.credit import whose
from shopmon.service.programs.desk import ProgramDesk
from shopmon.service.programs.sections import context_of, expected_cut_s, section_named
from tests.listening.following.test_following import frame

RATE = 1000.0
HUB = "\n".join(
    ["G21", "G91"]
    + [
        line
        for tool, rpm, way, note in ((3, 12000, 200, "rougher"), (5, 9000, 250, "drill"), (3, 12000, 100, ""))
        for line in ("M5", f"T{tool} M6 ({note})", f"S{rpm} M3", "G0 Z-5", f"G1 X{way} F600", "G0 Z5")
    ]
    + ["M30"]
)


class Machine:
    """Gives frames and cuts to a desk as the journal would."""

    def __init__(self, archive, desk):
        self.archive, self.desk, self.sample, self.cuts = archive, desk, 0, 0
        self.stream_id = str(uuid.uuid4())
        archive.start_stream(
            StreamInfo(
                source_id="source", stream_id=self.stream_id, name="Synthetic", sample_rate_hz=RATE,
                channels=1, code_format="int16", settings={},
            )
        )  # fmt: skip
        desk.stream_started(RATE)

    def run(self, seconds, rpm, engaged=False):
        """Let time go by: 4 frames a second."""
        state = State.CUTTING if engaged else State.SPINNING if rpm else State.STOPPED
        first = self.sample
        for _ in range(int(4 * seconds)):
            self.sample += 250
            span = CutSpan(
                number=self.cuts, start_sample=first, end_sample=self.sample, engaged=((first, self.sample),)
            )
            cut = span if engaged else None
            self.desk.frame(frame(self.sample, state=state, rpm=rpm or None, engaged=engaged, cut=cut))
        self.cuts += engaged

    def cut(self, seconds, rpm, context=None, origins=None):
        """Cut, and log it in what the desk said last; return the id."""
        first, cut_id = self.sample, str(uuid.uuid4())
        context = context or {}
        if context:
            self.archive.add_context(str(uuid.uuid4()), context, origins or dict.fromkeys(context, "program"))
        self.archive.start_cut(cut_id, self.stream_id, first, context)
        self.run(seconds, rpm, engaged=True)
        engaged = [(first, self.sample)]
        self.run(4, rpm)
        self.archive.end_cut(cut_id, engaged[0][1], engaged, [], {}, "0", "hash")
        self.archive.flush(filing=False)
        self.desk.cut_ended(cut_id, engaged)
        return cut_id


@pytest.fixture
def archive(tmp_path):
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=0, reserve_bytes=0)
    yield archive
    archive.close()


@pytest.fixture
def said():
    return []


@pytest.fixture
def desk(archive, said):
    desk = ProgramDesk(archive, lambda values, origin: said.append((values, origin)))
    yield desk
    desk.close()


@pytest.fixture
def rougher(archive):
    return archive.register.add_tool({"label": "plum #3", "kind": "end mill", "flutes": 3})


@pytest.fixture
def drill(archive):
    return archive.register.add_tool({"label": "drill 4.2", "kind": "drill", "flutes": 2})


def followed(desk, tools):
    """Load the program, name its tools and follow it."""
    program = desk.upload("hub.nc", HUB.encode())
    desk.set_tools(program["id"], tools)
    desk.choose(program["id"])
    assert desk.wait()
    return program["id"]


def whole_run(machine, **context):
    """Run the program from end to end; return the ids of its cuts."""
    cuts = []
    machine.run(10, 0)
    for seconds, rpm in ((22, 11900), (27, 8900), (11, 11900)):
        machine.run(3, rpm)
        cuts.append(machine.cut(seconds, rpm, **context))
        machine.run(25, 0)
    machine.run(60, 0)
    return cuts


def test_cuts_of_a_followed_program_are_credited_to_its_tools(archive, desk, said, rougher, drill):
    followed(desk, {"3": rougher, "5": drill})
    cuts = whole_run(Machine(archive, desk))
    assert desk.wait()
    archive.flush(filing=False)
    assert [archive.cut(cut_id)["context"].get("end_mill") for cut_id in cuts] == [
        "plum #3",
        "drill 4.2",
        "plum #3",
    ]
    assert desk.doubts() == []
    told = [(values.get("program_section"), values.get("end_mill_id"), origin) for values, origin in said]
    assert told == [
        (None, None, "program"),
        ("1 of 3: T3 rougher", rougher, "program"),
        ("2 of 3: T5 drill", drill, "program"),
        ("3 of 3: T3", rougher, "program"),
    ]
    assert [values.get("nominal_rpm") for values, _ in said[1:]] == [12000.0, 9000.0, 12000.0]


def test_the_present_section_is_told_with_how_sure_it_is(archive, desk, rougher):
    followed(desk, {"3": rougher})
    assert desk.state()["section"] is None
    machine = Machine(archive, desk)
    machine.run(10, 0)
    machine.run(3, 11900)
    machine.run(10, 11900, engaged=True)
    state = desk.state()
    assert (state["name"], state["sections"]) == ("hub.nc", 3)
    assert state["section"]["words"] == "1 of 3: T3 rougher"
    assert state["section"]["sure"] in ("sure", "likely")


def test_a_tool_without_a_name_waits_until_it_has_one(archive, desk, rougher, drill):
    program_id = followed(desk, {"3": rougher})
    cuts = whole_run(Machine(archive, desk))
    assert desk.wait()
    archive.flush(filing=False)
    (doubt,) = desk.doubts()
    assert doubt["cut_id"] == cuts[1] and doubt["sure"]
    assert [(choice["tool"], choice["tool_id"], choice["label"]) for choice in doubt["choices"]] == [
        (5, None, "T5 of hub.nc")
    ]
    desk.set_tools(program_id, {"5": drill})
    assert desk.doubts() == []
    assert archive.cut(cuts[1])["context"]["end_mill"] == "drill 4.2"


def test_what_a_person_said_is_left_alone(archive, desk, rougher, drill):
    followed(desk, {"3": rougher, "5": drill})
    touched = {"context": {"end_mill": "plum #3", "end_mill_id": rougher}}
    cuts = whole_run(
        Machine(archive, desk), **touched, origins={"end_mill": "touched", "end_mill_id": "touched"}
    )
    assert desk.wait()
    archive.flush(filing=False)
    assert {archive.cut(cut_id)["context"]["end_mill"] for cut_id in cuts} == {"plum #3"}


def test_a_doubtful_cut_is_nobodys_until_it_is_confirmed(archive, desk, rougher, drill):
    program_id = followed(desk, {"3": rougher, "5": drill})
    machine = Machine(archive, desk)
    machine.run(10, 0)
    cut_id = machine.cut(5, 3000, context={"end_mill": "plum #3", "end_mill_id": rougher})  # other work
    machine.run(90, 0)
    desk.choose(None)
    archive.flush(filing=False)
    (doubt,) = desk.doubts()
    assert (doubt["cut_id"], doubt["program_id"]) == (cut_id, program_id)
    assert "end_mill" not in archive.cut(cut_id)["context"]
    desk.confirm(cut_id, drill)
    assert desk.doubts() == []
    assert archive.cut(cut_id)["context"]["end_mill"] == "drill 4.2"
    with pytest.raises(SettingError, match="does not wait"):
        desk.confirm(cut_id, drill)


def test_a_macro_says_which_section_begins(archive, desk, rougher, drill):
    followed(desk, {"3": rougher, "5": drill})
    Machine(archive, desk).run(3, 0)
    told = desk.told_by_macro("T5")
    assert (told["end_mill_id"], told["nominal_rpm"]) == (drill, 9000.0)
    assert desk.state()["section"] is None or desk.state()["section"]["number"] == 2
    with pytest.raises(SettingError, match="no section 'T9'"):
        desk.told_by_macro("T9")


def test_it_goes_on_after_a_restart(archive, said, rougher):
    first = ProgramDesk(archive, lambda *_: None)
    program_id = followed(first, {"3": rougher})
    first.close()
    again = ProgramDesk(archive, lambda *_: None)
    again.start()
    assert again.wait()
    assert again.state()["id"] == program_id
    assert again.program(program_id)["tool_ids"] == {3: rougher}
    again.close()


@pytest.mark.parametrize(
    ("content", "error"),
    [
        (b"", "empty"),
        (b"\x00\x01", "binary"),
        (b"hello there", "no NC program"),
        (b"G1 X1 F100\n" * 900_000, "more than the 8 MB"),
        (HUB.replace("G91", "G91\nG2 X1 I5 F100").encode(), "does not close"),
    ],
)
def test_what_cannot_be_read_is_not_kept(archive, desk, content, error):
    with pytest.raises(ProgramError, match=error):
        desk.upload("bad.nc", content)
    assert desk.all() == []
    assert not list((archive._data.root / "programs").glob("*")) if archive._data.programs.exists() else True


def test_tools_and_programs_that_are_not_there(archive, desk, rougher):
    program = desk.upload("hub.nc", HUB.encode())
    for tools in ({"9": rougher}, {"3": "nobody"}):
        with pytest.raises(SettingError):
            desk.set_tools(program["id"], tools)
    with pytest.raises(SettingError, match="no program with this id"):
        desk.choose("nothing")
    with pytest.raises(SettingError, match="no name"):
        desk.upload(" ", HUB.encode())


def test_sections_by_number_and_tool():
    program = read_program(lambda: HUB.split("\n"))
    assert [section_named(program, text, None) for text in ("1", "2 of 3: T5", "T5", "t3")] == [0, 1, 1, 0]
    assert section_named(program, "T3", 1) == 2
    assert context_of(program, 1, {}, "hub.nc")["end_mill"] == "T5 of hub.nc"


def test_what_one_cut_should_come_to():
    once, twice = (
        read_program(
            lambda gap=gap: ["G21 G91", "T1 M6", "S1 M3", "G1 X10 F600", f"G0 Z{gap}", "G1 X10", "M30"]
        )
        for gap in (10, 400)
    )
    assert expected_cut_s(once.sections[0]) == pytest.approx(1.2)  # 0.6 of 2 s
    assert expected_cut_s(twice.sections[0]) is None


def test_whose_a_cut_was():
    def credit(seconds, tool, certain):
        return Credit(0.0, seconds, 0, tool, 0.99, certain, (0,))

    assert whose([credit(10, 3, True), credit(0.3, 5, False)]) == (3, True)
    assert whose([credit(10, 3, True), credit(4, 5, True)]) == (3, False)
    assert whose([credit(10, 3, False)]) == (3, False)
    assert whose([]) == (None, False)
