"""Checks DICOM objects against the tables in standard/ and says which section a finding rests on."""
