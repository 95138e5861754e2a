"""Names of persons from one text to the components of a DICOM name."""

from __future__ import annotations

import re
from typing import Annotated, Any, ClassVar

from pydantic import Field

from gateway.errors.mapping import ConversionError, ConversionUnclearError
from gateway.mapping.conversions.base import ConversionFields, ParameterText, contradiction, folded
from gateway.mapping.scalars import matching, whole_number
from gateway.model.laterality import Eye

_FORMS = ("Family, Given", "Given Family", "Family Given", "FAMILY Given", "Family^Given")
_COUNTED = {"Given Family", "Family Given"}
_MOST_COMPONENTS = 5
_LONGEST = 64


class PersonNameFields(ConversionFields):
    """Read a person's name and write it as Family^Given, with stated titles as prefix (PS3.5 6.2.1).

    Without a comma, a ^ or capitals that divide it, a name of more than two words needs the number of its given or
    family words; nothing is divided by guess. A title that is not among ``titles`` stays where it stands.
    """

    name: ClassVar[str] = "person_name"
    is_personal: ClassVar[bool] = True

    form: Annotated[
        str, matching("|".join(map(re.escape, _FORMS)), "a form that is not known", f"use {' | '.join(_FORMS)}")
    ] = Field(description="Order of the name: " + " | ".join(_FORMS) + ".", examples=["Family, Given"])
    given_words: Annotated[int, whole_number(1, 9)] | None = Field(
        None, description="How many words are given names, in the forms Given Family and Family Given."
    )
    family_words: Annotated[int, whole_number(1, 9)] | None = Field(
        None, description="How many words are the family name, in the forms Given Family and Family Given."
    )
    titles: tuple[ParameterText, ...] = Field(
        (),
        description="Words before the given name or the whole name that become the prefix.",
        examples=[["Dr.", "Prof."]],
    )

    def model_post_init(self, _context: Any, /) -> None:  # noqa: ANN401  the interface's type
        """Refuse counts of words where the form divides the name."""
        counts = [count for count in (self.given_words, self.family_words) if count is not None]
        if counts and self.form not in _COUNTED:
            raise contradiction("person_name: this form divides the name without counting words", repr(self.form))
        if len(counts) > 1:
            raise contradiction("person_name: given_words and family_words", "both", "state one of them")
        if self.titles and self.form == "Family^Given":
            raise contradiction("person_name: titles have their own place in Family^Given", "titles")

    def apply(self, text: str, eye: Eye | None) -> str:
        """Return the name."""
        is_divided = self.form == "Family^Given"
        if re.search(r"[\\=\x00-\x08\x0e-\x1f]" if is_divided else r"[\\=^\x00-\x08\x0e-\x1f]", text):
            raise self.refused("a sign that no DICOM name can hold", text, r"no \ and =, and ^ only in Family^Given")
        if is_divided:
            name = self._divided(text)
        else:
            family, given, prefix = self._family_given_prefix(text)
            name = f"{family}^{given}" + (f"^^{prefix}" if prefix else "")
        if len(name) > _LONGEST:
            raise self.refused("the name is too long", text, f"at most {_LONGEST} characters (PS3.5 6.2)")
        return name

    def _divided(self, text: str) -> str:
        components = [" ".join(part.split()) for part in text.split("^")]
        if len(components) > _MOST_COMPONENTS or not components[0]:
            raise self.refused(
                "this is not of the form Family^Given", text, "at most five components, the first stated"
            )
        return "^".join(components).rstrip("^")

    def _family_given_prefix(self, text: str) -> tuple[str, str, str]:
        if self.form == "Family, Given":
            halves = [half.split() for half in text.split(",")]
            if len(halves) != 2 or not all(halves):
                raise self._unclear("one comma between family and given names is expected", text)
            (outer, family), (inner, given) = (self._titles_of(half) for half in halves)
            titles = [*outer, *inner]
        else:
            titles, words = self._titles_of(text.split())
            family, given = (
                self._by_capitals(words, text) if self.form == "FAMILY Given" else self._counted(words, text)
            )
        if "," in "".join((*titles, *family, *given)):
            raise self._unclear("a comma in a name of another form", text)
        if not family or not given:
            raise self._unclear("family or given name is missing", text)
        return " ".join(family), " ".join(given), " ".join(titles)

    def _titles_of(self, words: list[str]) -> tuple[list[str], list[str]]:
        known = {folded(title) for title in self.titles}
        count = next((index for index, word in enumerate(words) if folded(word) not in known), len(words))
        return words[:count], words[count:]

    def _counted(self, words: list[str], text: str) -> tuple[list[str], list[str]]:
        is_given_first = self.form == "Given Family"
        if self.given_words is None and self.family_words is None:
            if len(words) != 2:
                raise self._unclear(f"a name of {len(words)} words can be divided in several places", text)
            first = 1
        else:
            counts_first = (self.given_words is not None) == is_given_first
            count = self.given_words or self.family_words or 0
            first = count if counts_first else len(words) - count
        if not 0 < first < len(words):
            raise self._unclear(f"a name of {len(words)} words has fewer than stated", text)
        return (words[first:], words[:first]) if is_given_first else (words[:first], words[first:])

    def _by_capitals(self, words: list[str], text: str) -> tuple[list[str], list[str]]:
        is_capital = [word.isupper() and sum(map(str.isalpha, word)) > 1 for word in words]
        count = is_capital.index(False) if False in is_capital else len(words)
        # A single letter may be an initial of either; all capitals divide nothing.
        if any(is_capital[count:]) or any(word.isupper() for word in words[count : count + 1]):
            raise self._unclear("capitals do not divide this name", text)
        return words[:count], words[count:]

    def _unclear(self, what: str, text: str) -> ConversionError:
        fix = "state given_words or family_words, or the form that the source writes"
        return self.refused(what, text, fix, ConversionUnclearError)
