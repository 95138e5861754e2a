"""What another visit needs in order to compare: a stated tracking UID, and how the probe met the eye."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from gateway.model.capture import AcquisitionSettings, Contact
from tests.unit.builders.sr.invented_exam import a_measured_exam, captures, findings
from tests.unit.builders.sr.test_report import children, groups, only, report_of, value_of, walk

UID = "2.25.81920733551040011277"


def test_a_stated_tracking_uid_names_its_group_and_no_other(tmp_path: Path) -> None:
    first, *others = findings()
    plain = groups(report_of(a_measured_exam(), tmp_path))
    followed = groups(
        report_of(a_measured_exam(findings=(dataclasses.replace(first, tracking_uid=UID), *others)), tmp_path)
    )
    uids = {label: value_of(only(group, "Tracking Unique Identifier")) for label, group in followed.items()}
    before = {label: value_of(only(group, "Tracking Unique Identifier")) for label, group in plain.items()}
    changed = [label for label in before if uids[label] != before[label]]
    assert changed == ["right eye, mass (f1)"]
    assert uids["right eye, mass (f1)"] == UID


@pytest.mark.parametrize(
    ("contact", "expected"),
    [
        (Contact.THROUGH_LID, ["Ultrasound Contact", "Probe on the closed eyelid"]),
        (Contact.ON_EYE, ["Ultrasound Contact", "Probe on the eye, lids open"]),
        (Contact.IMMERSION, ["Ultrasound Immersion"]),
        (None, []),
    ],
)
def test_the_image_library_says_how_the_probe_met_the_eye(
    tmp_path: Path, contact: Contact | None, expected: list[str]
) -> None:
    first, *others = captures()
    first = dataclasses.replace(first, settings=AcquisitionSettings(contact=contact))
    report = report_of(a_measured_exam(captures=(first, *others)), tmp_path)
    entries = [item for item in walk(only(report, "Image Library")) if item.ValueType == "IMAGE"]
    names = ("Contact of probe and eye", "Eyelid state")
    said = [[value_of(item) for name in names for item in children(entry, name)] for entry in entries]
    assert said == [expected, [], []]
