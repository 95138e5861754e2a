"""Where everything in an exam's objects came from, for people who look behind them."""

from __future__ import annotations

from typing import Any

from gateway.model.capture import Capture
from gateway.model.witness import independent_witnesses, is_settled, ledger_words
from gateway.pipeline.line import PreparedExam


def origins_of(prepared: PreparedExam) -> dict[str, Any]:
    """Return, by SOP Instance UID, the origin of every attribute, and of an image on what its eye rests.

    An origin is a field of the exam document with its place, a step of the protocol, or a rule.
    """
    exam = prepared.measured.exam
    captures = {capture.id: capture for capture in exam.captures}
    return {
        item.built.sop_instance_uid: {
            "object": item.built.capture_id or item.built.kind.value,
            **(_eye(captures[item.built.capture_id]) if item.built.capture_id in captures else {}),
            "attributes": {
                attribute: {"from": origin, "at": str(exam.origins[origin])}
                if origin in exam.origins
                else {"from": origin}
                for attribute, origin in item.built.attribute_origins.items()
            },
        }
        for item in prepared.objects
    }


def _eye(capture: Capture) -> dict[str, Any]:
    counted = independent_witnesses(capture.eye_witnesses)
    eye = {
        "eye": capture.eye.value,
        "rests_on": ledger_words(capture.eye_witnesses),
        "is_one_witness": not is_settled(capture.eye_witnesses),
        "witnesses": [
            {
                "source": witness.source.value,
                "eye": witness.eye.value,
                "words": witness.words,
                "at": str(witness.place),
                "counted": witness in counted,
            }
            | ({"person": witness.person.alphabetic} if witness.person else {})
            for witness in capture.eye_witnesses
        ],
    }
    return {"eye": eye} | ({"position": capture.position_origin} if capture.position_origin else {})
