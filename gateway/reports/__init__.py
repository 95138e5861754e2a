"""The report that people read: one model, rendered as PDF, HTML and a contact sheet."""
