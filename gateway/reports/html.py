"""The report as one self-contained web page: no scripts, nothing fetched, fit for screen readers and paper."""

from __future__ import annotations

import base64

from markupsafe import Markup

from gateway.reports.a_scan_plot import a_scan_svg
from gateway.reports.content import CaptureCard, Report
from gateway.reports.pictures import Picture
from gateway.reports.positions import chart_svg, unplaced
from gateway.reports.templates import template


def render_html(report: Report) -> str:
    """Fill the page in. Every text is escaped; pictures travel inside the page.

    Characters are drawn by the reader's own fonts, so nothing is replaced here.
    """
    # The drawing comes out of a template that escapes what it is given, so it may enter the page as it is.
    charts = {section.eye: Markup(chart_svg(section)) for section in report.eyes}  # noqa: S704
    return template("report.html").render(
        report=report,
        charts=charts,
        unplaced=unplaced,
        data_uri=data_uri,
        caliper_points=caliper_points,
        plot=lambda card: Markup(a_scan_svg(card)),  # noqa: S704  as the charts
    )


def data_uri(picture: Picture) -> str:
    """Return the picture as an address that holds its own bytes (RFC 2397)."""
    return "data:image/png;base64," + base64.b64encode(picture.png).decode("ascii")


def caliper_points(card: CaptureCard) -> list[str]:
    """Return each caliper of a capture as the points of an SVG polyline, in pixels of the acquired picture."""
    closed = [(*line.points, line.points[0]) if line.is_closed else line.points for line in card.calipers]
    return [" ".join(f"{point.x:g},{point.y:g}" for point in points) for points in closed]
