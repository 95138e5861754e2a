"""A site whose record, file names and clock each write in their own way: French JSON, places in names, a fast clock."""

from __future__ import annotations

import json
from zoneinfo import ZoneInfo

import pytest

from gateway.errors.document import ExamDocumentError
from gateway.mapping.exam_document import MappedExam, map_exam_document
from gateway.mapping.located.records import RecordKind, RecordOptions, record_from
from gateway.mapping.sources.engine import MappedSource
from gateway.mapping.sources.files import RecordFile
from tests.unit.mapping.sources.conftest import HEAD, applied, problems_of

SITE = (
    HEAD
    + """\
records:
  - {id: exam, file: examen.json, kind: json, rows: {per: exam}}
  - {id: images, file: examen.json, kind: json, rows: {per: capture, at: images}, match: {field: nom, to: file-name}}
media: {files: "*.tif", names: "{oeil:letters}_{heure}_{jour:digits:8}.tif"}
folder: "{nom:letters}_{dossier:text}"
terms:
  coupes: {transversale: transverse}
rules:
  - {to: patient.id, from: {record: exam, field: dossier}}
  - {to: patient.issuer, from: {constant: INVENTED}}
  - {to: patient.name, from: {constant: Dubois^Anne}}
  - {to: session.time_zone, from: {constant: Europe/Paris}}
  - to: session.start
    from: {record: exam, field: début}
    with: {date_time: {form: "D MMM YYYY HH'h'mm", language: fr}}
  - {to: session.device.clock_ahead_s, from: {constant: 180}, because: checked against a radio clock}
  - {to: captures.eye, from: [{record: images, field: œil}, {file_name: oeil}], with: {eye: {languages: [fr]}}}
  - {to: captures.scan, from: {record: images, field: coupe}, with: {terms: coupes}}
  - to: captures.clock_hour
    from: [{record: images, field: méridien, with: [{text: {prefix: à}}, clock_hour]}, {file_name: heure}]
    with: clock_hour
  - {to: captures.burned_in_text.identifies_patient, from: {constant: yes}}
  - {to: captures.burned_in_text.mask, from: {constant: yes}}
  - {to: "captures.burned_in_text.regions[1].x0", from: {constant: 0}}
  - {to: "captures.burned_in_text.regions[1].y0", from: {constant: 0}}
  - {to: "captures.burned_in_text.regions[1].x1", from: {constant: 99}}
  - {to: "captures.burned_in_text.regions[1].y1", from: {constant: 20}}
"""
)
IMAGE = {"nom": "OG_H3_20260303.tif", "œil": "OG", "coupe": "transversale", "méridien": "à 3h"}
RECORD = {"dossier": "P-0042", "début": "3 mars 2026 14h05", "images": [IMAGE]}


def source(site: str, record: dict[str, object], folder: str = "DUBOIS_P-0042") -> MappedSource:
    content = json.dumps(record, ensure_ascii=False, indent=1).encode()
    file = RecordFile("examen.json", record_from(content, "examen.json", RecordOptions(RecordKind.JSON)))
    (found,) = applied(site, ["OG_H3_20260303.tif"], {"exam": [file], "images": [file]}, folder=folder)
    return found


def read(site: str, zone: str = "") -> MappedExam:
    found = source(site, RECORD)
    return map_exam_document(found.document, found.key, site_zone=ZoneInfo(zone) if zone else None)


def reasons(site: str, record: dict[str, object], folder: str = "DUBOIS_P-0042") -> list[str]:
    found = source(site, record, folder)
    with pytest.raises(ExamDocumentError) as caught:
        map_exam_document(found.document, found.key)
    return [str(problem) for problem in caught.value.problems]


def test_each_source_is_read_by_its_own_conversions_and_they_are_held_against_each_other() -> None:
    (capture,) = read(SITE).exam.captures
    assert capture.position.clock_hour is not None
    assert str(capture.position.clock_hour.half_hours) == "6"
    held = reasons(SITE, {**RECORD, "images": [{**IMAGE, "méridien": "à 9h"}]})
    assert any("9 (à 9h) by record images méridien" in problem and "3 (H3) by file name" in problem for problem in held)


def test_a_table_of_terms_may_stand_at_one_source_alone() -> None:
    own = SITE.replace("field: coupe}, with: {terms: coupes}}", "field: coupe, with: {terms: coupes}}}")
    assert own != SITE
    assert read(own).exam.captures[0].position.scan.value == "transverse"


