"""Texts as they are, and a site's own words."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated, ClassVar

from pydantic import Field, model_validator

from gateway.mapping.conversions.base import ConversionFields, ParameterText, contradiction, folded
from gateway.mapping.scalars import Switch, whole_number
from gateway.model.laterality import Eye


class TextFields(ConversionFields):
    """Take white space off both ends of a text, and what else is stated; a text is never cut."""

    name: ClassVar[str] = "text"
    is_personal: ClassVar[bool] = True

    collapse: Switch = Field(False, description="yes makes every run of white space inside one space.")
    prefix: ParameterText = Field("", description="Taken off the beginning, where it must stand.", examples=["PAT-"])
    suffix: ParameterText = Field("", description="Taken off the end, where it must stand.", examples=[" (local)"])
    longest: Annotated[int, whole_number(1, 10240)] | None = Field(
        None, description="Most characters that may be left; more are an error."
    )

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the text without what is to be taken off."""
        left = text.strip()
        if not (left.startswith(self.prefix) and left.endswith(self.suffix)) or len(left) < len(
            self.prefix + self.suffix
        ):
            raise self.refused("the stated prefix or suffix is not there", text, "mend the text or the mapping")
        left = left[len(self.prefix) : len(left) - len(self.suffix)].strip()
        if self.collapse:
            left = " ".join(left.split())
        if self.longest is not None and len(left) > self.longest:
            raise self.refused(f"the text has {len(left)} characters", text, f"at most {self.longest} are allowed")
        return left


class WordFields(ConversionFields):
    """Look a word up in a table of the site's own words."""

    name: ClassVar[str] = "word"
    is_personal: ClassVar[bool] = True

    words: Annotated[dict[ParameterText, ParameterText], Field(min_length=1)] = Field(
        description="The document's word for each of the site's.", examples=[{"Netzhautabl.": "retinal-detachment"}]
    )
    ignore_case: Switch = Field(False, description="yes takes capital and small letters, and points, as the same.")

    @model_validator(mode="after")
    def _one_meaning(self) -> WordFields:
        seen: dict[str, str] = {}
        for word, meaning in self.words.items():
            if seen.setdefault(self._key(word), meaning) != meaning:
                raise contradiction("word: two entries that are the same word have different meanings", repr(word))
        return self

    def _key(self, word: str) -> str:
        return folded(word) if self.ignore_case else word.strip()

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the document's word."""
        table = {self._key(word): meaning for word, meaning in self.words.items()}
        found = table.get(self._key(text))
        if found is None:
            near = get_close_matches(self._key(text)[:80], table, n=1)
            hint = f"did you mean {near[0]}? " if near else ""
            raise self.refused("the table does not have this word", text, f"{hint}add it to the mapping, or mend it")
        return found
