"""All that is known of one tool, as plain data: ``shopmon mills show --json`` and ``GET /api/mills/ID``."""

from typing import Any

from shopmon.cutting.life.lifetimes import CannotTell
from shopmon.cutting.life.wear import WearForecast
from shopmon.cutting.life.words import basis_sentence, more_words
from shopmon.records.tools.data import tool_as_data, totals_as_data
from shopmon.records.tools.reading import RegisterReading
from shopmon.records.tools.rows import ToolRecord
from shopmon.service.mills.condition import condition_as_data, condition_of
from shopmon.service.mills.life import Outlook, tool_lives, wear_of


def tool_sheet(register: RegisterReading, record: ToolRecord, outlook: Outlook | None) -> dict[str, Any]:
    """Return a tool with what it cut of each material, its life, wear and sound.

    Parameters
    ----------
    register
        Holds the limits of wear and the cuts.
    record
        Of the tool.
    outlook
        From `outlook_of` or `Outlooks.now`.
    """
    tool = record.tool
    forecast = wear_of(register, tool, record.readings) if tool.is_end_mill else None
    return {
        **tool_as_data(tool),
        "by_material": [
            {"material": material, **totals_as_data(totals)} for material, totals in record.by_material
        ],
        "life": _life(outlook) if tool.retirement is None else None,
        "wear": {
            "limit_mm": register.wear_limit_mm(tool.type_id) if tool.is_end_mill else None,
            "readings": [
                {
                    "at": reading.t,
                    "VB_mm": reading.VB_mm,
                    "spread": reading.spread,
                    "operation": reading.operation,
                    "note": reading.note,
                    "edge_id": reading.edge_id,
                    "cut_time_s": reading.cut_time_s,
                }
                for reading in record.readings
            ],
            "forecast": _forecast(forecast),
        },
        "sound": condition_as_data(condition_of(register, tool)),
    }


def outlook_of(register: RegisterReading, tool_id: str) -> Outlook | None:
    """Return how much longer one tool is likely to cut; None where it has not cut or has no type."""
    return tool_lives(register).outlooks.get(tool_id)


def _life(outlook: Outlook | None) -> dict[str, Any] | None:
    if outlook is None:
        return None
    left = outlook.remaining
    said = {
        "basis": basis_sentence(left),
        "rests_on": outlook.rests_on,
        "chatter_counts": outlook.chatter_counts,
    }
    if isinstance(left, CannotTell):
        return {**said, "words": ""}
    return {
        **said,
        "words": more_words(left, outlook.longest_min),
        "lower_min": left.lower_min,
        "median_min": left.median_min,
        "upper_min": left.upper_min,
        "likely": left.likely,
        "ended": left.ended,
        "in_use": left.in_use,
    }


def _forecast(forecast: WearForecast | CannotTell | None) -> dict[str, Any] | None:
    if forecast is None:
        return None
    if isinstance(forecast, CannotTell):
        return {"reason": forecast.reason}
    return {
        "reason": "",
        "limit_mm": forecast.limit_mm,
        "lower_min": forecast.lower_min,
        "upper_min": forecast.upper_min,
        "reached": forecast.reached,
        "readings": forecast.readings,
    }
