"""Source mappings that cannot be used: each problem with its line, and what to write instead."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from gateway.errors.document import DocumentTooLargeError
from gateway.errors.mapping import SourceMappingError
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.mapping.sources.language import MOST_RULES
from gateway.mapping.sources.reading import load_source_mapping, read_source_mapping
from gateway.model.destination_override import DestinationOverride
from gateway.model.witness import WitnessSource
from tests.unit.mapping.sources.conftest import HEAD, SITE, problems_of, source_mapping

MEDIA = 'media: {files: "*.bmp", names: "{eye}_{n:digits}.bmp"}\n'


def with_rule(rule: str, more: str = "") -> str:
    return f"{HEAD}{MEDIA}{more}rules:\n  - {rule}\n"


def test_a_mapping_is_read_whole_with_the_line_of_every_rule() -> None:
    mapping = source_mapping(SITE)
    assert [str(rule.to) for rule in mapping.rules][:2] == ["patient.id", "patient.issuer"]
    assert [rule.place.line for rule in mapping.rules] == list(range(12, 19))
    eye = mapping.rules[4]
    assert [source.witness for source in eye.sources] == [WitnessSource.RECORD, WitnessSource.FILE_NAME]
    assert [source.words for source in eye.sources] == ["record list eye", "file name eye"]
    assert mapping.record("list").match_field == "file"
    with pytest.raises(KeyError):
        mapping.record("other")


@pytest.mark.parametrize(
    ("marked", "says"),
    [
        ("{to: §captures.ey, from: {file_name: eye}}", "did you mean captures.eye?"),
        ("{to: §captures..eye, from: {file_name: eye}}", "write it with dots"),
        ("{to: §captures.frame_times_ms, from: {file_name: n}}", "numbered from 1: captures.frame_times_ms[1]"),
        ("{to: §'measurements.points[1].x', from: {file_name: n}}", "number its items from 1, as [1]"),
        ("{to: §measurements.points, from: {file_name: n}}", "numbered from 1: measurements.points[1][1]"),
        ("{to: §captures.burned_in_text.regions.x0, from: {file_name: n}}", "from 1: regions[1].x0"),
        ("{to: §captures.burned_in_text.regions, from: {file_name: n}}", "regions[1].x0, captures.burned"),
        ("{to: captures.scan, from: §{constant: transvers}}", "use transverse, longitudinal"),
        ("{to: captures.gain_db, from: §{constant: 84a}}", "digits and a decimal point"),
        ("{to: session.time_zone, from: §{constant: Europe/Pariss}}", "this is not a time zone, was Europe/Pariss"),
        ("{to: patient.sex, from: §{constant: X}}", "F, M, O"),
        ("{to: captures.scan, from: §{constant: quer}, with: scan}", "scan:"),
        ("{to: captures.gain_db, from: {file_name: n, with: §nmber}}", "did you mean number?"),
        ("{to: §order.requested_procedure.code, from: {file_name: n, with: text}}", "this field holds a code"),
        ("{to: captures.eye, from: {file_name: eye, witness: §person}}", "use record, file-name"),
        ("{to: §captures, from: {file_name: eye}}", "name a field of it, e.g. captures.id"),
        ("{to: §captures.calibration, from: {file_name: n}}", "not a single field"),
        ("{to: §'captures.id[0]', from: {file_name: n}}", 'number in brackets'),
        ("{to: §captures.file, from: {file_name: n}}", "from the files found"),
        ("{to: §measurements.capture, from: {file_name: n}}", "from the record's match"),
        ("{to: §format, from: {constant: x}}", "the gateway writes it"),
        ("{to: captures.gain_db, from: {file_name: §m}}", "no file-name pattern has this place, was m"),
        ("{to: captures.gain_db, from: {folder_name: §n}}", "known: none"),
        ("{to: captures.gain_db, from: {record: §lst, field: a}}", "no record has this id, was lst"),
        ("{to: captures.gain_db, from: §{field: a}}", "write record: and its id"),
        ("{to: captures.gain_db, from: §{}}", "names no place"),
        ("{to: captures.gain_db, from: §{file_name: n, constant: 3}}", "a source is one place"),
        ("{to: captures.gain_db, from: §{file_name: n, record: x}}", "go with a field"),
        ("{to: captures.gain_db, from: {order: §OBX-5}}", "one record of kind hl7, was 0 of them"),
        ("{to: captures.gain_db, §frm: {file_name: n}}", "did you mean from?"),
        ("{to: captures.gain_db, from: {file_name: n}, with: {terms: §eyes}}", "no table of terms"),
        ("{to: captures.gain_db, from: {file_name: n}, with: {nmber: §{}}}", "did you mean number?"),
        ("{to: captures.gain_db, from: {file_name: n}, with: {number: §{decimal: dot}}}", "write point or comma"),
        ("{to: captures.gain_db, from: {file_name: n}, with: {number: §comma}}", "takes parameters by name"),
        ("{to: captures.gain_db, from: {file_name: n}, with: §{number: {}, text: {}}}", "one conversion in each"),
        ("{to: captures.gain_db, from: {file_name: n}, with: §{number: }}", "write a name alone"),
        ("{to: captures.eye, from: §{constant: right}}", "one eye for every capture is a guess"),
        ("{to: captures.gain_db, from: §{file_name: n, witness: order}}", "are for an eye alone"),
        ("{to: patient.id, from: {file_name: n}, if_missing: §leave-out}", "write stop"),
        ("{to: captures.id, from: {file_name: n}, if_missing: §no-part}", "write leave-out"),
        ("{to: captures.id, from: {file_name: n}, if_missing: §skip}", "use stop, leave-empty"),
        ("{to: captures.id, of: §x, from: {file_name: n}}", "for measurements and findings"),
        ("{to: §measurements.kind, from: {constant: height}}", "no record has rows per measurement"),
        ("{to: §measurements.kind, of: x, from: {constant: height}}", "no record has rows per measurement"),
        ("{to: §findings.what.code, from: {file_name: n}}", "no record has rows per finding"),
        ("{to: §order.requested_procedure.code, from: {file_name: n}}", "this field holds a code"),
        ("{to: captures.acquired, from: {file_name: n}, take: §earliest}", "for session.start alone"),
        ("{to: patient.id, from: [{file_name: n}, {file_name: [n, §o]}]}", "has this place, was o"),
    ],
)  # fmt: skip
def test_a_rule_that_names_nothing_is_found_at_its_place(marked: str, says: str) -> None:
    problems = problems_of(with_rule(marked.replace("§", "")))
    column = marked.index("§") + len("  - ") + 1
    assert any(problem.startswith(f"site.yaml:5:{column} ") and says in problem for problem in problems), problems


def test_a_misspelt_key_in_a_table_of_terms_gets_the_nearest_known_one() -> None:
    table = "terms: {eyes: {re: {txt: right}}}\n"
    (problem,) = problems_of(with_rule("{to: patient.id, from: {constant: 1}}", table))
    assert problem.endswith("(terms.eyes.re): this key is not known here, was txt; did you mean text?")


def test_two_rules_for_one_field_name_each_other() -> None:
    (problem,) = problems_of(
        with_rule("{to: patient.id, from: {file_name: n}}\n  - {to: patient.id, from: {constant: 1}}")
    )
    assert "two rules fill one field" in problem
    assert "also at site.yaml:5:5" in problem
    assert problem.startswith("site.yaml:6:10")


def test_a_rule_inside_the_field_of_another_is_refused() -> None:
    both = "{to: patient.name, from: {file_name: n}}\n  - {to: patient.name.phonetic, from: {constant: a}}"
    (problem,) = problems_of(with_rule(both))
    assert "inside that of another" in problem


RECORD = "records:\n  - {id: a, file: a.csv, kind: csv, %s}\n"


@pytest.mark.parametrize(
    ("record", "says"),
    [
        ("rows: {per: capture}", "rows per capture need a picture"),
        ("rows: {per: measurement}", "rows per measurement need a picture"),
        ("rows: {per: exam}, match: {field: x, to: file-name}", "belong to no picture"),
        ("rows: {per: capture}, match: {to: file-name}", "write field:"),
        ("rows: {per: capture}, match: {field: x, to: same-stem}", "leave field out"),
        ("rows: {per: capture}, match: {field: x, to: nn}", "no file-name pattern has this place"),
        ("rows: {per: visit}", "use exam, capture"),
        ("rows: {per: exam}, encoding: latin-99", "encoding is not known"),
        ("rows: {per: exam}, delimiter: '\"'", "no CSV file can be read"),
        ("rows: {per: exam}, delimiter: ''", "no CSV file can be read"),
        ("rows: {per: exam}}\n  - {id: a, file: b.csv, kind: csv, rows: {per: exam}", "two records have one id"),
        (
            "rows: {per: exam}}\n  - {id: b, file: b.xml, kind: xml, encoding: utf-8, rows: {per: exam}",
            "states its own",
        ),
        (
            "rows: {per: exam}}\n  - {id: b, file: b.xml, kind: xml, delimiter: ';', rows: {per: exam}",
            "is for CSV alone",
        ),
    ],
)
def test_a_record_that_cannot_be_used_says_why(record: str, says: str) -> None:
    problems = problems_of(with_rule("{to: patient.id, from: {constant: 1}}", RECORD % record))
    assert any(says in problem for problem in problems), problems


ORDER = "records:\n  - {id: ord, file: '*.hl7', kind: hl7, rows: {per: exam}}\n"


@pytest.mark.parametrize(
    ("field", "says"),
    [("PID", "no path of a field"), ("PID-5:nick", "write PID-5:name"), ("pid-5", "no path of a field")],
)
def test_a_field_of_an_order_is_checked_before_any_order_comes(field: str, says: str) -> None:
    problems = problems_of(with_rule(f'{{to: patient.id, from: {{order: "{field}"}}}}', ORDER))
    assert any(says in problem for problem in problems), problems


def test_order_is_the_one_record_of_hl7_and_a_witness_of_its_own() -> None:
    mapping = source_mapping(with_rule('{to: captures.eye, from: [{order: "OBX-5"}, {file_name: eye}]}', ORDER))
    source = mapping.rules[0].sources[0]
    assert (source.record, source.witness, source.words) == ("ord", WitnessSource.ORDER, "order OBX-5")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("format: eye-ultrasound-source/2\nname: a\n" + MEDIA + "rules: []\n", "not a source mapping"),
        (HEAD + MEDIA, "a required field is missing"),
        (HEAD + MEDIA + "rules: 3\n", "a list is expected here"),
        (HEAD + MEDIA + "rules:\n", "a required field is missing"),
        (HEAD + "rules:\n  - {to: patient.id, from: {constant: 1}}\n", "a required field is missing"),
        (with_rule("{to: patient.id, from: {constant: 1}}", "ruls: []\n"), "did you mean rules?"),
        (with_rule("{to: patient.id, from: {constant: 1}}", "name: b\n"), "stands twice"),
        (with_rule("{to: patient.id, from: {constant: 1}}", "folder: '{a}{b}'\n"), "ends and the next begins"),
        (with_rule("{to: patient.id, from: {constant: 1}}", "terms: {a: {OD: right, od: left}}\n"), "but their case"),
        ("- a\n", "the mapping has no fields"),
        (with_rule("{to: patient.id, from: {constant: 1}}").replace(", names", ", frames: q, names"), "has this place"),
    ],
)  # fmt: skip
def test_a_mapping_of_another_shape_is_refused(text: str, says: str) -> None:
    problems = problems_of(text)
    assert any(says in problem for problem in problems), problems


def test_every_problem_is_told_at_once_in_the_order_of_lines() -> None:
    problems = problems_of(with_rule("{to: patient.i, from: {file_name: x}}\n  - {to: a.b, from: {constant: 1}}"))
    assert [problem.split(" ")[0] for problem in problems] == ["site.yaml:5:10", "site.yaml:5:39", "site.yaml:6:10"]


def test_more_rules_than_any_exam_has_fields_are_refused() -> None:
    rule = "{to: patient.id, from: {constant: 1}}"
    problems = problems_of(with_rule("\n  - ".join([rule] * (MOST_RULES + 1))))
    assert any("too many rules" in problem for problem in problems)


def test_a_deep_or_large_file_is_refused_by_its_reader(here: Path) -> None:
    path = here / "site.yaml"
    path.write_text("a: " + "[" * 40 + "]" * 40, encoding="utf-8")
    with pytest.raises(SourceMappingError, match="nested too deeply"):
        load_source_mapping(path)
    path.write_text("x" * (2 * 1024 * 1024 + 1), encoding="utf-8")
    with pytest.raises(SourceMappingError) as caught:
        load_source_mapping(path)
    assert isinstance(caught.value.problems[0], DocumentTooLargeError)


def test_a_mapping_is_read_from_a_file_and_names_it_as_given(here: Path) -> None:
    path = here / "site.yaml"
    path.write_text(SITE, encoding="utf-8")
    assert load_source_mapping(path).rules[0].place.file == str(path)


def test_too_many_terms_are_refused() -> None:
    table = ", ".join(f"w{number}: right" for number in range(2001))
    problems = problems_of(with_rule("{to: patient.id, from: {constant: 1}}", f"terms: {{a: {{{table}}}}}\n"))
    assert any("too many terms" in problem for problem in problems)


def test_what_one_destination_gets_otherwise_is_kept_with_its_reason() -> None:
    more = "destinations:\n  - {destination: a, attribute: InstitutionName, value: B, because: asked for}\n"
    mapping = source_mapping(with_rule("{to: patient.id, from: {constant: 1}}", more))
    assert mapping.destinations == (DestinationOverride("a", "InstitutionName", "B", "asked for"),)


def test_a_csv_may_have_no_heading_and_lines_above_it() -> None:
    record = RECORD % "rows: {per: exam}, header: no, skip_lines: 2, delimiter: tab, optional: yes"
    (spec,) = source_mapping(with_rule("{to: patient.id, from: {record: a, field: '1'}}", record)).records
    assert (spec.csv.has_header, spec.csv.skip_lines, spec.csv.delimiter, spec.is_optional) == (False, 2, "\t", True)


def test_single_items_and_lists_of_one_mean_the_same() -> None:
    one = source_mapping(with_rule("{to: patient.id, from: {file_name: n}, with: text}", "folder: '{a}'\n"))
    many = source_mapping(with_rule("{to: patient.id, from: [{file_name: [n]}], with: [text]}", "folder: ['{a}']\n"))
    assert one.rules[0].sources[0].names == many.rules[0].sources[0].names
    assert one.folder == many.folder
    assert [step.name for step in one.rules[0].steps] == [step.name for step in many.rules[0].steps] == ["text"]


def test_an_error_can_be_pickled_with_its_problems() -> None:
    with pytest.raises(SourceMappingError) as caught:
        read_source_mapping(LocatedDocument("site.yaml", read_yaml("- a", "site.yaml")))
    again = pickle.loads(pickle.dumps(caught.value))  # noqa: S301
    assert str(again) == str(caught.value)


SIZES = "".join(
    f"  - {{id: {name}, file: a.csv, kind: csv, rows: {{per: measurement}}, match: {{field: f, to: file-name}}}}\n"
    for name in ("one", "two")
)


@pytest.mark.parametrize(
    ("of", "says"),
    [
        ("", "it is not said of which record the rows per measurement; of: one of one, two"),
        ("of: three, ", "names no record with"),
    ],
)
def test_a_rule_of_measurements_says_of_which_record_they_are(of: str, says: str) -> None:
    rule = f"{{to: measurements.kind, {of}from: {{constant: height}}}}"
    (problem,) = problems_of(with_rule(rule, f"records:\n{SIZES}"))
    assert says in problem
    one, two = (f"{{to: measurements.kind, of: {of}, from: {{constant: height}}}}" for of in ("one", "two"))
    both = f"{one}\n  - {two}"
    assert [rule.record for rule in source_mapping(with_rule(both, f"records:\n{SIZES}")).rules] == ["one", "two"]


def test_only_one_line_says_who_stated_the_eye() -> None:
    said = "{to: captures.eye, from: {record: one, field: a, said_by: b}}"
    stated = "{to: captures.eye_stated_by, from: {constant: A^B}}"
    (problem,) = problems_of(with_rule(f"{said}\n  - {stated}", f"records:\n{SIZES}"))
    assert "two ways to say who stated the eye" in problem
