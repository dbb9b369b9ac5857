"""The shapes in which the register tells what it knows: tools, edges, assemblies, readings."""

from dataclasses import dataclass, field
from typing import Any

from shopmon.cutting.nouns import EndMillType, Holder, ToolAssembly
from shopmon.records.cuts.credit import NOTHING, Totals
from shopmon.records.tools.fields import END_MILL, WORN

# values of a context that follow from the tool in the spindle
FOLLOWS_THE_TOOL = (
    *("end_mill_id", "tool_assembly", "holder", "stickout_mm"),
    *("flutes", "diameter_mm", "helix_deg", "rated_rpm"),
)


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A type of end mill with its row.

    Attributes
    ----------
    t
        When it was entered, seconds since 1970; None where the clock was not set.
    """

    id: str
    sequence: int
    t: float | None
    type: EndMillType
    note: str

    @property
    def label(self) -> str:
        """The shop's name for it."""
        return self.type.label


@dataclass(frozen=True, kw_only=True)
class Edge:
    """One life of a tool: as it came, or from one regrind to the next. Sizes are measured ones, in mm."""

    id: str
    tool_id: str
    number: int
    from_sequence: int
    until_sequence: int
    t: float | None
    DC: float | None
    LCF: float | None
    coating: str | None
    note: str


@dataclass(frozen=True, kw_only=True)
class Assembly:
    """A tool in a holder from a day on; with neither holder nor stickout it was taken out.

    Attributes
    ----------
    runout_um
        Half of what a dial indicator reads, as in `shopmon.cutting.nouns.ToolAssembly`.
    """

    id: str
    tool_id: str
    sequence: int
    t: float | None
    holder_id: str | None
    holder: Holder | None
    stickout_mm: float | None
    runout_um: float | None
    note: str

    @property
    def apart(self) -> bool:
        """Whether this says that the tool is in no holder."""
        return self.holder_id is None and self.stickout_mm is None


@dataclass(frozen=True, kw_only=True)
class Retirement:
    """An edge that was retired, and why."""

    id: str
    tool_id: str
    edge_id: str
    sequence: int
    t: float | None
    reason: str
    withdrawn: bool
    note: str

    @property
    def worn(self) -> bool:
        """Whether the edge had come to its end; lost and still good ones had not."""
        return self.reason in WORN


@dataclass(frozen=True, kw_only=True)
class WearReading:
    """Flank wear seen through a microscope, and how long the edge had cut by then."""

    id: str
    tool_id: str
    edge_id: str | None
    sequence: int
    t: float | None
    VB_mm: float
    spread: str | None
    operation: str | None
    note: str
    cut_time_s: float


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A photograph of a tool."""

    id: str
    tool_id: str
    sequence: int
    t: float | None
    path: str
    media_type: str
    note: str


@dataclass(frozen=True, kw_only=True)
class Tool:
    """One physical tool with a label on its tube, as it stands today.

    Attributes
    ----------
    kind
        ``end mill``, or what else it is; only end mills have a type and a life.
    edge
        The present one.
    edge_totals, totals
        What that edge has cut, and all its edges together.
    retirement
        Of the present edge; None while the tool is in use.
    assembly
        The present one, or None while it is in no holder.
    """

    id: str
    label: str
    kind: str
    sequence: int
    t: float | None
    type_id: str | None
    type: EndMillType | None
    flutes: int | None
    note: str
    edge: Edge
    edge_totals: Totals = NOTHING
    totals: Totals = NOTHING
    retirement: Retirement | None = None
    assembly: Assembly | None = None

    @property
    def is_end_mill(self) -> bool:
        """Whether it is one: all else is logged without statistics of life."""
        return self.kind == END_MILL

    @property
    def teeth(self) -> int | None:
        """Flutes: of its type, or as written for it."""
        return self.type.NOF if self.type and self.type.NOF else self.flutes

    @property
    def diameter_mm(self) -> float | None:
        """As measured at the present edge, else that of its type."""
        return self.edge.DC or (self.type.DC if self.type else None)

    @property
    def as_assembly(self) -> ToolAssembly | None:
        """The noun of machining that stands for it; None where it has no type or no holder."""
        if self.type is None or self.assembly is None:
            return None
        made = self.assembly
        return ToolAssembly(
            mill=self.type, holder=made.holder, stickout_mm=made.stickout_mm, runout_um=made.runout_um
        )

    @property
    def assembly_label(self) -> str | None:
        """What stands in the log for tool, holder and stickout together."""
        if self.assembly is None:
            return None
        held = f"in {self.assembly.holder.label}" if self.assembly.holder else ""
        out = f"{self.assembly.stickout_mm:g} mm out" if self.assembly.stickout_mm else ""
        return ", ".join(filter(None, (self.label, held, out)))

    def context(self) -> dict[str, Any]:
        """Return what follows for the context of a cut with this tool in the spindle."""
        holder = self.assembly.holder if self.assembly else None
        marked_rpm = [part.RPMX for part in (self.type, holder) if part and part.RPMX]
        return {
            "end_mill": self.label,
            "end_mill_id": self.id,
            "tool_assembly": self.assembly_label,
            "holder": holder.label if holder else None,
            "stickout_mm": self.assembly.stickout_mm if self.assembly else None,
            "flutes": self.teeth,
            "diameter_mm": self.diameter_mm,
            "helix_deg": abs(self.type.FHA) if self.type and self.type.FHA is not None else None,
            "rated_rpm": min(marked_rpm, default=None),
        }


@dataclass(frozen=True, kw_only=True)
class ToolRecord:
    """All that is known of one tool.

    Attributes
    ----------
    edges
        Oldest first, each with what it cut and the retirement that stands.
    by_material
        What was cut of each material, most first; None where nobody said.
    readings
        Of wear, oldest first.
    """

    tool: Tool
    edges: list[tuple[Edge, Totals, Retirement | None]]
    by_material: list[tuple[str | None, Totals]]
    readings: list[WearReading]


@dataclass(frozen=True, kw_only=True)
class EdgeLife:
    """One edge for the statistics of life: what it cut, in what, and whether it came to its end.

    Attributes
    ----------
    by_material
        Totals up to the retirement, per material; the key is None where nobody said.
    retirement
        The one that stands; None while the edge is in use.
    """

    tool_id: str
    label: str
    type_id: str | None
    edge: Edge
    retirement: Retirement | None
    by_material: dict[str | None, Totals] = field(default_factory=dict)
