"""Names, records and orders put together into exams; contradictions and gaps held with both their places."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from gateway.errors.document import ExamDocumentError
from gateway.errors.mapping import (
    EyeSourcesContradictError,
    NameNotFittingError,
    PictureNotThereError,
    RowNotMatchedError,
    SourceMissingError,
    SourcesContradictError,
    TermNotKnownError,
)
from gateway.mapping.exam_document import map_exam_document
from gateway.mapping.located.records import RecordKind, RecordOptions, record_from
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.sources import rows
from gateway.mapping.sources.files import RecordFile
from gateway.mapping.sources.pictures import fits_any
from gateway.model.laterality import Eye
from gateway.model.witness import WitnessSource
from tests.unit.mapping.sources.conftest import HEAD, LIST, SITE, applied, csv_file, mapped

MEDIA = ["OD_T3_1.bmp", "OS_L9_2.bmp"]


def records(text: str = LIST) -> dict[str, list[RecordFile]]:
    return {"list": [csv_file(text)]}


def reasons(text: str, media: list[str], found: dict[str, list[RecordFile]] | None = None) -> list[str]:
    """Why no exam comes of it."""
    (source,) = applied(text, media, found)
    with pytest.raises(ExamDocumentError) as caught:
        map_exam_document(source.document, source.key)
    return [str(problem) for problem in caught.value.problems]


def test_every_value_is_found_at_the_place_in_its_own_source() -> None:
    exam = mapped(SITE, MEDIA, records()).exam
    assert [(c.id, c.eye, c.position.scan.value) for c in exam.captures] == [
        ("OD_T3_1", Eye.RIGHT, "transverse"),
        ("OS_L9_2", Eye.LEFT, "longitudinal"),
    ]
    assert str(exam.origins["patient.id"]) == "list.csv:2:13 (patient.id)"
    assert str(exam.origins["captures[1].eye"]) == "list.csv:3:28 (captures[1].eye)"
    assert str(exam.origins["captures[1].clock_hour"]) == "OS_L9_2.bmp (captures[1].clock_hour)"
    assert str(exam.origins["patient.issuer"]) == "site.yaml:13:32 (patient.issuer)"


def test_every_source_of_an_eye_becomes_a_witness_with_its_own_words() -> None:
    (first, _) = mapped(SITE, MEDIA, records()).exam.captures
    assert [(w.source, w.eye, w.words, getattr(w.place, "file", w.place)) for w in first.eye_witnesses] == [
        (WitnessSource.RECORD, Eye.RIGHT, "re", "list.csv"),
        (WitnessSource.FILE_NAME, Eye.RIGHT, "OD", "OD_T3_1.bmp"),
    ]


def test_a_contradiction_of_eyes_holds_the_capture_and_names_both_places() -> None:
    (held,) = mapped(SITE, MEDIA, records(LIST.replace("Maija,li", "Maija,re"))).held
    assert (held.part, held.name) == ("captures[1]", "OS_L9_2")
    assert isinstance(held.reason, EyeSourcesContradictError)
    assert "right (re) by record list eye at list.csv:3:28" in str(held.reason)
    assert "left (OS) by file name eye at OS_L9_2.bmp" in str(held.reason)


def test_a_contradiction_about_the_patient_stops_the_exam_and_shows_no_value() -> None:
    (problem,) = reasons(SITE, MEDIA, records(LIST.replace("bmp,N-1,Holm^Maija,li", "bmp,N-2,Holm^Maija,li")))
    assert "list.csv:2:13 (patient.id): two sources state different values" in problem
    assert "list.csv:3:13" in problem
    assert "N-1" not in problem
    assert "N-2" not in problem


def test_numbers_that_are_written_in_two_ways_are_one_value() -> None:
    text = SITE + "  - {to: captures.gain_db, from: [{record: list, field: gain}, {constant: '84.0'}]}\n"
    table = "file,number,name,eye,gain\nOD_T3_1.bmp,N-1,Holm^Maija,re,84\n"
    (capture,) = mapped(text, MEDIA[:1], records(table)).exam.captures
    assert capture.settings.gain_db == 84
    (held, *_) = reasons(text, MEDIA[:1], records(table.replace("re,84", "re,83")))[1:]
    assert "83 by record list gain at list.csv:2:31, but 84.0 by constant at site.yaml:19:64" in held


@pytest.mark.parametrize(
    ("name", "says"),
    [("x.bmp", "fits no pattern"), ("OD_T3_1_L9_2.bmp", "can be read in two ways")],
)
def test_a_file_whose_name_says_nothing_for_certain_is_held(name: str, says: str) -> None:
    text = SITE.replace(
        '"{eye}_{scan:letters}{hour:digits}_{*}.bmp"', '"{eye:text}_{scan:letters}{hour:digits}_{*}.bmp"'
    )
    (held,) = mapped(text, [*MEDIA[:1], name], records("\n".join(LIST.splitlines()[:2]))).held
    assert isinstance(held.reason, NameNotFittingError)
    assert says in str(held.reason)
    assert name in str(held.reason)


def test_a_file_that_fits_two_patterns_is_held_naming_both() -> None:
    text = (
        SITE.replace('_{*}.bmp"', '_{*}.bmp", "{*}_T3_{note}.bmp"')
        .replace('names: "', 'names: ["')
        .replace('{note}.bmp"', '{note}.bmp"]')
    )
    (held,) = mapped(text, MEDIA, records()).held
    assert "fits two patterns, was {eye}_{scan:letters}{hour:digits}_{*}.bmp and {*}_T3_{note}.bmp" in str(held.reason)


def test_a_row_without_its_picture_is_held_and_nothing_of_it_is_used() -> None:
    table = LIST + "OD_T9_3.bmp,N-9,Berg^Nora,re\n"
    exam = mapped(SITE, MEDIA, records(table))
    assert exam.exam.patient.id == "N-1"
    (held,) = exam.held
    assert (held.part, held.name) == ("record list, row 3", "list row 3")
    assert isinstance(held.reason, PictureNotThereError)
    ignoring = SITE.replace("rows: {per: capture}", "unmatched: ignore, rows: {per: capture}")
    assert mapped(ignoring, MEDIA, records(table)).held == ()


def test_a_row_that_names_no_picture_or_several_is_held_also_where_others_are_ignored() -> None:
    text = SITE.replace("rows: {per: capture}", "unmatched: ignore, rows: {per: capture}")
    table = LIST.replace("OS_L9_2.bmp", "") + "OD_T3_1.bmp,N-1,Holm^Maija,re\n"
    exam = mapped(
        text, ["a/OD_T3_1.bmp", "b/OD_T3_1.bmp"], records(table.replace("\nOD_T3_1.bmp", "\na/OD_T3_1.bmp", 1))
    )
    assert [type(part.reason) for part in exam.held] == [RowNotMatchedError, RowNotMatchedError]
    assert "names no picture" in str(exam.held[0].reason)
    assert "was a/OD_T3_1.bmp, b/OD_T3_1.bmp" in str(exam.held[1].reason)
    assert [capture.id for capture in exam.exam.captures] == ["OD_T3_1", exam.exam.captures[1].id]
    assert exam.exam.captures[1].id.startswith("OD_T3_1-")


def test_names_match_without_regard_to_case_slashes_and_composed_letters() -> None:
    table = LIST.replace("OD_T3_1.bmp", "Bilder\\od_t3_1.BMP")
    assert mapped(SITE, ["bilder/OD_T3_1.bmp", "OS_L9_2.bmp"], records(table)).held == ()


def test_a_word_that_no_term_explains_is_held_with_the_nearest_one() -> None:
    (held,) = mapped(SITE, MEDIA, records(LIST.replace("Maija,li", "Maija,l"))).held
    assert isinstance(held.reason, TermNotKnownError)
    assert "did you mean li?" in str(held.reason)
    assert "rule at site.yaml:16" in str(held.reason)


def test_a_personal_text_is_not_repeated_when_it_cannot_be_understood() -> None:
    text = SITE.replace("{record: list, field: name}}", "{record: list, field: name}, with: {terms: eyes}}")
    problems = reasons(text, MEDIA, records())
    assert any("the terms eyes do not have this word" in problem for problem in problems)
    assert not any("Holm" in problem for problem in problems)


MISSING = "  - {to: %s, from: {record: list, field: more}, if_missing: %s, because: asked for}\n"
MORE = "file,number,name,eye,more\nOD_T3_1.bmp,N-1,Holm^Maija,re,%s\nOS_L9_2.bmp,N-1,Holm^Maija,li,\n"


def test_a_missing_value_stops_the_exam_holds_the_part_or_is_left_empty_as_the_rule_says() -> None:
    (stop,) = reasons(SITE + MISSING % ("patient.birth_date", "stop"), MEDIA, records(MORE % ""))
    assert "no source states this field" in stop
    assert "record list more (asked for)" in stop
    stopping = reasons(SITE + MISSING % ("captures.comment", "stop"), MEDIA, records(MORE % "seen"))
    assert any("(captures[1].comment): no source states this field" in problem for problem in stopping)
    held = mapped(SITE + MISSING % ("captures.comment", "leave-out"), MEDIA, records(MORE % "seen")).held
    assert [(part.name, type(part.reason)) for part in held] == [("OS_L9_2", SourceMissingError)]
    exam = mapped(SITE + MISSING % ("captures.comment", "leave-empty"), MEDIA, records(MORE % "seen"))
    assert exam.held == ()
    assert [capture.comment for capture in exam.exam.captures] == ["seen", ""]


def test_a_column_that_the_table_does_not_have_is_an_error_and_not_an_empty_field() -> None:
    _missing, problem = reasons(SITE.replace("field: number", "field: nummer"), MEDIA, records())
    assert problem.startswith("site.yaml:12:28")
    assert "list.csv has no such column, was nummer; did you mean number?" in problem


@pytest.mark.parametrize(("found", "says"), [({}, "no file of the record is there"), (None, "the record has no rows")])
def test_a_record_that_is_missing_or_empty_stops_the_exam_unless_it_is_optional(found: object, says: str) -> None:
    empty = {"list": [csv_file(LIST.splitlines()[0] + "\n")]} if found is None else {}
    assert any(says in problem for problem in reasons(SITE, MEDIA, empty))
    text = SITE.replace("kind: csv,", "kind: csv, optional: yes,").replace(
        "{record: list, field: number}", "{constant: 1}"
    )
    text = text.replace("{record: list, field: name}", "{constant: 'A^B'}")
    assert mapped(text, MEDIA, empty).exam.patient.id == "1"


def test_values_put_together_of_two_need_both() -> None:
    text = SITE.replace("{record: list, field: name}", "{record: list, field: [family, given], join: ^}")
    table = "file,number,family,given,eye\nOD_T3_1.bmp,N-1,Holm,%s,re\n"
    assert mapped(text, MEDIA[:1], records(table % "Maija")).exam.patient.name.alphabetic == "Holm^Maija"
    (problem,) = reasons(text, MEDIA[:1], records(table % ""))
    assert "one of them is missing" in problem
    assert "was given" in problem
    (nothing,) = reasons(text, MEDIA[:1], records(table.replace("Holm", "") % ""))
    assert "a required field is missing" in nothing


PARTS = (
    SITE.replace(
        "media:",
        "  - {id: sizes, file: '*.csv', kind: csv, rows: {per: measurement}, match: {field: file, to: file-name}}\n"
        "  - {id: seen, file: '*.csv', kind: csv, rows: {per: finding}, match: {field: file, to: file-stem}}\nmedia:",
    ).replace(
        "scans: {", "seen: {Tumor: {code: {value: '1', scheme: 99MY, meaning: Mass}}, Ablatio: membrane}\n  scans: {"
    )
    + """\
  - {to: measurements.kind, from: {constant: height}}
  - {to: measurements.displayed.value, from: {record: sizes, field: height}, if_missing: no-part}
  - {to: measurements.displayed.unit, from: {constant: mm}}
  - {to: 'measurements.repeats[0].value', from: {record: sizes, field: again}}
  - {to: 'measurements.repeats[0].unit', from: {record: sizes, constant: mm}}
  - {to: findings.eye, from: {record: list, field: eye}, with: {terms: eyes}}
  - {to: findings.what, from: {record: seen, field: seen}, with: {terms: seen}, if_missing: no-part}
