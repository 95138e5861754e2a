"""What every conversion is: named parameters, and one text made of another or an error."""

from __future__ import annotations

import re
import unicodedata
from abc import abstractmethod
from typing import Annotated, ClassVar

from pydantic import Field

from gateway.errors.mapping import ConversionError, ConversionParametersError
from gateway.mapping.document.base import Fields
from gateway.mapping.scalars import Rule, text_of
from gateway.model.laterality import Eye


class ConversionFields(Fields):
    """Parameters of one conversion, and what it does with a text.

    The docstring of each subclass is what people read of it.
    """

    name: ClassVar[str]
    is_personal: ClassVar[bool] = False
    """Whether its texts may be attributes of a patient, so that messages tell their shape alone."""

    @abstractmethod
    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the exam document's text for a source's text.

        Parameters
        ----------
        eye : Eye or None
            The eye concerned, where it is known; only words such as nasal need it.

        Raises
        ------
        ConversionError
        """

    def refused(
        self, what: str, text: str, fix: str, error: type[ConversionError] = ConversionError
    ) -> ConversionError:
        """Return the error for a text, which is shown as it stands or, where it may be personal, by its shape."""
        return error(f"{self.name}: {what}", was=shape(text) if self.is_personal else repr(text[:60]), fix=fix)


def contradiction(what: str, was: str = "", fix: str = "mend the mapping") -> ConversionParametersError:
    """Return the error for parameters that do not go together."""
    return ConversionParametersError(what, was=was, fix=fix)


def shape(text: str) -> str:
    """Return what kinds of characters a text has: ``99.99.9999``, ``Aaa``; long ones are counted alone."""
    if len(text) > 24:
        return f"{len(text)} characters"
    if not text:
        return "nothing"
    return re.sub(r"[^\W\d_]", lambda found: "A" if found[0].isupper() else "a", re.sub(r"\d", "9", text))


def folded(word: str) -> str:
    """Return a word as words are compared: NFC, no case, no points, single spaces."""
    composed = unicodedata.normalize("NFC", unicodedata.normalize("NFC", word).casefold())
    return " ".join(composed.replace(".", "").split())


def _read_text(value: object) -> str:
    return text_of(value, "a text")


ParameterText = Annotated[str, Rule(_read_text, {"type": "string"})]
Languages = Annotated[
    tuple[ParameterText, ...],
    Field(min_length=1, description="Languages whose words are read, e.g. [en, de]; only these.", examples=[["en"]]),
]
