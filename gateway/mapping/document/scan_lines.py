"""Raw scan lines and the geometry that turns them into a picture with a scale."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from gateway.mapping.document.base import Fields
from gateway.mapping.scalars import number, word_of
from gateway.model.calibration import DepthAxis
from gateway.model.scan_lines import LineLayout

_Angle = Annotated[float, number(low=-90, high=90)]
_ONE_WAY_TO_SAY_ANGLES: dict[str, Any] = {
    "oneOf": [{"required": ["angles_deg"]}, {"required": ["first_angle_deg", "last_angle_deg"]}]
}


class SectorLinesFields(Fields):
    """Lines that fan out from one pivot; angles count from the middle of the fan."""

    model_config = ConfigDict(json_schema_extra=_ONE_WAY_TO_SAY_ANGLES)

    pivot_to_face_mm: Annotated[float, number(low=0, high=200)] = Field(
        description="Distance from the pivot to the probe face in mm.", examples=[8]
    )
    first_angle_deg: _Angle | None = Field(
        None,
        description="Angle of the first line in degrees; the others follow evenly. Angles grow downwards on a picture "
        "whose depth runs left to right, and to the right where it runs top down.",
        examples=[-26],
    )
    last_angle_deg: _Angle | None = Field(None, description="Angle of the last line in degrees.", examples=[26])
    angles_deg: list[_Angle] | None = Field(
        None, min_length=2, max_length=10000, description="Angle of each line instead, in the order of the file."
    )


class LinearLinesFields(Fields):
    """Parallel lines."""

    pitch_mm: Annotated[float, number(above=0, below=10)] = Field(
        description="Distance between two lines in mm.", examples=[0.1]
    )


class WindowFields(Fields):
    """Sample values that become black and white."""

    low: Annotated[float, number(low=0, high=65535)] = Field(description="What becomes black.", examples=[200])
    high: Annotated[float, number(low=0, high=65535)] = Field(description="What becomes white.", examples=[40000])


class ScanLinesFields(Fields):
    """The media file holds scan lines (NPY, or grey PNG or TIFF, 8 or 16 bits) of which the picture is to be made."""

    model_config = ConfigDict(
        json_schema_extra={
            "allOf": [
                {"oneOf": [{"required": ["sector"]}, {"required": ["linear"]}]},
                {"oneOf": [{"required": ["sample_interval_mm"]}, {"required": ["sampling_rate_mhz"]}]},
            ]
        }
    )

    sector: SectorLinesFields | None = Field(None, description="Lines that fan out; or else linear.")
    linear: LinearLinesFields | None = Field(None, description="Parallel lines; or else sector.")
    depth_axis: Annotated[DepthAxis, word_of(DepthAxis)] = Field(
        description="In which direction depth is to grow on the picture."
    )
    assumed_speed_m_per_s: Annotated[float, number(low=300, high=8000)] = Field(
        description="Speed of sound that turns time into depth.", examples=[1550]
    )
    sample_interval_mm: Annotated[float, number(above=0, below=10)] | None = Field(
        None, description="Depth between two samples in mm at that speed; or else sampling_rate_mhz.", examples=[0.02]
    )
    sampling_rate_mhz: Annotated[float, number(above=0, high=2000)] | None = Field(
        None, description="Samples per microsecond of echo time; or else sample_interval_mm.", examples=[40]
    )
    start_depth_mm: Annotated[float, number(low=0, high=200)] | None = Field(
        None, description="Depth of the first sample below the probe face in mm; 0 where left out.", examples=[0]
    )
    mm_per_pixel: Annotated[float, number(above=0, below=10)] = Field(
        description="Size of the picture's square pixels in mm.", examples=[0.05]
    )
    layout: Annotated[LineLayout, word_of(LineLayout)] | None = Field(
        None, description="How lines lie in the file: each in a row (the default) or each in a column."
    )
    window: WindowFields | None = Field(
        None,
        description="Sample values shown as black and white; left out: 0 and 255 for 8 bits, the lowest and highest "
        "sample of the file for 16 bits.",
    )
