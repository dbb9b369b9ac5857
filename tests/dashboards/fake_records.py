"""What the stand-in monitor keeps, in memory: paired devices, values, and a register without tools."""

import time


class FakeDevices:
    """Keeps paired devices and the clock like the archive does, in memory."""

    def __init__(self):
        self.rows: dict[str, dict] = {}
        self.clock: tuple[float, str] | None = None

    def add_device(self, device_id, name, token_hash, scope):
        self.rows[device_id] = {
            "id": device_id,
            "name": name,
            "token_hash": token_hash,
            "scope": scope,
            "added_at": time.time(),
        }

    def device_by_token_hash(self, token_hash):
        return next((row for row in self.rows.values() if row["token_hash"] == token_hash), None)

    def devices(self):
        return list(self.rows.values())

    def remove_device(self, device_id):
        self.rows.pop(device_id, None)

    def set_clock(self, wall_s, origin):
        self.clock = (wall_s, origin)


class FakeValues:
    """Keeps what was changed on a page, in memory."""

    def __init__(self):
        self.values: dict = {}

    def value(self, key):
        return self.values.get(key)

    def set_value(self, key, value, origin):
        self.values[key] = value


class NoTools:
    """The register of a shop that has entered no tool yet."""

    def tools(self, *, totals=True):
        return []

    def shelf(self):
        return [], []

    def version(self):
        return ()

    def kinds(self):
        return []

    def lives(self, type_id=None):
        return []

    def recent(self, limit=6):
        return []

    def tool(self, tool_id):
        return None

    def find(self, word):
        return None

    def rows(self, table, **where):
        return []
