"""Every reader meets a second of damaged input; longer runs are made by hand with ``python -m tests.fuzz``."""

from __future__ import annotations

import random

import pytest

from gateway.errors.document import DocumentSyntaxError
from tests.fuzz import reading
from tests.fuzz.mutation import damaged
from tests.fuzz.registry import TARGETS
from tests.fuzz.running import fuzz, summary
from tests.fuzz.target import Target


@pytest.mark.parametrize("name", TARGETS)
def test_damaged_input_gives_only_errors_of_ours(name):
    account = fuzz(name, seconds=1, seed=20261125)
    assert not account.findings, summary(name, account)
    assert account.inputs > 5
    assert sum(account.refused.values()) > 0


def _run(read, tmp_path, *, seconds=0.3):
    target = Target(lambda: [b"abc"], read, seconds_per_input=0.2)
    return reading.run(target, seconds=seconds, seed=1, current=tmp_path / "input")


@pytest.fixture(autouse=True)
def _no_limit(monkeypatch):
    monkeypatch.setattr(reading, "_limit_addresses", lambda: None)


def test_a_foreign_error_is_a_finding_and_counts_once(tmp_path):
    def read(content):
        if b"abc" not in content:
            raise KeyError("not ours")

    account = _run(read, tmp_path)
    (what,) = account.findings
    assert what.startswith("KeyError at ")
    assert b"abc" not in bytes.fromhex(account.findings[what])


def test_an_error_of_ours_is_none(tmp_path):
    def read(content):
        if content != b"abc":
            raise DocumentSyntaxError("not this")

    account = _run(read, tmp_path)
    assert account.findings == {}
    assert account.refused["document-syntax"] > 10


def test_an_input_that_takes_too_long_is_a_finding(tmp_path):
    def read(content):
        while content != b"abc":
            try:
                pass
            except Exception:  # noqa: S112  a reader that swallows errors must be stopped too
                continue

    assert any(what.startswith("TooLongError") for what in _run(read, tmp_path).findings)


def test_memory_without_end_is_a_finding(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "MOST_BYTES_MORE", 30 * 1024 * 1024)
    kept = []

    def read(content):
        if content != b"abc":
            kept.append(bytearray(b"x") * 20_000_000)

    assert "memory grew too far" in _run(read, tmp_path, seconds=5).findings


def test_the_same_seed_damages_alike():
    one, two = (
        [damaged(random.Random(7), [b"seed"], [b"x"], 100) for _ in range(3)]  # noqa: S311  damage, not secrets
        for _ in range(2)
    )
    assert one == two