def test_a_time_without_offset_follows_the_zone_of_the_exam_or_of_the_site() -> None:
    # 3 March is winter time in Paris, 1 h ahead of UTC (IANA database); the clock ran 3 minutes ahead.
    assert read(SITE).exam.session.start.isoformat() == "2026-03-03T14:02:00+01:00"
    unzoned = SITE.replace("  - {to: session.time_zone, from: {constant: Europe/Paris}}\n", "")
    assert read(unzoned, "America/Lima").exam.session.start.isoformat() == "2026-03-03T14:02:00-05:00"
    assert any(
        "the offset from UTC is missing" in problem and "session.time_zone" in problem
        for problem in reasons(unzoned, RECORD)
    )


@pytest.mark.parametrize(
    "at_source", ["with: {date_time: {%s}}}", "field: début, with: {date_time: {%s}}}\n    with: text"]
)
def test_a_clock_is_not_corrected_twice(at_source: str) -> None:
    form = "form: \"D MMM YYYY HH'h'mm\", language: fr, clock_offset_s: -180"
    twice = SITE.replace("HH'h'mm\", language: fr}", "HH'h'mm\", language: fr, clock_offset_s: -180}")
    if "field" in at_source:
        start = SITE.index("    from: {record: exam, field: début}")
        end = SITE.index("  - {to: session.device.clock_ahead_s")
        twice = f"{SITE[:start]}    from: {{record: exam, {at_source % form}\n{SITE[end:]}"
    (problem,) = problems_of(twice)
    assert "one clock is corrected twice, was session.device.clock_ahead_s at site.yaml:18:5" in problem


def test_an_offset_of_the_clock_may_stand_in_the_conversion_alone() -> None:
    at = SITE.index("  - {to: session.device.clock_ahead_s")
    once = SITE[:at] + SITE[SITE.index("\n", at) + 1 :]
    once = once.replace("HH'h'mm\", language: fr}", "HH'h'mm\", language: fr, clock_offset_s: -180}")
    assert read(once).exam.session.start.isoformat() == "2026-03-03T14:02:00+01:00"


def test_regions_are_numbered_from_one() -> None:
    text = read(SITE).exam.captures[0].burned_in_text
    assert text is not None
    assert [(region.x0, region.y0, region.x1, region.y1) for region in text.regions] == [(0, 0, 99, 20)]


def test_a_required_field_that_nothing_states_says_where_it_was_looked_for() -> None:
    (problem,) = reasons(SITE.replace("field: début", "field: debut"), RECORD)
    assert "state it in record exam debut, did you mean début? (rule at site.yaml:15)" in problem
    without = {key: value for key, value in RECORD.items() if key != "début"}
    (problem,) = reasons(SITE, without)
    assert "state it in record exam début (rule at site.yaml:15)" in problem
    problems = reasons(SITE, {**RECORD, "images": [{**IMAGE, "coupe": ""}]})
    assert any("captures[0].scan" in each and "state it in record images coupe (rule at" in each for each in problems)


def test_an_eye_that_nothing_states_says_where_it_was_looked_for() -> None:
    site = SITE.replace("[{record: images, field: œil}, {file_name: oeil}]", "{record: images, field: œil}")
    problems = reasons(site, {**RECORD, "images": [{**IMAGE, "œil": ""}]})
    assert any("state it in record images œil (rule at site.yaml:19); it is never guessed" in each for each in problems)


def test_a_required_field_without_a_rule_asks_for_one() -> None:
    rule = "  - {to: captures.scan, from: {record: images, field: coupe}, with: {terms: coupes}}\n"
    problems = reasons(SITE.replace(rule, ""), RECORD)
    assert any("captures[0].scan" in each and "write a rule for it" in each for each in problems)


def test_a_rule_that_finds_nothing_is_kept_with_the_place_where_it_looked() -> None:
    found = source(SITE + "  - {to: session.station, from: {record: exam, field: poste/nom}}\n", RECORD)
    trace = found.traces["session.station"]
    assert (trace.sources, trace.looked) == ((), "record exam poste/nom")


def test_a_folder_that_does_not_fit_says_where_the_pattern_ends() -> None:
    problems = reasons(SITE, RECORD, folder="DUBOIS")
    assert any("there are: {nom:letters}_{dossier:text}, but nothing fits '_'" in problem for problem in problems)
