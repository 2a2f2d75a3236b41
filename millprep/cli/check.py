"""`millprep check`: a job checked against every rule, nothing written."""

from __future__ import annotations

import json
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import fresh_option, json_option


@click.command()
@click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))
@click.option(
    "--pictures",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Draw copper, findings, and the potential and current of every solved net into this "
    "folder.",
)
@click.option("--repair", is_flag=True, help="Mend damaged drawings, as prepare --repair does.")
@fresh_option
@json_option("Print the same as JSON.")
def check(job_file: Path, pictures: Path | None, repair: bool, fresh: bool, as_json: bool) -> None:
    """Check a job against all rules, and write no set.

    The rules are those of spacing, current, voltage drop and holes. Millprep plans the job, cuts
    the programs in simulation and throws them away. It then judges the copper that would be left
    by what the job says of its nets. The exit code is 1 when prepare would refuse the job.
    """
    import millprep
    from millprep import cache
    from millprep.model.finding import many

    kept = None if fresh else cache.user_cache()
    with terminal.refusals(as_json=as_json), cache.using(kept):
        cut_set = millprep.check(job_file, terminal.steps(terminal.PREPARE), repair=repair)
    terminal.say_findings(cut_set.findings)
    if as_json:
        from millprep.report.report_model import check_row

        click.echo(json.dumps(check_row(cut_set), indent=1))
    else:
        from millprep.report.rules_words import rule_lines

        for line in rule_lines(cut_set):
            click.echo(line)
    if pictures is not None:
        from millprep.report.pictures import draw

        drawn = draw(cut_set, pictures)
        if not as_json:
            click.echo(f"{many(len(drawn), 'picture')} in {pictures}")
    if any(finding.severity == "stop" for finding in cut_set.findings):
        raise SystemExit(1)
