"""What every template of one report needs: the exam, its images, and the rules for identifiers and words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gateway.builders.built import BuiltObject
from gateway.builders.laterality import laterality_code
from gateway.builders.options import BuildOptions
from gateway.builders.sr.content import Child, ContentItem, code, modifier, observation_context, text
from gateway.builders.sr.values import Image, UidRef
from gateway.builders.uids import tracking_uid
from gateway.errors.objects import ReferencedImageMissingError
from gateway.model.capture import Capture
from gateway.model.exam import Exam
from gateway.model.laterality import Eye
from gateway.standard.codes import CodedConcept, concept, find_concept


@dataclass(frozen=True, slots=True)
class ReportedImage:
    """One image of the study with the capture that it shows."""

    capture: Capture
    built: BuiltObject

    def reference(self, frame: int | None = None) -> Image:
        """Return a reference to the image, or to one frame of it (1-based)."""
        return Image(self.built.sop_class_uid, self.built.sop_instance_uid, frame)


@dataclass(frozen=True, slots=True)
class ReportScope:
    """One report: the exam and the images that it may point to, by capture id, in the exam's order."""

    exam: Exam
    images: Mapping[str, ReportedImage]
    options: BuildOptions

    def image(self, capture_id: str) -> ReportedImage:
        """Return the image of a capture.

        Raises
        ------
        ReferencedImageMissingError
            If it was not built.
        """
        try:
            return self.images[capture_id]
        except KeyError:
            raise ReferencedImageMissingError(
                "the report would point to an image that was not built",
                where=f"capture {capture_id}",
                fix="mend or hold this capture and build the exam again",
            ) from None

    def capture_path(self, image: ReportedImage) -> str:
        """Return the field path of an image's capture in the exam document, e.g. ``captures[2]``."""
        capture = image.capture
        return f"captures[{(capture.number or self.exam.captures.index(capture) + 1) - 1}]"

    def tracking(self, label: str, key: str, stated_uid: str = "") -> tuple[Child, Child]:
        """Return Tracking Identifier and Tracking Unique Identifier (PS3.16 TID 1501, TID 4108).

        Parameters
        ----------
        label : str
            For people; some viewers show it in place of the finding.
        key : str
            What is tracked, unique within the exam.
        stated_uid : str
            The UID under which the exam itself says that this is followed across visits.
        """
        uid = UidRef(stated_uid or tracking_uid(self.exam, key, self.options))
        return (
            observation_context(text(concept("sr", "tracking-identifier"), label)),
            observation_context(ContentItem(concept("sr", "tracking-unique-identifier"), uid)),
        )

    def own_words(self, name: CodedConcept, words: str, origin: str = "") -> ContentItem:
        """Return a TEXT in this project's English, marked as such where the exam speaks another language (TID 1204)."""
        if self.exam.language.partition("-")[0].lower() == "en":
            return text(name, words, origin=origin)
        return text(name, words, modifier(language_item("en")), origin=origin)


def report_scope(exam: Exam, images: Sequence[BuiltObject], options: BuildOptions) -> ReportScope:
    """Join the built images with the captures that they show."""
    built = {image.capture_id: image for image in images}
    found = {capture.id: ReportedImage(capture, built[capture.id]) for capture in exam.captures if capture.id in built}
    return ReportScope(exam, found, options)


def language_item(tag: str) -> ContentItem:
    """Return the language of a content item and what is below it (PS3.16 TID 1204).

    A tag of RFC 5646 without a name of ours is its own meaning: the code is what counts.
    """
    known = find_concept("language", tag.lower())
    language = known or CodedConcept(tag, "RFC5646", tag)
    return code(concept("sr", "language"), language)


def finding_site(structure: str, eye: Eye, topography: CodedConcept | None = None, origin: str = "") -> Child:
    """Return a Finding Site with its laterality and at most one topographical modifier (PS3.16 TID 1501 rows 6 to 8).

    Parameters
    ----------
    structure : str
        Word of concepts group ``structure``.
    """
    children = [modifier(code(concept("sr", "laterality"), laterality_code(eye)))]
    if topography is not None:
        children.append(modifier(code(concept("sr", "topographical-modifier"), topography)))
    return modifier(code(concept("sr", "finding-site"), concept("structure", structure), *children, origin=origin))
