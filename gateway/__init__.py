"""Eye-ultrasound exams to DICOM: read, map, measure, build, check, queue, send, confirm."""

__version__ = "0.1.0"
