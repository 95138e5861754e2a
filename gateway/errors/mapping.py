"""Errors of source mappings and of the conversions that they name."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class MappingError(GatewayError):
    """A source mapping, or a value that it converts, cannot be used."""

    code: ClassVar[str] = "mapping"
    exit_code: ClassVar[int] = 3


class ConversionError(MappingError):
    """A text of a source that the stated conversion cannot turn into the exam document's text."""

    code = "conversion"
    explanation = (
        "A conversion reads exactly the form that the mapping states and refuses everything else, because a repaired "
        "or guessed value would go out as if somebody had written it. Mend the text in the source, or state the form "
        "that the source really uses in the mapping."
    )


class ConversionUnclearError(ConversionError):
    """A text that the stated conversion could read in more than one way."""

    code = "conversion-unclear"
    explanation = (
        "The text has more than one meaning under the stated form: a clock time that happened twice or never, a comma "
        "that may be a decimal or a thousands sign, a name that may be divided in several places. Nothing is chosen "
        "for you: state in the mapping what tells the meanings apart, or mend the text in the source."
    )


class EyeNotOneError(ConversionError):
    """A text of a source that names both eyes, or no single one."""

    code = "conversion-eye-not-one"
    explanation = (
        "A picture shows one eye and a finding belongs to one eye. A source that says OU or both leaves open which of "
        "them is shown, and the eye is never guessed: tell the mapping another field that names it."
    )


class ConversionParametersError(MappingError):
    """A conversion that does not exist, or whose parameters cannot be used."""

    code = "conversion-parameters"
    explanation = (
        "Each conversion has a name and parameters of its own; a parameter that is unknown, missing, or contradicts "
        "another is found when the mapping is read, before any value is converted. `gateway mapping --help` lists them."
    )
