"""Something said in words, in a code, or both."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.standard.codes import CodedConcept

__all__ = ["CodedConcept", "TextOrCode"]


@dataclass(frozen=True, slots=True)
class TextOrCode:
    """Something said in words, in a code, or both; at least one is present."""

    text: str = ""
    code: CodedConcept | None = None

    @property
    def words(self) -> str:
        """The text where given, else the code's meaning."""
        return self.text or (self.code.meaning if self.code else "")
