"""Templates of the readable renderings; texts are filled in, never built into them."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template

TEMPLATES_FOLDER: Final = Path(__file__).parent


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES_FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["first_upper"] = first_upper
    return environment


def template(name: str) -> Template:
    """Return a template that escapes every text it is given."""
    return _environment().get_template(f"{name}.jinja")


def first_upper(text: str) -> str:
    """Return the text with its first letter large and the others as they are."""
    return text[:1].upper() + text[1:]
