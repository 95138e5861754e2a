"""Any pattern, name, mapping and table: one reading or two, an exam or errors with places, and never anything else."""

from __future__ import annotations

import string

from hypothesis import example, given
from hypothesis import strategies as st

from gateway.errors import GatewayError, Place
from gateway.errors.document import ExamDocumentError
from gateway.errors.mapping import SourceMappingError
from gateway.mapping.exam_document import map_exam_document
from gateway.mapping.located.records import RecordKind, RecordOptions, record_from
from gateway.mapping.located.tree import LocatedDocument
from gateway.mapping.located.yaml_reader import read_yaml
from gateway.mapping.sources.engine import apply_mapping
from gateway.mapping.sources.files import MediaItem, RecordFile, SourceFiles
from gateway.mapping.sources.names import NamePattern, PatternError, PlaceKind, read_pattern
from gateway.mapping.sources.reading import read_source_mapping
from gateway.model.capture import CaptureKind
from gateway.model.laterality import Eye

SIGNS = "aB1_-."
literals = st.text(SIGNS, min_size=1, max_size=3)
kinds = st.sampled_from([*PlaceKind])
spans = st.one_of(
    st.just("{*}"),
    st.builds("{{x:{}}}".format, kinds.map(lambda kind: kind.value)),
    st.builds("{{x:{}:{}}}".format, kinds.map(lambda kind: kind.value), st.integers(1, 3)),
)


@st.composite
def patterns(draw: st.DrawFn) -> str:
    parts = draw(st.lists(st.one_of(literals, spans), min_size=1, max_size=6))
    return "".join(part.replace("x", f"x{number}") if "{" in part else part for number, part in enumerate(parts))


TAKES = {
    "word": str.isalnum,
    "letters": str.isalpha,
    "digits": lambda sign: sign in string.digits,
    "text": lambda _: True,
}


def is_span(token: object) -> bool:
    return not hasattr(token, "text")


def is_loose(tokens: tuple, number: int) -> bool:
    token = tokens[number] if 0 <= number < len(tokens) else None
    return token is not None and is_span(token) and token.kind is PlaceKind.TEXT and token.width is None


def ends_of(tokens: tuple, number: int, name: str, at: int) -> list[int]:
    """Where a token that begins at a character may end, from the description alone."""
    token = tokens[number]
    if not is_span(token):
        end = at + len(token.text)
        return [end] if name[at:end].lower() == token.text.lower() else []
    take = TAKES[token.kind.value]
    ends = [end for end in range(at, len(name) + 1) if all(take(sign) for sign in name[at:end])]
    if token.width is not None:
        return [end for end in ends if end - at == token.width]
    if token.name:
        ends = [end for end in ends if end > at]
    if token.kind is not PlaceKind.TEXT and is_loose(tokens, number - 1) and at and take(name[at - 1]):
        return []
    if token.kind is not PlaceKind.TEXT and is_loose(tokens, number + 1):
        return [end for end in ends if end == len(name) or not take(name[end])]
    return ends


def readings(pattern: NamePattern, name: str) -> set[tuple[str, ...]]:
    """Every way to read a name, by trying all of them."""
    tokens = pattern._tokens

    def go(number: int, at: int) -> set[tuple[str, ...]]:
        if number == len(tokens):
            return {()} if at == len(name) else set()
        said = is_span(tokens[number]) and tokens[number].name
        return {
            (name[at:end], *rest) if said else rest
            for end in ends_of(tokens, number, name, at)
            for rest in go(number + 1, end)
        }

    return go(0, 0)


@given(patterns(), st.text(SIGNS, max_size=10))
@example("{*}a{x1:text}", "aaa")
@example("{x0:digits}{*}", "11a")
def test_a_name_is_read_as_trying_every_way_reads_it(text: str, name: str) -> None:
    try:
        pattern = read_pattern(text)
    except PatternError:
        return
    every = readings(pattern, name)
    fit = pattern.fit(name)
    assert (fit is None) == (not every)
    if fit is not None:
        assert tuple(fit.places.values()) in every
        assert (fit.other is None) == (len(every) == 1)
        assert fit.other is None or tuple(fit.other.values()) in every - {tuple(fit.places.values())}


