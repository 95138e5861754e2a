# ruff: noqa: E501  the cases read as a table, one a line
"""What stops a whole document: patient, order, session, top level, and the file itself."""

from __future__ import annotations

import pickle

import pytest

from gateway.errors.document import ExamDocumentError
from gateway.mapping.exam_document import read_exam_document
from gateway.mapping.located import tree


def problems_of(read, text, name="exam.yaml"):
    with pytest.raises(ExamDocumentError) as caught:
        read(text, name)
    return caught.value.problems


def only(problems):
    assert len(problems) == 1, [str(problem) for problem in problems]
    return problems[0]


# (what to replace, by what, code, line, column, field): line and column as an editor counts them, from 1.
STOPPING = [
    ("format: eye-ultrasound-exam/1", "format: eye-ultrasound-exam/2", "document-format", 2, 9, "format"),
    ("format: eye-ultrasound-exam/1", "format: eye-ultrasound-source/1", "document-format", 2, 9, "format"),
    ("format: eye-ultrasound-exam/1", "", "field-missing", 3, 1, "format"),
    ('  id: "012345"', "", "field-missing", 5, 3, "patient.id"),
    ('id: "012345"', 'id: ""', "field-missing", 4, 7, "patient.id"),
    ('id: "012345"', 'id: "1\\\\2"', "text-not-writable", 4, 7, "patient.id"),
    ('id: "012345"', 'id: " 12"', "text-not-writable", 4, 7, "patient.id"),
    ('id: "012345"', 'id: "1\\t2"', "text-not-writable", 4, 7, "patient.id"),
    ('id: "012345"', f"id: {'9' * 65}", "text-not-writable", 4, 7, "patient.id"),
    ('id: "012345"', "id: [1]", "value-not-understood", 4, 7, "patient.id"),
    ("issuer: INVENTED", "issuer:", "field-missing", 5, 3, "patient.issuer"),
    ("name: Holm^Maija", "name: ", "field-missing", 6, 3, "patient.name"),
    ("name: Holm^Maija", "name: A=B", "name-not-writable", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", "name: A\\B", "name-not-writable", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", 'name: "A\\nB"', "name-not-writable", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", f"name: {'x' * 65}", "name-not-writable", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", "name: a^b^c^d^e^f", "name-not-writable", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", 'name: " A^B"', "name-not-writable", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", "name: ^^", "name-not-writable", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", 'name: ""', "field-missing", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", "name: {phonetic: x}", "field-missing", 6, 9, "patient.name.alphabetic"),
    ("name: Holm^Maija", "name: {alphabetic: a, phonetic: a=b}", "name-not-writable", 6, 35, "patient.name.phonetic"),
    ("name: Holm^Maija", "name: [a, b]", "value-not-understood", 6, 9, "patient.name"),
    ("name: Holm^Maija", "name: A^B\n  birth_date: 1958-02-30", "value-not-understood", 7, 15, "patient.birth_date"),
    ("name: Holm^Maija", "name: A^B\n  birth_date: 14.3.1958", "value-not-understood", 7, 15, "patient.birth_date"),
    ("name: Holm^Maija", "name: A^B\n  birth_date: 2027-01-01", "value-out-of-range", 7, 15, "patient.birth_date"),
    ("name: Holm^Maija", "name: A^B\n  sex: female", "word-not-known", 7, 8, "patient.sex"),
    ("name: Holm^Maija", "name: A^B\n  sexx: F", "unknown-key", 7, 3, "patient"),
    ("start: 2026-03-02T09:30:00+01:00", "start: 2026-03-02T09:30:00", "offset-missing", 8, 10, "session.start"),
    ("start: 2026-03-02T09:30:00+01:00", "start: 2026-03-02 09:30:00", "offset-missing", 8, 10, "session.start"),
    ("start: 2026-03-02T09:30:00+01:00", "start: 2026-03-02", "value-not-understood", 8, 10, "session.start"),
    ("start: 2026-03-02T09:30:00+01:00", "start: 2026-03-02T09:30+01:00", "value-not-understood", 8, 10, "session.start"),
    ("start: 2026-03-02T09:30:00+01:00", "start: 2026-03-02T25:30:00Z", "value-not-understood", 8, 10, "session.start"),
    ("start: 2026-03-02T09:30:00+01:00", "start: 2026-03-02T09:30:00+15:00", "value-not-understood", 8, 10, "session.start"),
    ("session:", "order: {accession_number: A12345678901234567}\nsession:", "text-not-writable", 7, 27, "order.accession_number"),
    ("session:", "order: {study_instance_uid: 1.02.3}\nsession:", "uid-not-valid", 7, 29, "order.study_instance_uid"),
    ("session:", "order: {study_instance_uid: 3.2}\nsession:", "uid-not-valid", 7, 29, "order.study_instance_uid"),
    ("session:", f"order: {{study_instance_uid: 1.{'2' * 63}}}\nsession:", "uid-not-valid", 7, 29, "order.study_instance_uid"),
    ("session:", "order: {indication: {}}\nsession:", "field-missing", 7, 21, "order.indication"),
    ("session:", 'order: {indication: ""}\nsession:', "field-missing", 7, 21, "order.indication.text"),
    ("session:", "order: {indication: {code: {value: a, scheme: b}}}\nsession:", "field-missing", 7, 28, "order.indication.code.meaning"),
    ("session:", "order: x\nsession:", "value-not-understood", 7, 8, "order"),
    ("session:", "session:\n  station: a-name-of-17-char", "text-not-writable", 8, 12, "session.station"),
    ("session:", "session:\n  probe: {type: sector}", "value-not-understood", 8, 17, "session.probe.type"),
    ("session:", "session:\n  probe: {nominal_frequency_mhz: 0}", "value-out-of-range", 8, 34, "session.probe.nominal_frequency_mhz"),
    ("session:", "session:\n  probe: {nominal_frequency_mhz: 10 MHz}", "value-not-understood", 8, 34, "session.probe.nominal_frequency_mhz"),
    ("session:", "session:\n  probe: {nominal_frequency_mhz: '10,5'}", "decimal-comma", 8, 34, "session.probe.nominal_frequency_mhz"),
    ("session:", "cautions: [infectoin]\nsession:", "word-not-known", 7, 12, "cautions[0]"),
    ("session:", "cautions: infection\nsession:", "value-not-understood", 7, 11, "cautions"),
    ("session:", "synthetic: maybe\nsession:", "value-not-understood", 7, 12, "synthetic"),
    ("session:", "language: english please\nsession:", "value-not-understood", 7, 11, "language"),
    ("session:", "mesurements: []\nsession:", "unknown-key", 7, 1, ""),
    ("session:", "measurements: {}\nsession:", "value-not-understood", 7, 15, "measurements"),
    ("session:", "patient: {}\nsession:", "duplicate-key", 7, 1, "patient"),
    ("issuer: INVENTED", "issuer: INVENTED\n  issuer: OTHER", "duplicate-key", 6, 3, "patient"),
]  # fmt: skip


