"""Words of people's languages: eyes, sexes, yes and no."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from pydantic import Field

from gateway.errors.mapping import ConversionUnclearError, EyeNotOneError
from gateway.mapping.conversions.base import ConversionFields, Languages, ParameterText, folded
from gateway.mapping.conversions.word_tables import EYES, SEXES, SWITCHES, UNCLEAR, WordTable, meanings
from gateway.model.laterality import Eye


class SpokenFields(ConversionFields):
    """Which languages' words a source uses."""

    table: ClassVar[WordTable]

    languages: Languages
    without: tuple[ParameterText, ...] = Field(
        (), description="Words that shall not be read, where two languages give them different meanings."
    )

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401  the interface's type
        """Refuse languages of which one word has two meanings."""
        self.meanings()

    def meanings(self) -> Mapping[str, str]:
        """Return the words that are read, each with its meaning."""
        return meanings(self.name, self.table, self.languages, self.without)

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return what a word means."""
        found = self.meanings().get(folded(text))
        if found is None:
            raise self.refused(
                f"no word of {', '.join(self.languages)} for it",
                text,
                "mend the text, or use a table of your own words",
            )
        if found == UNCLEAR:
            raise self.refused("a short form of two words", text, "write the word itself", ConversionUnclearError)
        return found


class EyeFields(SpokenFields):
    """Read which eye is meant, in words and short forms of the stated languages: right or left, never both.

    Language ``la`` has OD and OS.
    """

    name: ClassVar[str] = "eye"
    table: ClassVar[WordTable] = EYES

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return right or left."""
        found = super().apply(text, eye)
        if found == "both":
            raise self.refused("both eyes where one belongs", text, "name the eye of this picture", EyeNotOneError)
        return found


class SexFields(SpokenFields):
    """Read a patient's sex as F, M or O, in words and short forms of the stated languages.

    Language ``dicom`` has F, M and O, ``iso-5218`` has 1 for male and 2 for female.
    """

    name: ClassVar[str] = "sex"
    is_personal: ClassVar[bool] = True
    table: ClassVar[WordTable] = SEXES


class YesNoFields(SpokenFields):
    """Read yes or no in words of the stated languages; language ``codes`` has 1, 0, true and false."""

    name: ClassVar[str] = "yes_no"
    table: ClassVar[WordTable] = SWITCHES
