"""A site's own sources as an exam document: the language of source mappings, and what applies one."""