@pytest.mark.parametrize("case", STOPPING, ids=lambda case: f"{case[2]}-{case[5]}")
def test_a_document_is_stopped_with_code_and_place(read, smallest, case):
    old, new, code, line, column, field = case
    text = smallest.replace(old, new, 1)
    assert text != smallest
    problem = only(problems_of(read, text))
    assert problem.code == code
    assert (problem.where.file, problem.where.line, problem.where.column) == ("exam.yaml", line, column)
    assert problem.where.field == field
    assert problem.fix


def test_every_problem_is_named_at_once_in_document_order(read, smallest):
    text = smallest.replace("Holm^Maija", "A=B").replace("issuer: INVENTED", "isuer: X").replace("+01:00", "")
    text = text.replace("    eye: right\n", "")
    problems = problems_of(read, text)
    assert [problem.code for problem in problems] == [
        "field-missing",
        "unknown-key",
        "name-not-writable",
        "offset-missing",
        "eye-missing",
    ]


def test_the_text_of_the_error_lists_every_problem(read, smallest):
    with pytest.raises(ExamDocumentError) as caught:
        read(smallest.replace("Holm^Maija", "A=B").replace("+01:00", ""))
    lines = str(caught.value).splitlines()
    assert lines[0] == "2 problems:"
    assert lines[1].startswith("  exam.yaml:6:9 (patient.name.alphabetic): ")
    assert len(lines) == 3


def test_a_document_error_survives_pickling(read, smallest):
    with pytest.raises(ExamDocumentError) as caught:
        read(smallest.replace("Holm^Maija", "A=B").replace("+01:00", ""))
    again = pickle.loads(pickle.dumps(caught.value))  # noqa: S301  own bytes
    assert str(again) == str(caught.value)
    assert [p.code for p in again.problems] == [p.code for p in caught.value.problems]


@pytest.mark.parametrize(
    ("old", "new", "near"),
    [
        ("issuer: INVENTED", "issuer: INVENTED\n  birthdate: 1958-03-14", "birth_date"),
        ("issuer: INVENTED", "issuer: INVENTED\n  Sex: F", "sex"),
        ("session:", "capture: []\nsession:", "captures"),
        ("session:", "session:\n  examinor: X", "examiner"),
    ],
)
def test_an_unknown_key_gets_the_nearest_known_one(read, smallest, old, new, near):
    assert f"did you mean {near}?" in only(problems_of(read, smallest.replace(old, new, 1))).fix


