"""What the sweeps over the whole project share: its files, and the package laid out as installed."""

import shutil
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
NOT_OURS = {".git", "__pycache__", "build", "dist", "node_modules"}
TEXT_SUFFIXES = {".py", ".md", ".toml", ".html", ".css", ".js", ".ini", ".mako", ".in", ".json", ".sh"}


def project_files(*suffixes: str) -> list[Path]:
    """Return the project's own files with these suffixes, or all of its texts."""
    wanted = set(suffixes) or TEXT_SUFFIXES
    return sorted(
        path
        for path in ROOT.rglob("*")
        if path.suffix in wanted and path.is_file() and not _foreign(path.relative_to(ROOT).parts)
    )


def _foreign(parts: tuple[str, ...]) -> bool:
    return any(
        part in NOT_OURS or part.endswith(".egg-info") or (part.startswith(".") and part != ".ci")
        for part in parts
    )


def lay_out(target: Path) -> Path:
    """Copy the package into `target` as an installation has it, the pages inside; return `target`."""
    skip = shutil.ignore_patterns("__pycache__")
    shutil.copytree(ROOT / "shopmon", target / "shopmon", ignore=skip)
    shutil.copytree(ROOT / "dashboards", target / "shopmon" / "dashboards", ignore=skip)
    return target
