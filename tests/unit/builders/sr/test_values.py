"""Values of content items. Limits are those of PS3.5 6.2 and PS3.3 C.17.3, C.18."""

from __future__ import annotations

from datetime import date, time

import pytest
from pydicom.dataset import Dataset

from gateway.builders.attributes import AttributeWriter
from gateway.builders.sr.values import Code, Coordinates, Date, GraphicType, Image, Num, Person, Text, Time, Value
from gateway.errors.objects import ContentTreeError
from gateway.model.calibration import Point
from gateway.model.people import PersonName
from gateway.standard.codes import CodedConcept, concept

MM = concept("unit", "mm")


def written(value: Value) -> Dataset:
    item = AttributeWriter()
    value.write(item, "test")
    return item.dataset


def measured_value(value: Num) -> Dataset:
    return written(value).MeasuredValueSequence[0]


def test_a_number_keeps_the_digits_that_were_displayed() -> None:
    item = measured_value(Num(6.0, MM, "6.00"))
    assert item["NumericValue"].value.original_string == "6.00"
    assert "FloatingPointValue" not in item
    assert item.MeasurementUnitsCodeSequence[0].CodeValue == "mm"


def test_a_rounded_display_carries_the_full_number_beside_it() -> None:
    item = measured_value(Num(11.21879353, MM, "11.22"))
    assert str(item.NumericValue) == "11.22"
    assert item.FloatingPointValue == 11.21879353


def test_digits_of_another_number_are_not_used() -> None:
    assert str(measured_value(Num(6.4, MM, "5.96")).NumericValue) == "6.4"


@pytest.mark.parametrize("digits", ["5,96", "about 6", "5.96 mm", "0000000000000005.96", "٥.٩٦", ""])
def test_digits_that_are_no_decimal_string_are_not_used(digits: str) -> None:
    item = measured_value(Num(5.96, MM, digits))
    assert str(item.NumericValue) == "5.96"


@pytest.mark.parametrize("number", [1 / 3, -1 / 3, 1e-7 / 3, 123456789.123456789, 2.0**60 + 1, -1.7976931348623157e308])
def test_a_number_never_exceeds_sixteen_characters_and_never_loses_its_value(number: float) -> None:
    item = measured_value(Num(number, MM))
    assert len(str(item["NumericValue"].value.original_string)) <= 16
    exact = item.FloatingPointValue if "FloatingPointValue" in item else float(item.NumericValue)
    assert exact == number


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_what_is_not_a_number_is_refused(number: float) -> None:
    with pytest.raises(ContentTreeError):
        Num(number, MM)


def test_lines_of_text_end_with_cr_lf_and_hold_no_other_control_character() -> None:
    assert written(Text(" one\ntwo\tthree\x0b\r\nfour \r")).TextValue == "one\r\ntwo three \r\nfour"


def test_text_without_words_is_refused() -> None:
    with pytest.raises(ContentTreeError):
        Text(" \n ")


def test_a_code_of_more_than_sixteen_characters_is_a_long_code_value() -> None:
    item = written(Code(CodedConcept("12345678901234567", "99X", "long"))).ConceptCodeSequence[0]
    assert item.LongCodeValue == "12345678901234567"
    assert "CodeValue" not in item


def test_a_name_keeps_all_three_representations() -> None:
    assert written(Person(PersonName("Holm^Maija", "保^舞", "ほるむ"))).PersonName == "Holm^Maija=保^舞=ほるむ"


def test_dates_and_times_are_written_as_da_and_tm() -> None:
    assert written(Date(date(2026, 3, 2))).Date == "20260302"
    assert written(Time(time(9, 4, 5))).Time == "090405"
    assert written(Time(time(9, 4, 5, 250000))).Time == "090405.250000"


def test_an_image_reference_names_a_frame_only_where_one_is_meant() -> None:
    whole = written(Image("1.2", "2.25.1")).ReferencedSOPSequence[0]
    assert "ReferencedFrameNumber" not in whole
    assert written(Image("1.2", "2.25.1", 4)).ReferencedSOPSequence[0].ReferencedFrameNumber == 4


def test_coordinates_are_column_then_row() -> None:
    item = written(Coordinates(GraphicType.POLYLINE, (Point(1.5, 2.5), Point(3.0, 4.0))))
    assert item.GraphicType == "POLYLINE"
    assert list(item.GraphicData) == [1.5, 2.5, 3.0, 4.0]


def test_shapes_need_their_number_of_points() -> None:
    with pytest.raises(ContentTreeError):
        Coordinates(GraphicType.POINT, (Point(1, 2), Point(3, 4)))
    with pytest.raises(ContentTreeError):
        Coordinates(GraphicType.POLYLINE, (Point(1, 2),))
