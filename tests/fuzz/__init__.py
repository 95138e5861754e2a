"""Damaged input for every reader: only errors of ours may come out, soon, and in little memory.

``python -m tests.fuzz csv --seconds 60`` runs one target. A new reader is a `Target` in a module here and a line in
`registry.TARGETS`; the suite then runs it for a moment with a fixed seed.
"""
