"""Named conversions from a site's texts to those of the exam document.

Each reads exactly the form that its parameters state and refuses everything else; no digit is ever changed.
"""

from __future__ import annotations

from gateway.mapping.conversions.base import ConversionFields
from gateway.mapping.conversions.registry import Conversion, check_conversion, conversion, conversions, convert

__all__ = ["Conversion", "ConversionFields", "check_conversion", "conversion", "conversions", "convert"]
