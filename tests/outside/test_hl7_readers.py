"""Fields of HL7 v2 messages against another reader of them: hl7apy, which knows the segments of the standard."""

from __future__ import annotations

import warnings

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.mapping.located.hl7_fields import hl7_field
from gateway.mapping.located.hl7_reader import read_hl7

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from hl7apy.parser import parse_message

HEADER = "MSH|^~\\&|HIS|ISLAND|GW|EYE|20260302093000||{}|1|T|{}|||||||"
PATHS = {
    "PID-3.1": "pid_3.cx_1",
    "PID-3.4.1": "pid_3.cx_4.hd_1",
    "PID-5.1.1": "pid_5.xpn_1.fn_1",
    "PID-5.2": "pid_5.xpn_2",
    "PID-7.1": "pid_7.ts_1",
    "PID-8": "pid_8",
}
TEXTS = st.text(st.characters(codec="ascii", categories=["L", "N"]), min_size=1, max_size=10)


def _theirs(segment, path):
    for step in path.split("."):
        segment = getattr(segment, step)
    return segment.to_er7()


def _message(texts: list[str], trigger: str, version: str) -> str:
    number, issuer, family, given_name, born, sex = texts
    return "\r".join(
        (
            HEADER.format(trigger, version),
            f"PID|1||{number}^^^{issuer}&1.2&ISO||{family}&van^{given_name}||{born}|{sex}",
            "PV1|1|O",
            "ORC|NW|12^HIS",
            "OBR|1|12||76510^Scan^L",
            "",
        )
    )


@pytest.mark.parametrize(("trigger", "version"), [("ORM^O01^ORM_O01", "2.5"), ("OMI^O23^OMI_O23", "2.5.1")])
@settings(max_examples=25, deadline=None)
@given(texts=st.lists(TEXTS, min_size=6, max_size=6))
def test_fields_are_those_that_another_reader_finds(trigger, version, texts):
    message = _message(texts, trigger, version)
    ours = read_hl7(message, "order.hl7")
    theirs = parse_message(message, find_groups=False)
    for path, step in PATHS.items():
        assert hl7_field(ours, path).text == _theirs(theirs.pid, step)
    assert hl7_field(ours, "OBR-4.2").text == theirs.obr.obr_4.ce_2.to_er7()
    assert hl7_field(ours, "ORC-2.1").text == theirs.orc.orc_2.ei_1.to_er7()
    assert hl7_field(ours, "MSH-9.2").text == theirs.msh.msh_9.msg_2.to_er7()
