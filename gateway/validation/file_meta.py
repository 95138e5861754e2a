"""File meta information: present, and of one mind with the dataset (PS3.10 7.1)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from gateway.standard.transfer_syntaxes import transfer_syntax
from gateway.validation.elements import keyword, shown, tag, tag_text
from gateway.validation.findings import Finding, Severity
from gateway.validation.part10 import Part10
from gateway.validation.scope import value

SECTION: Final = "PS3.10 7.1"
EDITION: Final = "2024e"
_TYPE_1: Final = (
    "FileMetaInformationGroupLength",
    "FileMetaInformationVersion",
    "MediaStorageSOPClassUID",
    "MediaStorageSOPInstanceUID",
    "TransferSyntaxUID",
    "ImplementationClassUID",
)
_SAME: Final = (("MediaStorageSOPClassUID", "SOPClassUID"), ("MediaStorageSOPInstanceUID", "SOPInstanceUID"))


def check_file_meta(file: Part10) -> Iterator[Finding]:
    """Yield what is wrong with the file meta information."""
    for name in _TYPE_1:
        element = file.meta.get(tag(name))
        if element is None or element.empty:
            code = "type-1-missing" if element is None else "type-1-empty"
            message = f"{name} is {'missing' if element is None else 'empty'}; it must be there with a value (type 1)"
            yield Finding(Severity.ERROR, code, tag_text(tag(name)), message, SECTION, EDITION)
    for meta_name, name in _SAME:
        in_meta, in_dataset = value(file.meta, meta_name), value(file.dataset, name)
        if in_meta and in_dataset and in_meta != in_dataset:
            message = f"{meta_name} is {shown(in_meta)} but {name} is {shown(in_dataset)}; both must be the same"
            yield Finding(Severity.ERROR, "meta-disagrees", tag_text(tag(meta_name)), message, SECTION, EDITION)
    if transfer_syntax(file.transfer_syntax_uid) is None:
        number = tag("TransferSyntaxUID")
        message = f"{keyword(number)} is {file.transfer_syntax_uid}, which the table does not know"
        yield Finding(Severity.WARNING, "transfer-syntax-unknown", tag_text(number), message, "PS3.5 10", EDITION)
