"""The conversions by name."""

from __future__ import annotations

import inspect
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from gateway.errors.mapping import ConversionParametersError
from gateway.mapping.conversions.base import ConversionFields
from gateway.mapping.conversions.clock_hours import ClockHourFields
from gateway.mapping.conversions.numbers import NumberFields, PercentFields
from gateway.mapping.conversions.person_names import PersonNameFields
from gateway.mapping.conversions.quantities import FrequencyFields, LengthFields, SpeedFields
from gateway.mapping.conversions.scan_words import GazeFields, MarkerFields, ScanFields, ZoneFields
from gateway.mapping.conversions.spoken_words import EyeFields, SexFields, YesNoFields
from gateway.mapping.conversions.texts import TextFields, WordFields
from gateway.mapping.conversions.times import DateFields, DateTimeFields, TimeFields
from gateway.model.laterality import Eye

LONGEST_TEXT = 10240
"""No field of an exam document is longer."""


@dataclass(frozen=True, slots=True)
class Conversion:
    """A named conversion.

    Parameters
    ----------
    fields : type of ConversionFields
        The document model of its parameters, for schemas.
    """

    name: str
    fields: type[ConversionFields]

    @property
    def description(self) -> str:
        """What it does, for people."""
        return inspect.cleandoc(self.fields.__doc__ or "")

    @property
    def parameters(self) -> Mapping[str, str]:
        """Each parameter with its description."""
        return {name: info.description or "" for name, info in self.fields.model_fields.items()}

    def reading(self, parameters: object) -> ConversionFields:
        """Return the conversion with its parameters, ready to `apply`.

        Parameters
        ----------
        parameters : mapping or None
            As texts, lists and mappings of a mapping document; nothing where all have their defaults.

        Raises
        ------
        ConversionParametersError
            If one is unknown, missing, not of its form, or contradicts another.
        """
        if parameters is None or parameters == "":
            parameters = {}
        if not isinstance(parameters, Mapping):
            raise ConversionParametersError(
                f"{self.name} takes parameters by name", was=repr(parameters)[:60], fix=_known_names(self.fields)
            )
        try:
            return self.fields.model_validate({name: _as_written(value) for name, value in parameters.items()})
        except ValidationError as err:
            raise _refusal(self, err.errors(include_url=False)[0]) from None


@cache
def conversions() -> Mapping[str, Conversion]:
    """Return every conversion by its name."""
    known: tuple[type[ConversionFields], ...] = (
        *(DateFields, DateTimeFields, TimeFields, PersonNameFields, SexFields, EyeFields, YesNoFields),
        *(ClockHourFields, ScanFields, ZoneFields, MarkerFields, GazeFields),
        *(NumberFields, LengthFields, SpeedFields, FrequencyFields, PercentFields, TextFields, WordFields),
    )
    return {fields.name: Conversion(fields.name, fields) for fields in known}


def conversion(name: str) -> Conversion:
    """Return a conversion by its name.

    Raises
    ------
    ConversionParametersError
        If there is none.
    """
    found = conversions().get(name)
    if found is None:
        near = get_close_matches(name[:80], conversions(), n=1)
        hint = f"did you mean {near[0]}? " if near else ""
        raise ConversionParametersError(
            "no conversion has this name", was=repr(name[:40]), fix=f"{hint}use {', '.join(conversions())}"
        )
    return found


def check_conversion(name: str, parameters: object) -> None:
    """Check a conversion's name and parameters, as is done when a mapping is read.

    Raises
    ------
    ConversionParametersError
    """
    conversion(name).reading(parameters)


def convert(name: str, parameters: Mapping[str, object], text: str, eye: Eye | None = None) -> str:
    """Turn a source's text into the exam document's.

    Parameters
    ----------
    eye : Eye, optional
        The eye concerned; words such as nasal need it.

    Raises
    ------
    ConversionError
        If the text is not of the stated form, or could mean more than one thing.
    ConversionParametersError
    """
    reading = conversion(name).reading(parameters)
    if len(text) > LONGEST_TEXT:
        raise reading.refused("the text is too long for any field", text, f"at most {LONGEST_TEXT} characters")
    return reading.apply(text, eye)


def _as_written(value: object) -> object:
    """Return what a mapping document would hold: texts, lists and mappings of them."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Mapping):
        return {str(key): _as_written(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_as_written(item) for item in value]
    return value


def _known_names(fields: type[ConversionFields]) -> str:
    names = ", ".join(fields.model_fields)
    return f"its parameters are {names}" if names else "it has no parameters"


def _refusal(conversion: Conversion, problem: ErrorDetails) -> ConversionParametersError:
    at = ".".join(str(step) for step in problem["loc"])
    context = problem.get("ctx", {})
    was, fix = "", _known_names(conversion.fields)
    if problem["type"] == "extra_forbidden":
        what = "a parameter that is not known"
    elif problem["type"] == "missing":
        what = "a parameter is missing"
    elif problem["type"] == "refused":
        what, was, fix = str(context["what"]), str(context["was"]), str(context["fix"])
    else:
        what = problem["msg"]
    return ConversionParametersError(f"{conversion.name}: {what} at {at}", was=was, fix=fix)
