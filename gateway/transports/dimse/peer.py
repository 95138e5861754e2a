"""Another DICOM application as this gateway calls it: names, address, patience."""

from __future__ import annotations

import re
from dataclasses import dataclass

from gateway.errors.peer import AeTitleError

_TITLE = re.compile(r"[\x20-\x5b\x5d-\x7e]{1,16}")


def ae_title(text: str, *, where: str = "") -> str:
    """Return an AE title without its insignificant spaces.

    Source: PS3.5 6.2, VR AE: 1 to 16 characters of the default repertoire without the backslash and control
    characters; leading and trailing spaces are not significant; only spaces is not a title.

    Raises
    ------
    AeTitleError
        If no association can carry it.
    """
    title = text.strip(" ")
    if _TITLE.fullmatch(title):
        return title
    raise AeTitleError(
        "this is not an AE title", where=where, was=repr(text), fix="use 1 to 16 ASCII characters without backslash"
    )


@dataclass(frozen=True, slots=True)
class Peer:
    """Another DICOM application, and how long this gateway waits for it.

    Parameters
    ----------
    name : str
        What people of this site call it; used in messages.
    ae_title : str
        Its AE title, the called one.
    host : str
        Host name or address.
    port : int
        TCP port, 1 to 65535.
    calling_ae_title : str
        The AE title under which this gateway introduces itself to it.
    connect_timeout_s : float
        Patience for the TCP connection.
    association_timeout_s : float
        Patience for the answer to an association or release request.
    answer_timeout_s : float
        Patience for the answer to a request once it was sent in full; a busy archive may take long.
    stall_timeout_s : float
        Patience while not a single byte moves in the middle of a message.

    Raises
    ------
    AeTitleError
        If one of the titles cannot be carried by an association.
    ValueError
        If the port or a patience is out of range.
    """

    name: str
    ae_title: str
    host: str
    port: int
    calling_ae_title: str = "EYE_GATEWAY"
    connect_timeout_s: float = 10.0
    association_timeout_s: float = 30.0
    answer_timeout_s: float = 60.0
    stall_timeout_s: float = 30.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "ae_title", ae_title(self.ae_title, where=self.name))
        object.__setattr__(self, "calling_ae_title", ae_title(self.calling_ae_title, where=self.name))
        if not 1 <= self.port <= 65535:
            raise ValueError(f"{self.name}: a port is 1 to 65535, was {self.port}")
        if min(self.connect_timeout_s, self.association_timeout_s, self.answer_timeout_s, self.stall_timeout_s) <= 0:
            raise ValueError(f"{self.name}: every timeout is a positive number of seconds")

    def __str__(self) -> str:
        return f"{self.name} ({self.ae_title} at {self.host}:{self.port})"
