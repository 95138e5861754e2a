"""DIMSE services over pynetdicom; the only place that imports it."""
