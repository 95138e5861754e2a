"""Storage SCU: sends files to a peer and says for each what became of it (PS3.4 Annex B)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import cast

from pydicom.uid import UID
from pynetdicom import build_context
from pynetdicom.association import Association
from pynetdicom.presentation import PresentationContext

from gateway.errors.peer import NoPresentationContextError, PeerError
from gateway.standard.statuses import StoreVerdict, store_status
from gateway.standard.transfer_syntaxes import Loss, transfer_syntax
from gateway.transports.dimse.association import (
    DEFAULT_TRANSFER_SYNTAX,
    EXPLICIT_TRANSFER_SYNTAX,
    association,
    lost,
)
from gateway.transports.dimse.outgoing import (
    EncodedDataSet,
    NotAsDescribedError,
    OutgoingFile,
    as_implicit_little_endian,
    as_stored,
)
from gateway.transports.dimse.peer import Peer
from gateway.transports.dimse.store_exchange import NoAnswerError, StoreAnswer, StoreExchange, StoreRequest

__all__ = ["MOST_CONTEXTS", "OutgoingFile", "StoreOutcome", "send_files"]

MOST_CONTEXTS = 128
"""Presentation context identifiers are the odd numbers of one byte (PS3.8 9.3.2.2)."""


@dataclass(frozen=True, slots=True)
class StoreOutcome:
    """What became of one file.

    Parameters
    ----------
    sop_instance_uid : str
        The instance.
    status : int or None
        The peer's C-STORE status (PS3.4 B.2.3, PS3.7 Annex C); None where it gave none.
    verdict : StoreVerdict
        What it means.
    comment : str
        What the peer said (Error Comment), or why there is no status.
    code : str
        Slug of the error where there is no status, e.g. ``no-presentation-context``; empty where there is one.
    retries : int or None
        How many further tries make sense for RETRY and UNKNOWN; None: until somebody stops it.
    """

    sop_instance_uid: str
    status: int | None
    verdict: StoreVerdict
    comment: str = ""
    code: str = ""
    retries: int | None = 0


def send_files(
    peer: Peer, files: Sequence[OutgoingFile], *, on_result: Callable[[StoreOutcome], None] | None = None
) -> tuple[StoreOutcome, ...]:
    """Send files in their order, over as few associations as their kinds allow.

    A file that the peer takes in no way is refused alone, the others go on. Once a connection is lost, the rest is
    reported as not sent. A file is read in pieces of one megabyte, never held in memory.

    Parameters
    ----------
    peer : Peer
        The destination.
    files : sequence of OutgoingFile
        What to send.
    on_result : callable, optional
        Called with each outcome as soon as it is known.

    Returns
    -------
    tuple of StoreOutcome
        One for each file, in the order of `files`.

    Raises
    ------
    TemporaryPeerError, PermanentPeerError
        If no association could be opened, so that nothing was sent at all.
    """
    outcomes: list[StoreOutcome] = []

    def known(outcome: StoreOutcome) -> None:
        outcomes.append(outcome)
        if on_result:
            on_result(outcome)

    for batch in _batches(files):
        done = len(outcomes)
        try:
            with association(peer, list(_contexts(batch))) as assoc:
                _send_batch(peer, assoc, batch, known)
        except NoPresentationContextError as error:
            for file in batch:
                known(_no_context(file, error.was))
        except PeerError as error:
            if not outcomes:
                raise
            for file in batch[len(outcomes) - done :]:
                known(_not_sent(file, error))
    return tuple(outcomes)


def _offers(file: OutgoingFile) -> set[tuple[str, str]]:
    offers = {(file.sop_class_uid, file.transfer_syntax_uid)}
    syntax = transfer_syntax(file.transfer_syntax_uid)
    if syntax is None or syntax.loss is not Loss.ALWAYS:
        # PS3.5 10.1: the default transfer syntax is offered for each class, unless only lossy pixel data are at hand.
        offers.add((file.sop_class_uid, DEFAULT_TRANSFER_SYNTAX))
    return offers


def _batches(files: Sequence[OutgoingFile]) -> Iterator[list[OutgoingFile]]:
    batch: list[OutgoingFile] = []
    offers: set[tuple[str, str]] = set()
    for file in files:
        if len(offers | _offers(file)) > MOST_CONTEXTS:
            yield batch
            batch, offers = [], set()
        batch.append(file)
        offers |= _offers(file)
    if batch:
        yield batch


def _contexts(batch: Sequence[OutgoingFile]) -> Iterator[PresentationContext]:
    # One transfer syntax a context: several in one let the peer choose, and a file has only the one it has.
    offers: dict[tuple[str, str], None] = {}
    for file in batch:
        offers.update(dict.fromkeys(sorted(_offers(file), reverse=True)))
    return (build_context(sop_class, syntax) for sop_class, syntax in offers)


def _send_batch(
    peer: Peer, assoc: Association, batch: Sequence[OutgoingFile], known: Callable[[StoreOutcome], None]
) -> None:
    accepted = {
        (str(context.abstract_syntax), str(context.transfer_syntax[0])): cast("int", context.context_id)
        for context in assoc.accepted_contexts
    }
    gone: PeerError | None = None
    with StoreExchange(assoc) as exchange:
        for number, file in enumerate(batch):
            if gone is not None:
                known(_not_sent(file, gone))
                continue
            try:
                context_id, data_set = _encode(file, accepted)
                source = data_set.open()
            except NoPresentationContextError as error:
                known(_no_context(file, error.was))
                continue
            except (OSError, NotAsDescribedError) as error:
                why = f"not sent: {error}"
                known(StoreOutcome(file.sop_instance_uid, None, StoreVerdict.REFUSED, why, "file-not-as-described"))
                continue
            request = StoreRequest(context_id, number % 65535 + 1, file.sop_class_uid, file.sop_instance_uid)
            try:
                with source:
                    answer = exchange.store(request, source, data_set.total)
            except OSError:
                gone = lost(peer, assoc)
                known(_not_sent(file, gone))
            except NoAnswerError:
                gone = lost(peer, assoc)
                known(_unknown(file, gone))
            else:
                known(_answered(file, answer))


def _encode(file: OutgoingFile, accepted: dict[tuple[str, str], int]) -> tuple[int, EncodedDataSet]:
    same = accepted.get((file.sop_class_uid, file.transfer_syntax_uid))
    if same is not None:
        return same, as_stored(file)
    default = accepted.get((file.sop_class_uid, DEFAULT_TRANSFER_SYNTAX))
    if default is not None and file.transfer_syntax_uid == EXPLICIT_TRANSFER_SYNTAX:
        return default, as_implicit_little_endian(file)
    raise NoPresentationContextError(
        "the peer accepted no presentation context",
        was=f"{UID(file.sop_class_uid).name} with {UID(file.transfer_syntax_uid).name}",
    )


def _answered(file: OutgoingFile, answer: StoreAnswer) -> StoreOutcome:
    rule = store_status(answer.status)
    return StoreOutcome(
        file.sop_instance_uid, answer.status, rule.verdict, answer.comment or rule.name, retries=rule.retries
    )


def _unknown(file: OutgoingFile, error: PeerError) -> StoreOutcome:
    why = f"{error.what}: {error.was}"
    return StoreOutcome(file.sop_instance_uid, None, StoreVerdict.UNKNOWN, why, error.code, retries=None)


def _not_sent(file: OutgoingFile, error: PeerError) -> StoreOutcome:
    verdict = StoreVerdict.RETRY if error.temporary else StoreVerdict.REFUSED
    retries = None if error.temporary else 0
    return StoreOutcome(
        file.sop_instance_uid, None, verdict, f"not sent: {error.what}: {error.was}", error.code, retries
    )


def _no_context(file: OutgoingFile, what: str) -> StoreOutcome:
    return StoreOutcome(
        file.sop_instance_uid,
        None,
        StoreVerdict.REFUSED,
        f"the peer takes no {what}",
        NoPresentationContextError.code,
    )