@given(st.text(max_size=60), st.text(max_size=40))
def test_any_text_is_a_pattern_or_an_error_of_ours(text: str, name: str) -> None:
    refused = None
    try:
        fit = read_pattern(text).fit(name)
    except PatternError as err:
        refused = err
    if refused is not None:
        assert refused.what
        assert refused.fix
    else:
        assert fit is None or set(fit.places) == set(read_pattern(text).places)


WORDS = st.sampled_from(
    [
        "captures.eye",
        "patient.id",
        "captures.clock_hour",
        "measurements.kind",
        "x",
        "",
        "eye",
        "list",
        "3",
        "[1]",
        "a.b.c",
    ]
)
LEAVES = st.one_of(WORDS, st.text(string.ascii_letters + "{}[]:*._-' ", max_size=12))
NODES = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                [
                    *("to", "from", "with", "record", "field", "file_name", "dicom", "order", "constant", "if_missing"),
                    *("of", "id", "file", "kind", "rows", "per", "match", "files", "names", "terms", "witness", "take"),
                ]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


def json_of(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json_of(key)}: {json_of(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(json_of(item) for item in value) + "]"
    return "'" + str(value).replace("'", "''") + "'"


@given(st.fixed_dictionaries({"records": NODES, "media": NODES, "rules": st.lists(NODES, max_size=3), "terms": NODES}))
def test_any_mapping_is_used_or_refused_with_the_place_of_every_problem(parts: dict[str, object]) -> None:
    text = "format: eye-ultrasound-source/1\nname: any\n" + "".join(f"{k}: {json_of(v)}\n" for k, v in parts.items())
    problems: tuple[GatewayError, ...] = ()
    try:
        assert read_source_mapping(LocatedDocument("site.yaml", read_yaml(text, "site.yaml"))).rules
    except SourceMappingError as err:
        problems = err.problems
    for problem in problems:
        assert isinstance(problem, GatewayError)
        assert isinstance(problem.where, Place)
        assert problem.where.file == "site.yaml"


SITE = """\
format: eye-ultrasound-source/1
name: any
records:
  - {id: list, file: "*.csv", kind: csv, rows: {per: capture}, match: {field: file, to: file-name}}
media: {files: "*", names: "{eye:letters}{*}"}
terms: {eyes: {OD: right, OS: left}}
rules:
  - {to: patient.id, from: {record: list, field: id}}
  - {to: patient.issuer, from: {constant: INVENTED}}
  - {to: patient.name, from: {constant: "Holm^Maija"}}
  - {to: session.start, from: {constant: "2026-03-02T09:30:00+01:00"}}
  - {to: captures.eye, from: [{record: list, field: eye}, {file_name: eye}], with: {terms: eyes}}
  - {to: captures.scan, from: {constant: macula}}
"""
MAPPING = read_source_mapping(LocatedDocument("site.yaml", read_yaml(SITE, "site.yaml")))
CELLS = st.sampled_from(["OD", "OS", "od", "", "x", "OD1.png", "OS2.png", "os2.PNG", "1", "2"])


@given(
    st.lists(st.tuples(CELLS, CELLS, CELLS), max_size=6),
    st.lists(st.sampled_from(["OD1.png", "OS2.png", "a/OS2.png", "OD-3.png", "q.png"]), min_size=1, unique=True),
)
def test_an_eye_goes_out_only_where_every_source_that_states_it_agrees(
    rows: list[tuple[str, str, str]], names: list[str]
) -> None:
    table = "file,id,eye\n" + "".join(",".join(row) + "\n" for row in rows)
    file = RecordFile("list.csv", record_from(table.encode(), "list.csv", RecordOptions(RecordKind.CSV)))
    media = tuple(MediaItem(name, CaptureKind.STILL) for name in names)
    (source,) = apply_mapping(MAPPING, SourceFiles("visit", media, {"list": (file,)}))
    try:
        exam = map_exam_document(source.document, source.key).exam
    except ExamDocumentError:
        return
    ids = {
        row[1]
        for row in rows
        if row[1] and any(row[0].casefold() in {n.casefold(), n.split("/")[-1].casefold()} for n in names)
    }
    assert exam.patient.id in ids
    for capture in exam.captures:
        last = capture.files[0].split("/")[-1]
        said = {"OD": Eye.RIGHT, "OS": Eye.LEFT}[last[:2]]
        assert capture.eye is said
        assert all(witness.eye is said for witness in capture.eye_witnesses)
