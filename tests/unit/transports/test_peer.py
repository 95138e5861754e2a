"""AE titles and peers (PS3.5 6.2, VR AE)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pynetdicom.utils import set_ae

from gateway.errors.peer import AeTitleError
from gateway.transports.dimse.peer import Peer, ae_title


@pytest.mark.parametrize(("text", "title"), [("ARCHIVE", "ARCHIVE"), ("  A B  ", "A B"), ("A" * 16, "A" * 16)])
def test_spaces_at_the_ends_are_not_significant(text, title):
    assert ae_title(text) == title


@pytest.mark.parametrize("text", ["", " ", " " * 16, "A" * 17, "A\\B", "A\nB", "Ä", "A\x7f", "A\x00"])
def test_what_no_association_can_carry_is_refused(text):
    with pytest.raises(AeTitleError) as caught:
        ae_title(text, where="archive-1")
    assert "archive-1" in str(caught.value)
    assert not caught.value.temporary


@given(st.text(max_size=20))
def test_a_title_that_passes_passes_pynetdicom_too(text):
    # pynetdicom's own check of the same rule, as the outside witness.
    try:
        title = ae_title(text)
    except AeTitleError:
        return
    assert set_ae(title, "title", False, False) == title
    assert 1 <= len(title) <= 16
    assert title == title.strip(" ")


def test_a_peer_says_who_and_where_it_is():
    assert str(Peer("archive-1", " ARCHIVE ", "pacs.example", 104)) == "archive-1 (ARCHIVE at pacs.example:104)"


@pytest.mark.parametrize("changes", [{"port": 0}, {"port": 65536}, {"answer_timeout_s": 0}, {"stall_timeout_s": -1}])
def test_a_peer_with_impossible_numbers_is_refused(changes):
    with pytest.raises(ValueError, match="archive-1"):
        Peer(**({"name": "archive-1", "ae_title": "A", "host": "127.0.0.1", "port": 104} | changes))
