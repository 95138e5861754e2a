"""Whether what an exam states of a capture lies on its picture: points, frames, the calibrated region, frame times."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from gateway.acoustics.outlines import ellipse_axis_ends
from gateway.acoustics.quantities import drawing_of, is_ellipse
from gateway.errors import GatewayError, Place
from gateway.errors.document import FrameError, FrameTimingError, PointOutsidePictureError
from gateway.errors.media import RegionOutsidePictureError
from gateway.model.calibration import Point
from gateway.model.capture import Capture
from gateway.model.exam import Exam, HeldPart
from gateway.model.finding import Annotation, AnnotationKind
from gateway.model.measurement import Measurement
from gateway.model.media import FrameSource, PixelFacts


def part_paths(exam: Exam, held: Collection[HeldPart], section: str, count: int) -> tuple[str, ...]:
    """Return the document's path of each part of a section that is still in the exam, e.g. ``measurements[2]``.

    The exam holds its parts in the document's order without the held ones, and origins keep the document's numbers.

    Parameters
    ----------
    section : str
        ``captures``, ``measurements`` or ``annotations``.
    count : int
        How many of them the exam holds.
    """
    numbers = {int(found[1]) for key in exam.origins if (found := re.match(rf"{section}\[(\d+)\]", key))}
    gone = {part.part for part in held}
    paths = [f"{section}[{number}]" for number in sorted(numbers) if f"{section}[{number}]" not in gone]
    # An exam that was not read from a document has no places; numbers then count what is there.
    return tuple(paths) if len(paths) == count else tuple(f"{section}[{number}]" for number in range(count))


def place_of(exam: Exam, *paths: str) -> Place | str:
    """Return the place of the first path that the source states, else that path itself."""
    return next((exam.origins[path] for path in paths if path in exam.origins), paths[-1])


def check_capture(exam: Exam, capture: Capture, path: str, facts: PixelFacts) -> None:
    """Refuse a capture whose scale or times do not fit its picture.

    Parameters
    ----------
    facts : PixelFacts
        Of the whole source, before frames are left out.

    Raises
    ------
    RegionOutsidePictureError, FrameTimingError
    """
    region = capture.calibration.region if capture.calibration else None
    if region and (region.x1 >= facts.columns or region.y1 >= facts.rows):
        raise RegionOutsidePictureError(
            "the calibrated region reaches beyond the picture",
            where=place_of(exam, f"{path}.calibration.region", path),
            was=f"{region.x1}, {region.y1} on a picture of {facts.columns} x {facts.rows}",
            fix=f"write at most x1: {facts.columns - 1}, y1: {facts.rows - 1}, and check that the scale is its own",
        )
    for number, area in enumerate(capture.burned_in_text.regions if capture.burned_in_text else ()):
        if area.x1 >= facts.columns or area.y1 >= facts.rows:
            raise RegionOutsidePictureError(
                "an area with text reaches beyond the picture",
                where=place_of(exam, f"{path}.burned_in_text.regions[{number}]", path),
                was=f"{area.x1}, {area.y1} on a picture of {facts.columns} x {facts.rows}",
                fix=f"write at most x1: {facts.columns - 1}, y1: {facts.rows - 1}, and check that the areas are this "
                "picture's own",
            )
    times = capture.timing.frame_times_ms
    if times and len(times) != facts.frame_count:
        raise FrameTimingError(
            "not one time for each frame",
            where=place_of(exam, f"{path}.frame_times_ms", path),
            was=f"{len(times)} times, {facts.frame_count} frames in the file",
            fix=f"write {facts.frame_count} times, one for each frame of the file",
        )


def misplaced_parts(exam: Exam, held: Collection[HeldPart], media: Mapping[str, FrameSource]) -> tuple[HeldPart, ...]:
    """Return the measurements and annotations that do not lie on the picture they are for.

    Parameters
    ----------
    media : mapping of str to FrameSource
        By capture id; what is kept, as frames of measurements are counted in the stored loop.
    """
    found: list[HeldPart] = []
    paths = part_paths(exam, held, "measurements", len(exam.measurements))
    for measurement, path in zip(exam.measurements, paths, strict=True):
        reason = _misplaced_measurement(exam, measurement, path, media)
        if reason:
            found.append(HeldPart(path, measurement.id, reason))
    paths = part_paths(exam, held, "annotations", len(exam.annotations))
    for annotation, path in zip(exam.annotations, paths, strict=True):
        reason = _misplaced_annotation(exam, annotation, path, media)
        if reason:
            found.append(HeldPart(path, path, reason))
    return tuple(found)


def _misplaced_measurement(
    exam: Exam, measurement: Measurement, path: str, media: Mapping[str, FrameSource]
) -> GatewayError | None:
    source = media.get(measurement.capture_id)
    if source is None:
        return None
    late = _late_frame(exam, measurement.capture_id, measurement.frame, source.facts)
    if late:
        return FrameError(
            "the loop has fewer frames", where=place_of(exam, f"{path}.frame", path), was=late, fix=_COUNT
        )
    beside = _outside(_drawn(measurement), source.facts, place_of(exam, f"{path}.points", path))
    if beside:
        return beside
    borders = [point for medium in measurement.media for point in medium.begins]
    return _outside(borders, source.facts, place_of(exam, f"{path}.media", path))


def _drawn(measurement: Measurement) -> Sequence[Point]:
    """Return the points that the report will point to: of an ellipse the ends of its axes, whichever were given."""
    points = measurement.points
    if not is_ellipse(measurement.kind, drawing_of(measurement), len(points)):
        return points
    ends = ellipse_axis_ends(np.array([(point.x, point.y) for point in points], dtype=np.float64))
    return (*points, *(Point(float(x), float(y)) for x, y in ends))


def _misplaced_annotation(
    exam: Exam, annotation: Annotation, path: str, media: Mapping[str, FrameSource]
) -> GatewayError | None:
    source = media.get(annotation.capture_id)
    if source is None:
        return None
    late = _late_frame(exam, annotation.capture_id, annotation.frame, source.facts)
    if late:
        return FrameError(
            "the loop has fewer frames", where=place_of(exam, f"{path}.frame", path), was=late, fix=_COUNT
        )
    fields = ("from", "to") if annotation.kind is AnnotationKind.ARROW else ("at",)
    for point, name in zip(annotation.points, fields, strict=False):
        reason = _outside((point,), source.facts, place_of(exam, f"{path}.{name}", path))
        if reason:
            return reason
    return None


_COUNT = "count frames from 1 in the loop as it was recorded"


def _late_frame(exam: Exam, capture_id: str, frame: int | None, facts: PixelFacts) -> str:
    """Return the words for a frame beyond the stored loop, counted as the document counts; empty where it is in it."""
    if frame is None or 1 <= frame <= facts.frame_count:
        return ""
    kept = exam.capture(capture_id).kept
    skipped = kept.first - 1 if kept else 0
    return f"frame {frame + skipped}, the last one is {facts.frame_count + skipped}"


def _outside(points: Sequence[Point], facts: PixelFacts, where: Place | str) -> GatewayError | None:
    for point in points:
        if not (0 <= point.x <= facts.columns and 0 <= point.y <= facts.rows):
            return PointOutsidePictureError(
                "a point lies outside the picture",
                where=where,
                was=f"x {point.x:g}, y {point.y:g} from the top-left corner",
                fix=f"x runs to {facts.columns} and y to {facts.rows} on this picture; in the centre convention half a "
                "pixel less",
            )
    return None
