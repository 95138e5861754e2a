"""What is valid is read unaltered, and whatever else is put in, only errors of our own come out."""

from __future__ import annotations

import datetime as dt
import json
import random
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from gateway.errors.document import DocumentError, ExamDocumentError
from gateway.mapping.exam_document import MappedExam, read_exam_document
from gateway.mapping.located.json_reader import read_json
from gateway.mapping.located.tree import Row, Scalar, Table, plain
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.mapping.schema import exam_schema
from gateway.model.position import Scan, Zone
from gateway.standard.codes import words

DOCUMENTS = Path(__file__).parents[1] / "unit" / "mapping" / "documents"
EVERYTHING = (DOCUMENTS / "everything.yaml").read_text(encoding="utf-8")
AS_JSON = json.dumps(plain(read_yaml(EVERYTHING, "x")), ensure_ascii=False)
VALIDATOR = Draft202012Validator(exam_schema())

letters = st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=16)
names = (
    st.lists(st.text(st.characters(categories=["L"]), max_size=8), min_size=1, max_size=5)
    .map("^".join)
    .filter(lambda n: n.strip("^"))
)
ids = st.from_regex(r"[A-Za-z0-9_.-]{1,64}", fullmatch=True)
pixels = st.floats(0, 2000, allow_nan=False).map(lambda x: round(x, 3))
points = st.tuples(pixels, pixels).map(list)
moments = st.builds(
    lambda d, o: d.strftime("%Y-%m-%dT%H:%M:%S") + o,
    st.datetimes(min_value=dt.datetime(1950, 1, 1), max_value=dt.datetime(2090, 1, 1)),
    st.sampled_from(["Z", "+01:00", "-09:30", "+14:00", "-12:00"]),
)


@st.composite
def captures(draw, index: int):
    scan = draw(st.sampled_from(list(Scan)))
    kind = draw(st.sampled_from(["still", "loop"]))
    capture = {
        "id": f"c{index}",
        "kind": kind,
        "file": f"media/{index}.x",
        "eye": draw(st.sampled_from(["right", "left"])),
        "scan": scan.value,
    }
    if scan.requires_clock_hour or (not scan.forbids_clock_hour and draw(st.booleans())):
        hour = draw(st.integers(2, 25))
        capture["clock_hour"] = draw(
            st.sampled_from([hour / 2, f"{hour / 2:g}", f"{hour // 2}:{'30' if hour % 2 else '00'}"])
        )
    if scan is Scan.OTHER:
        capture["scan_words"] = draw(letters)
    if draw(st.booleans()):
        capture["zone"] = draw(st.sampled_from([zone.value for zone in Zone]))
    if draw(st.booleans()):
        capture["acquired"] = draw(moments)
    if kind == "loop" and draw(st.booleans()):
        capture["keep"] = {"first": 1, "last": draw(st.integers(1, 50))}
    if draw(st.booleans()):
        capture["calibration"] = {"mm_per_pixel": {"x": draw(st.sampled_from([0.05, "0.0625"])), "y": 0.05}}
    return capture


@st.composite
def documents(draw):
    shots = [draw(captures(index)) for index in range(draw(st.integers(1, 4)))]
    measurements = []
    for index in range(draw(st.integers(0, 3))):
        shot = draw(st.sampled_from(shots))
        one = {"id": f"m{index}", "capture": shot["id"], "kind": "distance"}
        if "calibration" in shot and draw(st.booleans()):
            one["points"] = [draw(points), draw(points)]
            if shot["kind"] == "loop":
                one["frame"] = 1
        else:
            one["displayed"] = {"value": draw(st.sampled_from([5.96, "6.00", 0])), "unit": "mm"}
        measurements.append(one)
    findings = [
        {
            "id": f"f{index}",
            "eye": shot["eye"],
            "what": draw(st.sampled_from([*words("finding"), "a membrane"])),
            "captures": [shot["id"]],
        }
        for index, shot in enumerate(shots)
        if draw(st.booleans())
    ]
    return {
        "format": "eye-ultrasound-exam/1",
        "patient": {"id": draw(letters), "issuer": draw(letters), "name": draw(names)},
        "session": {"start": draw(moments), "station": draw(letters)},
        "captures": shots,
        "measurements": measurements,
        "findings": findings,
    }


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("exam")


def outcome(folder: Path, content: bytes, name: str) -> MappedExam | ExamDocumentError:
    (folder / name).write_bytes(content)
    try:
        return read_exam_document(folder / name)
    except ExamDocumentError as error:
        found = error
    assert found.problems
    assert str(found)
    return found


@given(documents())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_document_made_by_the_rules_is_valid_by_schema_and_read_unaltered(folder, document):
    assert [error.message for error in VALIDATOR.iter_errors(document)] == []
    mapped = outcome(folder, json.dumps(document).encode(), "exam.json")
    assert isinstance(mapped, MappedExam), str(mapped)
    assert mapped.held == ()
    exam = mapped.exam
    assert (exam.patient.id, exam.patient.name.alphabetic) == (document["patient"]["id"], document["patient"]["name"])
    assert [c.eye.value for c in exam.captures] == [c["eye"] for c in document["captures"]]
    for mine, theirs in zip(exam.measurements, document["measurements"], strict=True):
        assert [[p.x, p.y] for p in mine.points] == theirs.get("points", [])
        if mine.displayed:
            assert mine.displayed.text == str(theirs["displayed"]["value"])
    for mine, theirs in zip(exam.captures, document["captures"], strict=True):
        assert (mine.position.clock_hour is not None) == ("clock_hour" in theirs)