defaults: {session.examiner: Lind^Tove, order.referring_physician: Berg^Nora}
"""
)
SIZES = "file,height,again\nOD_T3_1.bmp,5.20,5.3\nOS_L9_2.bmp,,\n"
SEEN = "file,seen\nod_t3_1,tumor\nOS_L9_2,ABLATIO\n"


def parts(sizes: str = SIZES, seen: str = SEEN) -> dict[str, list[RecordFile]]:
    return {**records(), "sizes": [csv_file(sizes, "sizes.csv")], "seen": [csv_file(seen, "seen.csv")]}


def test_rows_become_measurements_and_findings_of_their_pictures() -> None:
    found = mapped(PARTS, MEDIA, parts())
    (size,) = found.exam.measurements
    assert (size.id, size.capture_id, size.displayed.text if size.displayed else "") == ("sizes-1", "OD_T3_1", "5.20")
    assert [repeat.text for repeat in size.repeats] == ["5.3"]
    mass, membrane = found.exam.findings
    assert (mass.what.text, mass.what.code.scheme if mass.what.code else "") == ("tumor", "99MY")
    assert (membrane.eye, membrane.what.text, membrane.capture_ids) == (Eye.LEFT, "membrane", ("OS_L9_2",))
    assert str(found.exam.origins["measurements[0].displayed.value"]).startswith("sizes.csv:2:13")


def test_what_rests_on_a_held_picture_is_held_with_it() -> None:
    found = {**parts(), **records(LIST.replace("Maija,re", "Maija,li"))}
    held = mapped(PARTS, MEDIA, found).held
    assert {part.name for part in held} == {"OD_T3_1", "sizes-1", "seen-1"}


def test_names_of_the_site_hold_where_no_source_names_one_and_are_told_as_such() -> None:
    (source,) = applied(PARTS, MEDIA, parts())
    exam = map_exam_document(source.document, source.key).exam
    assert exam.session.examiner is not None
    assert exam.session.examiner.alphabetic == "Lind^Tove"
    assert source.traces["session.examiner"].sources[0][0] == "site default"
    assert source.traces["session.examiner"].because == "site default"
    text = PARTS.replace("rules:\n", "rules:\n  - {to: session.examiner, from: {record: list, field: name}}\n")
    named = mapped(text, MEDIA, parts()).exam.session.examiner
    assert named is not None
    assert named.alphabetic == "Holm^Maija"


def test_a_default_never_stands_in_for_a_name_that_contradicts_itself() -> None:
    text = PARTS.replace("rules:\n", "rules:\n  - {to: session.examiner, from: {file_name: scan}}\n")
    (source,) = applied(text, MEDIA, parts())
    with pytest.raises(ExamDocumentError, match="two sources state different values"):
        map_exam_document(source.document, source.key)
    assert source.document.node(("session", "examiner")) is None


def test_a_person_who_says_which_eye_it_is_needs_no_second_witness() -> None:
    text = SITE.replace("{record: list, field: eye}, {file_name: eye}", "{record: list, field: eye, said_by: by}")
    table = "file,number,name,eye,by\nOD_T3_1.bmp,N-1,Holm^Maija,re,Lind^Tove\n"
    (capture,) = mapped(text, MEDIA[:1], records(table)).exam.captures
    people = [witness.person for witness in capture.eye_witnesses if witness.person]
    assert [person.alphabetic for person in people] == ["Lind^Tove"]


def test_the_kind_of_a_witness_may_be_stated_where_it_is_not_what_it_seems() -> None:
    text = SITE.replace("{file_name: eye}]", "{file_name: eye, witness: protocol-place}]")
    (first, _) = mapped(text, MEDIA, records()).exam.captures
    assert [witness.source for witness in first.eye_witnesses] == [WitnessSource.RECORD, WitnessSource.PROTOCOL_PLACE]


SPLIT = SITE.replace("media:", "exams: {by: [{record: list, field: visit}]}\nmedia:")


def test_several_exams_of_one_folder_are_told_apart_by_their_key() -> None:
    table = "file,number,name,eye,visit\nOD_T3_1.bmp,N-1,Holm^Maija,re,V1\nOS_L9_2.bmp,N-2,Berg^Nora,li,V2\n"
    first, second = applied(SPLIT, MEDIA, records(table))
    exams = [map_exam_document(source.document, source.key).exam for source in (first, second)]
    assert [(exam.patient.id, [capture.id for capture in exam.captures]) for exam in exams] == [
        ("N-1", ["OD_T3_1"]),
        ("N-2", ["OS_L9_2"]),
    ]
    assert first.key.startswith("visit-")
    assert first.key != second.key
    assert "V1" not in first.key


def test_a_picture_that_says_nothing_of_its_exam_is_held_in_every_one() -> None:
    table = "file,number,name,eye,visit\nOD_T3_1.bmp,N-1,Holm^Maija,re,V1\nOS_L9_2.bmp,N-2,Berg^Nora,li,\n"
    (source,) = applied(SPLIT, MEDIA, records(table))
    assert [(part.part, part.name) for part in source.held] == [("file OS_L9_2.bmp", "OS_L9_2")]
    assert "record list visit" in str(source.held[0].reason)


def test_a_picture_of_two_exams_is_held() -> None:
    text = SPLIT.replace("field: visit}]", "field: visit}, {file_name: hour}]")
    table = "file,number,name,eye,visit\nOD_T3_1.bmp,N-1,Holm^Maija,re,3\nOS_L9_2.bmp,N-2,Berg^Nora,li,8\n"
    (source,) = applied(text, MEDIA, records(table))
    assert "two sources state different values" in str(source.held[0].reason)


def test_a_folder_in_which_nothing_says_which_exam_it_is_is_refused() -> None:
    problems = reasons(SPLIT, MEDIA, records("file,number,name,eye,visit\nOD_T3_1.bmp,N-1,Holm^Maija,re,\n"))
    assert any("nothing in the folder says which exam it is" in problem for problem in problems)


def test_a_record_that_says_nothing_of_exams_goes_with_all_of_them() -> None:
    text = (
        SPLIT.replace("media:", "media:", 1).replace(
            "exams:", "  - {id: site, file: s.csv, kind: csv, rows: {per: exam}}\nexams:"
        )
        + "  - {to: session.institution, from: {record: site, field: clinic}}\n"
    )
    table = "file,number,name,eye,visit\nOD_T3_1.bmp,N-1,Holm^Maija,re,V1\nOS_L9_2.bmp,N-2,Berg^Nora,li,V2\n"
    sources = applied(text, MEDIA, {**records(table), "site": [csv_file("clinic\nIsland\n", "s.csv")]})
    exams = [map_exam_document(source.document, source.key).exam for source in sources]
    assert [exam.session.institution for exam in exams] == ["Island", "Island"]


def test_numbered_frames_are_one_loop() -> None:
    text = SITE.replace("_{*}.bmp", "_{*}-{frame:digits}.bmp").replace("media:\n", "media:\n  frames: frame\n")
    text = text.replace("{record: list, field: eye}, ", "")
    files = [f"OD_T3_a-{number:02d}.bmp" for number in (9, 10, 11)] + ["OS_L9_b-1.bmp"]
    text = text.replace("{record: list, field: number}", "{constant: 1}").replace(
        "{record: list, field: name}", "{constant: A}"
    )
    text = text.replace("kind: csv,", "kind: csv, optional: yes,")
    loop, other = mapped(text, files).exam.captures
    assert loop.files == tuple(files[:3])
    assert other.files == ("OS_L9_b-1.bmp",)
    held = mapped(text, [*files, "OD_T3_a-9.bmp"]).held
    assert "the same frame of one loop, was frame 9" in str(held[0].reason)


def test_a_patients_name_in_a_file_name_gets_into_no_id() -> None:
    text = SITE.replace("{*}.bmp", "{family:letters}.bmp").replace(
        "{record: list, field: name}", "[{record: list, field: name}, {file_name: family}]"
    )
    table = "file,number,name,eye\nOD_T3_Holm.bmp,N-1,Holm,re\n"
    (capture,) = mapped(text, ["OD_T3_Holm.bmp"], records(table)).exam.captures
    assert "Holm" not in capture.id
    text = text.replace("media:", 'folder: "{who}"\nmedia:').replace("{file_name: family}", "{folder_name: who}")
    (source,) = applied(text, ["OD_T3_Holm.bmp"], records(table), folder="Holm")
    assert "Holm" not in source.key


def test_a_folder_whose_name_fits_no_pattern_stops_the_exam() -> None:
    text = SITE.replace("media:", 'folder: "{date:digits:8}"\nmedia:')
    assert any("the name of the folder fits no pattern" in problem for problem in reasons(text, MEDIA, records()))


def device(name: str, **attributes: str) -> LocatedDocument:
    text = "{" + ", ".join(f'"{keyword}": {value}' for keyword, value in attributes.items()) + "}"
    return record_from(text.encode(), name, RecordOptions(RecordKind.JSON))


def test_attributes_of_a_dicom_file_are_sources_and_witnesses() -> None:
    text = SITE.replace("{file_name: eye}]", "{dicom: ImageLaterality}]").replace("OD: right", "R: right, OD: right")
    text += '  - {to: captures.depth_mm, from: {dicom: "SequenceOfUltrasoundRegions[2].Depth"}}\n'
    text += '  - {to: captures.gain_db, from: {dicom: "Gain[1]"}}\n'
    given = device(
        "OD_T3_1.bmp", ImageLaterality='"R"', SequenceOfUltrasoundRegions='[{}, {"Depth": "40"}]', Gain="[80, 81]"
    )
    (source,) = applied(text, MEDIA[:1], records("\n".join(LIST.splitlines()[:2])), devices={"OD_T3_1.bmp": given})
    (capture,) = map_exam_document(source.document, source.key).exam.captures
    assert [w.source for w in capture.eye_witnesses] == [WitnessSource.RECORD, WitnessSource.DEVICE_ATTRIBUTE]
    assert (capture.settings.depth_mm, capture.settings.gain_db) == (40, 80)


ORDER = (
    "MSH|^~\\&|A|B|C|D|20260302||ORM^O01|1|P|2.5.1\rPID|1||N-1^^^INVENTED||Holm^Maija\r"
    "OBR|1|A-1001||||||||||||||16^Berg^Nora~17^Lind^Tove\rOBX|1|ST|EYE||OD\r"
)


def order() -> RecordFile:
    return RecordFile("o.hl7", record_from(ORDER.encode(), "o.hl7", RecordOptions(RecordKind.HL7)))


def test_an_order_gives_numbers_and_names_and_is_a_witness() -> None:
    text = SITE.replace("media:", "  - {id: ord, file: '*.hl7', kind: hl7, rows: {per: exam}}\nmedia:")
    text = text.replace("{record: list, field: number}", "[{record: list, field: number}, {order: PID-3.1}]")
    text = text.replace("{record: list, field: name}", '[{record: list, field: name}, {order: "PID-5:name"}]')
    text = text.replace("{file_name: eye}]", "{order: OBX-5}]")
    text += "  - {to: order.accession_number, from: {order: OBR-2}}\n"
    found = {**records("\n".join(LIST.splitlines()[:2])), "ord": [order()]}
    exam = mapped(text, MEDIA[:1], found).exam
    assert (exam.patient.id, exam.order.accession_number) == ("N-1", "A-1001")
    assert exam.captures[0].eye_witnesses[1].source is WitnessSource.ORDER
    text += '  - {to: order.referring_physician, from: {order: "OBR-16:name"}}\n'
    problems = reasons(text, MEDIA[:1], found)
    assert any("several names of one representation" in problem for problem in problems)
    assert not any("Nora" in problem for problem in problems)


XML = """<visit><right><movie f="a" depth="40"><note lang="de">gut</note></movie></right>
<left><movie f="b"/><movie f="c"/></left><word>x</word><word>y</word></visit>"""
TWO_EYES = (
    HEAD
    + """\
