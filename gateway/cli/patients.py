"""``gateway patient``: who is known, and whose exam one is that waits for a decision."""

from __future__ import annotations

import getpass
from typing import TYPE_CHECKING, Annotated

import typer

from gateway.cli import console
from gateway.cli.exams import AsJson, Exam, SettingsFile

if TYPE_CHECKING:
    from gateway.pipeline.patient_list import KnownPerson, OpenQuestion

HELP = "Whose exam it is: who is known, and what a person has to decide."

By = Annotated[str, typer.Option("--by", help="Who decides [default: the user of this machine]")]

PEOPLE_HEADINGS = ("patient id", "issuer", "made here", "known since", "exams decided")
NAMED_HEADINGS = (*PEOPLE_HEADINGS, "names", "birth date", "sex", "read at")
QUESTION_HEADINGS = ("exam waits", "question", "known patient id", "issuer", "since")
DECISION_HEADINGS = ("patient id", "exam", "decision", "by", "at")


def list_people(
    names: Annotated[bool, typer.Option("--names", help="Show names, birth dates and sexes too.")] = False,
    settings: SettingsFile = None,
    json_output: AsJson = False,
) -> None:
    """Show who is known, what was decided, and which exams wait.

    Names are shown only where --names asks for them.
    """
    from gateway.app import open_gateway

    with open_gateway(console.read_site_settings(settings)) as gateway:
        people, questions = gateway.known_people(), gateway.open_questions()
    tables = [
        ("Known", NAMED_HEADINGS if names else PEOPLE_HEADINGS, _people_rows(people, names=names)),
        ("Decisions", DECISION_HEADINGS, _decision_rows(people)),
        ("Waiting for a decision", QUESTION_HEADINGS, _question_rows(questions)),
    ]
    if json_output:
        console.print_json(
            {title.lower(): [dict(zip(keys, row, strict=True)) for row in rows] for title, keys, rows in tables}
        )
        return
    for title, headings, rows in tables:
        console.print_table(title, headings, rows)


def same(
    exam: Exam,
    as_id: Annotated[str, typer.Option("--as", help="Patient id of the known person.")],
    issuer: Annotated[str, typer.Option(help="Issuer of that id [default: the site's own]")] = "",
    by: By = "",
    settings: SettingsFile = None,
) -> None:
    """Decide that an exam is of a known person.

    Where the exam states that very id with another name, birth date or sex, they are accepted as corrected.
    """
    from gateway.app import open_gateway

    with open_gateway(console.read_site_settings(settings)) as gateway:
        gateway.decide_same_patient(exam, (issuer, as_id), by or getpass.getuser())
    console.print_lines("decided: the same person; hand the exam over again")


def new(exam: Exam, by: By = "", settings: SettingsFile = None) -> None:
    """Decide that an exam is of somebody new, who then gets a patient id of the site's own."""
    from gateway.app import open_gateway

    with open_gateway(console.read_site_settings(settings)) as gateway:
        made = gateway.decide_new_patient(exam, by or getpass.getuser())
    console.print_lines(f"decided: a new person, patient id {made}; hand the exam over again")


def _people_rows(people: tuple[KnownPerson, ...], *, names: bool) -> list[list[str]]:
    rows = []
    for person in people:
        row = [person.patient_id, person.issuer, "yes" if person.is_generated else "no", person.known_since[:19]]
        row.append(str(len(person.decisions)))
        if not names:
            rows.append(row)
            continue
        for facts in person.facts:
            said = " = ".join(name for name in (facts.alphabetic, facts.ideographic, facts.phonetic) if name)
            rows.append([*row, said, facts.birth_date or "-", facts.sex or "-", facts.place])
    return rows


def _decision_rows(people: tuple[KnownPerson, ...]) -> list[list[str]]:
    return [
        [person.patient_id, made.place, made.decision, made.decided_by, made.decided_at[:19]]
        for person in people
        for made in person.decisions
    ]


def _question_rows(questions: tuple[OpenQuestion, ...]) -> list[list[str]]:
    return [[q.place, q.question, q.patient_id, q.issuer, q.asked_at[:19]] for q in questions]
