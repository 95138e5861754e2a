"""What a report's image library tells of the pictures that its numbers were measured on (PS3.16 TID 1600 to 1602)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from gateway.intake.report_codes import code_named, is_named, text_named, word_for
from gateway.intake.report_tree import ReportItem
from gateway.model.capture import Contact
from gateway.model.position import Scan


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """Scan direction and contact of one picture; empty where the library does not say."""

    direction: str = ""
    contact: Contact | None = None


NOTHING_KNOWN = PictureFacts()


def pictures_of(root: ReportItem) -> Mapping[str, PictureFacts]:
    """Return the library's entries by SOP Instance UID."""
    found: dict[str, PictureFacts] = {}
    for library in root.children:
        if is_named(library, "image-library"):
            for item in library.walk():
                if item.instance_uid:
                    found.setdefault(item.instance_uid, _facts(item))
    return found


def _facts(entry: ReportItem) -> PictureFacts:
    scan = word_for(code_named(entry, "image-view"), "scan") or _scan_in_words(text_named(entry, "comment"))
    # Horizontal, vertical and oblique axial scans share one code of view.
    return PictureFacts("axial" if scan.startswith("axial") else scan, _contact(entry))


def _scan_in_words(comment: str) -> str:
    """Return a scan without a code of its own, as the project's own reports say it: at the beginning of the comment."""
    for scan in (Scan.A_SCAN, Scan.MACULA, Scan.ORBITAL):
        if re.match(rf"{scan.words}(?: \d|,|$)", comment):
            return scan.value
    return ""


def _contact(entry: ReportItem) -> Contact | None:
    """Return the contact; the code for contact alone does not tell whether the lid lay between."""
    lid = word_for(code_named(entry, "eyelid-state"), "eyelid_state")
    if lid:
        return Contact(lid)
    method = word_for(code_named(entry, "probe-contact"), "contact_method")
    return Contact.IMMERSION if method == Contact.IMMERSION else None


def common_facts(number: ReportItem, pictures: Mapping[str, PictureFacts]) -> PictureFacts:
    """Return what all pictures behind a number have in common, that of a number computed from several among them."""
    known = [pictures.get(item.instance_uid, NOTHING_KNOWN) for item in number.walk() if item.instance_uid]
    directions, contacts = {facts.direction for facts in known}, {facts.contact for facts in known}
    return PictureFacts(
        directions.pop() if len(directions) == 1 else "", contacts.pop() if len(contacts) == 1 else None
    )


def picture_uid(number: ReportItem) -> str:
    """Return the one picture that a number points to, itself or through the number it was inferred from.

    Nothing where it names none or several.
    """
    return _one_picture(number, follow_numbers=False) or _one_picture(number, follow_numbers=True)


def _one_picture(number: ReportItem, *, follow_numbers: bool) -> str:
    waiting, uids = list(number.children), set()
    while waiting:
        item = waiting.pop()
        if item.value_type == "NUM" and not follow_numbers:
            continue
        if item.instance_uid:
            uids.add(item.instance_uid)
        waiting.extend(item.children)
    return uids.pop() if len(uids) == 1 else ""
