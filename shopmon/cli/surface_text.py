"""Marks on a wall as text."""


def as_text(result: dict, name: str) -> str:
    """Return the report for a person."""
    lines = []
    if "verdict" in result:
        lines += [f"{name}: {result['text']}" if name else result["text"]]
        lines += [f"  {marks['text']}" for marks in result["marks"]]
        for notice in result["notices"]:
            lines += ["", notice["text"], f"  {notice['hint']}"]
    if result["expected"]:
        lines += ["", "To be expected of this cut:"] if lines else ["To be expected of this cut:"]
        lines += [f"  {each['text']}" for each in result["expected"]]
    return "\n".join(lines)
