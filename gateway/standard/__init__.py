"""The DICOM Standard as data: JSON tables with part, section and edition, and small readers."""
