"""Whether a document may leave out the patient's identifier: the site's settings decide, not the format."""

from __future__ import annotations

from gateway.errors import GatewayError
from gateway.errors.document import FieldMissingError
from gateway.mapping.located.tree import LocatedDocument, Path, Table, plain


def identity_problems(document: LocatedDocument, *, ids_are_made: bool) -> list[GatewayError]:
    """Return what is missing of identifier and issuer.

    Parameters
    ----------
    ids_are_made : bool
        The site has no identifiers of its own, and the gateway makes one for a patient whose exam states none. An
        identifier that is stated needs its issuer all the same.
    """
    patient = document.node(("patient",))
    if not isinstance(patient, Table):
        return []
    has_id = _is_stated(document, ("patient", "id"))
    wanted = [] if has_id or ids_are_made else ["id"]
    if not _is_stated(document, ("patient", "issuer")) and (has_id or not ids_are_made):
        wanted.append("issuer")
    return [
        FieldMissingError(
            "a required field is missing",
            where=document.place(("patient", name)),
            fix=document.fix_of_missing(("patient", name)),
        )
        for name in wanted
    ]


def _is_stated(document: LocatedDocument, path: Path) -> bool:
    node = document.node(path)
    return node is not None and plain(node) is not None
