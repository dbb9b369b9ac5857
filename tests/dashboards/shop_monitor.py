"""The stand-in monitor over a real register: an invented two-person shop with its tools and cuts.

Runs by itself for work on the pages: ``python -m tests.dashboards.shop_monitor --port 8000``.
"""

import argparse
import random
import tempfile
from pathlib import Path

import numpy as np

from shopmon.records.archive import Archive
from shopmon.service.cuts.told import cut_for_pages
from tests.dashboards.fake_monitor import FakeMonitor
from tests.records.shop import Shop, steady_sound


class ShopMonitor(FakeMonitor):
    """Tells of the cuts and tools that are in an archive.

    Parameters
    ----------
    folder
        For the archive.
    """

    def __init__(self, folder: Path, **options):
        self.kept = Archive.open(folder / "data", budget_bytes=0, reserve_bytes=0)
        self.kept.set_clock(1_790_000_000.0, "phone")
        self.shop = Shop(self.kept)
        super().__init__(folder, register=self.kept.register, **{"story": False, "cuts": 0, **options})
        self._context = {"nominal_rpm": 12000.0, "flutes": 3, "material": "7075", "part": "brake lever"}

    def close(self):
        super().close()
        self.outlooks.close()
        self.kept.close()

    def cuts(self, limit=100, before_sequence=None, **filters):
        rows = self.kept.cuts(limit=limit, before_sequence=before_sequence, **filters)
        return [cut_for_pages(row) for row in rows]

    def said_of_cuts(self, cut_ids):
        return self.kept.said_of_cuts(cut_ids)

    def cut(self, cut_id):
        row = self.kept.cut(cut_id)
        return cut_for_pages(row, []) if row else None


def furnish(shop: Shop) -> dict[str, str]:
    """Enter an invented shop's tools, a season of cuts and what else a page can show; return ids by label."""
    register, chance = shop.register, random.Random(5)
    bare = register.add(
        "mill_types",
        {"label": "6 mm bare two-flute", "DC": 6.0, "NOF": 2, "RE": 0.0, "FHA": 45.0, "price": "11.50"},
    )
    holders = [register.add("holders", {"label": f"collet {letter}", "kind": "collet"}) for letter in "AB"]
    register.add("operations", {"label": "finishing"})
    register.add("materials", {"label": "7075", "alloy": "EN AW-7075-T6", "iso_group": "N"})
    register.add("wear_limits", {"VB_mm": 0.12, "type_id": shop.type_id})
    ids = {f"plum #{number}": shop.mill(f"plum #{number}") for number in range(1, 5)}
    for number in (1, 2):
        label = f"bare #{number}"
        ids[label] = register.add_tool({"label": label, "kind": "end mill", "type_id": bare})
    ids["M5 tap"] = register.add_tool({"label": "M5 tap", "kind": "tap", "flutes": 3})
    register.assemble(ids["plum #3"], {"holder_id": holders[0], "stickout_mm": 24, "runout_um": 4})
    register.assemble(ids["bare #1"], {"holder_id": holders[1], "stickout_mm": 21})
    for label in ("plum #1", "plum #2", "plum #3", "bare #1", "M5 tap"):
        for _ in range(12):
            material = chance.choice(["7075", "7075", "316"])
            seconds = round(chance.uniform(30, 300), 1)
            rings = chance.choice([0.0, 0.0, round(seconds / 8, 1)])
            shop.cut(ids[label], seconds, chatter_s=rings, entries=chance.randint(1, 9), material=material,
                     part="brake lever", feed_mm_min=900.0, ap_mm=4.0, ae_mm=0.6, wait=False)  # fmt: skip
    ids["plum #5"] = shop.mill("plum #5")
    register.assemble(ids["plum #5"], {"holder_id": holders[0], "stickout_mm": 24})
    hears = np.random.default_rng(5)
    for number in range(26):  # a tooth of it chips after two thirds of them
        chipped = {"line1": 11.0, "line2": 9.0} if number > 16 else {}
        heard = steady_sound(hears, **chipped)
        shop.cut(ids["plum #5"], 90.0, material="7075", part="hub shell", operation="finishing",
                 feed_mm_min=900.0, ap_mm=4.0, ae_mm=0.6, wait=False, steady=heard)  # fmt: skip
    shop.archive.flush(filing=False)
    register.read_wear(ids["plum #5"], {"VB_mm": 0.07, "spread": "uniform"})
    register.read_wear(ids["plum #3"], {"VB_mm": 0.05, "spread": "uniform"})
    register.read_wear(ids["plum #2"], {"VB_mm": 0.13, "operation": "finishing"})
    register.retire(ids["plum #1"], "chipped", "hit the vice")
    register.regrind(ids["plum #2"], {"DC": 5.9, "LCF": 16.0}, "flank wear")
    shop.cut(ids["plum #2"], 95.0, material="7075")
    shop.cut_in({"end_mill": "T7", "material": "7075"}, 65.0)
    shop.cut_in({}, 20.0)
    return ids


def main() -> None:
    """Serve the pages over the invented shop."""
    from shopmon.dashboards.app import create_app
    from shopmon.dashboards.server import Server

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, default=8000)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        monitor = ShopMonitor(Path(folder))
        ids = furnish(monitor.shop)
        monitor.set_context({"end_mill_id": ids["plum #3"]}, "touched")
        server = Server(create_app(monitor), "127.0.0.1", options.port)
        print(server.url, flush=True)
        try:
            server.run()
        finally:
            server.close()
            monitor.close()


if __name__ == "__main__":
    main()
