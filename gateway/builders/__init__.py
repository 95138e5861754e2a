"""From a measured exam to DICOM objects."""

import pydicom.config

# A misspelt keyword would otherwise become a plain Python attribute that is never written.
pydicom.config.INVALID_KEYWORD_BEHAVIOR = "RAISE"
