"""The command line: demo, simulate, check, run, sheet, cost, backtest, trial, schedule.

Results go to files and to standard output, progress and faults to standard error. Exit codes:
0 done; 1 done and a person must act today; 2 wrong input or settings, one line; 3 a fault of this
program. Heavy libraries are imported inside the commands, so that `--help` answers at once.

Not here: what the stages do (`stages`), what is printed (`summary`), how a fault becomes an exit
code (`exit_codes`).
"""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from pivotlife.pipeline.exit_codes import ACT_TODAY, day_of, exit_codes

app = typer.Typer(
    add_completion=False, no_args_is_help=True, pretty_exceptions_enable=False, help=__doc__
)

SettingsFile = Annotated[Path, typer.Argument(metavar="SETTINGS", help="The settings file (TOML).")]
AsOf = Annotated[
    str | None, typer.Option(help="Stand on this day (YYYY-MM-DD); today when left out.")
]
Out = Annotated[Path | None, typer.Option(help="Folder of the runs (publish.out when left out).")]
Json = Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")]
Verbose = Annotated[bool, typer.Option(help="On an internal fault print the traceback.")]


class Recording(StrEnum):
    """How the invented shops write their readings down."""

    INDEPENDENT = "independent"
    BAD_ALWAYS = "bad-always"


@app.command()
def demo(
    folder: Annotated[Path, typer.Option(help="Where the invented fleet goes.")] = Path(
        "demo-fleet"
    ),
    seed: Annotated[int, typer.Option(min=0, help="Seed of the invented fleet.")] = 1,
    verbose: Verbose = False,
) -> None:
    """Write an invented fleet, run everything on it and print where to look."""
    with exit_codes(verbose):
        from pivotlife.data.fleet import LAST_RECORDED_DAY
        from pivotlife.data.fleet import simulate as write_fleet
        from pivotlife.pipeline.run import run as run_stages
        from pivotlife.pipeline.settings_file import load_settings
        from pivotlife.pipeline.summary import demo_text

        typer.echo(f"writing an invented fleet to {folder} ...", err=True)
        write_fleet(folder, seed=seed)
        result = run_stages(load_settings(folder / "settings.toml"), LAST_RECORDED_DAY)
        typer.echo(demo_text(result))


@app.command()
def simulate(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to write to.")],
    units: Annotated[int, typer.Option(min=1, help="Units in the fleet.")] = 180,
    years: Annotated[float, typer.Option(min=0.5, max=30, help="Years on record.")] = 6.0,
    seed: Annotated[int, typer.Option(min=0)] = 1,
    faults: Annotated[bool, typer.Option(help="Put faults into the records.")] = True,
    bad_odometers: Annotated[
        float | None, typer.Option(min=0, max=0.9, help="Share of wrong odometers.")
    ] = None,
    campaign: Annotated[bool, typer.Option(help="Include the retrofit campaign.")] = True,
    recording: Annotated[
        Recording, typer.Option(help="Which readings are written down.")
    ] = Recording.INDEPENDENT,
    renew_at: Annotated[
        float | None, typer.Option(min=0.1, max=1, help="Renew at this share of the limit.")
    ] = None,
    verbose: Verbose = False,
) -> None:
    """Write an invented fleet's files, settings that run as they are, and the truth behind them."""
    with exit_codes(verbose):
        from pivotlife.data.fleet import LAST_RECORDED_DAY
        from pivotlife.data.fleet import simulate as write_fleet

        fleet = write_fleet(
            folder,
            units=units,
            years=years,
            seed=seed,
            faults=faults,
            bad_odometers=bad_odometers,
            campaign=campaign,
            recording=recording.value,
            renew_at=renew_at,
        )
        typer.echo(
            f"{folder}: {fleet.units:,} units, {fleet.readings:,} readings, {fleet.repairs:,} "
            f"repairs, all invented; next: "
            f"pivotlife run {folder / 'settings.toml'} --as-of {LAST_RECORDED_DAY}"
        )


