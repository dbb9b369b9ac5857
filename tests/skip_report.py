"""A pytest plug-in: lists the reasons why tests were skipped, and with ``--skips-fail`` fails over them.

Only one reason is ever accepted then: the real recordings are not on this machine.
"""

import os

ACCEPTED = "SHOPMON_REFERENCE_DATA is not set"


def pytest_addoption(parser):
    """Add the option."""
    parser.addoption("--skips-fail", action="store_true", help="a skipped test is a failure")


def reasons(reporter):
    """Count the skipped and the expectedly failed tests by their reason."""
    found = {}
    for report in reporter.stats.get("skipped", []) + reporter.stats.get("xfailed", []):
        text = report.longrepr[2] if isinstance(report.longrepr, tuple) else getattr(report, "wasxfail", "")
        found[text.removeprefix("Skipped: ")] = found.get(text.removeprefix("Skipped: "), 0) + 1
    return found


def unaccepted(found):
    """Return the reasons that a strict run does not accept."""
    return [text for text in found if "SHOPMON_REFERENCE_DATA" in os.environ or not text.startswith(ACCEPTED)]


def pytest_sessionfinish(session):
    """Turn a skip into a failed run where that was asked for."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if session.config.getoption("--skips-fail") and unaccepted(reasons(reporter)) and session.exitstatus == 0:
        session.exitstatus = 1


def pytest_terminal_summary(terminalreporter, config):
    """Say in plain words what was skipped."""
    found = reasons(terminalreporter)
    if not found:
        return
    terminalreporter.section("skipped, and why")
    for text, count in sorted(found.items()):
        terminalreporter.line(f"{count:4} x  {text}")
    if config.getoption("--skips-fail") and (bad := unaccepted(found)):
        text = f"Nothing may be skipped in this run: it fails over {len(bad)} of these reasons."
        terminalreporter.line(text, red=True)