records:
  - {id: re, file: v.xml, kind: xml, match: {field: "@f", to: file-stem}, rows: {per: capture, at: visit/right/movie}}
  - {id: li, file: v.xml, kind: xml, match: {field: "@f", to: file-stem}, rows: {per: capture, at: visit/left/movie}}
  - {id: all, file: v.xml, kind: xml, rows: {per: exam}}
media: {files: "*.avi"}
rules:
  - {to: patient.id, from: {constant: 1}}
  - {to: patient.issuer, from: {constant: INVENTED}}
  - {to: patient.name, from: {record: all, field: "visit/word[2]"}}
  - {to: session.start, from: {constant: "2026-03-02T09:30:00+01:00"}}
  - {to: captures.eye, from: [{record: re, constant: right}, {record: li, constant: left}]}
  - {to: captures.scan, from: {constant: macula}}
  - {to: captures.comment, from: {record: re, field: note}}
  - {to: captures.depth_mm, from: {record: re, field: "@depth"}}
"""
)


def xml() -> dict[str, list[RecordFile]]:
    file = RecordFile("v.xml", record_from(XML.encode(), "v.xml", RecordOptions(RecordKind.XML)))
    return {"re": [file], "li": [file], "all": [file]}


def test_a_row_under_its_own_element_says_by_its_place_which_eye_it_is() -> None:
    exam = mapped(TWO_EYES, ["a.avi", "b.avi", "c.avi"], xml()).exam
    assert [capture.eye.value for capture in exam.captures] == ["right", "left", "left"]
    assert (exam.captures[0].comment, exam.captures[0].settings.depth_mm) == ("gut", 40)
    assert exam.patient.name.alphabetic == "y"
    assert str(exam.origins["captures[1].eye"]).startswith("v.xml:2:7")


def test_several_elements_of_one_name_must_agree() -> None:
    problems = reasons(TWO_EYES.replace("word[2]", "word"), ["a.avi", "b.avi", "c.avi"], xml())
    assert any("(patient.name): two sources state different values" in problem for problem in problems)
    assert "a required field is missing" in "".join(
        reasons(TWO_EYES.replace("word[2]", "word[3]"), ["a.avi", "b.avi", "c.avi"], xml())
    )


def test_a_record_beside_each_picture_is_found_by_its_own_name() -> None:
    text = TWO_EYES.replace('match: {field: "@f", to: file-stem}', "match: {to: same-stem}").replace("/movie", "")
    one = RecordFile("x/a.xml", record_from(b"<visit><right/></visit>", "a.xml", RecordOptions(RecordKind.XML)))
    two = RecordFile("x/b.xml", record_from(b"<visit><left/></visit>", "b.xml", RecordOptions(RecordKind.XML)))
    text = text.replace('{record: all, field: "visit/word[2]"}', "{constant: A}")
    exam = mapped(text, ["x/a.avi", "x/b.avi"], {"re": [one], "li": [two], "all": [one]}).exam
    assert [capture.eye.value for capture in exam.captures] == ["right", "left"]


def test_a_row_may_speak_of_every_picture_with_one_place() -> None:
    text = SITE.replace("match: {field: file, to: file-name}", "match: {field: file, to: eye}")
    table = "file,number,name,eye\nOD,N-1,Holm^Maija,re\nOS,N-1,Holm^Maija,li\n"
    exam = mapped(text, [*MEDIA, "OD_L9_3.bmp"], records(table)).exam
    assert [len(capture.eye_witnesses) for capture in exam.captures] == [2, 2, 2]


def test_the_start_of_an_exam_may_be_the_earliest_moment_of_its_rows() -> None:
    text = SITE.replace(
        'from: {constant: "2026-03-02T09:30:00+01:00"}', "from: {record: list, field: at}, take: earliest"
    )
    rows = ["2026-03-02T09:40:00+01:00", "2026-03-02T08:39:00Z"]
    table = "file,number,name,eye,at\n" + "".join(
        f"{file},N-1,Holm^Maija,{eye},{at}\n" for file, eye, at in zip(MEDIA, ("re", "li"), rows, strict=True)
    )
    assert mapped(text, MEDIA, records(table)).exam.session.start.isoformat() == "2026-03-02T08:39:00+00:00"
    assert any("session.start" in problem for problem in reasons(text, MEDIA, records(table.replace(rows[1], "soon"))))


def test_the_earliest_of_moments_with_and_without_offset_is_not_known() -> None:
    text = SITE.replace(
        'from: {constant: "2026-03-02T09:30:00+01:00"}', "from: {record: list, field: at}, take: earliest"
    )
    table = "file,number,name,eye,at\nOD_T3_1.bmp,N-1,Holm^Maija,re,%s\nOS_L9_2.bmp,N-1,Holm^Maija,li,%s\n"
    mixed = reasons(text, MEDIA, records(table % ("2026-03-02T09:40:00+01:00", "2026-03-02T08:39:00")))
    assert any("none is the earliest" in problem for problem in mixed)
    (source,) = applied(text, MEDIA, records(table % ("2026-03-02T09:40:00", "2026-03-02T08:39:00")))
    start = map_exam_document(source.document, source.key, site_zone=ZoneInfo("Europe/Helsinki")).exam.session.start
    # Helsinki is 2 h ahead of UTC in winter (IANA database).
    assert start.isoformat() == "2026-03-02T08:39:00+02:00"


@pytest.mark.parametrize(
    ("name", "globs", "fits"),
    [
        ("od/A.BMP", ["*.bmp"], True),
        ("od/a.bmp", ["os/*.bmp", "od/*.bmp"], True),
        ("od/a.bmp", ["os/*.bmp", "*.png"], False),
        ("a.bmp", [], False),
    ],
)
def test_a_file_is_meant_by_its_whole_path_or_its_last_step(name: str, globs: list[str], fits: bool) -> None:
    assert fits_any(name, globs) is fits


def test_what_a_rule_was_for_can_be_told_of_every_field() -> None:
    (source,) = applied(SITE, MEDIA, records())
    trace = source.traces["captures[0].eye"]
    assert [(words, str(place)) for words, place in trace.sources] == [
        ("record list eye", "list.csv:2:28"),
        ("file name eye", "OD_T3_1.bmp"),
    ]
    assert trace.rule.line == 16
    assert isinstance(SourcesContradictError("x"), Exception)


def test_a_code_alone_goes_where_only_a_code_may_stand() -> None:
    text = SITE.replace("terms:\n", "terms:\n  orders: {US: {code: {value: '7', scheme: 99MY, meaning: Scan}}}\n")
    text += "  - {to: order.requested_procedure.code, from: {record: list, field: order}, with: {terms: orders}}\n"
    table = "file,number,name,eye,order\nOD_T3_1.bmp,N-1,Holm^Maija,re,us\n"
    code = mapped(text, MEDIA[:1], records(table)).exam.order.requested_procedure.code
    assert code is not None
    assert (code.value, code.scheme, code.meaning) == ("7", "99MY", "Scan")


def test_a_record_with_more_rows_than_any_exam_has_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "MOST_ROWS", 1)
    assert any("too many rows, was 2; at most 1" in problem for problem in reasons(SITE, MEDIA, records()))


def test_of_many_texts_that_cannot_be_understood_a_few_are_named() -> None:
    text = SITE + "  - {to: session.visit, from: {record: list, field: eye}, with: {terms: scans}}\n"
    names = [f"OD_T3_{number}.bmp" for number in range(9)]
    table = "file,number,name,eye\n" + "".join(f"{name},N-1,Holm^Maija,re\n" for name in names)
    problems = [problem for problem in reasons(text, names, records(table)) if "session.visit" in problem]
    assert len(problems) == 5


def test_two_people_who_say_the_same_eye_are_no_contradiction() -> None:
    text = SITE.replace("{record: list, field: eye}, {file_name: eye}", "{record: list, field: eye, said_by: by}")
    table = "file,number,name,eye,by\n" + "".join(f"OD_T3_1.bmp,N-1,Holm^Maija,re,{by}\n" for by in ("A^B", "C^D", ""))
    (capture,) = mapped(text, MEDIA[:1], records(table)).exam.captures
    assert [w.person.alphabetic for w in capture.eye_witnesses if w.person] == ["A^B"]
    assert [w.source for w in capture.eye_witnesses if not w.person] == [WitnessSource.RECORD]


def test_an_id_of_the_sites_own_is_what_measurements_refer_to() -> None:
    text = PARTS.replace("rules:\n", "rules:\n  - {to: captures.id, from: {file_name: [eye, hour], join: -}}\n")
    exam = mapped(text, MEDIA, parts()).exam
    assert [capture.id for capture in exam.captures] == ["OD-3", "OS-9"]
    assert exam.measurements[0].capture_id == "OD-3"


def test_a_dicom_attribute_of_a_file_that_is_none_is_not_there() -> None:
    text = SITE + "  - {to: captures.depth_mm, from: {dicom: Depth}}\n"
    assert mapped(text, MEDIA, records()).exam.captures[0].settings.depth_mm is None


def test_an_element_without_text_of_its_own_states_nothing() -> None:
    text = TWO_EYES.replace("field: note}", "field: note/missing}").replace('"visit/word[2]"', '"visit/word[1]"')
    exam = mapped(text, ["a.avi", "b.avi", "c.avi"], xml()).exam
    assert exam.captures[0].comment == ""
    problems = reasons(TWO_EYES.replace('"visit/word[2]"', "visit"), ["a.avi", "b.avi", "c.avi"], xml())
    assert any("a required field is missing" in problem for problem in problems)


def test_a_finding_of_no_picture_must_say_of_which_exam_it_is() -> None:
    text = SPLIT.replace(
        "exams: {by: [",
        "  - {id: seen, file: f.csv, kind: csv, rows: {per: finding}}\nexams: {by: [{record: seen, field: visit}, ",
    )
    text += "  - {to: findings.eye, from: {record: seen, field: eye}, with: {terms: eyes}}\n"
    text += "  - {to: findings.what, from: {record: seen, field: what}}\n"
    table = "file,number,name,eye,visit\nOD_T3_1.bmp,N-1,Holm^Maija,re,V1\n"
    seen = csv_file("eye,what,visit\nOD,mass,V1\nOS,membrane,\n", "f.csv")
    (source,) = applied(text, MEDIA[:1], {**records(table), "seen": [seen]})
    exam = map_exam_document(source.document, source.key).exam
    assert [finding.what.text for finding in exam.findings] == ["mass"]
    assert [(part.part, part.name) for part in source.held] == [("record seen, row 2", "seen row 2")]


def test_a_row_of_pictures_of_two_exams_is_held() -> None:
    text = SPLIT.replace("match: {field: file, to: file-name}", "match: {field: file, to: scan}")
    text = text.replace("by: [{record: list, field: visit}]", "by: [{file_name: hour}]")
    table = "file,number,name,eye\nT,N-1,Holm^Maija,re\n"
    first, _second = applied(text, ["OD_T3_1.bmp", "OD_T4_1.bmp"], records(table))
    assert "nothing says to which exam this belongs" in str(first.held[0].reason)


def test_one_loop_in_two_formats_is_told_and_matched_once() -> None:
    text = SITE.replace('"*.bmp"', '"*"').replace("_{*}.bmp", "_{*}-{frame:digits}.{*}")
    text = text.replace("media:\n", "media:\n  frames: frame\n").replace(
        "match: {field: file, to: file-name}", "match: {field: file, to: file-stem}"
    )
    table = "file,number,name,eye\nOD_T3_a-1,N-1,Holm^Maija,re\n"
    problems = reasons(text, ["OD_T3_a-1.bmp", "OD_T3_a-1.png"], records(table))
    assert any("the same frame of one loop" in problem for problem in problems)
    assert not any("several pictures" in problem for problem in problems)


def test_conversions_are_applied_in_order_and_told_which_eye_it_is() -> None:
    text = SITE.replace(
        "from: {file_name: hour}", "from: {record: list, field: side}, with: {clock_hour: {form: words}}"
    )
    text += "  - {to: captures.gain_db, from: {record: list, field: gain}, with: [text, {number: {decimal: comma}}]}\n"
    table = "file,number,name,eye,side,gain\n" + "".join(
        f'{file},N-1,Holm^Maija,{eye},nasal,"{gain}"\n'
        for file, eye, gain in zip(MEDIA, ("re", "li"), ("84,5", "80.0"), strict=True)
    )
    exam = mapped(text, MEDIA, records(table))
    (capture,) = exam.exam.captures
    # Nasal is 3 o'clock in the right eye, as the examiner faces the patient (common practice).
    assert (capture.position.clock_hour.half_hours if capture.position.clock_hour else 0) == 6
    assert capture.settings.gain_db == 84.5
    (held,) = exam.held
    assert "was '80.0'" in str(held.reason)
    assert "rule at site.yaml:19" in str(held.reason)


def test_a_word_unlike_every_term_is_told_without_a_suggestion() -> None:
    (held,) = mapped(SITE, MEDIA, records(LIST.replace("Maija,li", "Maija,qqqq"))).held
    assert "was qqqq; add it to the terms eyes at site.yaml:16" in str(held.reason)
