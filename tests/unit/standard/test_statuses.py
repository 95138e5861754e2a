"""Statuses against the Standard's tables and against pynetdicom's copy of them."""

from __future__ import annotations

import pytest
from pynetdicom.status import STORAGE_SERVICE_CLASS_STATUS

from gateway.standard.statuses import (
    StoreVerdict,
    commitment_failure,
    rejection_reason,
    store_status,
    store_status_rules,
)

# PS3.4 Table B.2-1 (2016c to 2024e): the six lines of C-STORE.
TABLE_B_2_1 = [
    (0x0000, StoreVerdict.STORED),
    (0xA700, StoreVerdict.RETRY),
    (0xA7FF, StoreVerdict.RETRY),
    (0xA900, StoreVerdict.REFUSED),
    (0xA9FF, StoreVerdict.REFUSED),
    (0xB000, StoreVerdict.STORED_WITH_WARNING),
    (0xB006, StoreVerdict.STORED_WITH_WARNING),
    (0xB007, StoreVerdict.STORED_WITH_WARNING),
]


@pytest.mark.parametrize(("code", "verdict"), TABLE_B_2_1)
def test_statuses_of_the_storage_service_mean_what_the_table_says(code, verdict):
    assert store_status(code).verdict is verdict
    assert store_status(code).section == "PS3.4 B.2.3"


@pytest.mark.parametrize("code", [0xC000, 0xC123, 0xCFFF])
def test_what_the_receiver_cannot_understand_is_tried_once_more_and_no_further(code):
    rule = store_status(code)
    assert (rule.name, rule.verdict, rule.retries) == ("cannot understand", StoreVerdict.RETRY, 1)


def test_lack_of_resources_is_tried_until_somebody_stops_it():
    assert store_status(0xA700).retries is None
    assert store_status(0x0213).retries is None


def test_a_duplicate_is_never_counted_as_stored():
    assert store_status(0x0111).verdict is StoreVerdict.REFUSED


def test_every_status_that_pynetdicom_knows_falls_on_the_same_side():
    # pynetdicom 3.0.4's table of PS3.4 B.2.3 and PS3.7 Annex C: an independent reading of the same tables.
    good = {StoreVerdict.STORED, StoreVerdict.STORED_WITH_WARNING}
    for code, (category, _) in STORAGE_SERVICE_CLASS_STATUS.items():
        verdict = store_status(code).verdict
        assert verdict is not StoreVerdict.UNKNOWN, f"{code:04X}"
        assert (verdict in good) is (category in {"Success", "Warning"}), f"{code:04X}"


@pytest.mark.parametrize("code", [0x1234, 0xFF00, 0xFFFF, 0x0300])
def test_a_status_outside_the_standard_leaves_the_outcome_unknown(code):
    assert store_status(code).verdict is StoreVerdict.UNKNOWN


def test_rules_are_written_with_the_particular_before_the_general():
    seen: list[tuple[int, int]] = []
    for rule in store_status_rules():
        assert rule.first <= rule.last
        assert not any(first <= rule.first and rule.last <= last for first, last in seen), f"{rule} can never apply"
        seen.append((rule.first, rule.last))


# PS3.8 Table 9-21.
@pytest.mark.parametrize(
    ("source", "reason", "words"),
    [
        (1, 1, "no reason"),
        (1, 2, "application context"),
        (1, 3, "calling AE title"),
        (1, 7, "called AE title"),
        (2, 2, "protocol version"),
        (3, 1, "congestion"),
        (3, 2, "limit"),
        (1, 4, "reserves"),
    ],
)
def test_rejections_are_told_in_the_words_of_the_table(source, reason, words):
    assert words in rejection_reason(source, reason).name
    assert rejection_reason(source, reason).fix


# PS3.3 C.14.1.1.
@pytest.mark.parametrize(
    ("code", "words"),
    [
        (0x0110, "processing failure"),
        (0x0112, "no such object instance"),
        (0x0119, "conflict"),
        (0x0122, "not supported"),
        (0x0131, "duplicate transaction"),
        (0x0213, "resource limitation"),
        (0x0999, "does not define"),
    ],
)
def test_failure_reasons_of_storage_commitment(code, words):
    assert words in commitment_failure(code).name