@app.command()
def check(
    settings: Annotated[
        Path | None, typer.Argument(metavar="SETTINGS", help="The settings file (TOML).")
    ] = None,
    example: Annotated[
        bool, typer.Option("--example", help="Print an annotated settings file and stop.")
    ] = False,
    templates: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Write empty CSV and XLSX files to fill in and stop."),
    ] = None,
    report: Annotated[
        Path | None, typer.Option(help="Where the faults go (OUT/check.csv when left out).")
    ] = None,
    verbose: Verbose = False,
) -> None:
    """Read the sources, print their profile, every fault and a mapping; write only a report."""
    with exit_codes(verbose):
        from pivotlife.pipeline.check import check_sources
        from pivotlife.pipeline.errors import SettingsError, SourceError
        from pivotlife.pipeline.example import example_settings
        from pivotlife.pipeline.settings_file import load_settings

        if example:
            typer.echo(example_settings(), nl=False)
            return
        if templates is not None:
            from pivotlife.pipeline.templates import write_templates

            typer.echo(f"{templates}: {len(write_templates(templates))} templates written")
            return
        if settings is None:
            raise SettingsError("check: name the settings file, or --example, or --templates DIR")
        outcome = check_sources(load_settings(settings), report)
        typer.echo(outcome.text, nl=not outcome.text.endswith("\n"))
        if outcome.refused:
            raise SourceError(outcome.refused)
        if outcome.faults:
            raise typer.Exit(ACT_TODAY)


@app.command()
def run(
    settings: SettingsFile,
    as_of: AsOf = None,
    out: Out = None,
    as_json: Json = False,
    verbose: Verbose = False,
) -> None:
    """Do the whole job once and publish one folder of results."""
    with exit_codes(verbose):
        from pivotlife.pipeline.run import run as run_stages
        from pivotlife.pipeline.settings_file import load_settings
        from pivotlife.pipeline.summary import run_json, run_text

        loaded = load_settings(settings)
        today = day_of(None, loaded.schedule.timezone)
        day = today if as_of is None else day_of(as_of)
        result = run_stages(loaded, day, out=out, today=today)
        typer.echo(run_json(result) if as_json else run_text(result))
        if result.act_today:
            raise typer.Exit(ACT_TODAY)


@app.command()
def sheet(
    settings: SettingsFile,
    depot: Annotated[str | None, typer.Option(help="Only this depot; all when left out.")] = None,
    week: Annotated[
        str | None,
        typer.Option(help="A day of the week meant (YYYY-MM-DD); the next 14 days when left out."),
    ] = None,
    as_of: AsOf = None,
    out: Out = None,
    verbose: Verbose = False,
) -> None:
    """Write inspection sheets, to print and to fill in, for the coming visits."""
    with exit_codes(verbose):
        from pivotlife.pipeline import stages
        from pivotlife.pipeline.inspection_sheets import due_rows, write_sheets
        from pivotlife.pipeline.progress import Progress
        from pivotlife.pipeline.settings_file import load_settings

        loaded = load_settings(settings)
        day = day_of(as_of, loaded.schedule.timezone)
        meant = None if week is None else day_of(week, option="--week")
        progress = Progress(stages=stages.COUNT)
        records = stages.build(stages.read(loaded, progress), loaded, day, progress)
        rows = due_rows(records, day, depot, meant)
        made = write_sheets(rows, loaded, day, (out or loaded.out_folder).resolve())
        typer.echo(f"{made.units} units, {made.pivots} pivots to look at")
        for path in made.paths:
            typer.echo(str(path))


@app.command()
def cost(
    settings: SettingsFile,
    changes: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="A price or rate to try; may be repeated."),
    ] = None,
    as_of: AsOf = None,
    as_json: Json = False,
    verbose: Verbose = False,
) -> None:
    """Print lifetime cost by type and duty, before and after changed prices; publish nothing."""
    with exit_codes(verbose):
        from pivotlife.pipeline import stages
        from pivotlife.pipeline.progress import Progress
        from pivotlife.pipeline.settings_file import load_settings
        from pivotlife.pipeline.what_if import (
            changed_settings,
            life_sources,
            what_if,
            what_if_json,
            what_if_text,
        )

        loaded = load_settings(settings)
        day = day_of(as_of, loaded.schedule.timezone)
        changed_settings(loaded, changes or (), day)
        progress = Progress(stages=stages.COUNT)
        records = stages.build(stages.read(loaded, progress), loaded, day, progress)
        with progress.stage(stages.STAGES[2]):
            sources = life_sources(records, loaded)
        with progress.stage(stages.STAGES[5]):
            made = what_if(records, sources, loaded, changes or (), day)
        write = what_if_json if as_json else what_if_text
        typer.echo(write(made, loaded.costs.currency))


