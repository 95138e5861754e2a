"""Structured reports: a content tree of our own over pydicom, and the templates that the measurement report uses."""
