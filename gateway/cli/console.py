"""What all commands share at the terminal: progress, tables, settings."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from gateway.settings import Settings


def read_site_settings(path: Path | None, *, single_eye_witness: bool = False) -> Settings:
    """Read the settings file, or defaults where there is none.

    Parameters
    ----------
    single_eye_witness : bool
        The command accepts an eye that one source alone names, whatever the settings say.
    """
    from gateway.config_file import read_settings

    settings = read_settings(path, os.environ)
    return (
        settings if not single_eye_witness else replace(settings, site=replace(settings.site, single_eye_witness=True))
    )


def with_mapping(settings: Settings, mapping: Path | None, exam: Path) -> Settings:
    """Return settings with the source mapping of the command line instead of their own."""
    from gateway.errors.media import ExamFolderError
    from gateway.intake.exam_folder import is_exam

    if mapping is None:
        return settings
    if is_exam(exam):
        fix = "leave --mapping out, or take the exam document away"
        raise ExamFolderError("there is an exam document already", where=str(exam), fix=fix)
    return replace(settings, site=replace(settings.site, mapping=str(mapping)))


@contextmanager
def progress(*, quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Show long work: a bar on a terminal, one line a step elsewhere, nothing where quiet.

    Yields
    ------
    callable
        Takes step, done, total.
    """
    if quiet:
        yield lambda step, done, total: None
    elif sys.stderr.isatty():
        yield from _bar()
    else:
        yield _lines()


def _bar() -> Iterator[Callable[[str, int, int], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = TextColumn("{task.description:24}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn()
    with Progress(*columns, console=Console(stderr=True)) as display:
        tasks: dict[str, int] = {}

        def note(step: str, done: int, total: int) -> None:
            if step not in tasks:
                tasks[step] = int(display.add_task(step, total=total or None))
            display.update(tasks[step], completed=done, total=total or None)  # type: ignore[arg-type]

        yield note


def _lines() -> Callable[[str, int, int], None]:
    seen: set[str] = set()

    def note(step: str, _done: int, _total: int) -> None:
        if step not in seen:
            seen.add(step)
            sys.stderr.write(f"{step} ...\n")
            sys.stderr.flush()

    return note


def print_table(title: str, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print one table; on a pipe it is as wide as it needs to be."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in headings:
        table.add_column(heading, overflow="fold")
    for row in rows:
        # Text, not str: square brackets in somebody's words are not markup.
        table.add_row(*(Text(cell) for cell in row))
    _console().print(table)


def print_lines(*lines: str) -> None:
    """Print plain lines."""
    for line in lines:
        sys.stdout.write(line + "\n")


def print_json(content: Mapping[str, object]) -> None:
    """Print one JSON document."""
    sys.stdout.write(json.dumps(content, indent=2, ensure_ascii=False) + "\n")


def _console() -> Console:
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else 160, highlight=False)
