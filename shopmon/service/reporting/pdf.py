"""A page as PDF, by a Chromium that happens to be there; it gets no network and no more than a minute."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from shopmon.errors import SettingError

BROWSERS = ("chromium", "chromium-browser", "chrome")
LONGEST_S = 90.0
PRINT_IT = "Open the page in any browser and print it there; it fits A4 and letter."
OPTIONS = (
    "--headless",
    "--disable-gpu",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--no-pdf-header-footer",
)


def browser() -> str | None:
    """Return the browser on the search path, None where there is none."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def as_pdf(html: str, longest_s: float = LONGEST_S) -> bytes:
    """Return a page of its own as PDF.

    Parameters
    ----------
    html
        Loads nothing from elsewhere; its ``@page`` says the paper.

    Raises
    ------
    SettingError
        No browser is there, or it did not print it in time.
    """
    found = browser()
    if found is None:
        raise SettingError("No Chromium was found, so no PDF can be made.", PRINT_IT)
    with tempfile.TemporaryDirectory(prefix="shopmon-") as place:
        page, pdf = Path(place) / "report.html", Path(place) / "report.pdf"
        page.write_text(html, encoding="utf-8")
        command = [
            found,
            *OPTIONS,
            f"--user-data-dir={place}/profile",
            f"--print-to-pdf={pdf}",
            page.as_uri(),
        ]
        if os.geteuid() == 0:
            command.insert(1, "--no-sandbox")  # it refuses to run for root otherwise
        try:
            done = subprocess.run(command, capture_output=True, timeout=longest_s, check=False)
        except subprocess.TimeoutExpired:
            raise SettingError(f"Chromium did not print within {longest_s:.0f} s.", PRINT_IT) from None
        except OSError as exc:
            raise SettingError(f"Chromium cannot be run ({exc.strerror}).", PRINT_IT) from None
        if done.returncode or not pdf.is_file() or not pdf.read_bytes().startswith(b"%PDF"):
            raise SettingError(f"Chromium made no PDF (status {done.returncode}).", PRINT_IT)
        return pdf.read_bytes()