@app.command()
def backtest(
    settings: SettingsFile,
    months: Annotated[int, typer.Option(min=1, max=120, help="Past lists, one a month.")] = 12,
    as_of: AsOf = None,
    out: Out = None,
    as_json: Json = False,
    verbose: Verbose = False,
) -> None:
    """Hold past lists against what happened, and publish how they did."""
    with exit_codes(verbose):
        from pivotlife.pipeline.backtest import backtest as look_back
        from pivotlife.pipeline.settings_file import load_settings
        from pivotlife.pipeline.summary import backtest_json, backtest_text

        loaded = load_settings(settings)
        day = day_of(as_of, loaded.schedule.timezone)
        made = look_back(loaded, day, months=months, out=out)
        typer.echo(backtest_json(made) if as_json else backtest_text(made))


@app.command()
def schedule(settings: SettingsFile, verbose: Verbose = False) -> None:
    """Serve the pipeline on its schedule until stopped."""
    with exit_codes(verbose):
        from pivotlife.pipeline.scheduler import serve
        from pivotlife.pipeline.settings_file import load_settings

        serve(load_settings(settings), settings)


@app.command()
def trial(
    settings: SettingsFile,
    longer: Annotated[
        str | None, typer.Option(metavar="TYPE", help="The type believed to last longer.")
    ] = None,
    than: Annotated[str | None, typer.Option(metavar="TYPE", help="The type beside it.")] = None,
    times: Annotated[
        float, typer.Option(min=1.05, max=10, help="How many times as long it would last (B10).")
    ] = 1.5,
    trucks: Annotated[
        int, typer.Option(min=2, max=2_000, help="Trucks, both types together.")
    ] = 40,
    miles: Annotated[
        float | None, typer.Option(min=1, help="Miles a truck runs (three years' when left out).")
    ] = None,
    pivots: Annotated[
        int | None, typer.Option(min=1, max=48, help="Pivots a truck (the fleet's when left out).")
    ] = None,
    duty: Annotated[str, typer.Option(help="Only this duty; all together when left out.")] = "all",
    sides: Annotated[
        bool, typer.Option("--sides", help="Both types on every truck, one on each side.")
    ] = False,
    simulations: Annotated[int, typer.Option(min=20, max=20_000, help="Trials drawn.")] = 300,
    as_of: AsOf = None,
    out: Out = None,
    as_json: Json = False,
    verbose: Verbose = False,
) -> None:
    """Say how many trucks and miles show that one bushing type outlasts another."""
    with exit_codes(verbose):
        from pivotlife.pipeline import stages
        from pivotlife.pipeline.progress import Progress
        from pivotlife.pipeline.settings_file import load_settings
        from pivotlife.pipeline.trial_plan import TrialWish, plan_trial, write_plan
        from pivotlife.pipeline.trial_text import trial_json, trial_text

        loaded = load_settings(settings)
        day = day_of(as_of, loaded.schedule.timezone)
        progress = Progress(stages=3)
        records = stages.build(stages.read(loaded, progress), loaded, day, progress)
        wish = TrialWish(
            longer=longer,
            than=than,
            times=times,
            trucks=trucks,
            miles=miles,
            pivots=pivots,
            duty=duty,
            split="sides" if sides else "trucks",
            simulations=simulations,
        )
        with progress.stage("drawing trials"):
            plan = plan_trial(records, loaded, wish)
        file = write_plan(plan, (out or loaded.out_folder).resolve())
        typer.echo(trial_json(plan, file) if as_json else trial_text(plan, file))


if __name__ == "__main__":
    sys.exit(app())
