"""Arguments of `datumline archive` for looking at what was read: sheet, page, sample, audit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reading.problem import Problem
from reading.terminal import WhoOption, one_line_errors, say, user

ResultsArgument = Annotated[
    Path, typer.Argument(metavar="FILE", help="The results, .sqlite or .db.")
]
LEAST_PERCENT = 0.0001  # wrong: about 3 million photos to look at


@one_line_errors
def archive_sheet(
    results: ResultsArgument,
    target: Annotated[Path, typer.Argument(metavar="TARGET", help="A file: .html or .jpg.")],
    most: Annotated[int, typer.Option(min=1, help="So many pictures at most.")] = 200,
) -> None:
    """Save contact sheets of what needs eyes."""
    from reading.archive import sheets
    from reading.archive.store import Store

    with Store(results) as store:
        files, count = sheets.save_sheets(store, target, most)
    say(f"{', '.join(map(str, files))}: {count} photos" if files else "nothing needs eyes")


@one_line_errors
def archive_page(
    results: ResultsArgument,
    target: Annotated[Path, typer.Argument(metavar="TARGET", help="A file: .html.")],
) -> None:
    """Save a page with what was read, trends by gauge and part, and gauges that drift."""
    from reading.archive import overview
    from reading.archive.store import Store
    from reading.pages import html

    if target.suffix.lower() != ".html":
        raise Problem(f"{target}: name it .html")
    with Store(results) as store:
        html.save(overview.page(store), target)
    say(f"{target}: saved")


@one_line_errors
def archive_sample(
    results: ResultsArgument,
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Where the page and the form go.")],
    count: Annotated[
        int | None, typer.Option(min=1, help="Photos to read; else as --at-most needs.")
    ] = None,
    at_most: Annotated[
        float, typer.Option(help="Error rate in percent that none wrong would prove.")
    ] = 5.0,
    by: Annotated[str, typer.Option(help="Strata: gauge, part, gauge,part or none.")] = "gauge",
    sure: Annotated[
        bool, typer.Option("--sure", help="Only of readings that need no eyes.")
    ] = False,
    seed: Annotated[int, typer.Option(help="Another seed, another sample.")] = 1,
    who: WhoOption = "",
) -> None:
    """Draw a random, stratified sample; its page shows pictures without what was read."""
    from reading.archive import audit, audit_form
    from reading.archive.store import Store
    from reading.qualify.bounds import sample_size

    if not LEAST_PERCENT <= at_most < 100:
        raise Problem(f"--at-most {at_most:g}: percent, {LEAST_PERCENT:g} or more, less than 100")
    audit_form.check_free(folder)
    wanted = count if count is not None else sample_size(at_most / 100)
    with Store(results) as store:
        number = audit.draw(store, wanted, seed, by, user(who), sure_only=sure)
        shown = audit_form.save(store, number, folder)
    form = folder / audit_form.FORM
    say(f"audit {number}: {shown} photos in {folder / audit_form.PAGE}: write what they show into")
    say(f"  {form}, then: datumline archive audit {results} {form}")


@one_line_errors
def archive_audit(
    results: ResultsArgument,
    form: Annotated[
        Path | None, typer.Argument(metavar="[FORM]", help="The form, filled in.")
    ] = None,
    audit: Annotated[int | None, typer.Option(help="Which sample; else the newest.")] = None,
    within: Annotated[float, typer.Option(help="Divisions off that still count as right.")] = 1.0,
    who: WhoOption = "",
) -> None:
    """Enter what a person read in a sample, and say how often the archive is wrong."""
    from reading.archive import audit as audits
    from reading.archive.store import Store

    with Store(results) as store:
        if form is not None:
            audit = audits.enter(store, audit, audits.read_form(form), user(who))
        for line in audits.verdict_lines(audits.judge(store, audit, within)):
            say(line)
