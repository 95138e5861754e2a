"""Errors of examination protocols and of captures that refer to them."""

from __future__ import annotations

from gateway.errors.document import ContradictingFieldsError, DocumentError, UnknownReferenceError


class ProtocolFileError(DocumentError):
    """A protocol file that cannot be used."""

    code = "protocol-file"
    explanation = (
        "A protocol lists expected captures and the rules by which an exam is called complete, each with its source. "
        "A file with a doubtful row is refused as a whole, because a wrong rule would call a gap complete."
    )


class UnknownProtocolError(UnknownReferenceError):
    """A protocol that neither the shipped files nor the site's own have."""

    code = "unknown-protocol"
    explanation = (
        "The session names a protocol that is not known here. Shipped ones lie in mappings/protocols; your own go into "
        "the folder that [site] protocols names."
    )


class ProtocolStepError(UnknownReferenceError):
    """A step that the session's protocol does not have, or a step where no protocol is named."""

    code = "unknown-protocol-step"
    explanation = (
        "A capture names a step of the protocol of its session. Without that protocol, or without that step in it, "
        "nobody knows where the probe was: the capture is held."
    )


class ProtocolContradictionError(ContradictingFieldsError):
    """A capture that states something else than its step of the protocol."""

    code = "protocol-contradiction"
    explanation = (
        "The capture states a scan, clock hour, zone or kind, and the step of the protocol that it names has another. "
        "Both places are named; mend the one that is wrong, or leave the step out."
    )


class SweepNotApplicableError(DocumentError):
    """A complete sweep stated of something that cannot be one."""

    code = "sweep-not-applicable"
    explanation = (
        "`swept: yes` says that a transverse loop goes from the posterior pole to the ora serrata. A still shows one "
        "depth, and another scan is not swept that way. A sweep of which nothing was kept belongs under "
        "session.declared_swept."
    )
