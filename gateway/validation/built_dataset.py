"""Turns a pydicom dataset into the elements that the checker reads; each value is looked at where it lies."""

from __future__ import annotations

from collections.abc import Iterable

from pydicom.dataelem import DataElement, RawDataElement
from pydicom.dataset import Dataset
from pydicom.multival import MultiValue

from gateway.validation.elements import ONE_VALUE_VRS, TEXT_VRS, Element, Item, Scalar, as_number
from gateway.validation.part10 import DEEPEST, PIXEL_DATA, dictionary_vr, fragments_of


def item_of(dataset: Dataset, depth: int = 0) -> Item:
    """Return the elements of a dataset; private ones are included."""
    if depth > DEEPEST:
        return {}
    return {int(tag): _element(int(tag), element, dataset, depth) for tag, element in list(dataset.items())}


def transfer_syntax_of(dataset: Dataset) -> str:
    """Return the transfer syntax that the file meta information names; empty where there is none."""
    meta = getattr(dataset, "file_meta", None)
    return str(meta.get("TransferSyntaxUID", "")) if meta is not None else ""


def _element(tag: int, element: DataElement | RawDataElement, dataset: Dataset, depth: int) -> Element:
    if isinstance(element, RawDataElement):
        raw = _raw(tag, element)
        if raw is not None:
            return raw
        element = dataset[tag]
    value = element.value
    if element.VR == "SQ":
        items = tuple(item_of(item, depth + 1) for item in value or ())
        return Element("SQ", len(items), None, items=items)
    if isinstance(value, bytes):
        return _bytes(tag, element.VR, value, little_endian=True)
    values = tuple(_scalars(element.VR, value))
    return Element(element.VR, 1 if values else 0, values)


def _raw(tag: int, element: RawDataElement) -> Element | None:
    """Return an element that was read but never looked at, so that odd values raise no warning; None for sequences."""
    vr = element.VR or dictionary_vr(tag)
    if vr == "UN":
        vr = dictionary_vr(tag)
    if vr == "SQ":
        return None
    if element.value is None:
        return Element(vr, element.length, None)
    return _bytes(tag, vr, element.value, little_endian=element.is_little_endian)


def _bytes(tag: int, vr: str, value: bytes, *, little_endian: bool) -> Element:
    if tag == PIXEL_DATA and value[:4] == b"\xfe\xff\x00\xe0":
        fragments = fragments_of(value)
        if fragments:
            return Element(vr, fragments.total_bytes, None, fragments=fragments)
    return Element(vr, len(value), value, little_endian=little_endian)


def _scalars(vr: str, value: object) -> Iterable[Scalar]:
    if value is None:
        return
    several = value if isinstance(value, MultiValue | list | tuple) else (value,)
    texts = [each if isinstance(each, int | float) and vr not in {"IS", "DS"} else str(each) for each in several]
    if all(isinstance(each, str) and not each.strip(" \0") for each in texts):
        return
    for each in texts:
        if isinstance(each, str) and vr in {"IS", "DS"}:
            yield as_number(vr, each)
        elif isinstance(each, str) and vr in TEXT_VRS and vr not in ONE_VALUE_VRS:
            yield each.strip(" ")
        else:
            yield each
