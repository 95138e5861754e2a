"""Records (YAML, JSON, CSV, XML, HL7 v2) read as text with places: nothing is converted, no object ever constructed."""
