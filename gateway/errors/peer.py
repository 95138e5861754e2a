"""Errors of other systems on the network; temporary or permanent decides retry.

::

    PeerError
    ├── TemporaryPeerError                the same request may succeed later
    │   ├── PeerUnreachableError          no connection: refused, no such host, no route
    │   ├── PeerTimeoutError              connected, but silent for too long
    │   ├── AssociationAbortedError       the association ended in the middle
    │   ├── AssociationBusyError          the association was rejected, but only for now
    │   └── PeerBusyError                 the peer answered that it lacks resources now
    └── PermanentPeerError                somebody has to change something first
        ├── AssociationRejectedError      the association was rejected for good
        ├── NoPresentationContextError    the peer takes none of the offered objects or services
        ├── ServiceRefusedError           the peer answered a request with a failure
        ├── AeTitleError                  a title that no association can carry
        └── ListenerPortError             the local port to listen on cannot be had
"""

from __future__ import annotations

from typing import ClassVar

from gateway.errors import GatewayError


class PeerError(GatewayError):
    """Another system on the network."""

    code: ClassVar[str] = "peer"
    exit_code: ClassVar[int] = 4


class TemporaryPeerError(PeerError):
    """The same request may succeed later; it is tried again with growing pauses."""

    code = "peer-temporary"
    explanation = (
        "The other system did not do what it was asked, in a way that often passes by itself: a restart, a full disk, "
        "a network outage. The gateway keeps the object and tries again with growing pauses."
    )
    temporary = True


class PeerUnreachableError(TemporaryPeerError):
    """No connection could be made."""

    code = "peer-unreachable"
    explanation = (
        "No network connection to the other system could be opened. Check that it runs, that host and port are the "
        "ones its administrator gave, and that no firewall stands between. The gateway tries again by itself."
    )


class PeerTimeoutError(TemporaryPeerError):
    """The peer is connected but silent for too long."""

    code = "peer-timeout"
    explanation = (
        "The other system accepted the connection and then neither answered nor read on within the time allowed for "
        "it. It may be overloaded or stuck. The gateway closes the connection and tries again; if it happens often, "
        "give the destination a longer answer time or ask its administrator to look at its load."
    )


class AssociationAbortedError(TemporaryPeerError):
    """The association ended before its work was done."""

    code = "association-aborted"
    explanation = (
        "The other system, or the network between, ended the association in the middle of the work (A-ABORT, or the "
        "connection was lost). What was in flight has an unknown outcome and is sent again under the same identifier, "
        "which is harmless. If it happens at the same object each time, look into the other system's log."
    )


class AssociationBusyError(TemporaryPeerError):
    """The association was rejected, but only for now (PS3.8 9.3.4, rejected-transient)."""

    code = "association-busy"
    explanation = (
        "The other system rejected the association for now, for instance because too many are open. The gateway tries "
        "again later; if it persists, lower the number of parallel senders for this destination."
    )


class PeerBusyError(TemporaryPeerError):
    """The peer answered that it lacks resources now."""

    code = "peer-busy"
    explanation = (
        "The other system understood the request and answered that it lacks disk space, memory or another resource at "
        "the moment. The gateway tries again later."
    )


class PermanentPeerError(PeerError):
    """Somebody has to change something before the same request can succeed."""

    code = "peer-permanent"
    explanation = (
        "The other system refused in a way that does not pass by itself. The gateway does not repeat the request; "
        "change the settings named in the message on this side or the other, then retry the job."
    )


class AssociationRejectedError(PermanentPeerError):
    """The association was rejected for good (PS3.8 9.3.4, rejected-permanent)."""

    code = "association-rejected"
    explanation = (
        "The other system does not talk to this gateway under these names. Usually the AE title that calls is not "
        "registered there, or the AE title that is called is not the one it answers to. Compare both titles, letter "
        "by letter, with what its administrator registered."
    )


class NoPresentationContextError(PermanentPeerError):
    """The peer takes none of the offered objects or services."""

    code = "no-presentation-context"
    explanation = (
        "Before anything is sent, both systems agree on the kinds of object and their encodings. The other system "
        "accepted none that this request needs. Allow the kind and transfer syntax named in the message there, or "
        "choose another encoding for this destination."
    )


class ServiceRefusedError(PermanentPeerError):
    """The peer answered a request with a failure."""

    code = "service-refused"
    explanation = (
        "The other system took the request and answered with a failure status. The message names the status and what "
        "the Standard says about it; the other system's log says why."
    )


class AeTitleError(PermanentPeerError):
    """A title that no association can carry (PS3.5 6.2, VR AE)."""

    code = "ae-title"
    explanation = (
        "An AE title has 1 to 16 characters of basic ASCII without the backslash and control characters; spaces at "
        "either end do not count. Capital letters, digits and underscores are understood by every system."
    )


class ListenerPortError(PermanentPeerError):
    """The local port to listen on cannot be had."""

    code = "listener-port"
    explanation = (
        "The gateway must listen on this port for other systems, but the operating system does not give it: another "
        "program holds it, or the port number needs more rights. Choose another port, or stop the other program."
    )