@given(documents(), st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_field_taken_out_or_made_strange_is_never_guessed(folder, document, data):
    capture = data.draw(st.sampled_from(document["captures"]))
    strange = data.draw(st.sampled_from([None, "", "OU", "both", "R", ["right"], {"right": 1}, 1, True]))
    capture["eye"] = strange
    result = outcome(folder, json.dumps(document).encode(), "exam.json")
    if isinstance(result, MappedExam):
        assert capture["id"] not in {c.id for c in result.exam.captures}
        assert capture["id"] in {part.name for part in result.held}
    else:
        assert "no-capture-left" in {problem.code for problem in result.problems}


@given(st.binary(max_size=300), st.sampled_from(["exam.yaml", "exam.json"]))
@settings(max_examples=400, deadline=None)
def test_any_bytes_give_an_error_of_ours(folder, content, name):
    assert isinstance(outcome(folder, content, name), ExamDocumentError)


@given(st.text(st.sampled_from("{}[]:,-?&*!|>'\"%@`#\\ \n\tabc01~.<="), max_size=60))
@settings(max_examples=300, deadline=None)
def test_any_text_of_yaml_signs_gives_an_error_of_ours(folder, content):
    assert isinstance(outcome(folder, content.encode(), "exam.yaml"), ExamDocumentError)


@given(st.integers(), st.integers(1, 6), st.booleans())
@settings(max_examples=200, deadline=None)
def test_a_damaged_document_gives_an_exam_or_an_error_of_ours(folder, seed, changes, is_json):
    rng = random.Random(seed)  # noqa: S311  damage, not secrets
    content = bytearray((AS_JSON if is_json else EVERYTHING).encode())
    for _ in range(changes):
        at = rng.randrange(len(content))
        match rng.randrange(4):
            case 0:
                content[at] = rng.randrange(256)
            case 1:
                del content[at : at + rng.randrange(1, 40)]
            case 2:
                content[at:at] = bytes(rng.choice(b"{}[]:,-&*!\"'\n \\0x") for _ in range(rng.randrange(1, 5)))
            case _:
                start = rng.randrange(len(content))
                content[at:at] = content[start : start + rng.randrange(1, 60)]
    outcome(folder, bytes(content), "exam.json" if is_json else "exam.yaml")


@given(
    st.from_regex(r"[A-Za-z0-9+.:_-]{1,20}", fullmatch=True).filter(lambda t: t not in {"~", "null", "-", "---", "..."})
)
@settings(max_examples=300, deadline=None)
def test_a_plain_yaml_scalar_is_text_exactly_as_written(written):
    try:
        root = read_yaml(f"a: {written}\n", "x")
    except DocumentError:
        assert written.startswith(("-", ":")) or written.endswith(":")
        return
    assert isinstance(root, Table)
    value = root.entries["a"].value
    if isinstance(value, Scalar):
        assert (value.text, value.position.line, value.position.column) == (written, 1, 4)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats(allow_nan=False, allow_infinity=False)
        | st.text(st.characters(exclude_categories=["Cc", "Cs", "Cn"])),
        lambda inner: (
            st.lists(inner, max_size=4) | st.dictionaries(st.text(st.characters(categories=["L"])), inner, max_size=4)
        ),
        max_leaves=20,
    ),
    st.sampled_from([None, 1]),
    st.booleans(),
)
@settings(max_examples=300, deadline=None)
def test_the_json_reader_agrees_with_the_standard_library(value, indent, ascii_only):
    # Python's json module is the outside witness: same structure, numbers and literals as written.
    text = json.dumps(value, indent=indent, ensure_ascii=ascii_only)

    def as_text(item):
        if isinstance(item, str):
            return item
        if isinstance(item, list):
            return [as_text(inner) for inner in item]
        if isinstance(item, dict):
            return {key: as_text(inner) for key, inner in item.items()}
        return json.dumps(item)

    def texts(node):
        if isinstance(node, Scalar):
            return node.text
        if isinstance(node, Row):
            return [texts(item) for item in node.items]
        return {key: texts(entry.value) for key, entry in node.entries.items()}

    assert texts(read_json(text, "x")) == as_text(value)


@given(st.text(max_size=80))
@settings(max_examples=400, deadline=None)
def test_the_json_reader_refuses_what_the_standard_library_refuses(text):
    try:
        read_json(text, "x")
    except DocumentError:
        return
    json.loads(text)


HOSTILE = {
    "anchors": "a: &a [x,x]\n" + "".join(f"b{i}: &b{i} [*a,*a]\n" for i in range(5000)),
    "brackets": "[" * 500_000,
    "braces": "{a: " * 200_000,
    "dashes": "- " * 500_000,
    "questions": "? " * 300_000,
    "one long word": "a: " + "b" * 2_000_000,
    "one long number": "a: " + "1" * 2_000_000,
    "many keys": "".join(f"k{i}: 1\n" for i in range(20_000)),
    "many same keys": "k: 1\n" * 20_000,
    "blank lines": "\n" * 500_000,
    "escapes": 'a: "' + "\\x41" * 500_000 + '"',
    "same ids": "format: eye-ultrasound-exam/1\nmeasurements: [" + "{id: a, capture: b}," * 2000 + "]",
    "unknown ids": "format: eye-ultrasound-exam/1\nfindings: [{id: f, eye: right, what: mass, captures: ["
    + "ab," * 20_000
    + "]}]",
    "commas": "a: " + "1," * 900_000,
}


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("ending", ["yaml", "json"])
def test_a_hostile_document_is_refused_in_bounded_time(folder, name, ending):
    start = time.process_time()
    assert isinstance(outcome(folder, HOSTILE[name].encode(), f"exam.{ending}"), ExamDocumentError)
    # Far above what any of them takes; quadratic work on two million bytes would need hours.
    assert time.process_time() - start < 60
