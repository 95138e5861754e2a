"""YAML and JSON read as text with places: no value is converted, no object is ever constructed."""