PRIVATE = "Xyzzy"


@pytest.mark.parametrize(
    "new",
    [
        f"id: '{PRIVATE}\\'",
        f"id: {PRIVATE * 20}",
        f"id: '1'\n  sex: {PRIVATE}",
        f"id: '1'\n  birth_date: {PRIVATE}",
        f"id: '1'\n  {PRIVATE}: 1",
        f"id: '1'\n  {PRIVATE}: 1\n  {PRIVATE}: 2",
        f"id: [{PRIVATE}]",
        f"id: &{PRIVATE} 1",
        f"id: *{PRIVATE}",
        f"id: !{PRIVATE} 1",
        f"id: '1'\n  \"{PRIVATE}",
        f"id: '1'\n {PRIVATE}",
        f"id: '1'\n  {PRIVATE}",
        f"id: \"\\u0000{PRIVATE}\"",
        f"id: {PRIVATE}\x01",
        f'id: "{PRIVATE}\\q"',
    ],
)  # fmt: skip
def test_no_message_repeats_what_stands_in_the_patient(read, smallest, new):
    for problem in problems_of(read, smallest.replace('id: "012345"', new)):
        assert PRIVATE not in str(problem)
        assert PRIVATE not in repr(problem)


def test_a_duplicate_key_names_both_places(read, smallest):
    problem = only(problems_of(read, smallest.replace("issuer: INVENTED", "issuer: A\n  issuer: A")))
    assert "exam.yaml:5:3" in problem.was
    assert "exam.yaml:6:3" in problem.was


BAD_FILES = [
    ("", "document-syntax"),
    ("# only a comment\n", "document-syntax"),
    ("- a\n", "value-not-understood"),
    ("text", "value-not-understood"),
    ("a: b: c", "document-syntax"),
    ("a: [1, 2", "document-syntax"),
    ("a:\n\t- b", "document-syntax"),
    ('a: "\\q"', "document-syntax"),
    ('a: "\\U00110000"', "document-syntax"),
    ("a: &x 1\nb: *x", "document-feature-refused"),
    ("a: *x", "document-feature-refused"),
    ("a: !!python/object/apply:os.system ['true']", "document-feature-refused"),
    ("a: !!str 1", "document-feature-refused"),
    ("a: ! 1", "document-feature-refused"),
    ("? [a]\n: b", "document-feature-refused"),
    ("{a: 1}: b", "document-feature-refused"),
    (f"? {'k' * 300}\n: b", "document-feature-refused"),
    ("a: 1\n---\nb: 2", "document-feature-refused"),
    ("[" * 40, "document-too-large"),
    ("{a: " * 40, "document-too-large"),
    ("- " * 40, "document-too-large"),
    (b"\xff\xfea\x00", "document-encoding"),
    (b"a: \xe9", "document-encoding"),
    (b"a: b\x00", "document-encoding"),
    (b"a: \x1b[2J", "document-encoding"),
    (b"a: \xc2\x85", "document-encoding"),
    ('a: "\\ud83d"', "document-encoding"),
    ('a: "\\0"', "document-encoding"),
    (b"a: \xed\xa0\x80", "document-encoding"),
    (b" " * (tree.LARGEST_DOCUMENT_BYTES + 1), "document-too-large"),
]


@pytest.mark.parametrize(("content", "code"), BAD_FILES)
def test_a_file_that_is_no_document_is_refused_by_name(read, content, code):
    problem = problems_of(read, content)[0]
    assert problem.code == code
    assert "exam.yaml" in str(problem)


BAD_JSON = [
    ("", 1, 1, "document-syntax"),
    (f'{{"{"k" * 201}": 1}}', 1, 2, "document-feature-refused"),
    ("{", 1, 2, "document-syntax"),
    ('{"a": 1,}', 1, 9, "document-syntax"),
    ('{"a": 1 "b": 2}', 1, 9, "document-syntax"),
    ('{"a" 1}', 1, 6, "document-syntax"),
    ("{\n'a': 1}", 2, 1, "document-syntax"),
    ('{"a": 01}', 1, 7, "document-syntax"),
    ('{"a": .5}', 1, 7, "document-syntax"),
    ('{"a": NaN}', 1, 7, "document-syntax"),
    ('{"a": Infinity}', 1, 7, "document-syntax"),
    ('{"a": yes}', 1, 7, "document-syntax"),
    ('{"a": "b', 1, 7, "document-syntax"),
    ('{"a": "\\x"}', 1, 7, "document-syntax"),
    ('{"a": [1, 2}', 1, 12, "document-syntax"),
    ('{"a": [,1]}', 1, 8, "document-syntax"),
    ('{"a": 1} {}', 1, 10, "document-syntax"),
    ('{"a": "\\ud83d"}', 1, 7, "document-encoding"),
    ('{"a":\n "\\u0000"}', 2, 2, "document-encoding"),
    ("[" * 40, 1, 17, "document-too-large"),
]


