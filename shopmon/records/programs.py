"""NC programs that were loaded: the text as it came beside the database, the facts in it, never changed.

What is said of a program later (which tool of the register its T numbers are, which one runs) is kept as
values with their date; the newest counts.
"""

from pathlib import Path
from typing import Any

from shopmon.errors import SettingError, StoreError
from shopmon.records.folder import FolderPaths, sync, whole_file
from shopmon.records.reading import Reader
from shopmon.records.row_writing import RowWriting

PROGRAM, TOOLS, RUNNING, DOUBT = "program", "program-tools", "program-running", "program-doubt"
NAME_LIMIT = 120


class Programs:
    """Keeps programs.

    Parameters
    ----------
    rows
        The archive: reads and writes values.
    data
        The data folder.
    """

    def __init__(self, rows: "Reader | RowWriting", data: FolderPaths):
        self._rows, self._data = rows, data

    def add(self, program_id: str, name: str, content: bytes, facts: dict[str, Any]) -> None:
        """Keep a program.

        Raises
        ------
        SettingError
            It has no name.
        StoreError
            The disk does not take it.
        """
        name = "".join(letter for letter in name if letter.isprintable()).strip()[:NAME_LIMIT]
        if not name:
            raise SettingError("The program has no name.", "Give the name of its file.")
        path = self.path(program_id)
        try:
            path.parent.mkdir(exist_ok=True)
            with whole_file(path) as fresh:
                fresh.write_bytes(content)
            sync(path.parent)
        except OSError as exc:
            raise StoreError(
                f"The program cannot be kept ({exc.strerror}).", "Look at the disk's free space."
            ) from exc
        row = {"id": program_id, "name": name, "bytes": len(content), **facts}
        self._rows.set_value(PROGRAM, row, "touched")

    def path(self, program_id: str) -> Path:
        """Return where the text of a program lies."""
        return self._data.programs / f"{program_id}.nc"

    def all(self) -> list[dict[str, Any]]:
        """Return the facts of every program with ``t``, newest first."""
        history = self._rows.value_history(PROGRAM)
        return [{**row["value"], "t": row["t"]} for row in reversed(history)]

    def find(self, program_id: str) -> dict[str, Any] | None:
        """Return the facts of one program, None where it is not known."""
        return next((row for row in self.all() if row["id"] == program_id), None)

    def tools(self, program_id: str) -> dict[int, str]:
        """Return the tool of the register that each T number stands for, as far as somebody said."""
        history = self._rows.value_history(TOOLS)
        said = [row["value"]["tools"] for row in history if row["value"]["id"] == program_id]
        return {int(number): tool_id for number, tool_id in said[-1].items() if tool_id} if said else {}

    def set_tools(self, program_id: str, tools: dict[int, str | None]) -> None:
        """Say which tools of the register the T numbers stand for."""
        known = {**self.tools(program_id), **tools}
        self._rows.set_value(TOOLS, {"id": program_id, "tools": known}, "touched")

    def running(self) -> str | None:
        """Return the id of the program that is followed."""
        found = self._rows.value(RUNNING)
        return found["id"] if found else None

    def run(self, program_id: str | None) -> None:
        """Say which program is followed."""
        self._rows.set_value(RUNNING, {"id": program_id}, "touched")

    def doubt(self, cut_id: str, facts: dict[str, Any]) -> None:
        """Keep that nobody is sure whose a cut was, or (``open`` false) that it has been said."""
        self._rows.set_value(DOUBT, {"cut_id": cut_id, **facts}, "guessed")

    def doubts(self) -> list[dict[str, Any]]:
        """Return the cuts of which it is still open whose they were, newest first."""
        newest: dict[str, dict] = {}
        for row in self._rows.value_history(DOUBT):
            newest.pop(row["value"]["cut_id"], None)
            newest[row["value"]["cut_id"]] = row["value"]
        return [value for value in reversed(newest.values()) if value.get("open")]
