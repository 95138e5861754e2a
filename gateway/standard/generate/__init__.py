"""Development-time generator of ``data/iods/*.json``; nothing here is imported at run time.

``python -m gateway.standard.generate`` reads the JSON rendering of PS3.3 that the Python package ``dicom-standard``
carries (edition 2020a), applies ``curated.json`` and ``conditions.json`` of this folder and writes one compact table
per IOD. Only facts are taken over: tags, types, usages, enumerated values and section numbers, never a sentence.
"""
