"""Errors of identity: whose exam this is."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors.document import DocumentError


class PatientNotDecidedError(DocumentError):
    """An exam without identifier whose patient may be a known person."""

    code: ClassVar[str] = "patient-not-decided"
    explanation = (
        "The exam states no patient identifier, and name, birth date and sex fit a person that the gateway already "
        "knows. The same name is never proof of the same person, so a human decides: `gateway patient list --names` "
        "shows who is meant, `gateway patient same EXAM --as ID` files the exam under that person, and `gateway "
        "patient new EXAM` makes a new identifier. The decision is kept with who made it and when, and holds for every "
        "later reading of this exam."
    )


class TwoPeopleUnderOneIdError(DocumentError):
    """One identifier with the name, birth date or sex of two people."""

    code = "two-people-under-one-id"
    explanation = (
        "An identifier and its issuer are one person. This exam states them with another name, birth date or sex than "
        "an earlier exam did; the message names both places. If the identifier is wrong, mend it in the exam document. "
        "If it is right and the name was corrected or has changed, `gateway patient same EXAM --as ID` accepts the new "
        "one beside the old; objects that already went out keep what they say, and the exams handed over again with "
        "the corrected name give new instances. `gateway patient list --names` shows what was accepted before."
    )


class UnknownPatientError(DocumentError):
    """A decision for a person whom the gateway does not know."""

    code = "unknown-patient"
    explanation = (
        "An exam can be filed under a person who is known by identifier and issuer: one for whom the gateway made the "
        "identifier, or whose exams it has delivered. `gateway patient list` shows them. An identifier from elsewhere "
        "is written into the exam document, with its issuer."
    )


class PatientAlreadyDecidedError(DocumentError):
    """A second decision about one exam."""

    code = "patient-already-decided"
    explanation = (
        "Which person an exam is of was decided once, by a rule or a human, and objects may have gone out under it, so "
        "a second decision is refused rather than quietly moving an exam to another person. If the first was wrong, "
        "write identifier and issuer into the exam document, which then is a study of that person, and have what went "
        "out under the wrong one rejected at the archive."
    )


class PatientIdStatedError(DocumentError):
    """A decision that goes against what the exam document states."""

    code = "patient-id-stated"
    explanation = (
        "The exam document states identifier and issuer, and nothing on the command line overrides a stated identity. "
        "Mend the document where it is wrong."
    )


class IssuerNotOwnError(DocumentError):
    """An identifier to be made under somebody else's issuer."""

    code = "issuer-not-own"
    explanation = (
        "Identifiers are made under the site's own issuer only, because another issuer may give the same one to "
        "somebody else. Leave patient.issuer out, write the site's own, or state the identifier that the issuer gave."
    )


class StudyOfAnotherPatientError(DocumentError):
    """A Study Instance UID that is known with another patient."""

    code = "study-of-another-patient"
    explanation = (
        "A study is of one patient (PS3.3 7.3.1.2 and A.1.2). The Study Instance UID of this exam's order was used "
        "for another one before, so nothing is built: the order or the patient of one of the two exams is wrong."
    )
