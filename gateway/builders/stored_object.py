"""A DICOM object as the source of a capture: pixels untouched, attributes completed from the exam (PS3.3 A.6 to A.8).

Pixel Data goes out byte for byte in its own transfer syntax, and whatever the exam says nothing about, private blocks
among it, is copied as it stands. Which of two statements goes out is decided in `object_merge`; earlier values are kept
in Original Attributes Sequence (C.12.1.1.9) and the gateway is named as modifying equipment (C.12.1.1.5, PS3.16 CID
7005).

The result is always a new instance, with the old one named in Source Image Sequence (C.12.4.1.2):

* an instance belongs to one series of one study (PS3.3 A.1.2), and it comes into those of the exam, one eye a series;
* a secondary capture becomes an ultrasound image, which is another SOP Class;
* where eye or patient was wrong, a reader of the old UID must never meet the new content, or the other way round;
* arrival is proven by UID (PS3.4 J): under a UID that the archive may hold with other content it would prove nothing.

The Standard demands a new UID where pixels changed (C.7.6.1.1.2); it lets coerced attributes keep theirs and never
forbids a new one. Image Type keeps its first value, because the pixels are the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Final

from pydicom import dcmread
from pydicom.datadict import keyword_for_tag
from pydicom.dataset import Dataset

from gateway.builders.attributes import AttributeWriter
from gateway.builders.built import BuiltObject, ObjectKind
from gateway.builders.modules import identify, session_time, write_gateway
from gateway.builders.object_bytes import (
    CharacterSets,
    dataset_as_bytes,
    dataset_of,
    encoded_elements,
    item_bytes,
    items_of,
    joined,
    sequence_bytes,
)
from gateway.builders.object_exam_side import ObjectCase, exam_side
from gateway.builders.object_merge import Merged, Rules, by_reason, merge
from gateway.builders.options import GATEWAY_MODEL_NAME, BuildContext
from gateway.builders.part10 import atomic_file, digest_of, file_head
from gateway.builders.series import SeriesPlacement
from gateway.errors.media import MediaChangedError, MediaNotReadableError
from gateway.model.capture import Capture
from gateway.model.exam import Exam
from gateway.model.media import ObjectSource, StoredElement, StoredObject
from gateway.standard.codes import concept

_CONTRIBUTING, _ORIGINAL, _MODIFIED, _CHARACTER_SET = 0x0018A001, 0x04000561, 0x04000550, 0x00080005
_OWN: Final = frozenset({_CONTRIBUTING, _ORIGINAL})
"""Sequences of the object that items of ours always follow."""
_PIXEL_DATA: Final = 0x7FE00010
_CHUNK_BYTES: Final = 1 << 20
_VARIANT: Final = "completed object"


def build_from_object(
    exam: Exam, capture: Capture, source: ObjectSource, placement: SeriesPlacement, context: BuildContext
) -> BuiltObject:
    """Complete one DICOM object and write it into the context's folder.

    That object and exam agree, or which of them holds, was decided when the exam was read.

    Raises
    ------
    ObjectError
        If the capture cannot be said in DICOM; nothing is left on disk.
    MediaError
        If the source changed, or its texts cannot be brought into UTF-8.
    """
    stored, facts = source.stored, source.facts
    header = dataset_of(stored.elements, is_explicit=stored.is_explicit)
    case = ObjectCase(exam, capture, facts, stored, header, placement, context)
    w = exam_side(case)
    corrects = sorted(one.value for one in capture.corrects)
    uid = identify(w, exam, [_VARIANT, facts.source_sha256, corrects], context)
    rules = Rules(
        capture.corrects,
        frozenset(override.attribute for override in context.options.overrides),
        is_other_study=str(header.get("StudyInstanceUID", "")) != str(w.dataset.StudyInstanceUID),
    )
    foreign = tuple(element for element in stored.elements if element.tag not in _OWN)
    merged = merge(foreign, header, w.dataset, rules)
    created = session_time(context.ledger.created(uid), exam.session)
    elements = _elements(case, w.dataset, merged)
    _add_history(elements, case, merged, created)
    path = context.path_for(uid)
    sha256, size = _write(stored, elements, path, file_head(case.target_class, uid, stored.transfer_syntax_uid))
    return BuiltObject(
        kind=ObjectKind.IMAGE,
        sop_class_uid=case.target_class,
        sop_instance_uid=uid,
        series_instance_uid=placement.series.series_instance_uid,
        study_instance_uid=str(w.dataset.StudyInstanceUID),
        transfer_syntax_uid=stored.transfer_syntax_uid,
        path=path,
        sha256=sha256,
        size_bytes=size,
        series_description=placement.series.description,
        series_number=placement.series.series_number,
        instance_number=placement.instance_number,
        capture_id=capture.id,
        eye=capture.eye,
        rows=facts.rows,
        columns=facts.columns,
        frame_count=facts.frame_count,
        attribute_origins=_origins(w, stored, merged),
        keeps_encoding=True,
    )


def _elements(case: ObjectCase, exam: Dataset, merged: Merged) -> dict[int, bytes]:
    """Return what goes out as bytes by tag, without history: the object's elements in UTF-8, then the exam's."""
    explicit = case.stored.is_explicit
    texts = _character_sets(case)
    found = {element.tag: texts.in_utf_8(element) for element in merged.kept}
    ours = encoded_elements(exam, is_explicit=explicit)
    found.update({tag: ours[tag] for tag in merged.taken})
    by_tag = {element.tag: element for element in merged.kept}
    for tag in merged.continued:
        element = by_tag[tag]
        before = items_of(_like(element, found[tag]), case.stored.name)
        after = ours[tag][12 if explicit else 8 :]
        found[tag] = sequence_bytes(tag, [before, after], is_explicit=explicit)
    return found


def _like(element: StoredElement, data: bytes) -> StoredElement:
    """Return an element that may have been encoded again, with its value where the new bytes have it."""
    if data is element.data:
        return element
    is_undefined = data[-8:] == b"\xfe\xff\xdd\xe0\0\0\0\0" and element.is_undefined
    return StoredElement(element.tag, element.vr, data, element.value_at, is_undefined)


def _character_sets(case: ObjectCase) -> CharacterSets:
    return CharacterSets(case.stored, _stated_sets(case.header))


def _stated_sets(header: Dataset) -> list[str]:
    stated = header.get("SpecificCharacterSet") or ""
    return [str(each).strip() for each in ([stated] if isinstance(stated, str) else stated)]


def _add_history(elements: dict[int, bytes], case: ObjectCase, merged: Merged, created: datetime) -> None:
    """Let items of ours follow what the object tells of its own history."""
    explicit, name = case.stored.is_explicit, case.stored.name
    earlier = {element.tag: element for element in case.stored.elements if element.tag in _OWN}
    texts = _character_sets(case)
    for tag, items in (
        (_CONTRIBUTING, [item_bytes(dataset_as_bytes(_contribution(created), is_explicit=explicit))]),
        (_ORIGINAL, _original_attributes(case, merged, created)),
    ):
        element = earlier.get(tag)
        before = items_of(_like(element, texts.in_utf_8(element)), name) if element else b""
        if before or items:
            elements[tag] = sequence_bytes(tag, [before, *items], is_explicit=explicit)


def _contribution(created: datetime) -> Dataset:
    origin = "rule: PS3.3 C.12.1.1.5"
    item = AttributeWriter()
    item.code("PurposeOfReferenceCodeSequence", concept("equipment_purpose", "modifying"), origin)
    write_gateway(item)
    item.set("ContributionDateTime", created, origin)
    item.set("ContributionDescription", "Completed with the facts of the exam document; pixels unchanged", origin)
    return item.dataset


def _original_attributes(case: ObjectCase, merged: Merged, created: datetime) -> list[bytes]:
    """Return an item for each reason (C.12.1.1.9): the elements as they were, byte for byte.

    Their texts are still in the object's own character set, so the item that holds them says which one that was (PS3.5
    7.5.3); a text beyond ASCII without any stated set is refused, because nobody could read it later.
    """
    explicit = case.stored.is_explicit
    texts = _character_sets(case)
    if texts.is_kept:
        for one in merged.replaced:
            texts.in_utf_8(one.element)
    set_element = next((e for e in case.stored.elements if e.tag == _CHARACTER_SET), None)
    items = []
    for reason, elements in by_reason(merged.replaced):
        before = {element.tag: element.data for element in elements}
        if set_element is not None and not texts.is_kept:
            before[_CHARACTER_SET] = set_element.data
        item = AttributeWriter()
        origin = "rule: PS3.3 C.12.1.1.9"
        item.set("AttributeModificationDateTime", created, origin)
        item.set("ModifyingSystem", GATEWAY_MODEL_NAME, origin)
        # Type 2: which system gave the values before is not known, only what the object says of its equipment.
        item.set("SourceOfPreviousValues", None, origin)
        item.set("ReasonForTheAttributeModification", reason.value, origin)
        parts = encoded_elements(item.dataset, is_explicit=explicit)
        parts[_MODIFIED] = sequence_bytes(_MODIFIED, [item_bytes(joined(before))], is_explicit=explicit)
        items.append(item_bytes(joined(parts)))
    return items


def _origins(w: AttributeWriter, stored: StoredObject, merged: Merged) -> Mapping[str, str]:
    """Return where each attribute came from: the exam or a rule, or the object itself."""
    taken = {keyword_for_tag(tag) for tag in merged.taken | merged.continued}
    found = {path: origin for path, origin in w.origins.items() if path.partition("[")[0] in taken}
    for element in merged.kept:
        keyword = keyword_for_tag(element.tag) or f"({element.tag >> 16:04X},{element.tag & 0xFFFF:04X})"
        found.setdefault(keyword, f"object: {stored.name}")
    found["ContributingEquipmentSequence"] = "rule: PS3.3 C.12.1.1.5"
    found["OriginalAttributesSequence"] = "rule: PS3.3 C.12.1.1.9"
    return found


def _write(stored: StoredObject, elements: Mapping[int, bytes], path: Path, head: bytes) -> tuple[str, int]:
    """Write the file: attributes before the pixels, the pixels as they are, attributes after them."""
    before = joined({tag: data for tag, data in elements.items() if tag < _PIXEL_DATA})
    after = joined({tag: data for tag, data in elements.items() if tag > _PIXEL_DATA})
    try:
        with stored.path.open("rb") as original, atomic_file(path) as file:
            file.write(head)
            file.write(before)
            _copy_pixels(stored, original, file)
            file.write(after)
            return digest_of(file)
    except FileNotFoundError as error:
        raise _changed(stored) from error
    except PermissionError as error:
        raise MediaNotReadableError(
            "the file cannot be read", where=stored.name, fix="check its permissions"
        ) from error


def _copy_pixels(stored: StoredObject, original: BinaryIO, file: BinaryIO) -> None:
    """Copy Pixel Data byte for byte and hold it against the digest taken when the object was opened.

    Raises
    ------
    MediaChangedError
    """
    original.seek(stored.pixels_at)
    left, digest = stored.pixels_end - stored.pixels_at, hashlib.sha256()
    while left:
        chunk = original.read(min(left, _CHUNK_BYTES))
        if not chunk:
            raise _changed(stored)
        file.write(chunk)
        digest.update(chunk)
        left -= len(chunk)
    if digest.hexdigest() != stored.pixels_sha256:
        raise _changed(stored)


def _changed(stored: StoredObject) -> MediaChangedError:
    return MediaChangedError(
        "the file changed while the exam was read", where=stored.name, fix="hand the exam over again"
    )


def is_completed_object(path: Path) -> bool:
    """Whether a file that the gateway wrote is such an object: the last who contributed is a modifying gateway."""
    header = dcmread(path, stop_before_pixels=True, specific_tags=["ContributingEquipmentSequence"])
    contributors = header.get("ContributingEquipmentSequence") or []
    purposes = contributors[-1].get("PurposeOfReferenceCodeSequence") or [] if contributors else []
    codes = [purpose.get("CodeValue") for purpose in purposes]
    return concept("equipment_purpose", "modifying").value in codes
