"""UIDs follow PS3.5 9, come out the same for the same content and differ for any other."""

from __future__ import annotations

import dataclasses
import re
from datetime import UTC, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydicom.dataset import Dataset

from gateway.builders.options import BuildOptions
from gateway.builders.uids import derived_uid, device_uid, instance_uid, series_uid, study_uid, tracking_uid
from gateway.errors.objects import ValueNotAllowedError
from gateway.model.session import Device
from tests.unit.builders.invented_captures import BARE_EXAM, FULL_EXAM

PLAIN = BuildOptions()
UID = re.compile(r"[0-2](\.(0|[1-9][0-9]*))+", re.ASCII)


@given(st.text(), st.sampled_from(["", "1.2.840.99999", "1.2.826.0.1.3680043.10.9999.1"]))
def test_derived_uids_have_the_form_of_a_uid(key: str, root: str) -> None:
    """PS3.5 9.1: at most 64 characters, components without leading zeros."""
    uid = derived_uid("study", [key], BuildOptions(uid_root=root))
    assert len(uid) <= 64
    assert UID.fullmatch(uid)
    assert uid.startswith((root or "2.25") + ".")


def test_uids_from_a_uuid_hold_version_five() -> None:
    """PS3.5 B.2: the decimal form of a UUID; RFC 9562 5.5: its version is 5 and its variant 10."""
    number = int(derived_uid("study", ["x"], PLAIN).removeprefix("2.25."))
    assert number < 2**128
    assert (number >> 76) & 0xF == 5
    assert (number >> 62) & 0x3 == 0b10


@pytest.mark.parametrize("root", ["1.02.3", "not a uid", "1." + "2" * 50, "1.2."])
def test_a_root_that_cannot_be_used_is_refused(root: str) -> None:
    with pytest.raises(ValueNotAllowedError):
        derived_uid("study", ["x"], BuildOptions(uid_root=root))


def test_keys_that_only_look_alike_give_other_uids() -> None:
    keys = [["a", "b"], ["a,b"], ['a","b'], ["ab", ""], ["", "ab"], [["a"], "b"], [["a", "b"]], ["a", "b", None]]
    assert len({derived_uid("study", key, PLAIN) for key in keys}) == len(keys)
    assert derived_uid("study", ["a"], PLAIN) != derived_uid("series", ["a"], PLAIN)


def test_the_orders_study_uid_wins() -> None:
    assert study_uid(FULL_EXAM, PLAIN) == "1.2.3.4.5"


@pytest.mark.parametrize(
    "change",
    [
        {"patient": dataclasses.replace(BARE_EXAM.patient, id="Q")},
        {"patient": dataclasses.replace(BARE_EXAM.patient, issuer="J")},
        {"session": dataclasses.replace(BARE_EXAM.session, visit="2")},
        {"session": dataclasses.replace(BARE_EXAM.session, device=Device(serial="7"))},
        {"session": dataclasses.replace(BARE_EXAM.session, start=BARE_EXAM.session.start + timedelta(minutes=1))},
    ],
)
def test_another_patient_moment_device_or_visit_is_another_study(change: dict[str, object]) -> None:
    assert study_uid(dataclasses.replace(BARE_EXAM, **change), PLAIN) != study_uid(BARE_EXAM, PLAIN)


def test_a_corrected_name_stays_in_its_study() -> None:
    renamed = dataclasses.replace(
        BARE_EXAM, patient=dataclasses.replace(BARE_EXAM.patient, name=FULL_EXAM.patient.name)
    )
    assert study_uid(renamed, PLAIN) == study_uid(BARE_EXAM, PLAIN)


def test_the_same_moment_in_another_offset_is_the_same_study() -> None:
    session = FULL_EXAM.session
    exam = dataclasses.replace(BARE_EXAM, session=session)
    moved = dataclasses.replace(exam, session=dataclasses.replace(session, start=session.start.astimezone(UTC)))
    assert study_uid(exam, PLAIN) == study_uid(moved, PLAIN)


def test_series_measurements_and_devices_are_told_apart() -> None:
    uids = {
        series_uid(BARE_EXAM, ["US", "right"], PLAIN),
        series_uid(BARE_EXAM, ["US", "left"], PLAIN),
        tracking_uid(BARE_EXAM, "m1", PLAIN),
        tracking_uid(BARE_EXAM, "m2", PLAIN),
        device_uid(Device(serial="1"), PLAIN),
        device_uid(Device(serial="2"), PLAIN),
    }
    assert len(uids) == 6


def test_any_change_of_content_or_source_is_another_instance() -> None:
    facts = Dataset()
    facts.PatientID = "P"
    first = instance_uid(facts, ["source"], PLAIN)
    assert instance_uid(facts, ["source"], PLAIN) == first
    assert instance_uid(facts, ["other source"], PLAIN) != first
    facts.PatientID = "Q"
    assert instance_uid(facts, ["source"], PLAIN) != first
