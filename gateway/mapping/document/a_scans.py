"""Lines for an A-scan, strips beside a picture, and standardized A-scans, as documents state them."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from gateway.mapping.document.base import Fields
from gateway.mapping.document.geometry import MOST_FRAMES, Pair, RegionFields
from gateway.mapping.scalars import DisplayedNumber, PartId, Switch, Text64, concept_word, number, whole_number, word_of
from gateway.model.calibration import DepthAxis

_ONE_SPEED: dict[str, Any] = {"not": {"required": ["tissue", "speed_m_per_s"]}}


class AScanLineFields(Fields):
    """A line on the picture along which grey levels are plotted in the report; grey levels are no reflectivity.

    Of a capture made of scan lines it may be one of them instead.
    """

    model_config = ConfigDict(
        json_schema_extra={**_ONE_SPEED, "oneOf": [{"required": ["from", "to"]}, {"required": ["scan_line"]}]}
    )

    id: PartId = Field(description="Name of the line, unique in its capture.", examples=["axis"])
    start: Pair | None = Field(
        None, alias="from", description="Where depth begins, in pixels.", examples=[[15.5, 239.5]]
    )
    end: Pair | None = Field(None, alias="to", description="Where the line ends, in pixels.", examples=[[560, 239.5]])
    scan_line: Annotated[int, whole_number(1, 65535)] | None = Field(
        None, description="Number of a raw scan line, from 1 in the file; its samples are plotted.", examples=[81]
    )
    frame: Annotated[int, whole_number(1, MOST_FRAMES)] | None = Field(
        None, description="Frame of the recorded loop, from 1; needed on a loop.", examples=[12]
    )
    tissue: Text64 | None = Field(None, description="Word of the site's table of speeds of sound, for the axis.")
    speed_m_per_s: Annotated[float, number(low=300, high=8000)] | None = Field(
        None, description="Speed of sound for the axis instead of a tissue; the device's own where both are left out."
    )
    band_mm: Annotated[float, number(low=0, high=10)] | None = Field(
        None, description="Width across the line over which grey levels are averaged; 0 where left out.", examples=[0.5]
    )


class AScanStripFields(Fields):
    """A strip of the stored picture in which the device drew an A-scan; its scale is its own."""

    region: RegionFields = Field(description="Where the strip lies.")
    mm_per_pixel: Annotated[float, number(above=0, below=10)] = Field(
        description="Size of a pixel along depth, in mm.", examples=[0.0625]
    )
    depth_axis: Annotated[DepthAxis, word_of(DepthAxis)] = Field(description="In which direction depth grows in it.")
    percent_per_pixel: Annotated[float, number(low=-100, high=100)] | None = Field(
        None,
        description="Percent of the device's amplitude scale for each pixel across depth; negative where the amplitude "
        "grows upwards or to the left.",
        examples=[-1.25],
    )
    zero: Pair | None = Field(
        None, description="Pixel of zero depth on the baseline of the amplitude; never assumed.", examples=[[12, 470]]
    )


class SpikeFields(Fields):
    """Height of one spike of a standardized A-scan."""

    structure: Annotated[str, concept_word("structure")] = Field(
        description="What sent the echo.", examples=["choroid"]
    )
    percent: DisplayedNumber = Field(description="Percent of the initial spike, as displayed.", examples=[42])


class EchoDifferenceFields(Fields):
    """Two echoes brought to the same height, each by its own gain."""

    structure: Annotated[str, concept_word("structure")] = Field(description="What sent the echo.", examples=["retina"])
    reference: Annotated[str, concept_word("structure")] = Field(
        description="What it is compared with.", examples=["sclera"]
    )
    gain_db: Annotated[float, number(low=-200, high=300)] = Field(
        description="Gain in dB at which the echo reaches the height.", examples=[58]
    )
    reference_gain_db: Annotated[float, number(low=-200, high=300)] = Field(
        description="Gain in dB at which the reference reaches the same height.", examples=[44]
    )


_SPEED_AND_INTERVAL: dict[str, Any] = {
    "allOf": [
        {"oneOf": [{"required": ["tissue"]}, {"required": ["speed_m_per_s"]}]},
        {"oneOf": [{"required": ["interval_us"]}, {"required": ["rate_mhz"]}]},
    ]
}
MOST_SAMPLES = 100_000


class AScanSamplesFields(Fields):
    """Samples of one scan line as a device exported them; they are plotted, and are no reflectivity."""

    model_config = ConfigDict(json_schema_extra=_SPEED_AND_INTERVAL)

    values: list[Annotated[float, number(low=-1e12, high=1e12)]] = Field(
        min_length=3,
        max_length=MOST_SAMPLES,
        description="Envelope or detected amplitude, in order of time.",
        examples=[[0, 12, 255, 40]],
    )
    interval_us: Annotated[float, number(above=0, high=100)] | None = Field(
        None, description="Time between two samples in microseconds.", examples=[0.02]
    )
    rate_mhz: Annotated[float, number(above=0, high=10000)] | None = Field(
        None, description="Million samples a second, instead of the interval.", examples=[50]
    )
    start_mm: Annotated[float, number(low=0, high=500)] | None = Field(
        None, description="Depth of the first sample in mm; never assumed."
    )
    tissue: Text64 | None = Field(None, description="Word of the site's table of speeds of sound, for the axis.")
    speed_m_per_s: Annotated[float, number(low=300, high=8000)] | None = Field(
        None, description="Speed of sound for the axis instead of a tissue.", examples=[1532]
    )


class AScanSettingsFields(Fields):
    """How an A-scan was made; reflectivity has a meaning on a standardized one alone."""

    standardized: Switch | None = Field(None, description="Whether it is a standardized A-scan.", examples=["yes"])
    tissue_sensitivity_db: Annotated[float, number(low=-200, high=300)] | None = Field(
        None, description="Gain of tissue sensitivity in dB.", examples=[72]
    )
    spikes: list[SpikeFields] | None = Field(
        None, max_length=100, description="Spikes whose height was read; only where it is standardized."
    )
    differences: list[EchoDifferenceFields] | None = Field(
        None, max_length=100, description="Echoes compared by gain; only where it is standardized."
    )
    samples: AScanSamplesFields | None = Field(None, description="The A-scan itself as samples.")
