"""A stand-in for the desk of programs: one invented program, one doubtful cut, no sound."""

from shopmon.cutting.program.reading import read_program
from shopmon.errors import SettingError
from shopmon.service.programs.file import check_text
from shopmon.service.programs.sections import facts_of_program, section_words

TEXT = [
    "G21 G90", "T3 M6 (10 mm rougher)", "S12000 M3", "G0 X0 Y0 Z5", "G1 Z-2 F600", "X120 F2400", "G0 Z50",
    "T5 M6 (drill 4.2)", "S6000 M3", "G81 X10 Y10 Z-12 R2 F300", "G80", "M30",
]  # fmt: skip
DOUBT = {
    "cut_id": "cut-7", "t": 1_790_000_000.0, "cut_time_s": 41.3, "program": "hub.nc", "program_id": "hub",
    "sure": False,
    "choices": [
        {"tool": 3, "tool_id": "plum", "label": "plum #3", "section": "1 of 2: T3 10 mm rougher"},
        {"tool": 5, "tool_id": None, "label": "T5 of hub.nc", "section": "2 of 2: T5 drill 4.2"},
    ],
}  # fmt: skip


class FakePrograms:
    """The desk's methods over invented data."""

    def __init__(self):
        self.program_now = read_program(lambda: TEXT)
        facts = {"id": "hub", "name": "hub.nc", "t": 1_790_000_000.0, **facts_of_program(self.program_now)}
        self.programs = [facts]
        self.followed: str | None = None
        self.section: int | None = None
        self.trouble = ""
        self.open_doubts = [dict(DOUBT)]
        self.named: dict[int, str | None] = {3: "plum"}

    def all(self):
        return [{**facts, "running": facts["id"] == self.followed} for facts in self.programs]

    def program(self, program_id):
        found = next((facts for facts in self.all() if facts["id"] == program_id), None)
        if found is None:
            raise SettingError("There is no program with this id.", "Look at the list under Programs.")
        return {**found, "tool_ids": self.named}

    def upload(self, name, content):
        check_text(content)
        program = read_program(lambda: content.decode().split("\n"))
        facts = {"id": f"p{len(self.programs)}", "name": name, "t": None, **facts_of_program(program)}
        self.programs.insert(0, facts)
        return facts

    def choose(self, program_id):
        if program_id is not None:
            self.program(program_id)
        self.followed = program_id

    def set_tools(self, program_id, tools):
        self.named |= {int(number): tool_id for number, tool_id in tools.items()}
        return self.program(program_id)

    def tool_choices(self):
        return [{"id": "plum", "label": "plum #3"}, {"id": "drill", "label": "drill 4.2 left of the box"}]

    def doubts(self):
        return self.open_doubts

    def confirm(self, cut_id, tool_id):
        if not any(doubt["cut_id"] == cut_id for doubt in self.open_doubts):
            raise SettingError("This cut does not wait to be confirmed.", "Look at the list under Programs.")
        self.open_doubts = [doubt for doubt in self.open_doubts if doubt["cut_id"] != cut_id]

    def state(self):
        if self.followed is None:
            return None
        told = None
        if self.section is not None:
            words = section_words(self.program_now, self.section)
            told = {"number": self.section + 1, "words": words, "sure": "likely", "confidence": 0.9}
        return {
            "id": self.followed, "name": "hub.nc", "sections": 2, "section": told, "trouble": self.trouble,
        }  # fmt: skip
