"""Labels for the plastic tubes: a QR code that opens the tool's page, and what a person reads."""

from typing import Any

from shopmon.records.tools.rows import Tool

ON_A_SHEET = 24  # three across, eight down, on A4 as on letter
ID_DIGITS = 8  # of the tool's id: short, so that the code is coarse enough for a tube


def sheet(tools: list[Tool], number: int, address: str) -> dict[str, Any]:
    """Return what one sheet of labels shows.

    Parameters
    ----------
    tools
        All that are to be labelled.
    number
        Of the sheet, from 1.
    address
        Of the monitor, as phones reach it.
    """
    sheets = max(1, -(-len(tools) // ON_A_SHEET))
    number = min(number, sheets)
    shown = tools[(number - 1) * ON_A_SHEET : number * ON_A_SHEET]
    return {
        "labels": [(tool, qr_code(f"{address}/m/{tool.id[:ID_DIGITS]}")) for tool in shown],
        "number": number,
        "sheets": sheets,
        "address": address,
    }


def qr_code(url: str) -> str:
    """Return a QR code as an SVG element; one mask for all is readable and three times as fast to make."""
    import segno

    picture = segno.make(url, error="m", micro=False, mask=2)
    drawn = picture.svg_inline(
        scale=1, border=3, dark="#000", light="#fff", omitsize=True, svgclass="qr", lineclass=None
    )
    return drawn.replace("<svg ", '<svg aria-hidden="true" ', 1)
