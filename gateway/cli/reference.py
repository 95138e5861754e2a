"""``gateway init``, ``gateway schema`` and ``gateway explain``: what one starts from and looks things up in."""

from __future__ import annotations

import difflib
import importlib
import pkgutil
import textwrap
from pathlib import Path
from typing import Annotated

import typer

from gateway.cli import console


def init(
    path: Annotated[Path, typer.Argument(help="Settings file to write.")] = Path("gateway.toml"),
) -> None:
    """Write a commented settings file; an existing one is left alone."""
    from gateway.config_file import settings_template
    from gateway.errors.settings import SettingsFileError

    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(settings_template())
    except FileExistsError as error:
        raise SettingsFileError("there is a file already, and it is left alone", where=str(path)) from error
    except OSError as error:
        raise SettingsFileError("the file cannot be written", where=str(path), was=str(error)) from error
    console.print_lines(f"wrote {path}; next: add a [[destinations]] table, then gateway deliver EXAM")


def schema(
    name: Annotated[str, typer.Argument(help="Which document: exam, source, protocol, speeds, repeatability.")],
) -> None:
    """Print the JSON Schema of a document."""
    from gateway.shipped import shipped_path

    files = {
        "exam": "eye-ultrasound-exam-1.schema.json",
        "source": "eye-ultrasound-source-1.schema.json",
        "protocol": "protocol-1.schema.json",
        "speeds": "speeds-1.schema.json",
        "repeatability": "repeatability-1.schema.json",
    }
    if name not in files:
        raise typer.BadParameter(f"known documents are {', '.join(files)}")
    console.print_lines(shipped_path(f"mappings/schema/{files[name]}").read_text(encoding="utf-8").rstrip())


def explain(
    code: Annotated[str, typer.Argument(help="A code from an error or finding; empty lists all.")] = "",
) -> None:
    """Tell what a rule is for and how to mend what breaks it."""
    texts = all_explanations()
    if not code:
        console.print_lines(*sorted(texts))
        return
    if code not in texts:
        near = difflib.get_close_matches(code, texts, 3)
        hint = f"did you mean {', '.join(near)}?" if near else "gateway explain lists all"
        raise typer.BadParameter(f"no error or finding has the code {code!r}; {hint}")
    console.print_lines(code, "", textwrap.fill(texts[code], 100))


def all_explanations() -> dict[str, str]:
    """Return the explanation of every error and finding code; one source for terminal and pages."""
    import gateway.errors as tree
    from gateway.validation.explanations import explanations

    for module in pkgutil.iter_modules(tree.__path__):
        importlib.import_module(f"{tree.__name__}.{module.name}")
    own = {cls.code: cls.explanation for cls in tree.all_error_classes() if cls.explanation}
    return own | dict(explanations())
