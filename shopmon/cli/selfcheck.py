"""``shopmon selfcheck``: what is wrong and how to mend it."""

from pathlib import Path

import click

from shopmon.cli.json_output import write_json


@click.command("selfcheck")
@click.option(
    "--data", "data_dir", type=click.Path(path_type=Path), metavar="DIR", help="Data folder to look at."
)
@click.option(
    "--settings", "settings_file", type=click.Path(path_type=Path), metavar="FILE", help="Settings file."
)
@click.option("--port", type=click.IntRange(0, 65535), metavar="P", help="Port of the pages.")
@click.option(
    "--json", "json_file", metavar="-|FILE", help="Write the findings as JSON (shopmon.selfcheck/1)."
)
def command(data_dir, settings_file, port, json_file):
    """Look for what is wrong with this installation, and say how to mend it.

    Every line begins with ok, look (works, could be better) or wrong (will not work). The exit status is 1
    when something is wrong. A running monitor is not disturbed.

    Example: shopmon selfcheck
    """
    from shopmon.service.selfcheck.everything import Question, run_checks
    from shopmon.service.selfcheck.finding import as_report, worst

    findings = run_checks(Question(settings_file=settings_file, data_dir=data_dir, port=port))
    if json_file is not None:
        write_json(as_report(findings), json_file)
    if json_file != "-":
        for line in _lines(findings):
            click.echo(line)
    if worst(findings) == "wrong":
        raise click.exceptions.Exit(1)


def _lines(findings) -> list[str]:
    lines = []
    for finding in findings:
        lines.append(f"{finding.verdict:<6} {finding.name:<12} {finding.text}")
        if finding.hint:
            lines.append(f"{'':<19} {finding.hint}")
    return lines
