"""The exam as immutable values; knows nothing of DICOM encoding, files or networks."""
