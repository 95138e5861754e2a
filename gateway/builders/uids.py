"""Unique identifiers, derived: the same input gives the same UID on every machine and every day (PS3.5 9 and B.2).

One function for each role that a UID plays. A UID is ``2.25.`` and the decimal number of a UUID of version 5, or, with
a site's own root, that root and as much of the number as 64 characters leave room for. Nothing ever reads meaning out
of a UID or adds a suffix to somebody else's.
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from collections.abc import Sequence
from datetime import UTC
from typing import Final, TypeAlias

from pydicom.dataset import Dataset

from gateway.builders.options import BUILDER_OUTPUT_VERSION, BuildOptions
from gateway.builders.overrides import series_variant
from gateway.builders.part10 import dataset_bytes
from gateway.errors.objects import ValueNotAllowedError
from gateway.model.exam import Exam
from gateway.model.session import Device

_NAMESPACE: Final = uuid.UUID("d5b27161-a3f6-48c2-8914-82b8d730e715")
_UUID_ROOT: Final = "2.25"
_MAX_CHARACTERS: Final = 64
_LEAST_OWN_DIGITS: Final = 20
_UID: Final = re.compile(r"(0|[1-9]\d*)(\.(0|[1-9]\d*))+", re.ASCII)

KeyPart: TypeAlias = "str | int | Sequence[KeyPart] | None"
"""What keys are made of. Written as JSON, so that two different keys never look the same."""


def derived_uid(role: str, key: Sequence[KeyPart], options: BuildOptions) -> str:
    """Return the UID of `role` for `key`.

    Raises
    ------
    ValueNotAllowedError
        If the site's root is no UID or leaves too little room.
    """
    text = json.dumps([role, *key], ensure_ascii=True, separators=(",", ":"))
    number = uuid.uuid5(_NAMESPACE, text).int
    if not options.uid_root:
        return f"{_UUID_ROOT}.{number}"
    room = _MAX_CHARACTERS - len(options.uid_root) - 1
    if not _UID.fullmatch(options.uid_root) or room < _LEAST_OWN_DIGITS:
        raise ValueNotAllowedError(
            "the site's UID root cannot be used",
            was=options.uid_root,
            fix=f"give a registered root of at most {_MAX_CHARACTERS - 1 - _LEAST_OWN_DIGITS} characters",
        )
    # The last digits vary most evenly; as a number they have no leading zero (PS3.5 9.1).
    return f"{options.uid_root}.{number % 10**room}"


def study_uid(exam: Exam, options: BuildOptions) -> str:
    """Return the Study Instance UID: the order's, else one keyed by patient, session start, device and visit.

    A second visit under one accession number, without a stated study, is a study of its own: the study is that of one
    requested procedure (PS3.3 C.4.11), an accession number is of the whole imaging service request, which may hold
    several of those (PS3.3 C.4.12), and only who ordered knows to which the visit belongs. An order that wants both
    visits in one study gives its Study Instance UID to both, as a worklist does when images are appended.
    """
    if exam.order.study_instance_uid:
        return exam.order.study_instance_uid
    device = exam.session.device
    key = [
        exam.patient.issuer,
        exam.patient.id,
        exam.session.start.astimezone(UTC).isoformat(),
        [device.maker, device.model, device.serial],
        exam.session.visit,
    ]
    return derived_uid("study", key, options)


def series_uid(exam: Exam, key: Sequence[KeyPart], options: BuildOptions) -> str:
    """Return the Series Instance UID of the series of this exam that `key` names.

    Parameters
    ----------
    key : sequence
        What all instances of the series share, e.g. ``["US", "right", "still"]``.
    """
    variant = series_variant(options.overrides)
    whole: list[KeyPart] = [study_uid(exam, options), _device_key(exam.session.device), list(key)]
    return derived_uid("series", [*whole, variant] if variant else whole, options)


def tracking_uid(exam: Exam, measurement_id: str, options: BuildOptions) -> str:
    """Return the Tracking Unique Identifier of one measurement or finding of this exam (PS3.16 TID 1501)."""
    return derived_uid("tracking", [study_uid(exam, options), measurement_id], options)


def device_uid(device: Device, options: BuildOptions) -> str:
    """Return the UID that stands for one ultrasound device, e.g. in Device Observer UID (PS3.16 TID 1004)."""
    return derived_uid("device", _device_key(device), options)


def gateway_device_uid(options: BuildOptions) -> str:
    """Return the UID that stands for the gateway itself."""
    return derived_uid("device", ["gateway"], options)


def instance_uid(facts: Dataset, sources: Sequence[KeyPart], options: BuildOptions) -> str:
    """Return the SOP Instance UID for a content.

    Two instances share a UID only if every attribute, the source and the builder's output version agree. So the same
    exam handed over twice is the same object, and any change, however small, is another.

    Parameters
    ----------
    facts : Dataset
        Everything mapped into the object so far; no SOP Instance UID, creation time or bulk data.
    sources : sequence
        What the dataset does not show: digests of source files, the kept range, the variant.
    """
    digest = hashlib.sha256(dataset_bytes(facts)).hexdigest()
    return derived_uid("instance", [BUILDER_OUTPUT_VERSION, list(sources), digest], options)


def _device_key(device: Device) -> list[KeyPart]:
    return [device.maker, device.model, device.serial]
