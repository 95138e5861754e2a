from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from gateway.mapping.exam_document import MappedExam, read_exam_document

DOCUMENTS = Path(__file__).parent / "documents"

Reader = Callable[..., MappedExam]


@pytest.fixture
def read(tmp_path: Path) -> Reader:
    """Return a function that reads a document given as text."""

    def read_text(text: str | bytes, name: str = "exam.yaml") -> MappedExam:
        folder = tmp_path / "exam-1"
        folder.mkdir(exist_ok=True)
        content = text if isinstance(text, bytes) else text.encode()
        (folder / name).write_bytes(content)
        return read_exam_document(folder / name)

    return read_text


@pytest.fixture
def everything() -> str:
    return (DOCUMENTS / "everything.yaml").read_text(encoding="utf-8")


@pytest.fixture
def smallest() -> str:
    return (DOCUMENTS / "smallest.yaml").read_text(encoding="utf-8")
