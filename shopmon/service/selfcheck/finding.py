"""One result of the self-check."""

from dataclasses import asdict, dataclass
from typing import Literal

Verdict = Literal["ok", "look", "wrong"]
SCHEMA = "shopmon.selfcheck/1"
ORDER = ("ok", "look", "wrong")


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What was looked at, what was found, and what to do about it.

    ``verdict`` is ``"ok"``, ``"look"`` (works, but something could be better) or ``"wrong"`` (will not work).
    """

    name: str
    verdict: Verdict
    text: str
    hint: str = ""

    def __post_init__(self):
        if self.verdict not in ORDER:
            raise ValueError(f"unknown verdict {self.verdict!r}")
        if self.verdict == "wrong" and not self.hint:
            raise ValueError(f"{self.name}: something wrong needs a hint")


def worst(findings: list[Finding]) -> Verdict:
    """Return the worst verdict among the findings."""
    return max((finding.verdict for finding in findings), key=ORDER.index, default="ok")


def as_report(findings: list[Finding]) -> dict:
    """Return the findings as ``shopmon.selfcheck/1``."""
    return {
        "schema": SCHEMA,
        "verdict": worst(findings),
        "checks": [asdict(finding) for finding in findings],
    }
