"""The ``gateway`` program. Commands import what they need when they run, so that ``--help`` stays quick."""

from __future__ import annotations

import sys

import typer

from gateway.cli import check, compare, demo, exams, mapping, patients, reference, report
from gateway.errors import GatewayError

HELP = """\
Turns eye-ultrasound exams into standard DICOM objects and structured reports, checks them, sends them to an archive and
proves that they arrived.

Start with: gateway demo

Exit codes: 0 done, 1 findings or a part held, 2 usage, 3 settings, exam document or media, 4 peer, 5 store.
"""


def make_app() -> typer.Typer:
    """Put the commands together."""
    app = typer.Typer(
        help=HELP, no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None
    )
    app.command("demo")(demo.demo)
    app.command("build")(exams.build)
    app.command("deliver")(exams.deliver)
    app.command("check")(check.check)
    app.command("compare")(compare.compare)
    app.command("report")(report.report)
    app.command("init")(reference.init)
    app.command("schema")(reference.schema)
    app.command("explain")(reference.explain)
    own = typer.Typer(help=mapping.HELP, no_args_is_help=True, rich_markup_mode=None)
    own.command("check")(mapping.check)
    own.command("explain")(mapping.explain)
    own.command("conversions")(mapping.conversions)
    app.add_typer(own, name="mapping")
    people = typer.Typer(help=patients.HELP, no_args_is_help=True, rich_markup_mode=None)
    people.command("list")(patients.list_people)
    people.command("same")(patients.same)
    people.command("new")(patients.new)
    app.add_typer(people, name="patient")
    return app


def main() -> None:
    """Run the program; an error of ours becomes one readable message and its exit code."""
    try:
        make_app()()
    except GatewayError as error:
        sys.stderr.write(message(error))
        sys.exit(error.exit_code)


def message(error: GatewayError) -> str:
    """Return an error as a person reads it, several problems one under the other."""
    problems: tuple[GatewayError, ...] = getattr(error, "problems", ()) or (error,)
    lines = [f"error[{problem.code}]: {problem}\n" for problem in problems]
    codes = sorted({problem.code for problem in problems})
    return "".join(lines) + f"  more: gateway explain {codes[0]}\n"
