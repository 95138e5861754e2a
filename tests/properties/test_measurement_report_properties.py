"""Whatever bytes are handed over as a report, the answer is a report or one of our errors."""

from __future__ import annotations

import contextlib
import dataclasses
from datetime import datetime
from functools import cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydicom import dcmread
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset

from gateway.acoustics.comparison import compare
from gateway.builders.sr.report import build_measurement_report
from gateway.errors import GatewayError
from gateway.intake.measurement_report import measurement_report_from
from gateway.mapping.repeatability import load_repeatability
from gateway.model.prior import PriorReport
from gateway.reports.trend_plot import render_trend_plot
from tests.unit.builders.sr.invented_exam import a_context, a_measured_exam, built_images

MANY = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


SOME = settings(MANY, max_examples=60)
"""Of what takes a quarter of a second each."""


@cache
def own_report() -> bytes:
    measured = a_measured_exam()
    with TemporaryDirectory() as folder:
        return build_measurement_report(
            measured, built_images(measured.exam), a_context(Path(folder))
        ).path.read_bytes()


@cache
def own_reading() -> PriorReport:
    return measurement_report_from(own_report(), "given")


def read(data: bytes) -> PriorReport | None:
    try:
        return measurement_report_from(data, "given")
    except GatewayError as error:
        assert error.fix  # noqa: PT017 - the error is what is tested
        return None


@MANY
@given(st.binary(max_size=400))
def test_random_bytes(data: bytes) -> None:
    read(data)
    read(bytes(128) + b"DICM" + data)


@MANY
@given(
    st.lists(st.tuples(st.integers(0, 25_000), st.integers(0, 255)), min_size=1, max_size=12), st.integers(0, 25_000)
)
def test_damaged_bytes(changes: list[tuple[int, int]], kept: int) -> None:
    data = bytearray(own_report())
    for place, value in changes:
        data[132 + place % (len(data) - 132)] = value
    read(bytes(data))
    read(bytes(data[: 132 + kept % (len(data) - 132)]))


def items(dataset: Dataset) -> list[Dataset]:
    found = [dataset]
    for element in dataset:
        if element.VR == "SQ":
            for item in element.value:
                found += items(item)
    return found


ODD = st.sampled_from(
    [
        ("LO", "two\\values"),
        ("LO", ""),
        ("UT", "x" * 3000),
        ("OB", b"\x00\xff"),
        ("DS", "1e400"),
        ("DS", "12"),
        ("FD", float("nan")),
        ("FD", [1.0, 2.0]),
        ("UI", "1.2.3"),
        ("SQ", []),
        ("SQ", [Dataset()]),
        ("CS", "NUM"),
        ("CS", "CONTAINER"),
        ("DA", "20260302"),
        ("DA", "99999999"),
    ]
)


@SOME
@given(st.data())
def test_mutated_content(data: st.DataObject) -> None:
    """Elements replaced by others of any representation, taken out, or items repeated anywhere in the tree."""
    dataset = dcmread(BytesIO(own_report()))
    for _change in range(data.draw(st.integers(1, 8))):
        item = data.draw(st.sampled_from(items(dataset)))
        elements = [element for element in item if element.tag.group > 2]
        if not elements:
            continue
        element = data.draw(st.sampled_from(elements))
        action = data.draw(st.sampled_from(["replace", "remove", "repeat"]))
        if action == "remove":
            del item[element.tag]
        elif action == "repeat" and element.VR == "SQ" and element.value:
            element.value.append(data.draw(st.sampled_from(list(element.value))))
        else:
            vr, value = data.draw(ODD)
            item[element.tag] = DataElement(element.tag, vr, value, validation_mode=0)
    file = BytesIO()
    try:
        dataset.save_as(file)
    except Exception:  # a mutation that cannot be written is none
        return
    report = read(file.getvalue())
    if report is not None:
        with contextlib.suppress(GatewayError):
            other = dataclasses.replace(own_reading(), study_uid="1.2.3", when=datetime(2027, 7, 2, 9, 30))
            render_trend_plot(compare([report, other], load_repeatability()))
