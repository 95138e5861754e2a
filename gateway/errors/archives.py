"""Errors of ZIP archives in which an exam is handed over."""

from __future__ import annotations

from typing import ClassVar

from gateway.errors.media import MediaError


class ArchiveError(MediaError):
    """A ZIP archive cannot be unpacked."""

    code: ClassVar[str] = "archive"
    explanation = "An exam may come as one ZIP archive of its folder. It is unpacked wholly and safely, or not at all."


class ArchiveDamagedError(ArchiveError):
    """The archive is cut off, or its bytes are not as they were written."""

    code = "archive-damaged"
    explanation = (
        "Lengths, checksums and names in an archive must agree with what is in it. Where they do not, it was cut off "
        "or damaged on its way, and no part of it is used. Copy it again from where it was made."
    )


class ArchiveVariantError(ArchiveError):
    """A variant of ZIP that is not read."""

    code = "archive-variant"
    explanation = (
        "Entries are read stored or deflated, as every ZIP program writes them unless told otherwise. Other methods, "
        "archives of several volumes and patches are not read. Zip the folder again with usual settings."
    )


class ArchiveEncryptedError(ArchiveError):
    """An entry is encrypted."""

    code = "archive-encrypted"
    explanation = "The gateway holds no passwords of archives. Zip the folder without encryption, or unpack it first."


class ArchivePathError(ArchiveError):
    """The name of an entry is not a plain path inside the folder."""

    code = "archive-path"
    explanation = (
        "Names that climb out of the folder, begin at the root or a drive, or hold backslashes or control characters "
        "could overwrite files of the machine when they are unpacked. No program writes them for a plain folder."
    )


class ArchiveNameError(ArchiveError):
    """The name of an entry cannot be known, or two entries have one name."""

    code = "archive-name"
    explanation = (
        "Old ZIP programs do not say in which character set names are written, so letters beyond English cannot be "
        "known; two names that differ in upper and lower case alone are one file on many machines. Zip the folder "
        "again with names in UTF-8, or with plain names that differ."
    )


class ArchiveEntryKindError(ArchiveError):
    """An entry is a link or a device."""

    code = "archive-entry-kind"
    explanation = (
        "An exam is folders and files. A link inside an archive could lead to any other file of the machine, so links, "
        "pipes and devices are not unpacked. Zip the folder with links followed."
    )


class ArchiveTooLargeError(ArchiveError):
    """Unpacked it would be larger than any exam."""

    code = "archive-too-large"
    explanation = (
        "A few bytes of archive can unpack to more than a disk holds. Limits far above any exam (20 000 entries, 4 GiB "
        "for one, 16 GiB for all, 300 times the archive's own size beyond the first 256 MiB, and what is free on the "
        "disk) keep that out."
    )


class ArchiveOverlapError(ArchiveError):
    """Two entries share bytes of the archive."""

    code = "archive-overlap"
    explanation = (
        "Each entry of an archive has bytes of its own. Entries that share them are written to unpack to far more than "
        "the archive holds, or to show one content to one reader and another to the next."
    )
