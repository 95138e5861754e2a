"""Every conversion has an example that is true and can be copied into a mapping as it stands."""

from __future__ import annotations

import json

import pytest

from gateway.mapping.conversions import conversions
from gateway.mapping.sources.examples import Example, conversion_examples
from tests.unit.mapping.sources.conftest import HEAD, source_mapping

EXAMPLES = conversion_examples()


def test_every_conversion_has_an_example() -> None:
    assert {example.name for example in EXAMPLES} == set(conversions())


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.written)
def test_an_example_can_be_copied_into_a_rule(example: Example) -> None:
    rule = f"  - {{to: captures.comment, from: {{constant: {json.dumps(example.text)}}}, with: {example.written}}}\n"
    (read,) = source_mapping(f'{HEAD}media: {{files: "*"}}\nrules:\n{rule}').rules
    assert (read.steps[0].name, dict(read.steps[0].parameters)) == (example.name, dict(example.parameters))
    assert example.result


def test_what_comes_of_some_of_them() -> None:
    results = {example.written: example.result for example in EXAMPLES}
    assert results["{date: {form: DD.MM.YYYY}}"] == "1961-11-07"
    assert results["{date_time: {form: DD.MM.YYYY HH:mm, zone: Europe/Berlin}}"] == "2026-03-11T10:05:00+01:00"
    # Nasal is 3 o'clock in the right eye, as the examiner faces the patient (common practice).
    assert results["{clock_hour: {form: words}}"] == "3"
    assert results["{length: {unit: cm}}"] == "40"
