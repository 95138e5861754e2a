"""A listening application entity that begins and ends cleanly: no port, thread or socket outlives its block."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from types import TracebackType
from typing import Any, Self, cast

from pynetdicom.presentation import PresentationContext

from gateway.errors.peer import ListenerPortError
from gateway.transports.dimse.association import end
from gateway.transports.dimse.message_manners import OpenSink
from gateway.transports.dimse.peer import ae_title as checked_title
from gateway.transports.dimse.socket_manners import PoliteEntity, PoliteRequestHandler, PoliteServer

_MOST_ASSOCIATIONS = 32


class Listener:
    """Accepts associations between entering and leaving a ``with`` block.

    Parameters
    ----------
    ae_title : str
        The title it answers to; other called titles are rejected.
    address : tuple of (str, int)
        Host and port; port 0 lets the operating system choose, see `port`.
    contexts : sequence of PresentationContext
        What it supports.
    handlers : sequence
        pynetdicom event handlers.
    open_sink : callable, optional
        Where stored objects go.
    timeout_s : float
        Patience for an association request, for the next request, and while no byte moves in a message.
    """

    def __init__(
        self,
        ae_title: str,
        address: tuple[str, int],
        contexts: Sequence[PresentationContext],
        handlers: Sequence[Any],
        *,
        open_sink: OpenSink | None = None,
        timeout_s: float = 60.0,
    ) -> None:
        self.ae_title = checked_title(ae_title)
        self._address = address
        self._contexts = list(contexts)
        self._handlers = list(handlers)
        self._open_sink = open_sink
        self._entity = PoliteEntity(self.ae_title, stall_timeout_s=timeout_s)
        self._entity.acse_timeout = self._entity.dimse_timeout = self._entity.network_timeout = timeout_s
        self._entity.maximum_associations = _MOST_ASSOCIATIONS
        self._entity.require_called_aet = True
        self._server: PoliteServer | None = None
        self._thread: threading.Thread | None = None

    @property
    def port(self) -> int:
        """The port it listens on."""
        if self._server is None:
            return self._address[1]
        return int(self._server.server_address[1])

    def __enter__(self) -> Self:
        try:
            server = self._entity.make_server(
                self._address,
                ae_title=self.ae_title,
                contexts=self._contexts,
                evt_handlers=self._handlers,
                server_class=PoliteServer,
                request_handler=PoliteRequestHandler,
            )
        except OSError as error:
            raise ListenerPortError(
                "cannot listen",
                where=f"{self._address[0]}:{self._address[1]}",
                was=str(error),
                fix="choose another port, or stop the program that holds it",
            ) from error
        self._server = cast("PoliteServer", server)
        self._server.open_sink = self._open_sink
        self._entity._servers.append(self._server)
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.05}, name=f"listener-{self.ae_title}"
        )
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        server, thread = cast("PoliteServer", self._server), cast("threading.Thread", self._thread)
        self._address = (self._address[0], self.port)
        server.shutdown()
        thread.join()
        for assoc in server.active_associations:
            end(assoc)
        self._server = self._thread = None
