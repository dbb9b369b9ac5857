"""What the pages may ask and say of NC programs: load one, name its tools, run it, confirm whose cuts were.

The engine's thread hands in frames and cuts; whatever takes longer (reading a program, looking back) is done
on a slow lane of its own.
"""

import logging
import uuid
from collections.abc import Callable, Mapping
from typing import Any

from shopmon.cutting.program.reading import Program
from shopmon.errors import ProgramError, SettingError, ShopmonError
from shopmon.listening.events import Frame
from shopmon.listening.following.credit import SURE
from shopmon.listening.following.model import STEP_S, ProgramModel
from shopmon.listening.following.run import Place, ProgramRun, Waiting
from shopmon.records.archive import Archive
from shopmon.service.programs.credit import Creditor
from shopmon.service.programs.file import check_size, read_program_file, read_program_text
from shopmon.service.programs.sections import context_of, facts_of_program, section_named, section_words
from shopmon.service.thinking import Thinker

LARGEST_UPLOAD = 8 * 2**20
DOUBTS_AT_ONCE = 20
SETTLE_EVERY_STEPS = int(10 / STEP_S)
log = logging.getLogger(__name__)


class ProgramDesk:
    """Keeps programs, follows the one that runs, and credits cuts to its tools.

    Parameters
    ----------
    archive
        Where programs and cuts are kept.
    use
        Takes over a change of context and who said so; called from the slow lane.
    news
        Called when the pages should look again.
    """

    def __init__(
        self, archive: Archive, use: Callable[[dict, str], Any], news: Callable[[], None] = lambda: None
    ):
        self._archive, self._programs = archive, archive.programs
        self._use, self._news = use, news
        self._creditor = Creditor(archive)
        self._thinker = Thinker()
        self._run: ProgramRun | None = None
        self._program: Program | None = None
        self._facts: dict[str, Any] | None = None
        self._trouble = ""
        self._place: Place | None = None
        self._told: int | None = None
        self._settled: tuple[Waiting, ...] = ()
        self._steps = 0
        self._rate_hz = 1.0

    def start(self) -> None:
        """Go on with the program that was followed when the monitor last ended."""
        running = self._programs.running()
        if running is not None:
            self._thinker.do(("load", running), lambda: self._load(running))

    def close(self) -> None:
        """End the slow lane."""
        self._thinker.close()

    def wait(self, timeout_s: float = 60.0) -> bool:
        """Return True once nothing is read or looked back upon any more."""
        return self._thinker.wait(timeout_s)

    # programs

    def upload(self, name: str, content: bytes) -> dict[str, Any]:
        """Take a program; return its facts.

        Raises
        ------
        ProgramError
            It is too large, or cannot be read: nothing is kept of it.
        SettingError
            It has no name.
        """
        check_size(len(content), LARGEST_UPLOAD)
        program = read_program_text(content)
        ProgramModel(program.sections)  # refuses what cannot be followed
        program_id = str(uuid.uuid4())
        self._programs.add(program_id, name, content, facts_of_program(program))
        self._archive.flush(filing=False)
        return self.program(program_id)

    def all(self) -> list[dict[str, Any]]:
        """Return every program, newest first."""
        running = self._programs.running()
        return [{**facts, "running": facts["id"] == running} for facts in self._programs.all()]

    def program(self, program_id: str) -> dict[str, Any]:
        """Return one program with the tools its numbers stand for.

        Raises
        ------
        SettingError
            There is none with this id.
        """
        found = next((facts for facts in self.all() if facts["id"] == program_id), None)
        if found is None:
            raise SettingError("There is no program with this id.", "Look at the list under Programs.")
        return {**found, "tool_ids": self._programs.tools(program_id)}

    def set_tools(self, program_id: str, tools: Mapping[str, Any]) -> dict[str, Any]:
        """Say which tools of the register the T numbers stand for; cuts that waited for it are credited.

        Raises
        ------
        SettingError
            A number that the program does not have, or a tool that the register does not know.
        """
        known = {str(number) for number in self.program(program_id)["tools"] if number is not None}
        checked: dict[int, str | None] = {}
        for number, tool_id in tools.items():
            if str(number) not in known:
                raise SettingError(f"The program has no tool T{number}.", "Look at its sections.")
            if tool_id is not None and self._archive.register.tool(str(tool_id)) is None:
                raise SettingError("The register has no tool with this id.", "Choose one under End mills.")
            checked[int(number)] = tool_id or None
        self._programs.set_tools(program_id, checked)
        self._archive.flush(filing=False)
        self._creditor.tools_named(program_id)
        self._archive.flush(filing=False)
        self._told = None  # the tool in the spindle may have a name now
        return self.program(program_id)

    def choose(self, program_id: str | None) -> None:
        """Follow a program from now on, or none.

        Raises
        ------
        SettingError
            There is no such program.
        """
        if program_id is not None:
            self.program(program_id)
        self._programs.run(program_id)
        self._archive.flush(filing=False)
        self._settle_all()
        self._run, self._program, self._facts, self._place, self._trouble = None, None, None, None, ""
        if program_id is not None:
            # which tool is in the spindle is not known before the sound has told it
            self._use({"program_section": None, "end_mill": None, "end_mill_id": None}, "program")
            self._thinker.do(("load", program_id), lambda: self._load(program_id))
        self._news()

    def _load(self, program_id: str) -> None:
        facts = self._programs.find(program_id)
        try:
            program = read_program_file(self._programs.path(program_id))
            run = ProgramRun(ProgramModel(program.sections, program.machine.rapid_mm_per_min is not None))
        except (ProgramError, SettingError) as exc:
            self._trouble = f"{exc.text} {exc.hint}"
            return
        if self._programs.running() != program_id:
            return
        run.stream_started(self._rate_hz)
        self._program, self._facts, self._told, self._steps = program, facts, None, 0
        self._run = run
        self._news()

    # what is heard: the engine's thread

    def stream_started(self, sample_rate_hz: float) -> None:
        """Hear of a new stream."""
        self._rate_hz = sample_rate_hz
        if self._run is not None:
            self._run.stream_started(sample_rate_hz)

    def frame(self, frame: Frame) -> None:
        """Take a frame."""
        run = self._run
        if run is None:
            return
        try:
            if self._settled:
                settled, self._settled = self._settled, ()
                run.settled(settled)
            if run.frame(frame):
                self._steps += 1
                self._look(run, frame)
        except Exception:
            # following is a convenience; the listening goes on without it
            log.exception("The program cannot be followed any more")
            self._run, self._trouble = None, "The program cannot be followed any more; choose it again."

    def cut_ended(self, cut_id: str, engaged) -> None:
        """Take a cut whose tool will be settled when more has been heard."""
        if self._run is not None:
            self._run.cut_ended(cut_id, engaged)

    def _look(self, run: ProgramRun, frame: Frame) -> None:
        place = run.place()
        moved = (place and (place.section, place.words)) != (
            self._place and (self._place.section, self._place.words)
        )
        self._place = place
        # a change of tool begins a new cut, so it waits until the tool is out of the metal
        sure = place is not None and place.tool_probability >= SURE and not frame.engaged
        if sure and place.section != self._told:
            self._told = place.section
            self._thinker.do(("section", place.section), lambda: self._use_section(run, place.section))
        elif moved:
            self._news()
        if self._steps % SETTLE_EVERY_STEPS == 0 and run.due():
            self._thinker.do("settle", lambda: self._settle(run, run.due()))

    # the slow lane

    def _use_section(self, run: ProgramRun, section: int) -> None:
        if run is self._run:
            self._use(self._context_of(section), "program")

    def _context_of(self, section: int) -> dict[str, Any]:
        tools = self._programs.tools(self._facts["id"])
        return context_of(self._program, section, tools, self._facts["name"])

    def _settle(self, run: ProgramRun, cuts: tuple[Waiting, ...]) -> None:
        facts, program = self._facts, self._program
        if facts is None or program is None:
            return
        tools = self._programs.tools(facts["id"])
        cuts = tuple(cut for cut in cuts if cut not in self._settled)
        for cut_id, credits in run.settle(cuts):
            try:
                self._creditor.settle(cut_id, credits, program, facts, tools)
            except ShopmonError as exc:
                log.warning("The cut %s cannot be credited: %s", cut_id, exc)
        self._settled = (*self._settled, *cuts)
        self._news()

    def _settle_all(self) -> None:
        run = self._run
        if run is not None and (due := run.due(all_of_them=True)):
            self._settle(run, due)

    # what is known

    def state(self) -> dict[str, Any] | None:
        """Return the ``program`` part of the state; None where none is followed."""
        facts, program, place = self._facts, self._program, self._place
        if facts is None or program is None:
            return {"name": None, "section": None, "trouble": self._trouble} if self._trouble else None
        told = None
        if place is not None:
            section = program.sections[place.section]
            told = {
                "number": place.section + 1,
                "tool": section.tool,
                "rpm": section.rpm,
                "words": section_words(program, place.section),
                "confidence": round(place.probability, 3),
                "sure": place.words,
            }
        return {
            "id": facts["id"],
            "name": facts["name"],
            "sections": len(program.sections),
            "section": told,
            "trouble": self._trouble,
        }

    def told_by_macro(self, text: str) -> dict[str, Any]:
        """Hear from a controller which section begins: its number, or a tool as ``T5``; return what follows.

        Raises
        ------
        SettingError
            The running program has no such section.
        """
        run, program = self._run, self._program
        if run is None or program is None:
            return {}
        section = section_named(program, text, self._place.section if self._place else None)
        run.put(section)
        self._told = section
        return self._context_of(section)

    def tool_choices(self) -> list[dict[str, str]]:
        """Return id and label of every tool in use."""
        tools = self._archive.register.tools(totals=False)
        return [{"id": tool.id, "label": tool.label} for tool in tools if tool.retirement is None]

    def doubts(self, limit: int = DOUBTS_AT_ONCE) -> list[dict[str, Any]]:
        """Return the cuts that wait for the person, newest first; as some are confirmed, others follow."""
        return self._creditor.doubts(limit)

    def confirm(self, cut_id: str, tool_id: str | None) -> None:
        """Say whose a doubtful cut was; None: nobody knows."""
        self._creditor.confirm(cut_id, tool_id)
        self._archive.flush(filing=False)
