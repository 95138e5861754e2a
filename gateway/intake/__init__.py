"""Everything that comes in: exam folders, stills, loops, DICOM objects and reports; nothing of it is trusted."""

import pydicom.config

# pydicom would write values that break their representation, a patient's among them, into warnings and logs.
pydicom.config.settings.reading_validation_mode = pydicom.config.IGNORE
