"""Times without an offset become moments in a stated zone, or the part they belong to is held."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.errors.document import ExamDocumentError
from gateway.errors.moments import RepeatedHourError, SkippedHourError
from gateway.mapping.exam_document import read_exam_document
from gateway.mapping.local_times import local_moment, zone_named

DOCUMENT = """\
format: eye-ultrasound-exam/1
synthetic: yes
patient: {{id: "INV-1", issuer: "INVENTED", name: "Holm^Maija"}}
session: {{start: "{start}"{session}}}
captures:
  - {{id: a, kind: still, file: a.png, eye: right, scan: axial-vertical, acquired: "{first}"}}
  - {{id: b, kind: still, file: b.png, eye: right, scan: axial-vertical}}
"""


@pytest.fixture
def read(tmp_path):
    def read_it(
        start="2026-10-25T01:30:00", first="2026-10-25T01:35:00", session=", time_zone: Europe/Berlin", site_zone=None
    ):
        path = tmp_path / "exam.yaml"
        path.write_text(DOCUMENT.format(start=start, first=first, session=session), encoding="utf-8")
        return read_exam_document(path, site_zone=site_zone)

    return read_it


# Directive 2000/84/EC: summer time ends at 01:00 UTC on the last Sunday of October (25 October 2026) and begins at
# 01:00 UTC on the last Sunday of March (29 March 2026). 15 U.S.C. 260a: it ends at 02:00 local time on the first Sunday
# of November (1 November 2026).
@pytest.mark.parametrize(
    ("zone", "text", "moment"),
    [
        ("Europe/Berlin", "2026-10-25T01:59:59", "2026-10-24T23:59:59+00:00"),
        ("Europe/Berlin", "2026-10-25T03:00:00", "2026-10-25T02:00:00+00:00"),
        ("Europe/Berlin", "2026-03-29 01:59:59.5", "2026-03-29T00:59:59.5+00:00"),
        ("Europe/Berlin", "2026-03-29T03:00:00", "2026-03-29T01:00:00+00:00"),
        ("Europe/Helsinki", "2026-10-25T02:59:59", "2026-10-24T23:59:59+00:00"),
        ("America/New_York", "2026-11-01T00:59:59", "2026-11-01T04:59:59+00:00"),
        ("America/New_York", "2026-11-01T02:00:00", "2026-11-01T07:00:00+00:00"),
        ("UTC", "2026-10-25T02:30:00", "2026-10-25T02:30:00+00:00"),
    ],
)
def test_a_time_shown_once_is_a_moment(zone, text, moment):
    assert local_moment(text, ZoneInfo(zone)) == datetime.fromisoformat(moment)


@pytest.mark.parametrize(
    ("zone", "text", "choices"),
    [
        ("Europe/Berlin", "2026-10-25T02:00:00", "2026-10-25T02:00:00+02:00 or 2026-10-25T02:00:00+01:00"),
        ("Europe/Berlin", "2026-10-25T02:59:59", "2026-10-25T02:59:59+02:00 or 2026-10-25T02:59:59+01:00"),
        ("Europe/Helsinki", "2026-10-25T03:00:00", "2026-10-25T03:00:00+03:00 or 2026-10-25T03:00:00+02:00"),
        ("America/New_York", "2026-11-01T01:30:00", "2026-11-01T01:30:00-04:00 or 2026-11-01T01:30:00-05:00"),
    ],
)
def test_a_time_shown_twice_names_both_moments(zone, text, choices):
    with pytest.raises(RepeatedHourError) as caught:
        local_moment(text, ZoneInfo(zone))
    assert choices in caught.value.fix


@pytest.mark.parametrize(
    ("zone", "text"), [("Europe/Berlin", "2026-03-29T02:00:00"), ("Europe/Helsinki", "2026-03-29T03:30:00")]
)
def test_a_time_never_shown_is_refused(zone, text):
    with pytest.raises(SkippedHourError):
        local_moment(text, ZoneInfo(zone))


@pytest.mark.parametrize("text", ["2026-10-25T02:30:00+01:00", "2026-02-30T01:00:00", "noon", "2026-10-25", ""])
def test_anything_else_is_left_to_the_field(text):
    assert local_moment(text, ZoneInfo("Europe/Berlin")) is None


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2035, 1, 1)).map(lambda d: d.replace(microsecond=0, tzinfo=UTC)),
    st.sampled_from(["Europe/Berlin", "Australia/Lord_Howe", "America/St_Johns", "Asia/Kolkata", "Africa/Casablanca"]),
)
def test_a_time_is_undecided_exactly_where_two_moments_show_it(moment, name):
    zone = ZoneInfo(name)
    shown = moment.astimezone(zone).replace(tzinfo=None)
    around = {moment + timedelta(minutes=30 * step) for step in range(-6, 7)}
    showing_it = {m for m in around if m.astimezone(zone).replace(tzinfo=None) == shown}
    try:
        found = local_moment(shown.isoformat(), zone)
    except RepeatedHourError:
        assert len(showing_it) == 2
    else:
        assert showing_it == {moment}
        assert found == moment


def test_the_documents_zone_holds_for_every_time_without_offset(read):
    exam = read().exam
    assert exam.session.start.isoformat() == "2026-10-25T01:30:00+02:00"
    assert exam.captures[0].acquired.isoformat() == "2026-10-25T01:35:00+02:00"
    assert exam.origins["captures[0].acquired"].line == 6


def test_a_stated_offset_is_kept_beside_a_zone(read):
    assert read(first="2026-10-25T00:35:00Z").exam.captures[0].acquired.isoformat() == "2026-10-25T00:35:00+00:00"


def test_the_sites_zone_holds_where_the_document_states_none(read):
    exam = read(session="", site_zone=ZoneInfo("Europe/Helsinki")).exam
    assert exam.session.start.isoformat() == "2026-10-25T01:30:00+03:00"


def test_the_documents_zone_comes_before_the_sites(read):
    exam = read(site_zone=ZoneInfo("Europe/Helsinki")).exam
    assert exam.session.start.isoformat() == "2026-10-25T01:30:00+02:00"


def test_a_capture_in_the_repeated_hour_is_held_for_that_one_reason(read):
    mapped = read(first="2026-10-25T02:35:00")
    assert [capture.id for capture in mapped.exam.captures] == ["b"]
    reason = mapped.held[0].reason
    assert isinstance(reason, RepeatedHourError)
    assert str(reason.where).endswith("exam.yaml:6:83 (captures[0].acquired)")


def test_an_exam_that_starts_in_the_repeated_hour_is_held_whole(read):
    with pytest.raises(ExamDocumentError) as caught:
        read(start="2026-10-25T02:30:00")
    assert [problem.code for problem in caught.value.problems] == ["repeated-hour"]


def test_an_exam_that_starts_in_the_skipped_hour_is_held_whole(read):
    with pytest.raises(ExamDocumentError) as caught:
        read(start="2026-03-29T02:30:00")
    assert [problem.code for problem in caught.value.problems] == ["skipped-hour"]


def test_without_any_zone_a_time_without_offset_is_refused(read):
    with pytest.raises(ExamDocumentError) as caught:
        read(session="")
    assert [problem.code for problem in caught.value.problems] == ["offset-missing", "offset-missing"]


def test_a_document_whose_captures_are_no_list_is_refused_for_that(tmp_path):
    text = DOCUMENT.format(start="2026-10-25T01:30:00", first="", session=", time_zone: Europe/Berlin")
    path = tmp_path / "exam.yaml"
    path.write_text(text.split("captures:")[0] + "captures: none\n", encoding="utf-8")
    with pytest.raises(ExamDocumentError, match="a list is expected"):
        read_exam_document(path)


@pytest.mark.parametrize(
    "name", ["Mars/Olympus", "Europe", "../../etc/passwd", "/etc/localtime", "europe berlin", "x" * 99]
)
def test_a_zone_that_nobody_knows_is_refused(read, name):
    assert zone_named(name) is None
    with pytest.raises(ExamDocumentError, match="not a time zone"):
        read(session=f', time_zone: "{name}"', start="2026-10-25T01:30:00Z")


def test_a_device_clock_that_ran_ahead_is_taken_back_everywhere(read):
    exam = read(session=", time_zone: Europe/Berlin, device: {clock_ahead_s: 130}").exam
    assert exam.session.start.isoformat() == "2026-10-25T01:27:50+02:00"
    assert exam.captures[0].acquired.isoformat() == "2026-10-25T01:32:50+02:00"
    assert exam.captures[1].acquired is None
    assert exam.session.device.clock_ahead_s == 130


def test_a_device_clock_behind_is_put_forward(read):
    exam = read(session=", time_zone: Europe/Berlin, device: {clock_ahead_s: -2.5}").exam
    assert exam.session.start.isoformat() == "2026-10-25T01:30:02.500000+02:00"
