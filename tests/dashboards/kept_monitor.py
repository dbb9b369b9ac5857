"""The stand-in monitor over a real archive: its cuts, sound, figures and tools are those of a data folder."""

from pathlib import Path

from shopmon.records.archive import Archive
from shopmon.service.cuts.told import cut_for_pages
from tests.dashboards.fake_monitor import FakeMonitor


class KeptMonitor(FakeMonitor):
    """Tells of what is in a data folder.

    Parameters
    ----------
    root
        The data folder.
    """

    def __init__(self, root: Path, **options):
        kept = Archive.open(root, budget_bytes=10**9, reserve_bytes=0)
        super().__init__(root, register=kept.register, **{"story": False, "cuts": 0, **options})
        self.archive = kept

    def close(self):
        super().close()
        self.archive.close()

    def cuts(self, limit=100, before_sequence=None, **filters):
        rows = self.archive.cuts(limit=limit, before_sequence=before_sequence, **filters)
        return [cut_for_pages(row) for row in rows]

    def said_of_cuts(self, cut_ids):
        return self.archive.said_of_cuts(cut_ids)

    def cut(self, cut_id):
        row = self.archive.cut(cut_id)
        return cut_for_pages(row, self.archive.events(cut_id=cut_id)) if row else None

    def audio_path(self, cut_id):
        return self.archive.audio_path(cut_id)

    def features(self, cut_id):
        return self.archive.features(cut_id)
