"""What all mappings of the document have in common, and those that stand in several places."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema

from gateway.errors.document import FieldMissingError, NameNotWritableError
from gateway.mapping.scalars import Label, Required16, Required64, Rule, refusal, required_line, text_of
from gateway.model.coded import CodedConcept, TextOrCode
from gateway.model.people import PersonName


class Fields(BaseModel):
    """A mapping of the document: unknown keys are errors, nothing can be changed afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class TextOrFields(Fields):
    """A mapping that may be shortened to one text, which then is the field named in `_short`."""

    @model_validator(mode="before")
    @classmethod
    def _widen(cls, value: object) -> object:
        return {cls.short_field(): value} if isinstance(value, str) else value

    @classmethod
    def short_field(cls) -> str:
        """Return the field that a bare text stands for."""
        return "text"

    @classmethod
    def __get_pydantic_json_schema__(cls, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        whole = handler.resolve_ref_schema(handler(core))
        short = {k: v for k, v in whole["properties"][cls.short_field()].items() if k not in {"default", "anyOf"}}
        for choice in whole["properties"][cls.short_field()].get("anyOf", []):
            if choice.get("type") == "string":
                short.update(choice)
        return {"anyOf": [short, whole], "description": whole.get("description", "")}


_GROUP_PATTERN = r"[^\\=\x00-\x1f\x7f-\x9f]*"


def _name_group(value: object) -> str:
    text = text_of(value, "a name")
    fix = ""
    if len(text) > 64:
        fix = "at most 64 characters in each representation"
    elif re.search(r"[\\=\x00-\x1f\x7f-\x9f]", text):
        fix = "no backslash, no = and no control characters; representations have their own fields"
    elif text.count("^") > 4:
        fix = "at most five components: Family^Given^Middle^Prefix^Suffix"
    elif text != text.strip(" "):
        fix = "no space at its beginning or end"
    elif text and not text.strip("^ "):
        fix = "at least one component that is not empty"
    if fix:
        raise refusal(NameNotWritableError, "this name cannot be written in DICOM", fix=fix)
    return text


def _first_name_group(value: object) -> str:
    text = _name_group(value)
    if not text:
        raise refusal(FieldMissingError, "the name is empty", fix="write Family^Given")
    return text


_GROUP_SCHEMA = {"type": "string", "maxLength": 64, "pattern": r"^[^\\=^]*(?:\^[^\\=^]*){0,4}$"}


class PersonFields(TextOrFields):
    """A person's name: a bare text is the alphabetic representation; components stand between ^ signs."""

    alphabetic: Annotated[str, Rule(_first_name_group, {**_GROUP_SCHEMA, "minLength": 1})] = Field(
        description="Name in Latin letters: Family^Given^Middle^Prefix^Suffix.", examples=["Holm^Maija"]
    )
    ideographic: Annotated[str, Rule(_name_group, _GROUP_SCHEMA)] | None = Field(
        None, description="The name in ideographs, same component order."
    )
    phonetic: Annotated[str, Rule(_name_group, _GROUP_SCHEMA)] | None = Field(
        None, description="The name in a phonetic script, same component order."
    )

    @classmethod
    def short_field(cls) -> str:
        """Return the field that a bare text stands for."""
        return "alphabetic"

    def to_model(self) -> PersonName:
        """Return the name."""
        return PersonName(self.alphabetic, self.ideographic or "", self.phonetic or "")


class CodeFields(Fields):
    """A code of a coding scheme, as the site knows it."""

    value: Required16 = Field(description="Code value.", examples=["24028007"])
    scheme: Required16 = Field(description="Designator of the coding scheme.", examples=["SCT", "99LOCAL"])
    meaning: Required64 = Field(description="What the code means, in words.", examples=["Right"])

    def to_model(self) -> CodedConcept:
        """Return the code."""
        return CodedConcept(self.value, self.scheme, self.meaning)


class ReasonFields(TextOrFields):
    """Something said in words, in a code, or both; a bare text is the words."""

    text: Annotated[str, required_line(1024)] | None = Field(
        None,
        description="In words; images carry the first 64 characters, reports all.",
        examples=["mass seen in right fundus"],
    )
    code: CodeFields | None = Field(None, description="As a code of the site's or a public scheme.")

    @model_validator(mode="before")
    @classmethod
    def _says_something(cls, value: object) -> object:
        if isinstance(value, dict) and not value:
            raise refusal(FieldMissingError, "neither text nor code is stated", fix="write one of them, or both")
        return value

    def to_model(self) -> TextOrCode:
        """Return words and code."""
        return TextOrCode(self.text or "", self.code.to_model() if self.code else None)


class FindingWords(TextOrFields):
    """What was found, in words, in a code, or both; a bare word that has a code is sent with it."""

    text: Label | None = Field(None, description="In words.", examples=["mass", "membrane attached to the disc"])
    code: CodeFields | None = Field(None, description="As a code of the site's or a public scheme.")

    @model_validator(mode="before")
    @classmethod
    def _says_something(cls, value: object) -> object:
        if value == "" or (isinstance(value, dict) and not (value.get("text") or value.get("code"))):
            raise refusal(FieldMissingError, "neither text nor code is stated", fix="write one of them, or both")
        return value