@pytest.mark.parametrize(("content", "line", "column", "code"), BAD_JSON)
def test_broken_json_is_refused_with_line_and_column(read, content, line, column, code):
    problem = only(problems_of(read, content, "exam.json"))
    assert (problem.code, problem.where.line, problem.where.column) == (code, line, column)


def test_a_mapping_is_told_from_an_exam_and_where_to_give_it(read):
    problem = only(problems_of(read, "format: eye-ultrasound-source/1\nname: a\nrules: []\n"))
    assert "this is a mapping, not an exam" in str(problem)
    assert "--mapping" in problem.fix


def test_a_patient_that_is_no_mapping_is_named_once(read, smallest):
    before, rest = smallest.split("patient:")
    text = f"{before}patient: Holm\nsession:{rest.split('session:')[1]}"
    assert only(problems_of(read, text)).where.field == "patient"


def test_a_capture_of_nothing_is_found_at_its_own_place(read, smallest):
    held = read(smallest.replace("captures:\n", "captures:\n  - ~\n")).held
    assert [part.name for part in held] == ["captures[0]"]
    assert held[0].reason.where.line == smallest[: smallest.index("captures:")].count("\n") + 2


def test_a_long_value_is_shown_by_its_beginning(read, smallest):
    problem = only(problems_of(read, smallest.replace("start: 2026", f"start: {'9' * 90}-2026")))
    assert f"{'9' * 80}..." in str(problem)


def test_a_character_that_no_text_has_is_refused(read):
    assert only(problems_of(read, "a: \ufffe\n")).code == "document-syntax"


def test_only_texts_are_keys():
    builder = tree.Builder("f")
    builder.open(tree.Position(1, 1), is_table=True)
    builder.open(tree.Position(1, 2), is_table=False)
    with pytest.raises(TypeError, match="keys as scalars"):
        builder.close()


def test_the_byte_that_is_not_utf_8_is_named(read):
    problem = only(problems_of(read, b"\xef\xbb\xbfa: b\nc: \xe9\n"))
    assert "0xE9 at byte 11" in problem.was
    assert (problem.where.line, problem.where.column) == (2, 4)


def test_a_byte_order_mark_is_no_matter(read, smallest):
    assert read(b"\xef\xbb\xbf" + smallest.encode()).exam.captures


def test_windows_line_ends_are_no_matter(read, everything):
    one, two = read(everything).exam, read(everything.replace("\n", "\r\n")).exam
    assert one.measurements == two.measurements
    assert one.origins["findings[1]"] == two.origins["findings[1]"]


def test_too_many_values_are_refused_early(read, monkeypatch):
    monkeypatch.setattr(tree, "MOST_NODES", 1000)
    assert only(problems_of(read, "a: [" + "1," * 1001 + "]")).code == "document-too-large"
    assert only(problems_of(read, '{"a": [' + "1," * 1001 + "1]}", "exam.json")).code == "document-too-large"


def test_too_many_parts_are_refused(read, smallest):
    text = smallest + "measurements: [" + "a," * 2001 + "]\n"
    assert [p.code for p in problems_of(read, text)] == ["document-too-large"]


def test_a_file_that_is_not_there_or_of_another_kind_is_refused(tmp_path, read):
    for path in (tmp_path / "none.yaml", tmp_path, tmp_path / "exam.txt"):
        with pytest.raises(ExamDocumentError) as caught:
            read_exam_document(path)
        assert only(caught.value.problems).code == "document-not-readable"
    (tmp_path / "folder.yaml").mkdir()
    with pytest.raises(ExamDocumentError):
        read_exam_document(tmp_path / "folder.yaml")


def test_an_exam_without_captures_is_stopped(read, smallest):
    head = smallest.split("captures:")[0]
    assert only(problems_of(read, head)).code == "field-missing"
    assert only(problems_of(read, head + "captures:\n")).code == "field-missing"
    assert only(problems_of(read, head + "captures: []\n")).code == "no-capture-left"
    assert only(problems_of(read, head + "captures: {}\n")).code == "value-not-understood"


def test_an_exam_whose_every_capture_is_held_is_stopped_with_the_reasons(read, smallest):
    problems = problems_of(read, smallest.replace("eye: right", "eye: OU"))
    assert [p.code for p in problems] == ["no-capture-left", "eye-not-single"]
