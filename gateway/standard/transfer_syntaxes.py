"""Transfer syntaxes: how bytes are laid out, how pixels are compressed (PS3.5 10 and Annex A, PS3.6 Table A-1)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources


class Loss(StrEnum):
    """Whether a compression loses anything."""

    NEVER = "never"
    ALWAYS = "always"
    POSSIBLE = "possible"
    """The transfer syntax carries both; only the stream or the attributes tell."""


class Stream(StrEnum):
    """The family of the compressed bit stream."""

    NONE = "none"
    PLAIN = "plain"
    """Uncompressed frames in fragments."""
    RLE = "rle"
    JPEG = "jpeg"
    JPEG_LS = "jpeg-ls"
    JPEG_2000 = "jpeg-2000"
    JPEG_XL = "jpeg-xl"
    MPEG = "mpeg"
    DEFLATE = "deflate"
    REFERENCED = "referenced"
    """Pixels are fetched from elsewhere (JPIP)."""


@dataclass(frozen=True, slots=True)
class TransferSyntax:
    """One transfer syntax.

    Parameters
    ----------
    encapsulated : bool
        Whether Pixel Data is a sequence of fragments (PS3.5 A.4).
    loss : Loss
    stream : Stream
    section : str
        Of PS3.5.
    """

    uid: str
    name: str
    explicit_vr: bool
    little_endian: bool
    deflated: bool
    encapsulated: bool
    loss: Loss
    stream: Stream
    section: str


@cache
def transfer_syntaxes() -> Mapping[str, TransferSyntax]:
    """Return all transfer syntaxes of the table by UID."""
    text = resources.files("gateway.standard").joinpath("data/transfer_syntaxes.json").read_text(encoding="utf-8")
    found = {}
    for uid, name, stream, loss, section in json.loads(text)["transfer_syntaxes"]:
        found[uid] = TransferSyntax(
            uid=uid,
            name=name,
            explicit_vr=uid != "1.2.840.10008.1.2",
            little_endian=uid != "1.2.840.10008.1.2.2",
            deflated=uid in {"1.2.840.10008.1.2.1.99", "1.2.840.10008.1.2.4.95", "1.2.840.10008.1.2.4.205"},
            encapsulated=Stream(stream) not in {Stream.NONE, Stream.REFERENCED},
            loss=Loss(loss),
            stream=Stream(stream),
            section=section,
        )
    return found


def transfer_syntax(uid: str) -> TransferSyntax | None:
    """Return a transfer syntax, or None where the table does not have it."""
    return transfer_syntaxes().get(uid)


def transfer_syntax_name(uid: str) -> str:
    """Return the name of a transfer syntax, or its UID where the table does not have it."""
    known = transfer_syntax(uid)
    return known.name if known else uid
