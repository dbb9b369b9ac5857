"""The tables of the register: kinds of tools, the tools themselves, and what is known of each.

Dimensions carry the property symbols of ISO 13399, in mm and degrees. Rows are only ever added: a value that
was wrong is set right by a row in ``corrections``, and how long a tool has cut is never stored with it.
"""

import sqlalchemy as sa

from shopmon.records import tables
from shopmon.records.tables import json_column, stamped_table

metadata = tables.metadata  # with the register's tables in it


def _tool() -> sa.Column:
    return sa.Column("tool_id", sa.Text, sa.ForeignKey("tools.id"), nullable=False, index=True)


def _label() -> sa.Column:
    return sa.Column("label", sa.Text, nullable=False)


def _note() -> sa.Column:
    return sa.Column("note", sa.Text, nullable=False, server_default="")


def _numbers(*names: str) -> list[sa.Column]:
    return [sa.Column(name, sa.Float) for name in names]


mill_types = stamped_table(
    "mill_types",
    _label(),
    *_numbers("DC", "DMM", "DN", "APMX", "LCF", "LU", "LF", "OAL", "RE", "FHA", "RPMX"),
    sa.Column("NOF", sa.Integer),
    sa.Column("pitch", sa.Text),  # equal, variable
    json_column("pitch_deg"),
    sa.Column("substrate", sa.Text),
    sa.Column("coating", sa.Text),
    sa.Column("maker", sa.Text),
    sa.Column("price", sa.Text),
    _note(),
)

tools = stamped_table(
    "tools",
    _label(),  # what is written on its tube
    sa.Column("kind", sa.Text, nullable=False),  # end mill, drill, tap, chamfer tool, other
    sa.Column("type_id", sa.Text, sa.ForeignKey("mill_types.id"), index=True),
    sa.Column("flutes", sa.Integer),  # of what has no type
    _note(),
)

tool_edges = stamped_table(  # the edge it came with, then one more with every regrind
    "tool_edges",
    _tool(),
    sa.Column("from_sequence", sa.Integer, nullable=False),  # it cuts from this place of the log on
    *_numbers("DC", "LCF"),
    sa.Column("coating", sa.Text),
    _note(),
)

holders = stamped_table("holders", _label(), sa.Column("kind", sa.Text), *_numbers("RPMX"), _note())

tool_assemblies = stamped_table(  # neither holder nor stickout: taken out of the holder
    "tool_assemblies",
    _tool(),
    sa.Column("holder_id", sa.Text, sa.ForeignKey("holders.id"), index=True),
    *_numbers("stickout_mm", "runout_um"),
    _note(),
)

materials = stamped_table(
    "materials", _label(), sa.Column("alloy", sa.Text), sa.Column("iso_group", sa.Text), _note()
)
parts = stamped_table("parts", _label(), _note())
operations = stamped_table("operations", _label(), _note())

tool_retirements = stamped_table(
    "tool_retirements",
    _tool(),
    sa.Column("edge_id", sa.Text, sa.ForeignKey("tool_edges.id"), nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("withdrawn", sa.Boolean, nullable=False, server_default=sa.false()),
    _note(),
)

wear_readings = stamped_table(  # VB: flank wear through a microscope
    "wear_readings",
    _tool(),
    sa.Column("VB_mm", sa.Float, nullable=False),
    sa.Column("spread", sa.Text),  # uniform (mean of the teeth) or localized (the worst place of one tooth)
    sa.Column("operation", sa.Text),
    _note(),
)

wear_limits = stamped_table(  # the person's own; no type or operation: for all of them
    "wear_limits",
    sa.Column("type_id", sa.Text, sa.ForeignKey("mill_types.id"), index=True),
    sa.Column("operation", sa.Text),
    sa.Column("VB_mm", sa.Float, nullable=False),
    _note(),
)

tool_photos = stamped_table(
    "tool_photos",
    _tool(),
    sa.Column("path", sa.Text, nullable=False),  # relative to the data folder
    sa.Column("media_type", sa.Text, nullable=False),
    _note(),
)

finish_readings = stamped_table(  # roughness that was measured, or an ordered grade against a reference part
    "finish_readings",
    sa.Column("tool_id", sa.Text, sa.ForeignKey("tools.id"), index=True),
    sa.Column("cut_id", sa.Text, sa.ForeignKey("cuts.id"), index=True),
    sa.Column("part", sa.Text),
    sa.Column("piece", sa.Text),  # which one of the parts: a number or a random code
    sa.Column("operation", sa.Text),
    sa.Column("material", sa.Text),
    *_numbers("Ra_um", "Rz_um", "Rq_um"),
    sa.Column("standard", sa.Text),  # ISO 21920 and ISO 4287 define them differently
    sa.Column("grade", sa.Integer),  # higher is better; what each stands for is the person's
    _note(),
)

blind_trials = stamped_table(  # the seed draws order and codes anew (cutting/compare/blind.py)
    "blind_trials",
    sa.Column("seed", sa.Integer, nullable=False),
    json_column("tool_ids", nullable=False),
    sa.Column("parts", sa.Integer, nullable=False),
    sa.Column("material", sa.Text),
    sa.Column("operation", sa.Text),
    _note(),
)
