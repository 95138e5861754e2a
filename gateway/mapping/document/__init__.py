"""The format ``eye-ultrasound-exam/1`` as pydantic models: one model for each mapping of the document."""
