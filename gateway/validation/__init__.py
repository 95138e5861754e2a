"""Checks DICOM objects against the tables in standard/ and says which section a finding rests on.

`check_file` is for files, `check_dataset` for pydicom datasets; both answer with findings and never raise for what the
object contains. `gateway.validation.explanations` tells what each rule is for.
"""

from gateway.validation.check import check_bytes, check_dataset, check_file
from gateway.validation.findings import FileReport, Finding, Severity

__all__ = ["FileReport", "Finding", "Severity", "check_bytes", "check_dataset", "check_file"]
